import { Vector3 } from 'three';
import { describe, expect, it } from 'vitest';
import { axes, between, eye, fit, nearer, shift, turn, viewFrom, type From, type Pose } from './camera';

const box = (x: number, y: number, z: number) => {
  const out: Vector3[] = [];
  for (const a of [-x, x]) for (const b of [0, y]) for (const c of [-z, z]) out.push(new Vector3(a, b, c));
  return out;
};

/** Where a point is in the picture, in shares of half its height and width. */
function seen(p: Pose, point: Vector3, tanX: number, tanY: number): { x: number; y: number; depth: number } {
  const a = axes(p.azimuth, p.elevation);
  const d = point.clone().sub(eye(p));
  const depth = -d.dot(a.out);
  return { x: d.dot(a.right) / depth / tanX, y: d.dot(a.up) / depth / tanY, depth };
}

describe('camera', () => {
  it('has right-handed axes at right angles', () => {
    for (const [az, el] of [[0, 0], [1, 0.4], [-2, -1], [3, 1.5]] as const) {
      const { out, right, up } = axes(az, el);
      expect(right.clone().cross(up).distanceTo(out)).toBeLessThan(1e-12);
      expect(out.length()).toBeCloseTo(1, 12);
    }
  });

  for (const from of ['front', 'side', 'above', 'corner'] as From[]) {
    for (const size of [[0.2, 0.5, 0.2], [1, 0.05, 0.1], [0.05, 2, 0.05]] as const) {
      for (const [tx, ty] of [[0.4, 0.23], [0.1, 0.23]] as const) {
        it(`fits ${size} from the ${from} into ${tx} by ${ty}, and no farther than needed`, () => {
          const points = box(size[0], size[1], size[2]);
          const v = viewFrom(from);
          const p = fit(points, v.azimuth, v.elevation, tx, ty);
          const at = points.map((q) => seen(p, q, tx, ty));
          const most = Math.max(...at.map((q) => Math.max(Math.abs(q.x), Math.abs(q.y))));
          expect(most).toBeLessThan(1 + 1e-9);
          expect(most).toBeGreaterThan(1 - 1e-9);
          for (const q of at) expect(q.depth).toBeGreaterThan(0);
        });
      }
    }
  }

  it('looks from where its words say', () => {
    const at = (f: From) => eye({ ...viewFrom(f), distance: 1, target: new Vector3() });
    expect(at('front').z).toBeGreaterThan(0.99); // the piece's −y
    expect(at('side').x).toBeGreaterThan(0.99);
    expect(at('above').y).toBeGreaterThan(0.99);
  });

  it('turns, but not over the pole', () => {
    const p: Pose = { azimuth: 0, elevation: 0, distance: 1, target: new Vector3() };
    expect(turn(p, 0, 9).elevation).toBeLessThan(Math.PI / 2);
    expect(turn(p, 0, -9).elevation).toBeGreaterThan(-Math.PI / 2);
    // What is turned to the right is seen more from the left.
    expect(eye(turn(p, 0.5, 0)).x).toBeLessThan(0);
  });

  it('keeps the point under the pointer where it is when going nearer', () => {
    const [tx, ty] = [0.37, 0.23];
    const p: Pose = { azimuth: 0.7, elevation: 0.3, distance: 2, target: new Vector3(0.1, 0.2, 0.3) };
    const a = axes(p.azimuth, p.elevation);
    const point = p.target.clone().addScaledVector(a.right, 0.5 * ty * 2).addScaledVector(a.up, -0.3 * ty * 2);
    const before = seen(p, point, tx, ty);
    const after = seen(nearer(p, 0.5, 0.5, -0.3, ty, 0.01, 9), point, tx, ty);
    expect(after.x).toBeCloseTo(before.x, 9);
    expect(after.y).toBeCloseTo(before.y, 9);
    expect(nearer(p, 1e-9, 0, 0, ty, 0.2, 9).distance).toBe(0.2);
    expect(nearer(p, 1e9, 0, 0, ty, 0.2, 9).distance).toBe(9);
  });

  it('shifts what lies at the target along with the pointer', () => {
    const p: Pose = { azimuth: 0.7, elevation: 0.3, distance: 2, target: new Vector3() };
    const q = shift(p, 0.25, 0.1, 0.23);
    const at = seen(q, p.target, 0.23, 0.23); // shares of half the height
    expect(at.x).toBeCloseTo(0.5, 9);
    expect(at.y).toBeCloseTo(0.2, 9);
  });

  it('goes from one pose to another the short way round', () => {
    const a: Pose = { azimuth: 3, elevation: 0, distance: 1, target: new Vector3() };
    const b: Pose = { azimuth: -3, elevation: 1, distance: 4, target: new Vector3(1, 0, 0) };
    expect(eye(between(a, b, 0)).distanceTo(eye(a))).toBeLessThan(1e-12);
    expect(eye(between(a, b, 1)).distanceTo(eye(b))).toBeLessThan(1e-12);
    expect(Math.abs(between(a, b, 0.5).azimuth - Math.PI)).toBeLessThan(0.01);
    expect(between(a, b, 0.5).distance).toBeCloseTo(2, 9);
  });
});
