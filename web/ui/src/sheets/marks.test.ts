import { describe, expect, it } from 'vitest';
import type { PlanDoc } from '../lib/plan';
import type { Marks } from '../lib/types';
import { curve } from './curve';
import { cutsOf } from './cuts';
import * as m from './marks';
import planText from './testdata/blank-01.json?raw';
import csv from './testdata/sheet-cuts.csv?raw';
import { nearer, onDrawing, scaleBar, showing, whole } from './view';

const doc = JSON.parse(planText) as PlanDoc;
const none: Marks = Object.freeze({ groundwork: 1 });
const at = (id: string) => {
  const p = doc.patterns.find((q) => q.id === id)!;
  return { blank: p.panel, x: p.x, y: p.y, rotation: p.rotation };
};
const [a, b] = doc.patterns.map((p) => p.id) as [string, string];

/** Frozen all through: what would change it throws. */
function frozen<T>(x: T): T {
  if (x && typeof x === 'object') Object.values(Object.freeze(x)).forEach(frozen);
  return x;
}

describe('reserved areas', () => {
  const knot = m.reserved('walnut-1', { x: 1.00049, y: 2, w: 30, h: 40.1234567 }, 'knot');

  it('are in micrometres, and edited by number', () => {
    expect(knot).toEqual({ sheet: 'walnut-1', at: [1, 2], size: [30, 40.123], what: 'knot' });
    const one = frozen(m.withArea(none, knot));
    const two = frozen(m.withArea(one, { ...knot, what: 'stain' }));
    expect(m.changedArea(two, 1, { ...knot, what: 'split' }).reserved!.map((r) => r.what)).toEqual(['knot', 'split']);
    expect(m.withoutArea(two, 0).reserved!.map((r) => r.what)).toEqual(['stain']);
    expect(none.reserved).toBeUndefined();
  });
});

describe('sheets that nothing is cut from', () => {
  it('are shown as large as their like', () => {
    const area = (sheet: string) => m.reserved(sheet, { x: 1, y: 2, w: 3, h: 4 }, 'knot');
    const marks: Marks = { groundwork: 1, reserved: ['walnut-2', 'walnut-1', 'walnut-2', 'walnut-a-1', 'oak-1'].map(area) };
    expect(m.idle(marks, doc)).toEqual([{ ...doc.sheets[0], id: 'walnut-2', offcuts: [] }]);
  });
});

describe('pins', () => {
  it('hold a pattern on its blank, on its sheet; others may join', () => {
    const marks = frozen(m.pin(none, doc, a, at(a)));
    const { x, y, rotation } = at(a);
    expect(marks.blanks).toEqual([
      { veneer: 'walnut', sheet: 'walnut-1', size: [585, 385], at: [10, 10], rest: true, patterns: [{ pattern: a, at: [x, y], turn: rotation }] },
    ]);
    expect(m.pinned(marks, a)).toBe(true);
    expect(m.pinned(marks, b)).toBe(false);

    const two = frozen(m.pin(marks, doc, b, { ...at(b), x: 5 }));
    expect(two.blanks!.length).toBe(1);
    expect(two.blanks![0]!.patterns.map((p) => p.pattern)).toEqual([a, b]);
    // Anew in another place: not twice.
    expect(m.pin(two, doc, b, { ...at(b), x: 9 }).blanks![0]!.patterns.map((p) => p.at[0])).toEqual([x, 9]);

    expect(m.unpin(two, a).blanks![0]!.patterns.map((p) => p.pattern)).toEqual([b]);
    expect(m.unpin(marks, a).blanks).toEqual([]);
    expect(m.unpinAll(two).blanks).toEqual([]);
  });

  it('go over to another blank', () => {
    const marks = frozen(m.pin(m.pin(none, doc, a, at(a)), doc, b, at(b)));
    const over = m.pin(marks, doc, a, { ...at(a), blank: 'blank-02' });
    expect(over.blanks!.map((k) => k.patterns.map((p) => p.pattern))).toEqual([[b], [a]]);
  });

  it('keep a layout whole, until one is taken out', () => {
    const marks = frozen(m.keepAll(none, doc));
    expect(m.keptWhole(marks, doc)).toBe(true);
    expect(m.keptWhole(none, doc)).toBe(false);
    expect(marks.blanks!.every((k) => !k.rest)).toBe(true);
    const less = m.unpin(marks, a);
    expect(m.keptWhole(less, doc)).toBe(false);
    expect(less.blanks![0]!.rest).toBe(true);
  });
});

describe('photographs', () => {
  it('are one to a sheet', () => {
    const corners = m.firstCorners(4000, 1500);
    const one = m.withPhotograph(none, { sheet: 'walnut-1', file: 'a.jpg', corners });
    expect(m.withPhotograph(frozen(one), { sheet: 'walnut-1', file: 'b.jpg', corners }).photographs!.map((p) => p.file)).toEqual(['b.jpg']);
    expect(m.withoutPhotograph(one, 'walnut-1').photographs).toEqual([]);
  });

  it('begin with corners once round, seen from the front, the length along the longer side', () => {
    for (const [w, h] of [[4000, 1500], [1500, 4000]] as const) {
      const c = m.firstCorners(w, h);
      // Twice the area; y down, so that counter-clockwise on the sheet is negative.
      const area = c.reduce((s, p, i) => s + p[0] * c[(i + 1) % 4]![1] - c[(i + 1) % 4]![0] * p[1], 0);
      expect(area).toBeLessThan(0);
      const side = (i: number, j: number) => Math.hypot(c[i]![0] - c[j]![0], c[i]![1] - c[j]![1]);
      expect(side(1, 2)).toBeGreaterThan(side(0, 1));
    }
    let c = m.firstCorners(100, 200);
    for (let i = 0; i < 4; i++) c = m.quarter(c);
    expect(c).toEqual(m.firstCorners(100, 200));
  });
});

