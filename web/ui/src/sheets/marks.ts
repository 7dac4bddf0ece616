// What the maker marks on sheets and pins on blanks. Nothing is changed in
// place: each function gives new marks.

import type { PanelDoc, PatternDoc, PlanDoc, SheetDoc } from '../lib/plan';
import type { MarkedBlank, Marks, Photograph, Place, Reserved } from '../lib/types';
import { poseOf, type Box, type Pose } from './place';

export const kinds = ['knot', 'split', 'stain', 'other'] as const;
export type Kind = (typeof kinds)[number];

/** Lengths in the marks are whole micrometres. */
const um = (v: number) => Math.round(v * 1000) / 1000 || 0;

/** What a reserved area is called. */
export function named(what: string): string {
  return what === 'other' || !what ? 'Reserved area' : what[0]!.toUpperCase() + what.slice(1);
}

export function reserved(sheet: string, box: Box, what: Kind): Reserved {
  return { sheet, at: [um(box.x), um(box.y)], size: [um(box.w), um(box.h)], what };
}

export const boxOfArea = (r: Reserved): Box => ({ x: r.at[0], y: r.at[1], w: r.size[0], h: r.size[1] });

export function withArea(marks: Marks, area: Reserved): Marks {
  return { ...marks, reserved: [...(marks.reserved ?? []), area] };
}

/** n counts all reserved areas from 0. */
export function changedArea(marks: Marks, n: number, area: Reserved): Marks {
  return { ...marks, reserved: (marks.reserved ?? []).map((r, i) => (i === n ? area : r)) };
}

export function withoutArea(marks: Marks, n: number): Marks {
  return { ...marks, reserved: (marks.reserved ?? []).filter((_, i) => i !== n) };
}

/** Whether a pattern stays where it is. */
export function pinned(marks: Marks, id: string): boolean {
  return !!marks.blanks?.some((b) => b.patterns.some((p) => p.pattern === id));
}

const pinOf = (id: string, pose: Pose) => ({
  pattern: id,
  // plan.json has nanometres; as many stay, or a kept layout would not be the same.
  at: [pose.x, pose.y] as Place,
  turn: pose.rotation,
});

function blankOf(panel: PanelDoc): MarkedBlank {
  return {
    veneer: panel.veneer,
    sheet: panel.sheet,
    size: [panel.width_mm, panel.height_mm],
    ...(panel.grain === 0 ? {} : { grain: 'y' as const }),
    at: [panel.sheet_x, panel.sheet_y],
    patterns: [],
    rest: true,
  };
}

/** The blank of the marks that a blank of the plan is, by what lies on it; -1
 * for none. laid are the patterns in the places they have in the plan. */
function markedAs(marks: Marks, panel: string, laid: readonly PatternDoc[]): number {
  const on = new Set(laid.filter((p) => p.panel === panel).map((p) => p.id));
  return (marks.blanks ?? []).findIndex((b) => b.patterns.some((p) => on.has(p.pattern)));
}

/** Without some pins; a blank that holds nothing any more goes. */
function without(marks: Marks, ids: ReadonlySet<string>): Marks {
  const blanks = (marks.blanks ?? [])
    .map((b) => {
      const patterns = b.patterns.filter((p) => !ids.has(p.pattern));
      // What was kept whole and loses a pattern has room for others.
      return patterns.length === b.patterns.length ? b : { ...b, patterns, rest: true };
    })
    .filter((b) => b.patterns.length > 0);
  return { ...marks, blanks };
}

export function unpin(marks: Marks, id: string): Marks {
  return without(marks, new Set([id]));
}

export function unpinAll(marks: Marks): Marks {
  return { ...marks, blanks: [] };
}

/** Pins a pattern where it is, or is let down, on a blank of the plan. A blank
 * that is pinned on for the first time is held on its sheet as it is. */
