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
 * The dimensions that can be read from where the eye is. project gives the
 * place in the picture (px, y down) of a point in drawn coordinates.
 */
export function dimensions(box: Box, azimuth: number, elevation: number, project: (p: Vector3) => { x: number; y: number }): Dimension[] {
  const [x0, y0, z0] = box.min;
  const [x1, y1, z1] = box.max;
  const at = (x: number, y: number, z: number) => project(drawn(x, y, z));
  const middle = at((x0 + x1) / 2, (y0 + y1) / 2, (z0 + z1) / 2);
  // Along the floor; along the top where that hides the floor, or from below.
  const z = elevation >= 0 && elevation < 0.95 ? z0 : z1;
  const right = Math.sin(azimuth) >= 0; // the eye is on the +x side
  const ahead = Math.cos(azimuth) >= 0; // and in front
  const yn = ahead ? y0 : y1;
  const xn = right ? x1 : x0;
  // The upright edge at the other end of the front or side that is seen least.
  const upright: [number, number] = Math.abs(Math.sin(azimuth)) < Math.SQRT1_2 ? [right ? x0 : x1, yn] : [xn, ahead ? y1 : y0];
  const out: Dimension[] = [];
  const add = (what: Dimension['what'], mm: number, a: { x: number; y: number }, b: { x: number; y: number }) => {
    const d = dimension(what, mm, a, b, middle);
    if (d) out.push(d);
  };
  add('width', x1 - x0, at(x0, yn, z), at(x1, yn, z));
  add('depth', y1 - y0, at(xn, y0, z), at(xn, y1, z));
  add('height', z1 - z0, at(...upright, z0), at(...upright, z1));
  // What is much shortened reads wrongly beside the others.
  const scale = (d: Dimension) => Math.hypot(d.line.x2 - d.line.x1, d.line.y2 - d.line.y1) / d.mm;
  const most = Math.max(...out.map(scale));
  return out.filter((d) => scale(d) > 0.34 * most);
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