describe('use of the veneer', () => {
  it('is that of patterns on blanks, and what sheets lose', () => {
    const u = m.use(doc);
    // 610 x 2440 less offcuts of 400 x 470, 260 x 355 and 50 x 535.
    expect(u.consumed).toBeCloseTo(1488400 - 188000 - 92300 - 26750, 6);
    expect(u.density).toBeGreaterThan(0.5);
    expect(u.density).toBeLessThan(1);
    expect(m.use({ ...doc, panels: [], sheets: [] }).density).toBe(0);
  });
});

describe('the order of cuts', () => {
  it('is followed on the sheet', () => {
    const { margin, cuts } = cutsOf(csv, doc.sheets[0]!);
    expect(margin).toBe(10);
    expect(cuts.length).toBe(16);
    expect(cuts[0]!.line).toEqual([10, 1540, 600, 1540]);
    // What each cut gives lies where plan.json says that the blank lies.
    for (const c of cuts) {
      const blank = doc.panels.find((p) => p.id === c.before);
      if (blank) expect([c.on.x, c.on.y]).toEqual([blank.sheet_x, blank.sheet_y]);
    }
    expect(cuts.filter((c) => c.before.startsWith('blank')).length).toBe(10);
  });

  it('ends where it cannot be followed', () => {
    expect(cutsOf('sheet,cut\nwalnut-1,1,9a,1,1,along the grain,5,x,y\n', doc.sheets[0]!).cuts).toEqual([]);
  });
});

describe('the curve of a search', () => {
  it('goes in steps, from whole per cent to whole per cent', () => {
    const c = curve([{ seconds: 0, density: 0.7, consumed: 1 }, { seconds: 5, density: 0.73, consumed: 1 }], 0.7, 10, 8, 100, 50);
    expect(c.path).toMatch(/^M0 [\d.]+H50V[\d.]+H80$/);
    expect(c.rules.map((r) => Math.round(r.density * 100))).toEqual([69, 70, 71, 72, 73, 74]);
    expect(c.rules[0]!.y).toBeCloseTo(50, 9);
    expect(c.last![0]).toBe(80);
    expect(c.before).toBeCloseTo(40, 9);
    for (const r of c.rules) expect(r.y).toBeLessThanOrEqual(50 + 1e-9);
  });

  it('is empty before anything is reached, and never outside its field', () => {
    expect(curve([], 0.7, 10, 0, 100, 50)).toMatchObject({ path: '', last: null });
    const c = curve([{ seconds: 30, density: 1, consumed: 1 }], 0, 10, 30, 100, 50);
    expect(c.last![0]).toBeLessThanOrEqual(100);
    expect(c.last![1]).toBeGreaterThanOrEqual(0);
  });
});

describe('what is seen', () => {
  const page = { w: 600, h: 400 };

  it('is all of a drawing, in the middle', () => {
    const v = whole({ w: 1000, h: 100 }, page, 50);
    expect(v).toEqual({ k: 0.5, x: 50, y: 175 });
  });

  it('keeps what is under the finger', () => {
    const v = whole({ w: 1000, h: 100 }, page);
    const before = onDrawing(v, [123, 45]);
    const after = onDrawing(nearer(v, 3, [123, 45], 0.1), [123, 45]);
    expect(after[0]).toBeCloseTo(before[0], 9);
    expect(after[1]).toBeCloseTo(before[1], 9);
    expect(nearer(v, 1e9, [0, 0], 0.1).k).toBe(40);
    expect(nearer(v, 1e-9, [0, 0], 0.1).k).toBe(0.1);
  });

  it('moves no more than it must to show something', () => {
    const v = { k: 1, x: 0, y: 0 };
    expect(showing(v, { x: 100, y: 100, w: 50, h: 50 }, page)).toEqual(v);
    expect(showing(v, { x: -30, y: 390, w: 20, h: 5 }, page, 20)).toEqual({ k: 1, x: 50, y: -15 });
    expect(showing(v, { x: 0, y: 0, w: 5000, h: 10 }, page, 0).x).toBe(300 - 2500);
  });

  it('has a scale bar of a round length', () => {
    expect(scaleBar(1, 'mm')).toEqual({ mm: 100, label: '100 mm' });
    expect(scaleBar(0.25, 'mm')).toEqual({ mm: 500, label: '500 mm' });
    expect(scaleBar(30, 'mm').label).toBe('2 mm');
    expect(scaleBar(1, 'in')).toEqual({ mm: 4 * 25.4, label: '4 in' });
    for (const k of [0.05, 0.31, 1, 7.7, 40]) for (const u of ['mm', 'in'] as const) expect(scaleBar(k, u).mm * k).toBeLessThanOrEqual(140 + 1e-9);
  });
});
