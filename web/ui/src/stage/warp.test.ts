import { describe, expect, it } from 'vitest';
import { homography, mapPoint, straighten, type Pixels, type Point } from './warp';

describe('homography', () => {
  const quads: Point[][] = [
    [[0, 0], [100, 0], [100, 200], [0, 200]],
    [[12, 7], [310, 41], [280, 660], [33, 590]], // seen aslant
    [[500, 20], [480, 900], [30, 870], [60, 10]], // turned a quarter
    [[0, 0], [0, 50], [50, 50], [50, 0]], // mirrored
  ];
  for (const q of quads) {
    it(`takes the corners of a sheet to ${JSON.stringify(q)}`, () => {
      const h = homography(610, 2440, q)!;
      [[0, 0], [610, 0], [610, 2440], [0, 2440]].forEach(([x, y], i) => {
        const [u, v] = mapPoint(h, x!, y!);
        expect(u).toBeCloseTo(q[i]![0], 6);
        expect(v).toBeCloseTo(q[i]![1], 6);
      });
    });
  }

  it('keeps straight lines straight and the crossing of diagonals', () => {
    const q = quads[1]!;
    const h = homography(2, 3, q)!;
    const [a, b, c] = [mapPoint(h, 0.2, 0.3), mapPoint(h, 0.9, 1.4), mapPoint(h, 1.6, 2.5)];
    expect((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])).toBeCloseTo(0, 6);
    // The diagonals of the sheet cross in its middle, those of the picture where
    // the middle goes: worked out here from the corners alone.
    const cross = (p: Point, r: Point) => [p[1] - r[1], r[0] - p[0], p[0] * r[1] - r[0] * p[1]];
    const [l, m] = [cross(q[0]!, q[2]!), cross(q[1]!, q[3]!)];
    const w = l[0]! * m[1]! - l[1]! * m[0]!;
    const at = [(l[1]! * m[2]! - l[2]! * m[1]!) / w, (l[2]! * m[0]! - l[0]! * m[2]!) / w];
    const middle = mapPoint(h, 1, 1.5);
    expect(middle[0]).toBeCloseTo(at[0]!, 6);
    expect(middle[1]).toBeCloseTo(at[1]!, 6);
  });

  it('refuses corners that fix no map', () => {
    expect(homography(1, 1, [[0, 0], [1, 1], [2, 2], [0, 5]])).toBeNull(); // three in a line
    expect(homography(1, 1, [[0, 0], [1, 1], [1, 0], [0, 1]])).toBeNull(); // crossed over
    expect(homography(1, 1, [[3, 3], [3, 3], [3, 3], [3, 3]])).toBeNull();
    expect(homography(1, 1, [[0, 0], [1, 0], [1, 1]])).toBeNull();
    expect(homography(0, 1, quads[0]!)).toBeNull();
  });
});

describe('straighten', () => {
  it('undoes a slant: a drawn slant of a pattern gives the pattern', () => {
    const corners: Point[] = [[40, 30], [260, 60], [230, 370], [60, 330]];
    const [w, l] = [100, 160];
    const shade = (x: number, y: number) => 128 + 100 * Math.sin(x / 9) * Math.cos(y / 13);
    // The photograph: for every pixel the place on the sheet, by the map back.
    const photo: Pixels = { data: new Uint8ClampedArray(300 * 400 * 4), width: 300, height: 400 };
    const h = homography(w, l, corners)!;
    const back = (u: number, v: number): [number, number] => {
      const [a, b, c, d, e, f, g, k] = h;
      // u (g x + k y + 1) = a x + b y + c; v (g x + k y + 1) = d x + e y + f
      const [p, q, r, s] = [a - u * g, b - u * k, d - v * g, e - v * k];
      const [m, n] = [u - c, v - f];
      const det = p * s - q * r;
      return [(m * s - q * n) / det, (p * n - m * r) / det];
    };
    for (let j = 0; j < 400; j++) for (let i = 0; i < 300; i++) photo.data.fill(shade(...back(i + 0.5, j + 0.5)), (j * 300 + i) * 4, (j * 300 + i) * 4 + 3);
    const out: Pixels = { data: new Uint8ClampedArray(w * l * 4), width: w, height: l };
    expect(straighten(out, photo, corners)).toBe(true);
    let worst = 0;
    for (let j = 0; j < l; j++) for (let i = 0; i < w; i++) worst = Math.max(worst, Math.abs(out.data[(j * w + i) * 4]! - shade(i + 0.5, j + 0.5)));
    expect(worst).toBeLessThan(3); // of 255; rounding twice and interpolation
  });
});
