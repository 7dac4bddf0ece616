// Height, width and depth as a drawing gives them: a dimension line outside the
// piece between two witness lines. They lie in the plane of the picture, over
// it, along edges of the piece's box that nothing of it can cover.

import { Vector3 } from 'three';

export interface Line {
  x1: number;
  y1: number;
  x2: number;
  y2: number;
}

export interface Dimension {
  what: 'width' | 'depth' | 'height';
  mm: number;
  /** px. */
  line: Line;
  witness: [Line, Line];
  text: { x: number; y: number; angle: number };
}

export interface Box {
  min: [number, number, number];
  max: [number, number, number];
}

/** px. */
const OUT = 26;
const BEYOND = 6;
const GAP = 5;

/** A place of the piece, mm with Z up, in drawn metres with Y up. */
export const drawn = (x: number, y: number, z: number) => new Vector3(x / 1000, z / 1000, -y / 1000);

/**
 * The dimensions that can be read from where the eye is, each along an edge of
 * the box that is on the outline of its picture: width and depth along the
 * lowest such edge, height along the leftmost. project gives the place in the
 * picture (px, y down) of a point in drawn coordinates.
 */
export function dimensions(box: Box, project: (p: Vector3) => { x: number; y: number }): Dimension[] {
  const bounds = [box.min, box.max];
  // The corner with the bits i of its x, y and z.
  const corner = [0, 1, 2, 3, 4, 5, 6, 7].map((i) => project(drawn(bounds[i & 1]![0], bounds[(i >> 1) & 1]![1], bounds[i >> 2]![2])));
  const middle = { x: mean(corner.map((c) => c.x)), y: mean(corner.map((c) => c.y)) };
  const out: Dimension[] = [];
  (['width', 'depth', 'height'] as const).forEach((what, axis) => {
    const bit = 1 << axis;
    let best: [{ x: number; y: number }, { x: number; y: number }] | null = null;
    for (let i = 0; i < 8; i++) {
      if (i & bit) continue;
      const [a, b] = [corner[i]!, corner[i | bit]!];
      if (!outermost(a, b, corner)) continue;
      const better = !best || (what === 'height' ? a.x + b.x < best[0].x + best[1].x : a.y + b.y > best[0].y + best[1].y);
      if (better) best = [a, b];
    }
    const d = best && dimension(what, box.max[axis]! - box.min[axis]!, best[0], best[1], middle);
    if (d) out.push(d);
  });
  // What is much shortened reads wrongly beside the others.
  const scale = (d: Dimension) => Math.hypot(d.line.x2 - d.line.x1, d.line.y2 - d.line.y1) / d.mm;
  const most = Math.max(...out.map(scale));
  return out.filter((d) => scale(d) > 0.34 * most);
}

const mean = (a: number[]) => a.reduce((s, v) => s + v, 0) / a.length;

/** Whether all points lie on one side of the line from a to b, or on it. */
function outermost(a: { x: number; y: number }, b: { x: number; y: number }, points: { x: number; y: number }[]): boolean {
  let [most, least] = [0, 0];
  for (const p of points) {
    const s = (b.x - a.x) * (p.y - a.y) - (b.y - a.y) * (p.x - a.x);
    most = Math.max(most, s);
    least = Math.min(least, s);
  }
  const hair = 1e-6 * Math.hypot(b.x - a.x, b.y - a.y);
  return most <= hair || least >= -hair;
}

/** One dimension along an edge from a to b, on the side away from the middle;
 * null where the edge is seen end on and could not be read. */
export function dimension(what: Dimension['what'], mm: number, a: { x: number; y: number }, b: { x: number; y: number }, middle: { x: number; y: number }): Dimension | null {
  const dx = b.x - a.x;
  const dy = b.y - a.y;
  const length = Math.hypot(dx, dy);
  if (!(length > 46) || !(mm > 0)) return null;
  let [nx, ny] = [-dy / length, dx / length];
  if (nx * (middle.x - a.x) + ny * (middle.y - a.y) > 0) [nx, ny] = [-nx, -ny];
  const from = (p: { x: number; y: number }): Line => ({ x1: p.x + nx * GAP, y1: p.y + ny * GAP, x2: p.x + nx * (OUT + BEYOND), y2: p.y + ny * (OUT + BEYOND) });
  let angle = (Math.atan2(dy, dx) * 180) / Math.PI;
  // Read from below or from the right.
  if (angle > 60) angle -= 180;
  if (angle <= -120) angle += 180;
  return {
    what, mm,
    line: { x1: a.x + nx * OUT, y1: a.y + ny * OUT, x2: b.x + nx * OUT, y2: b.y + ny * OUT },
    witness: [from(a), from(b)],
    text: { x: (a.x + b.x) / 2 + nx * OUT, y: (a.y + b.y) / 2 + ny * OUT, angle },
  };
}
