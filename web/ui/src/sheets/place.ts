// Where things lie. A pattern has coordinates of its own; turned and moved they
// are its blank's, as it lies on the laser bed, seen from the show face, y up.
// A sheet is counted across its grain and along it. Drawings have y down.

import type { PanelDoc, PatternDoc } from '../lib/plan';

export type Point = readonly [number, number];

/** How a pattern lies: turned about its own origin (degrees, counter-clockwise),
 * then moved by x and y (mm), on a blank. */
export interface Pose {
  blank: string;
  x: number;
  y: number;
  rotation: number;
}

export interface Box {
  x: number;
  y: number;
  w: number;
  h: number;
}

export const poseOf = (p: PatternDoc): Pose => ({ blank: p.panel, x: p.x, y: p.y, rotation: p.rotation });

/** Cosine and sine, exact at quarter turns. */
function turn(degrees: number): Point {
  switch (((degrees % 360) + 360) % 360) {
    case 0: return [1, 0];
    case 90: return [0, 1];
    case 180: return [-1, 0];
    case 270: return [0, -1];
  }
  const t = (degrees * Math.PI) / 180;
  return [Math.cos(t), Math.sin(t)];
}

/** A point of a pattern on its blank. */
export function onBlank(pose: Pose, [x, y]: Point): Point {
  const [c, s] = turn(pose.rotation);
  return [pose.x + c * x - s * y, pose.y + s * x + c * y];
}

/** A point of a blank on the pattern. */
export function onPattern(pose: Pose, [x, y]: Point): Point {
  const [c, s] = turn(pose.rotation);
  const [u, v] = [x - pose.x, y - pose.y];
  return [c * u + s * v, c * v - s * u];
}

type Lying = Pick<PanelDoc, 'sheet_x' | 'sheet_y' | 'height_mm' | 'grain'>;

/** A point of a blank on its sheet: a blank whose grain runs along the bed's X
 * lies there turned by a quarter. */
export function onSheet(b: Lying, [x, y]: Point): Point {
  return b.grain === 0 ? [b.sheet_x + b.height_mm - y, b.sheet_y + x] : [b.sheet_x + x, b.sheet_y + y];
}

/** A point of a sheet on one of its blanks. */
export function fromSheet(b: Lying, [x, y]: Point): Point {
  return b.grain === 0 ? [y - b.sheet_y, b.height_mm - (x - b.sheet_x)] : [x - b.sheet_x, y - b.sheet_y];
}

/** Where a blank lies on its sheet. */
export function boxOnSheet(b: PanelDoc): Box {
  return b.grain === 0
    ? { x: b.sheet_x, y: b.sheet_y, w: b.height_mm, h: b.width_mm }
    : { x: b.sheet_x, y: b.sheet_y, w: b.width_mm, h: b.height_mm };
}

type Matrix = [number, number, number, number, number, number];

// A sheet is drawn lying, its grain from left to right and its corner 0, 0 at the
// upper left: most blanks then lie as on the bed.

/** A point of a sheet in its drawing, and a point of the drawing on the sheet. */
export const lying = ([x, y]: Point): Point => [y, x];

/** A box of a sheet in its drawing. */
export const boxLying = (b: Box): Box => ({ x: b.y, y: b.x, w: b.h, h: b.w });

/** Matrix (as SVG writes it) from a blank's drawing to that of its sheet; both
 * have their upper left corner at 0, 0 and y down. */
export function matrix(b: PanelDoc): Matrix {
  return b.grain === 0 ? [1, 0, 0, 1, b.sheet_y, b.sheet_x] : [0, 1, -1, 0, b.sheet_y + b.height_mm, b.sheet_x];
}

/** The matrix back, of the sheet's drawing to the blank's. */
export function matrixBack(b: PanelDoc): Matrix {
  return b.grain === 0 ? [1, 0, 0, 1, -b.sheet_y, -b.sheet_x] : [0, -1, 1, 0, -b.sheet_x, b.sheet_y + b.height_mm];
}

/** A way right and up in the sheet's drawing, on a blank of it. */
export function wayFromLying(b: PanelDoc, [dx, dy]: Point): Point {
  return b.grain === 0 ? [dx, dy] : [-dy, dx];
}

/** Box round points. */
export function boxOf(points: readonly (readonly number[])[]): Box {
  let [x0, y0, x1, y1] = [Infinity, Infinity, -Infinity, -Infinity];
  for (const [x, y] of points as readonly Point[]) {
    x0 = Math.min(x0, x);
    y0 = Math.min(y0, y);
    x1 = Math.max(x1, x);
    y1 = Math.max(y1, y);
  }
  return { x: x0, y: y0, w: x1 - x0, h: y1 - y0 };
}

/** The box between two corners, whichever they are. */
export function between([a, b]: Point, [c, d]: Point): Box {
  return { x: Math.min(a, c), y: Math.min(b, d), w: Math.abs(c - a), h: Math.abs(d - b) };
}

/** What of a box lies on a sheet w by l; null if nothing does. */
export function clipped(box: Box, w: number, l: number): Box | null {
  const x = Math.max(0, box.x);
  const y = Math.max(0, box.y);
  const right = Math.min(w, box.x + box.w);
  const top = Math.min(l, box.y + box.h);
  return right > x && top > y ? { x, y, w: right - x, h: top - y } : null;
}

