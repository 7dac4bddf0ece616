import { Vector3 } from 'three';
import { describe, expect, it } from 'vitest';
import { axes, eye, fit, viewFrom, type Pose } from './camera';
import { dimension, dimensions, drawn, type Box } from './measure';

const box: Box = { min: [-230, -170, 0], max: [230, 170, 540] };
const corners: Vector3[] = [];
for (const x of [-230, 230]) for (const y of [-170, 170]) for (const z of [0, 540]) corners.push(drawn(x, y, z));

function project(p: Pose) {
  const a = axes(p.azimuth, p.elevation);
  const from = eye(p);
  return (q: Vector3) => {
    const d = q.clone().sub(from);
    const k = 400 / -d.dot(a.out) / 0.23;
    return { x: 640 + d.dot(a.right) * k, y: 400 - d.dot(a.up) * k };
  };
}

const see = (azimuth: number, elevation: number) => {
  const pose = fit(corners, azimuth, elevation, 0.3, 0.19);
  return { list: dimensions(box, project(pose)), project: project(pose) };
};

describe('dimensions', () => {
  it('are the height, width and depth from a corner', () => {
    const { list } = see(viewFrom('corner').azimuth, viewFrom('corner').elevation);
    expect(list.map((d) => [d.what, d.mm]).sort()).toEqual([['depth', 340], ['height', 540], ['width', 460]]);
  });

  it('leave out what is seen end on', () => {
    const front = see(0, 0.06).list.map((d) => d.what);
    expect(front).toContain('width');
    expect(front).toContain('height');
    expect(front).not.toContain('depth');
    const above = see(0, Math.PI / 2 - 0.001).list.map((d) => d.what);
    expect(above.sort()).toEqual(['depth', 'width']);
  });

  it('lie outside the piece from everywhere around', () => {
    for (let az = -3.1; az < 3.2; az += 0.31) {
      for (const el of [-0.6, -0.2, 0.06, 0.4, 0.8, 1.2, 1.5]) {
        const { list, project } = see(az, el);
        const hull = corners.map(project);
        for (const d of list) {
          // The middle of the line lies in no triangle of the box's picture.
          const m = { x: (d.line.x1 + d.line.x2) / 2, y: (d.line.y1 + d.line.y2) / 2 };
          const side = (a: { x: number; y: number }, b: { x: number; y: number }, c: { x: number; y: number }) => (b.x - a.x) * (c.y - a.y) - (b.y - a.y) * (c.x - a.x);
          let within = false;
          for (let i = 0; i < 8; i++) for (let j = 0; j < i; j++) for (let k = 0; k < j; k++) {
            const s = [side(hull[i]!, hull[j]!, m), side(hull[j]!, hull[k]!, m), side(hull[k]!, hull[i]!, m)];
            if (s.every((v) => v > 1e-6) || s.every((v) => v < -1e-6)) within = true;
          }
          expect({ az, el, what: d.what, within }).toEqual({ az, el, what: d.what, within: false });
        }
      }
    }
  });

  it('are read from below or from the right', () => {
    for (const [x, y] of [[100, 0], [0, 100], [-100, 10], [0, -100], [70, -70], [70, 70]] as const) {
      const d = dimension('width', 10, { x: 0, y: 0 }, { x, y }, { x: 30, y: 20 })!;
      expect(d.text.angle).toBeGreaterThan(-120.001);
      expect(d.text.angle).toBeLessThanOrEqual(60);
    }
    expect(dimension('width', 10, { x: 0, y: 0 }, { x: 20, y: 0 }, { x: 9, y: 9 })).toBeNull();
  });
});
