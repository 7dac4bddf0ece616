// What part of a drawing is seen: a scale, and where the drawing's upper left
// corner stands. mm (or pixels of a photograph) in the drawing, px on the page.

import type { Point } from './place';

export interface View {
  /** px to a unit of the drawing. */
  k: number;
  x: number;
  y: number;
}

export interface Size {
  w: number;
  h: number;
}

/** All of a drawing, in the middle of the page, with some px free all round. */
export function whole(drawing: Size, page: Size, free = 28): View {
  const k = Math.max(1e-4, Math.min((page.w - 2 * free) / drawing.w, (page.h - 2 * free) / drawing.h));
  return { k, x: (page.w - k * drawing.w) / 2, y: (page.h - k * drawing.h) / 2 };
}

/** Nearer by a factor (farther below 1); what lies at a point of the page stays
 * there. Never farther than half of the whole, nor nearer than 40 px to a unit. */
export function nearer(v: View, factor: number, at: Point, least: number, most = 40): View {
  const k = Math.min(most, Math.max(least, v.k * factor));
  const f = k / v.k;
  return { k, x: at[0] - f * (at[0] - v.x), y: at[1] - f * (at[1] - v.y) };
}

/** Moved, but a part of the drawing stays in sight. */
export function moved(v: View, dx: number, dy: number, drawing: Size, page: Size, stays = 60): View {
  const clamp = (p: number, size: number, room: number) => Math.min(room - stays, Math.max(stays - size, p));
  return { k: v.k, x: clamp(v.x + dx, v.k * drawing.w, page.w), y: clamp(v.y + dy, v.k * drawing.h, page.h) };
}

/** A point of the page on the drawing. */
export const onDrawing = (v: View, [x, y]: Point): Point => [(x - v.x) / v.k, (y - v.y) / v.k];

/** So that a box of the drawing is in sight: as little movement as can be, no
 * change of scale. */
export function showing(v: View, box: { x: number; y: number; w: number; h: number }, page: Size, free = 24): View {
  const shift = (at: number, size: number, room: number) => {
    const lo = at;
    const hi = at + size;
    if (lo >= free && hi <= room - free) return 0;
    if (size > room - 2 * free) return room / 2 - (lo + hi) / 2;
    return lo < free ? free - lo : room - free - hi;
  };
  return {
    k: v.k,
    x: v.x + shift(v.x + v.k * box.x, v.k * box.w, page.w),
    y: v.y + shift(v.y + v.k * box.y, v.k * box.h, page.h),
  };
}

const inch = 25.4;

/** The longest round length that a scale bar of at most `most` px shows: 1, 2 or
 * 5 times a power of ten, or in inches a power of two of them or of feet. */
export function scaleBar(k: number, units: 'mm' | 'in', most = 140): { mm: number; label: string } {
  const room = most / k;
  if (units === 'in') {
    const steps: [number, string][] = [
      [1 / 16, '1/16 in'], [1 / 8, '1/8 in'], [1 / 4, '1/4 in'], [1 / 2, '1/2 in'], [1, '1 in'], [2, '2 in'], [4, '4 in'],
      [6, '6 in'], [12, '12 in'], [24, '24 in'], [48, '48 in'], [96, '96 in'],
    ];
    const [n, label] = steps.findLast(([s]) => s * inch <= room) ?? steps[0]!;
    return { mm: n * inch, label };
  }
  const tens = 10 ** Math.floor(Math.log10(room));
  const mm = [5, 2, 1].map((m) => m * tens).find((m) => m <= room * (1 + 1e-12)) ?? tens;
  return { mm, label: `${Number(mm.toPrecision(3))} mm` };
}
