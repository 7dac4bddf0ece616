import { describe, expect, it } from 'vitest';
import { groups, priceRows } from './bill';
import { force, lookOf, made, operations } from './fixtures';
import type { BillDoc, ClampDoc, FixtureDoc, FixturePartDoc, PlanDoc, PriceDoc } from './plan';
import { Relations } from './relations';

const part = (over: Partial<FixturePartDoc>): FixturePartDoc => ({ id: 'p', file: 'fixtures/p.stl', filament: 'pla', material: '', quantity: 1, as_drawn: false, lies: [], ...over });
const fixture = (id: string, step: string, over: Partial<FixtureDoc> = {}): FixtureDoc => ({ id, kind: 'caul', serves: [], step, words: '', parts: [], templates: [], clearances: [], ...over });
const clamping = (id: string, step: string, serves: string[] = []): ClampDoc => ({ id, step, serves, parts: [], fixtures: [], like: '', clamps: 1, drawing: '', scale: 5, words: [], closes: [] });

describe('fixtures', () => {
  it('stand by operations in the order of the work; unknown ones last, empty ones not', () => {
    const got = operations([fixture('a', 'trim'), fixture('b', 'measure'), fixture('c', 'steam'), fixture('d', 'trim')], [clamping('e', 'glue segments')]);
    expect(got.map((o) => [o.name, o.fixtures.map((f) => f.id).join(' '), o.clamping.length])).toEqual([
      ['Before all: measuring coupons', 'b', 0], ['Gluing segments', '', 1], ['Trimming', 'a d', 0], ['Steam', 'c', 0],
    ]);
  });
  it('are counted', () => {
    expect(made(fixture('a', 'x', { parts: [part({ quantity: 2 }), part({ quantity: 3 }), part({ file: '', filament: '', material: 'board', quantity: 2 })] }))).toBe('5 printed, 2 not printed');
    const template = { id: 't', file: 't.svg', material: 'board', thickness_mm: 18, quantity: 1, words: '' };
    expect(made(fixture('a', 'x', { templates: [template] }))).toBe('1 template');
    expect(made(fixture('a', 'x', { parts: [part({})], templates: [template, template] }))).toBe('1 printed, 2 templates');
  });
  it('forces are told from the least to the greatest', () => {
    const close = (force_n: number) => ({ seams: [], force_n, area_mm2: 1, least_mpa: 0, most_mpa: 0 });
    expect(force([close(30), close(20), close(25)])).toEqual([20, 30]);
    expect(force([])).toBeNull();
  });
  it.each([['seam', 'fixtures'], ['segment', 'fixtures'], ['fixture', 'fixtures'], ['clamping', 'fixtures'], ['pattern', 'veneer'], ['surface', 'veneer'], ['joint', undefined], [undefined, undefined]] as const)('%s is seen on %s', (kind, look) => expect(lookOf(kind)).toBe(look));

  it('light what they serve, and belong to its members', () => {
    const doc = {
      members: [{ id: 'top', surfaces: [] }, { id: 'leg', surfaces: [] }], contacts: [], round_contacts: [], joints: [], plugs: [], bores: [], laps: [], patterns: [], panels: [], sheets: [], plates: [], segments: [],
      bodies: [{ id: 'top', members: ['top'] }], seams: [{ id: 'top/seam-1', body: 'top', segments: ['top.a', 'top.b'] }],
      fixtures: [fixture('caul/1', 'glue segments', { serves: ['top/seam-1'] })], clamping: [{ ...clamping('clamping/top/1', 'glue segments', ['top/seam-1']), fixtures: ['caul/1'] }], fixture_loads: [{ id: 'fixtures load-01', segments: [] }],
    } as unknown as PlanDoc;
    const r = new Relations(doc);
    expect([r.kind('caul/1'), r.kind('clamping/top/1'), r.kind('fixtures load-01')]).toEqual(['fixture', 'clamping', 'load']);
    expect(r.lit('top/seam-1', 'caul/1')).toBe(true);
    expect(r.lit('top.a', 'caul/1')).toBe(true);
    expect(r.lit('leg', 'caul/1')).toBe(false);
    expect(r.lit('caul/1', 'top')).toBe(true);
    expect(r.lit('caul/1', 'leg')).toBe(false);
    expect(r.lit('caul/1', 'clamping/top/1')).toBe(true);
    expect(r.place('caul/1')).toBe('caul/1');
  });
});

describe('the bill', () => {
  const line = (section: string, cost: number): BillDoc => ({ section, item: 'x', quantity: 1, unit: 'piece', price: cost, cost, note: '' });
  it('counts what is made once apart from the piece', () => {
    const got = groups([line('filament', 1), line('veneer', 2), line('filament', 4), line('fixtures', 8), line('postage', 16)]);
    expect(got.piece.map((g) => [g.name, g.cost, g.lines.length])).toEqual([['Filament', 5, 2], ['Veneer', 2, 1], ['postage', 16, 1]]);
    expect(got.once.map((g) => [g.name, g.cost])).toEqual([['Fixtures, made once', 8]]);
  });
});

describe('prices', () => {
  const price = (batch: number, lines: [string, number][]): PriceDoc => ({ batch, lines: lines.map(([what, each]) => ({ what, each, rests: '' })), cost: 0, each: 0, total: 0 });
  it('of batches stand side by side, a line that one lacks too', () => {
    expect(priceRows([price(1, [['filament', 3], ['set-up', 60]]), price(5, [['filament', 3], ['box', 2]])])).toEqual([
      { what: 'filament', each: [3, 3] }, { what: 'set-up', each: [60, null] }, { what: 'box', each: [null, 2] },
    ]);
  });
});