export function pin(marks: Marks, doc: PlanDoc, id: string, pose: Pose): Marks {
  const panel = doc.panels.find((p) => p.id === pose.blank);
  if (!panel) return marks;
  const already = markedAs(marks, panel.id, doc.patterns);
  const target = already < 0 ? null : marks.blanks![already]!;
  const blanks = (marks.blanks ?? [])
    .map((b) => {
      const has = b.patterns.some((p) => p.pattern === id);
      const patterns = b.patterns.filter((p) => p.pattern !== id);
      if (b === target) return { ...b, patterns: [...patterns, pinOf(id, pose)] };
      return has ? { ...b, patterns, rest: true } : b;
    })
    .filter((b) => b.patterns.length > 0);
  if (!target) blanks.push({ ...blankOf(panel), patterns: [pinOf(id, pose)] });
  return { ...marks, blanks };
}

/** Keeps a whole layout: every blank as it is, every pattern in its place. */
export function keepAll(marks: Marks, doc: PlanDoc): Marks {
  const blanks = doc.panels.map((panel) => ({
    ...blankOf(panel),
    patterns: doc.patterns.filter((p) => p.panel === panel.id).map((p) => pinOf(p.id, poseOf(p))),
    rest: false,
  }));
  return { ...marks, blanks: blanks.filter((b) => b.patterns.length > 0) };
}

/** Whether every pattern that lies somewhere is pinned. */
export function keptWhole(marks: Marks, doc: PlanDoc): boolean {
  const ids = new Set((marks.blanks ?? []).flatMap((b) => b.patterns.map((p) => p.pattern)));
  return ids.size > 0 && doc.patterns.every((p) => !p.panel || ids.has(p.id));
}

export function photographOf(marks: Marks, sheet: string): Photograph | undefined {
  return marks.photographs?.find((p) => p.sheet === sheet);
}

export function withPhotograph(marks: Marks, photograph: Photograph): Marks {
  const others = (marks.photographs ?? []).filter((p) => p.sheet !== photograph.sheet);
  return { ...marks, photographs: [...others, photograph] };
}

export function withoutPhotograph(marks: Marks, sheet: string): Marks {
  return { ...marks, photographs: (marks.photographs ?? []).filter((p) => p.sheet !== sheet) };
}

/** Sheets that the marks speak of and nothing is cut from, such as one whose
 * knots leave no room; each as large as the others of its veneer. */
export function idle(marks: Marks, doc: PlanDoc): SheetDoc[] {
  const told = [...(marks.reserved ?? []), ...(marks.photographs ?? [])].map((m) => m.sheet);
  return [...new Set(told)].sort().flatMap((id) => {
    if (doc.sheets.some((s) => s.id === id)) return [];
    const like = doc.sheets.find((s) => !s.kept && id.startsWith(`${s.veneer}-`) && /^\d+$/.test(id.slice(s.veneer.length + 1)));
    return like ? [{ ...like, id, offcuts: [] }] : [];
  });
}

/** Corners to begin with: the sheet fills most of a photograph w by h pixels,
 * its length along the photograph's longer side; lying as sheets are drawn. */
export function firstCorners(w: number, h: number): Photograph['corners'] {
  const [l, r, t, b] = [0.08 * w, 0.92 * w, 0.08 * h, 0.92 * h].map(Math.round) as [number, number, number, number];
  const upright: Photograph['corners'] = [[l, b], [r, b], [r, t], [l, t]];
  return w > h ? quarter(quarter(quarter(upright))) : upright;
}

/** The sheet lies in the photograph turned by a quarter more. */
export function quarter(c: Photograph['corners']): Photograph['corners'] {
  return [c[1], c[2], c[3], c[0]];
}

/** Share of the blanks that patterns take, 0 to 1, and the veneer that the
 * sheets lose: their area less the offcuts worth keeping, mm². */
export function use(doc: PlanDoc): { density: number; consumed: number } {
  const used = doc.panels.reduce((a, p) => a + p.used_mm2, 0);
  const blanks = doc.panels.reduce((a, p) => a + p.width_mm * p.height_mm, 0);
  let consumed = 0;
  for (const s of doc.sheets) {
    consumed += s.width_mm * s.length_mm;
    for (const o of s.offcuts) consumed -= (o.max[0]! - o.min[0]!) * (o.max[1]! - o.min[1]!);
  }
  return { density: blanks ? used / blanks : 0, consumed };
}
