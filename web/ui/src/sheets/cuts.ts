// In which order a sheet is cut up, from the job's veneer/sheet-cuts.csv.

import type { SheetDoc } from '../lib/plan';
import type { Box } from './place';

export interface Cut {
  n: number;
  /** What is cut, on the sheet, mm. */
  of: string;
  on: Box;
  along: boolean;
  /** From the left edge of what is cut, or from its lower one, mm. */
  where: number;
  before: string;
  beyond: string;
  /** The cut itself, on the sheet: from, to. */
  line: readonly [number, number, number, number];
}

export interface Order {
  /** Cut off all round first, mm. */
  margin: number;
  cuts: Cut[];
}

/** Reads the cuts of one sheet. Lines that cannot be followed end the list. */
export function cutsOf(csv: string, sheet: SheetDoc): Order {
  const out: Order = { margin: 0, cuts: [] };
  const parts = new Map<string, Box>();
  for (const line of csv.split(/\r?\n/).slice(1)) {
    const [id, number, of, , , direction, at, before, beyond] = line.split(',');
    if (id !== sheet.id) continue;
    const [n, where] = [Number(number), Number(at)];
    if (n === 0) {
      out.margin = where;
      parts.set('sheet', { x: where, y: where, w: sheet.width_mm - 2 * where, h: sheet.length_mm - 2 * where });
      continue;
    }
    const on = parts.get(of ?? '');
    if (!on || !Number.isFinite(where)) break;
    const along = direction === 'along the grain';
    parts.set(`${n}a`, along ? { ...on, w: where } : { ...on, h: where });
    parts.set(`${n}b`, along ? { ...on, x: on.x + where, w: on.w - where } : { ...on, y: on.y + where, h: on.h - where });
    out.cuts.push({
      n, of: of!, on, along, where, before: before!, beyond: beyond!,
      line: along ? [on.x + where, on.y, on.x + where, on.y + on.h] : [on.x, on.y + where, on.x + on.w, on.y + where],
    });
  }
  return out;
}
