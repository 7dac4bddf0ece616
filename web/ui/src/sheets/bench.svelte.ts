// What lies on the bench: the sheet or blank that is looked at, the pattern
// that is lifted off it, and the maker's marks with what is on its way to the
// server.

import * as api from '../lib/api';
import { job } from '../lib/job.svelte';
import { Latest } from '../lib/latest';
import type { PanelDoc, PatternDoc, PlanDoc, SheetDoc } from '../lib/plan';
import type { Clash, Marks } from '../lib/types';
import * as edit from './marks';
import { poseOf, turnedInPlace, type Pose } from './place';

interface Lifted {
  id: string;
  from: Pose;
  pose: Pose;
}

export class Bench {
  /** ID of the blank or sheet that the maker turned to. */
  at = $state<string | null>(null);

  /** The marks as they will be once all is saved. */
  marks: Marks = $derived(job.marks);

  /** Patterns that were let down and whose plan is not there yet. */
  settled = $state.raw<ReadonlyMap<string, Pose>>(new Map());

  /** The plan with what was let down since. */
  doc: PlanDoc | null = $derived.by(() => {
    const doc = job.whole?.doc ?? null;
    if (!doc || this.settled.size === 0) return doc;
    const patterns = doc.patterns.map((p) => {
      const s = this.settled.get(p.id);
      return s ? { ...p, panel: s.blank, x: s.x, y: s.y, rotation: s.rotation } : p;
    });
    return { ...doc, patterns };
  });

  /** Sheets with marks that nothing is cut from. */
  idle: readonly SheetDoc[] = $derived(this.doc ? edit.idle(this.marks, this.doc) : []);
  sheets: readonly SheetDoc[] = $derived([...(this.doc?.sheets ?? []), ...this.idle]);

  panel: PanelDoc | null = $derived(
    this.doc?.panels.find((p) => p.id === this.at) ?? (this.sheets.some((s) => s.id === this.at) ? null : (this.doc?.panels[0] ?? null)),
  );
  sheet: SheetDoc | null = $derived(
    this.sheets.find((s) => s.id === (this.panel ? this.panel.sheet : this.at)) ?? this.sheets[0] ?? null,
  );
  /** Blanks of the sheet. */
  panels: readonly PanelDoc[] = $derived(this.doc?.panels.filter((p) => p.sheet === this.sheet?.id) ?? []);

  lifted = $state.raw<Lifted | null>(null);
  /** What the lifted pattern meets where it is. */
  clashes = $state.raw<readonly Clash[]>([]);
  /** The place that they are known for. */
  #known = $state.raw<Pose | null>(null);
  /** Whether what it meets is known for the place where it is. */
  checked = $derived(this.lifted !== null && this.#known === this.lifted.pose);
  fault = $state('');
  /** It was led a little aside, so as to lie just clear. */
  #aside = false;

  readonly #check = new Latest<{ pose: Pose; reach: number }>((w) => this.#judge(w.pose, w.reach));

  pattern(id: string | null): PatternDoc | undefined {
    return id ? this.doc?.patterns.find((p) => p.id === id) : undefined;
  }

  pose(p: PatternDoc): Pose {
    return this.lifted?.id === p.id ? this.lifted.pose : poseOf(p);
  }

  /** Takes a pattern up. One that is up already goes back. */
  lift(id: string): void {
    if (this.lifted?.id === id) return;
    const p = this.pattern(id);
    if (!p?.panel) return;
    this.lifted = { id, from: poseOf(p), pose: poseOf(p) };
    this.clashes = [];
    this.#known = this.lifted.pose;
    this.fault = '';
    this.#aside = false;
  }

  /** Moves what is lifted. Within `reach` mm of a place where it lies just clear
   * of everything it is led there; 0 leaves it as it is. */
  move(pose: Pose, reach = 0): void {
    if (!this.lifted) return;
    // Between two answers it would jump to and fro.
    if (!(this.#aside && reach)) this.lifted = { ...this.lifted, pose };
    this.#check.want({ pose, reach });
  }

  by(dx: number, dy: number): void {
    const { pose } = this.lifted!;
    this.move({ ...pose, x: pose.x + dx, y: pose.y + dy });
  }

  turn(degrees: number): void {
    const { id, pose } = this.lifted!;
    this.move(turnedInPlace(this.pattern(id)!, pose, degrees));
  }

  /** The way that takes it clear of all it meets, if there is a plain one. */
  way = $derived.by((): readonly [number, number] | null => {
    const ways = this.clashes.map((c) => c.clear);
    if (!ways.length || ways.some((w) => !w[0] && !w[1])) return null;
    const most = (i: 0 | 1) => ways.reduce((a, w) => (Math.abs(w[i]!) > Math.abs(a) ? w[i]! : a), 0);
    return [most(0), most(1)];
  });

  moveClear(): void {
    const w = this.way;
    if (w) this.by(w[0], w[1]);
  }

  putBack(): void {
    this.#check.drop();
    this.lifted = null;
    this.clashes = [];
    this.fault = '';
  }

  /** Lets it down where it is, if it meets nothing there. */
  letDown(): boolean {
    const up = this.lifted;
    if (!up || !this.doc || !this.checked || this.clashes.length) return false;
    const marks = edit.pin(this.marks, this.doc, up.id, up.pose);
    const turned = up.pose.rotation !== up.from.rotation;
    const stayed = up.pose.x === up.from.x && up.pose.y === up.from.y && !turned && up.pose.blank === up.from.blank;
    this.putBack();
    if (stayed) return true;
    this.settled = new Map([...this.settled, [up.id, up.pose]]);
    void job.mark(marks, `${up.id} ${turned ? 'turned' : 'moved'} on ${up.pose.blank}`);
    return true;
  }

  /** What was let down is part of the plan now, or never will be. */
  settle(): void {
    if (this.settled.size && job.writes?.saved && !job.stale && !job.progress) this.settled = new Map();
  }

  async #judge(pose: Pose, reach: number): Promise<void> {
    const up = this.lifted;
    const plan = job.whole;
    if (!up || !plan) return;
    // Where the others have been let down meanwhile.
    const others = [...this.settled].filter(([id]) => id !== up.id).map(([id, s]) => this.#moveOf(id, s));
    const ask = (at: Pose) => api.clashes(plan.id, [this.#moveOf(up.id, at), ...others]).then((cs) => cs.filter((c) => c.patterns.includes(up.id)));
    try {
      let at = pose;
      let met = await ask(at);
      this.#aside = false;
      if (reach && met.length && met.length <= 3 && met.every((c) => c.kind !== 'turn' && c.kind !== 'blank')) {
        this.clashes = met;
        const w = this.way;
        if (w && Math.hypot(w[0], w[1]) <= reach) {
          const clear = { ...pose, x: pose.x + w[0], y: pose.y + w[1] };
          const still = await ask(clear);
          if (!still.length) {
            [at, met] = [clear, still];
            this.#aside = true;
          }
        }
      }
      // Another one is up, or none.
      if (this.lifted?.id !== up.id) return;
      if (at !== pose || this.lifted.pose !== at) this.lifted = { ...this.lifted, pose: at };
      this.clashes = met;
      this.#known = at;
      this.fault = '';
    } catch (err) {
      this.fault = err instanceof Error ? err.message : String(err);
    }
  }

  #moveOf(pattern: string, p: Pose) {
    return { pattern, blank: p.blank, x: p.x, y: p.y, rotation: p.rotation };
  }
}
