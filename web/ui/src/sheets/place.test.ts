import { describe, expect, it } from 'vitest';
import type { PanelDoc, PatternDoc, SheetDoc } from '../lib/plan';
import { homography, mapPoint } from '../stage/warp';
import { readDrawn } from './drawn';
import {
  between, boxFromSheet, boxOf, boxOnSheet, clipped, fromSheet, loopsOf, lying, matrix, matrixBack, onBlank, onPattern, onSheet, pathOf, poseOf, roomOf, toBlank,
  turnedInPlace, wayFromLying, type Point, type Pose,
} from './place';
import planText from './testdata/blank-01.json?raw';
import svg from './testdata/blank-01.svg?raw';

// Of the example heron-side-table.yaml: plan.json's lists and a cut sheet of the
// same job folder.
const plan = JSON.parse(planText) as { panels: PanelDoc[]; sheets: SheetDoc[]; patterns: PatternDoc[] };

const panel = (over: Partial<PanelDoc>): PanelDoc => ({ ...plan.panels[0]!, sheet_x: 30, sheet_y: 70, width_mm: 500, height_mm: 200, grain: 0, ...over });
const pose = (over: Partial<Pose>): Pose => ({ blank: 'blank-01', x: 0, y: 0, rotation: 0, ...over });
const close = (a: readonly number[], b: readonly number[], within = 1e-9) => a.forEach((v, i) => expect(Math.abs(v - b[i]!)).toBeLessThan(within));

describe('a pattern on its blank', () => {
  it.each([
    [0, [3, 4], [13, 24]],
    [90, [3, 4], [6, 23]],
    [180, [3, 4], [7, 16]],
    [-90, [3, 4], [14, 17]],
    [30, [2, 0], [10 + Math.sqrt(3), 21]],
  ])('turned by %s degrees', (rotation, from, to) => {
    close(onBlank(pose({ x: 10, y: 20, rotation }), from as unknown as Point), to);
  });

  it('comes back', () => {
    for (const rotation of [0, 17, 90, 180, -133.7]) {
      const p = pose({ x: -7.25, y: 311, rotation });
      close(onPattern(p, onBlank(p, [12.5, -8])), [12.5, -8]);
    }
  });

  it('is turned end for end in its place', () => {
    const outline = [[0, 0], [100, 0], [100, 20], [0, 20]];
    const p = pose({ x: 40, y: 60, rotation: 0 });
    const t = turnedInPlace({ outline }, p, 180);
    expect(t.rotation).toBe(180);
    close(Object.values(boxOf(loopsOf({ outline, holes: [] }, t)[0]!)), [40, 60, 100, 20]);
    const back = turnedInPlace({ outline }, t, 180);
    close([back.x, back.y, back.rotation], [40, 60, 0]);
  });
});

describe('a blank on its sheet', () => {
  it('whose grain runs along the bed lies turned by a quarter', () => {
    const b = panel({});
    close(onSheet(b, [0, 0]), [230, 70]);
    close(onSheet(b, [500, 200]), [30, 570]);
    expect(boxOnSheet(b)).toEqual({ x: 30, y: 70, w: 200, h: 500 });
  });

  it('whose grain runs up the bed lies as it is', () => {
    const b = panel({ grain: 90 });
    close(onSheet(b, [12, 13]), [42, 83]);
    expect(boxOnSheet(b)).toEqual({ x: 30, y: 70, w: 500, h: 200 });
  });

  it.each([0, 90])('and back, in numbers and as drawn, grain %s', (grain) => {
    const b = panel({ grain });
    const apply = ([m, n, o, p, q, r]: readonly number[], [x, y]: Point): Point => [m! * x + o! * y + q!, n! * x + p! * y + r!];
    for (const at of [[0, 0], [500, 0], [33.3, 180.25]] as Point[]) {
      close(fromSheet(b, onSheet(b, at)), at);
      const drawn: Point = [at[0], b.height_mm - at[1]];
      const seen = lying(onSheet(b, at));
      close(apply(matrix(b), drawn), seen);
      close(apply(matrixBack(b), seen), drawn);
      // 3 to the right and 2 up, as drawn.
      const [dx, dy] = wayFromLying(b, [3, 2]);
      const moved = lying(onSheet(b, [at[0] + dx, at[1] + dy]));
      close([moved[0] - seen[0], moved[1] - seen[1]], [3, -2]);
    }
  });

  it('hands a pattern over to another blank without moving it on the sheet', () => {
    const a = panel({ grain: 0 });
    const b = panel({ id: 'blank-02', grain: 90, sheet_x: 5, sheet_y: 9 });
    const p = pose({ x: 120, y: 50, rotation: 180 });
    const q = toBlank(p, a, b);
    expect(q.blank).toBe('blank-02');
    for (const at of [[0, 0], [80, 3]] as Point[]) close(onSheet(b, onBlank(q, at)), onSheet(a, onBlank(p, at)));
  });
});

