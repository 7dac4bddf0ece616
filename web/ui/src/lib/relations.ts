// Which IDs of a plan belong together, so that choosing one shows the others:
// the segments and leaves of a member, the seam between two segments.

import type { PlanDoc } from './plan';

export type Kind =
  | 'member' | 'body' | 'segment' | 'seam' | 'joint' | 'contact' | 'bore' | 'plug'
  | 'pattern' | 'surface' | 'lap' | 'blank' | 'sheet' | 'load' | 'fixture' | 'clamping' | 'case' | 'verdict';

export class Relations {
  readonly #kinds = new Map<string, Kind>();
  readonly #members = new Map<string, string[]>();
  readonly #parts = new Map<string, Set<string>>();

  /** Of several documents: what is known early, and an earlier whole plan. */
  constructor(...docs: (PlanDoc | null)[]) {
    for (const doc of new Set(docs)) if (doc) this.#read(doc);
  }

  #read(doc: PlanDoc) {
    for (const m of doc.members) this.#add(m.id, 'member', [m.id]);
    const bodies = new Map(doc.bodies?.map((b) => [b.id, b.members]));
    for (const b of doc.bodies ?? []) this.#add(b.id, 'body', b.members);
    for (const c of [...doc.contacts, ...doc.round_contacts]) this.#add(c.id, 'contact', [c.a.member, c.b.member]);
    for (const j of doc.joints) {
      this.#add(j.id, 'joint', this.#members.get(j.contact) ?? []);
    }
    for (const p of doc.plugs) this.#add(p.id, 'plug', [p.member]);
    for (const s of doc.segments) this.#add(s.id, 'segment', bodies.get(s.body) ?? [s.member]);
    for (const s of doc.seams) this.#add(s.id, 'seam', bodies.get(s.body) ?? [], s.segments);
    for (const b of doc.bores) this.#add(b.id, 'bore', [b.member], [b.of]);
    for (const l of doc.laps) this.#add(l.id, 'lap', [l.member]);
    for (const p of doc.patterns) this.#add(p.id, 'pattern', p.member ? [p.member] : [], [p.lap].filter(Boolean));
    // A surface that is veneered shows as what lies on it; a leaf that covers one
    // alone has its ID.
    for (const m of doc.members) {
      for (const s of m.surfaces ?? []) {
        const id = `${m.id}/${s.name}`;
        const on = doc.patterns.filter((p) => (p.member === m.id && p.surface === s.name) || p.also?.includes(id));
        if (on.length) this.#add(id, 'surface', [m.id], on.map((p) => p.id));
      }
    }
    for (const p of doc.panels) {
      const on = doc.patterns.filter((x) => x.panel === p.id);
      this.#add(p.id, 'blank', [], on.map((x) => x.id));
    }
    for (const s of doc.sheets) {
      this.#add(s.id, 'sheet', [], doc.panels.filter((p) => p.sheet === s.id).map((p) => p.id));
    }
    for (const l of doc.plates) this.#add(l.id, 'load', [], l.segments.map((s) => s.segment));
    // Shows as what it serves and the parts of that; and belongs to its members.
    const serve = (id: string, kind: Kind, ids: readonly string[]) =>
      this.#add(id, kind, [...new Set(ids.flatMap((x) => this.#members.get(x) ?? []))], ids.flatMap((x) => [x, ...(this.#parts.get(x) ?? [])]));
    for (const f of doc.fixtures ?? []) serve(f.id, 'fixture', f.serves);
    for (const c of doc.clamping ?? []) serve(c.id, 'clamping', [...c.serves, ...c.fixtures]);
    for (const l of doc.fixture_loads ?? []) this.#add(l.id, 'load', []);
    for (const c of doc.strength?.cases ?? []) this.#add(c.id, 'case', []);
    for (const v of doc.strength?.verdicts ?? []) this.#add(v.id, 'verdict', this.#members.get(v.subject) ?? [], [v.subject]);
  }

  #add(id: string, kind: Kind, members: string[], parts: readonly string[] = []) {
    // A body has its first member's ID, and a plug its leaf's: the first that
    // comes names the kind, and a member belongs to itself alone.
    if (!this.#kinds.has(id)) this.#kinds.set(id, kind);
    else if (this.#kinds.get(id) === 'member') return;
    const known = this.#members.get(id) ?? [];
    this.#members.set(id, [...known, ...members.filter((m) => !known.includes(m))]);
    for (const part of parts) {
      if (!this.#parts.has(id)) this.#parts.set(id, new Set());
      this.#parts.get(id)!.add(part);
    }
  }

  has(id: string): boolean {
    return this.#kinds.has(id);
  }

  kind(id: string): Kind | undefined {
    return this.#kinds.get(id);
  }

  /** The members that an ID belongs to; a member belongs to itself. */
  members(id: string): readonly string[] {
    return this.#members.get(id) ?? [];
  }

  /** Whether a row or part shows as chosen when `chosen` is: it is the same,
   * the member it belongs to, or something that the chosen consists of. */
  lit(id: string, chosen: string | null): boolean {
    if (!chosen) return false;
    if (id === chosen) return true;
    if (this.#kinds.get(chosen) === 'member') return this.members(id).includes(chosen);
    return this.#parts.get(chosen)?.has(id) ?? false;
  }

  /** The ID that a finding's subject means: itself, or the longest known ID
   * that it begins with ("seat/edge-1" is on "seat"). */
  place(subject: string): string | null {
    for (let s = subject; s; s = s.replace(/[/.:]?[^/.:]*$/, '')) if (this.has(s)) return s;
    return null;
  }
}
