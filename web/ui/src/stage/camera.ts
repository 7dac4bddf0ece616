// Where the eye is: on a sphere round what is looked at. Metres, Y up; azimuth
// 0 looks from the front (the piece's −y), growing to the right; radians.

import { Vector3 } from 'three';

export interface Pose {
  azimuth: number;
  elevation: number;
  distance: number;
  target: Vector3;
}

export type From = 'front' | 'side' | 'above' | 'corner';

/** The most that one can look up or down; at the pole itself there is no up. */
const STEEP = Math.PI / 2 - 0.001;

const VIEWS: Record<From, readonly [number, number]> = {
  front: [0, 0.06],
  side: [Math.PI / 2, 0.06],
  above: [0, STEEP],
  corner: [0.62, 0.4],
};

export const viewFrom = (from: From) => ({ azimuth: VIEWS[from][0], elevation: VIEWS[from][1] });

/** Unit axes of the picture: to the eye, to the right, and up. */
export function axes(azimuth: number, elevation: number): { out: Vector3; right: Vector3; up: Vector3 } {
  const [ca, sa, ce, se] = [Math.cos(azimuth), Math.sin(azimuth), Math.cos(elevation), Math.sin(elevation)];
  return { out: new Vector3(sa * ce, se, ca * ce), right: new Vector3(ca, 0, -sa), up: new Vector3(-sa * se, ce, -ca * se) };
}

export function eye(p: Pose): Vector3 {
  return axes(p.azimuth, p.elevation).out.multiplyScalar(p.distance).add(p.target);
}

/** Turns by angles; looking from below is allowed, over the pole is not. */
export function turn(p: Pose, right: number, up: number): Pose {
  return { ...p, azimuth: p.azimuth - right, elevation: Math.min(STEEP, Math.max(-STEEP, p.elevation + up)) };
}

/** Shifts what is seen by shares of the picture's height. */
export function shift(p: Pose, right: number, up: number, tan: number): Pose {
  const a = axes(p.azimuth, p.elevation);
  const k = 2 * tan * p.distance;
  return { ...p, target: p.target.clone().addScaledVector(a.right, -right * k).addScaledVector(a.up, -up * k) };
}

/** Goes nearer by a factor (below 1) towards a point of the picture, whose
 * place is given in shares of half its height from the middle. */
export function nearer(p: Pose, factor: number, x: number, y: number, tan: number, least: number, most: number): Pose {
  const distance = Math.min(most, Math.max(least, p.distance * factor));
  const a = axes(p.azimuth, p.elevation);
  const k = tan * (p.distance - distance);
  return { ...p, distance, target: p.target.clone().addScaledVector(a.right, x * k).addScaledVector(a.up, y * k) };
}

/** The nearest place from which all points are seen in a given direction: tanX
 * and tanY are tangents of half the angles that the points may fill. */
export function fit(points: readonly Vector3[], azimuth: number, elevation: number, tanX: number, tanY: number): Pose {
  const a = axes(azimuth, elevation);
  // In the picture's axes, the eye at (cx, cy, cz) sees p if
  // |p.x − cx| ≤ tanX (cz − p.z); so for the rightmost and leftmost cones.
  let [right, left, top, low, front, back] = [-Infinity, Infinity, -Infinity, Infinity, -Infinity, Infinity];
  for (const p of points) {
    const [x, y, z] = [p.dot(a.right), p.dot(a.up), p.dot(a.out)];
    right = Math.max(right, x + tanX * z);
    left = Math.min(left, x - tanX * z);
    top = Math.max(top, y + tanY * z);
    low = Math.min(low, y - tanY * z);
    front = Math.max(front, z);
    back = Math.min(back, z);
  }
  const cz = Math.max((right - left) / (2 * tanX), (top - low) / (2 * tanY), front + 1e-4);
  const middle = (front + back) / 2;
  const target = new Vector3()
    .addScaledVector(a.right, (right + left) / 2)
    .addScaledVector(a.up, (top + low) / 2)
    .addScaledVector(a.out, middle);
  return { azimuth, elevation, distance: Math.max(0.02, cz - middle), target };
}

/** Between two poses, t in 0..1, the short way round. */
export function between(a: Pose, b: Pose, t: number): Pose {
  const s = t * t * (3 - 2 * t);
  const round = 2 * Math.PI;
  let da = (b.azimuth - a.azimuth) % round;
  if (da > Math.PI) da -= round;
  if (da < -Math.PI) da += round;
  return {
    azimuth: a.azimuth + da * s,
    elevation: a.elevation + (b.elevation - a.elevation) * s,
    distance: a.distance * (b.distance / a.distance) ** s,
    target: a.target.clone().lerp(b.target, s),
  };
}