/** A box of the sheet on a blank, clipped to it; null if it does not meet it. */
export function boxFromSheet(b: PanelDoc, box: Box): Box | null {
  return clipped(between(fromSheet(b, [box.x, box.y]), fromSheet(b, [box.x + box.w, box.y + box.h])), b.width_mm, b.height_mm);
}

/** A number of a path: a tenth of a micrometre, as in the cut sheets. */
const short = (v: number) => String(Math.round(v * 1e4) / 1e4 || 0);

/** SVG path of closed loops given with y up, on a drawing `height` high. */
export function pathOf(loops: readonly (readonly (readonly number[])[])[], height: number): string {
  return loops.map((loop) => `M${loop.map((p) => `${short(p[0]!)} ${short(height - p[1]!)}`).join('L')}Z`).join('');
}

/** Outline and holes of a pattern as it lies on its blank, y up. */
export function loopsOf(p: Pick<PatternDoc, 'outline' | 'holes'>, pose: Pose): Point[][] {
  return [p.outline, ...p.holes].map((loop) => loop.map((q) => onBlank(pose, q as unknown as Point)));
}

/** Turned about the middle of its outline, so that it stays in its place. */
export function turnedInPlace(p: Pick<PatternDoc, 'outline'>, pose: Pose, degrees: number): Pose {
  const box = boxOf(p.outline);
  const middle: Point = [box.x + box.w / 2, box.y + box.h / 2];
  const stays = onBlank(pose, middle);
  let rotation = (((pose.rotation + degrees) % 360) + 360) % 360;
  if (rotation > 180) rotation -= 360;
  const [x, y] = onBlank({ ...pose, x: 0, y: 0, rotation }, middle);
  return { ...pose, rotation, x: stays[0] - x, y: stays[1] - y };
}

/** The same place on the sheet as a place on another blank of it; its grain
 * runs on as it did. */
export function toBlank(pose: Pose, from: PanelDoc, to: PanelDoc): Pose {
  const [x, y] = fromSheet(to, onSheet(from, [pose.x, pose.y]));
  return { blank: to.id, x, y, rotation: pose.rotation + to.grain - from.grain };
}

/** Whether a point is inside a closed loop (even-odd). */
function within(loop: readonly (readonly number[])[], [x, y]: Point): boolean {
  let is = false;
  for (let i = 0, j = loop.length - 1; i < loop.length; j = i++) {
    const [[ax, ay], [bx, by]] = [loop[i] as unknown as Point, loop[j] as unknown as Point];
    if (ay > y !== by > y && x < ((bx - ax) * (y - ay)) / (by - ay) + ax) is = !is;
  }
  return is;
}

function distance(loop: readonly (readonly number[])[], [x, y]: Point): number {
  let best = Infinity;
  for (let i = 0, j = loop.length - 1; i < loop.length; j = i++) {
    const [[ax, ay], [bx, by]] = [loop[i] as unknown as Point, loop[j] as unknown as Point];
    const [dx, dy] = [bx - ax, by - ay];
    const t = Math.max(0, Math.min(1, ((x - ax) * dx + (y - ay) * dy) / (dx * dx + dy * dy || 1)));
    best = Math.min(best, Math.hypot(x - ax - t * dx, y - ay - t * dy));
  }
  return best;
}

export interface Room {
  at: Point;
  /** Free all round the point, mm. */
  free: number;
  /** Free to both sides along the longer side of the outline, mm in all. */
  along: number;
  /** The longer side runs along Y. */
  upright: boolean;
}

const rooms = new WeakMap<object, Room>();

/** Where in its own coordinates a pattern has most room for its name. */
export function roomOf(p: Pick<PatternDoc, 'outline' | 'holes'>): Room {
  const known = rooms.get(p.outline);
  if (known) return known;
  const box = boxOf(p.outline);
  const loops = [p.outline, ...p.holes];
  const inside = (q: Point) => within(p.outline, q) && !p.holes.some((h) => within(h, q));
  let room: Room = { at: [box.x + box.w / 2, box.y + box.h / 2], free: 0, along: 0, upright: box.h > box.w };
  const n = 12;
  let best = -Infinity;
  for (let i = 1; i < n; i++) {
    for (let j = 1; j < n; j++) {
      const at: Point = [box.x + (box.w * i) / n, box.y + (box.h * j) / n];
      if (!inside(at)) continue;
      const free = Math.min(...loops.map((l) => distance(l, at)));
      const good = free - 0.01 * Math.hypot(at[0] - box.x - box.w / 2, at[1] - box.y - box.h / 2);
      if (good > best) {
        best = good;
        room = { ...room, at, free };
      }
    }
  }
  // How far a line of letters can run from there both ways.
  const step = Math.max(box.w, box.h) / 60;
  const way: Point = room.upright ? [0, 1] : [1, 0];
  let reach = 0;
  while (reach < Math.max(box.w, box.h)) {
    const next = reach + step;
    if (![-1, 1].every((k) => inside([room.at[0] + k * next * way[0], room.at[1] + k * next * way[1]]))) break;
    reach = next;
  }
  room.along = 2 * Math.max(reach, room.free);
  rooms.set(p.outline, room);
  return room;
}