describe('rectangles', () => {
  it('from any corner to any other', () => {
    for (const [a, b] of [[[1, 2], [5, 9]], [[5, 2], [1, 9]], [[5, 9], [1, 2]]] as [Point, Point][]) expect(between(a, b)).toEqual({ x: 1, y: 2, w: 4, h: 7 });
  });

  it('are clipped to the sheet', () => {
    expect(clipped({ x: -5, y: 10, w: 20, h: 3000 }, 610, 2440)).toEqual({ x: 0, y: 10, w: 15, h: 2430 });
    expect(clipped({ x: 1, y: 2, w: 3, h: 4 }, 610, 2440)).toEqual({ x: 1, y: 2, w: 3, h: 4 });
    expect(clipped({ x: 610, y: 0, w: 5, h: 5 }, 610, 2440)).toBeNull();
    expect(clipped({ x: 10, y: 10, w: 0, h: 5 }, 610, 2440)).toBeNull();
  });

  it('of the sheet on a blank', () => {
    const b = panel({}); // on the sheet: 30..230 across, 70..570 along
    expect(boxFromSheet(b, { x: 40, y: 80, w: 10, h: 20 })).toEqual({ x: 10, y: 180, w: 20, h: 10 });
    expect(boxFromSheet(b, { x: 0, y: 0, w: 35, h: 75 })).toEqual({ x: 0, y: 195, w: 5, h: 5 });
    expect(boxFromSheet(b, { x: 0, y: 0, w: 30, h: 70 })).toBeNull();
  });
});

describe('a photograph laid on a sheet', () => {
  it('has the sheet’s corners where they were set, and its middle on the crossing of the diagonals', () => {
    const c = [[120, 900], [640, 860], [600, 90], [150, 60]] as [Point, Point, Point, Point];
    const h = homography(610, 2440, c)!;
    [[0, 0], [610, 0], [610, 2440], [0, 2440]].forEach(([x, y], i) => close(mapPoint(h, x!, y!), c[i]!, 1e-8));
    // A projective map keeps lines: where the diagonals of the four cross.
    const cross = ([ax, ay]: Point, [bx, by]: Point, [px, py]: Point, [qx, qy]: Point): Point => {
      const d = (bx - ax) * (qy - py) - (by - ay) * (qx - px);
      const t = ((px - ax) * (qy - py) - (py - ay) * (qx - px)) / d;
      return [ax + t * (bx - ax), ay + t * (by - ay)];
    };
    close(mapPoint(h, 305, 1220), cross(c[0], c[2], c[1], c[3]), 1e-8);
  });

  it('needs corners that go round once', () => {
    expect(homography(1, 1, [[0, 0], [1, 1], [1, 0], [0, 1]])).toBeNull();
    expect(homography(1, 1, [[0, 0], [1, 0], [2, 0], [0, 1]])).toBeNull();
  });
});

describe('a drawn blank', () => {
  const numbers = (d: string) => d.match(/-?[\d.]+/g)!.map(Number);

  it('is the cut sheet of the job: every point of every outline and hole within 0.01 mm', () => {
    const b = plan.panels[0]!;
    const drawn = readDrawn(svg);
    const cut = [...drawn.layers.get('cut_outer')!, ...(drawn.layers.get('cut_inner') ?? [])].map(numbers);
    const ours = plan.patterns.flatMap((p) => loopsOf(p, poseOf(p)).map((l) => numbers(pathOf([l], b.height_mm))));
    expect(ours.length).toBe(cut.length);
    expect(ours.length).toBeGreaterThan(10);
    let worst = 0;
    const left = new Set(cut);
    for (const points of ours) {
      // The cut sheet has them in its own order.
      let best = Infinity;
      let match: number[] | null = null;
      for (const c of left) {
        if (c.length !== points.length) continue;
        const off = Math.max(...c.map((v, i) => Math.abs(v - points[i]!)));
        if (off < best) [best, match] = [off, c];
      }
      expect(match).not.toBeNull();
      left.delete(match!);
      worst = Math.max(worst, best);
    }
    expect(worst).toBeLessThan(0.01);
  });

  it('has its pins where the laser cuts them', () => {
    const circles = [...svg.matchAll(/<circle cx="([-\d.]+)" cy="([-\d.]+)"/g)].map((m) => [Number(m[1]), Number(m[2])]);
    const ours = plan.patterns.flatMap((p) => p.pins.map((q) => onBlank(poseOf(p), q as unknown as Point)));
    expect(ours.length).toBe(circles.length);
    for (const [x, y] of ours) expect(circles.some(([cx, cy]) => Math.hypot(cx! - x, cy! - (plan.panels[0]!.height_mm - y)) < 0.01)).toBe(true);
  });

  it('writes names where there is room for them', () => {
    for (const p of plan.patterns) {
      const { at, free } = roomOf(p);
      const box = boxOf(p.outline);
      expect(free).toBeGreaterThan(0);
      expect(free).toBeLessThanOrEqual(Math.min(box.w, box.h) / 2 + 1e-9);
      expect(at[0]).toBeGreaterThan(box.x);
      expect(at[1]).toBeGreaterThan(box.y);
    }
    const ring = { outline: [[0, 0], [90, 0], [90, 90], [0, 90]], holes: [[[20, 20], [20, 70], [70, 70], [70, 20]]] };
    expect(roomOf(ring).free).toBeLessThanOrEqual(10 * Math.SQRT2);
  });
});
