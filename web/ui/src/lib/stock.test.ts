import { describe, expect, it } from 'vitest';
import { Problem, Unreachable } from './api';
import { Deeds } from './deeds';
import { Shelf, type Server } from './shelf.svelte';
import { bearing, enough, jobName, lacking, readAreas, readCorners, readSize, scaleOf, shape, square, summary, writeAmount } from './stock';
import type { Stock, StockEntry, StockItem, StockJobEntry, StockShort } from './types';

describe('shapes in writing', () => {
  it.each([
    ['300 x 480', 'mm', [300, 480]], ['300×480', 'mm', [300, 480]], ['12 in x 20 in', 'mm', [304.8, 508]], ['12 x 20', 'in', [304.8, 508]], ['30 cm x 0.5 m', 'mm', [300, 500]],
  ] as const)('%s', (text, units, want) => {
    const got = readSize(text, units);
    for (const i of [0, 1]) expect(got[i]).toBeCloseTo(want[i]!, 9);
  });
  it.each(['', '300', '300 x', '0 x 480', '-3 x 480', '300 x 480 x 2', 'wide x long'])('%s is no size', (text) => {
    expect(() => readSize(text, 'mm')).toThrow();
  });
  it('reads corners and areas', () => {
    expect(readCorners(' 0,0 300,0  300,200.5 -1,480 ')).toEqual([[0, 0], [300, 0], [300, 200.5], [-1, 480]]);
    expect(readAreas('40x60 at 120,300\n\n 5 mm x 5 mm at 0, 0 ')).toEqual([{ at: [120, 300], size: [40, 60] }, { at: [0, 0], size: [5, 5] }]);
    expect(readAreas('')).toEqual([]);
  });
  it.each(['0,0 1,1', '0,0 300;0 300,200', 'a,b c,d e,f', '0,0 1e9,0 1,1'])('%s are no corners', (text) => {
    expect(() => readCorners(text)).toThrow();
  });
  it.each(['40x60', '40x60 at', '40x60 at 1', 'at 1,1', '40x60 at 1,1 at 2,2'])('%s is no area', (text) => {
    expect(() => readAreas(text)).toThrow();
  });
  it('puts a shape to its corner, and knows a rectangle either way round', () => {
    const p = shape([[10, 20], [10, 500], [310, 500], [310, 20]], [{ at: [20, 30], size: [5, 5] }]);
    expect(p).toMatchObject({ size: [300, 480], reserved: [{ at: [10, 10] }] });
    expect(square(p)).toBe(true);
    expect(square(shape([[0, 0], [300, 0], [300, 200], [0, 480]], []))).toBe(false);
    expect(square(shape([[0, 0], [300, 0], [0, 480]], []))).toBe(false);
  });
});

it('draws the longest within bounds, and all at one scale', () => {
  const p = (l: number) => shape([[0, 0], [100, 0], [100, l], [0, l]], []);
  expect(scaleOf([p(200)])).toBe(0.16);
  expect(scaleOf([p(200), undefined, p(2420)]) * 2420).toBeCloseTo(180, 9);
  expect(scaleOf([p(20000)])).toBe(0.05);
  expect(scaleOf([])).toBe(0.16);
});

describe('amounts', () => {
  it.each([[1000, 'g', '1 kg'], [0, 'g', '0 g'], [3.2, 'g', '3.2 g'], [250, 'ml', '250 ml'], [0.1 + 0.2, 'ml', '0.3 ml'], [40, 'piece', '40']] as const)('%d %s', (n, unit, want) => {
    expect(writeAmount(n, unit)).toBe(want);
  });
});

function need(kind: string, item: string, amount: number, more: Partial<StockShort> = {}): StockShort {
  return { kind, item, lot: '', amount, unit: kind === 'filament' ? 'g' : 'piece', oneLot: kind === 'filament', for: '', free: 0, short: amount, holds: [], ...more };
}

describe('what is short', () => {
  it('puts loads of one filament together, and nothing else', () => {
    const got = lacking([
      need('filament', 'abs', 700), need('sheet', 'walnut', 2, { free: 1, short: 1 }), need('filament', 'abs', 400, { free: 300, short: 100 }), need('filament', 'tpu', 20),
      need('offcut', 'walnut', 1, { lot: '3', holds: [{ job: 'other', amount: 1 }] }),
    ]);
    expect(got.map((l) => [l.kind, l.item, l.lot, l.wanted, l.free, l.short, l.loads, l.largest])).toEqual([
      ['filament', 'abs', '', 1100, null, 1100, 2, 700], ['sheet', 'walnut', '', 2, 1, 1, 0, 0], ['filament', 'tpu', '', 20, null, 20, 1, 20], ['offcut', 'walnut', '3', 1, 0, 1, 0, 0],
    ]);
    expect(got.map(enough)).toEqual(['2 kg', '1', '1 kg', '1']);
  });
});

const ran = (job: string, piece: string, state: StockJobEntry['state']): StockJobEntry => ({ job, piece, state, since: '2026-01-01T00:00:00Z', loads: 2, logged: 0 });

describe('names of jobs', () => {
  it('goes on with the one under way, else counts on', () => {
    expect(jobName('heron', [])).toBe('heron-1');
    expect(jobName('heron', [ran('heron-1', 'heron', 'finished')])).toBe('heron-2');
    expect(jobName('heron', [ran('heron-1', 'heron', 'finished'), ran('for-wren', 'heron', 'planned')])).toBe('for-wren');
    expect(jobName('heron', [ran('heron-1', 'otter', 'reserved')])).toBe('heron-2'); // another piece's
    expect(jobName('heron', [ran('heron-1', 'heron', 'abandoned'), ran('heron-3', 'heron', 'finished')])).toBe('heron-2');
  });
});

function veneer(lot: string, holds: { job: string; amount: number }[] = [], there = 1): StockItem {
  return { kind: 'offcut', item: 'walnut', unit: 'piece', there, reserved: 0, free: 1, price: '', lots: [{ lot, there, reserved: 0, free: 1, holds, piece: shape([[0, 0], [9, 0], [9, 9]], []) }] };
}
const shop = (...items: StockItem[]): Stock => ({ items, jobs: [], uncovered: [], printers: [], worth: [], unpriced: 0 });
const spool: StockItem = { kind: 'filament', item: 'abs', unit: 'g', there: 900, reserved: 0, free: 900, price: '', lots: [{ lot: '1', there: 900, reserved: 0, free: 900, holds: [] }] };

describe('what a plan depends on', () => {
  it('is the offcuts that its job may use, and nothing else', () => {
    const bare = bearing(shop(), 'a');
    expect(bearing(shop(spool), 'a')).toBe(bare);
    expect(bearing(null, 'a')).toBe(bare);
    expect(bearing(shop(veneer('1')), 'a')).not.toBe(bare);
    expect(bearing(shop(veneer('1', [{ job: 'b', amount: 1 }])), 'a')).toBe(bare);
    expect(bearing(shop(veneer('1', [{ job: 'a', amount: 1 }])), 'a')).toBe(bearing(shop(veneer('1')), 'a'));
    expect(bearing(shop(veneer('1', [], 0)), 'a')).toBe(bare);
    expect(bearing(shop(), 'b')).not.toBe(bare);
  });
});

it('sums the stock up in a few words', () => {
  expect(summary(shop())).toBe('');
  expect(summary({ ...shop(spool, veneer('1'), veneer('2', [], 0)), jobs: [ran('a', 'x', 'planned'), ran('b', 'x', 'finished')] })).toBe('1 spool, 1 offcut, 1 job under way');
});

describe('deeds', () => {
  it('have another key each, unless their answer was lost', async () => {
    const deeds = new Deeds();
    const keys: string[] = [];
    const send = (fails?: Error) => (key: string) => {
      keys.push(key);
      return fails ? Promise.reject(fails) : Promise.resolve(key);
    };
    await deeds.do('a', send());
    await deeds.do('a', send());
    expect(new Set(keys).size).toBe(2);
    keys.length = 0;
    await expect(deeds.do('a', send(new Unreachable()))).rejects.toThrow();
    await expect(deeds.do('a', send(new Problem(500, 'the disk')))).rejects.toThrow();
    await deeds.do('b', send());
    await deeds.do('a', send());
    expect([keys[0] === keys[1], keys[1] === keys[3], keys[2] === keys[3]]).toEqual([true, true, false]);
    keys.length = 0;
    await expect(deeds.do('a', send(new Problem(422, 'no amount')))).rejects.toThrow();
    await deeds.do('a', send());
    expect(keys[0]).not.toBe(keys[1]);
    for (const k of keys) expect(k.length).toBeGreaterThanOrEqual(8);
  });
  it('pressed twice at once are one', async () => {
    const deeds = new Deeds();
    const keys: string[] = [];
    await Promise.all([1, 2].map(() => deeds.do('a', (k) => Promise.resolve(keys.push(k)))));
    expect(new Set(keys).size).toBe(1);
  });
});

describe('the shelf', () => {
  const entry: StockEntry = { do: 'add', kind: 'filament', item: 'abs', amount: '1 kg' };

  it('takes the answer asked for last, though an earlier one comes later', async () => {
    const answers: ((s: Stock) => void)[] = [];
    const server = { stock: () => new Promise<Stock>((r) => answers.push(r)) } as unknown as Server;
    let changed = 0;
    const shelf = new Shelf(() => {}, () => changed++, server);
    const both = [shelf.refresh(), shelf.refresh()];
    answers[1]!(shop(spool));
    answers[0]!(shop());
    await Promise.all(both);
    expect(shelf.now).toEqual(shop(spool));
    expect(changed).toBe(1);
  });

  it('sends a deed again with its key when the server is there again', async () => {
    const seen: string[] = [];
    let away = true;
    let lost = 0;
    const server = {
      stock: async () => shop(spool),
      enterStock: async (_: StockEntry, key: string) => {
        seen.push(key);
        if (away) throw new Unreachable();
        return { kind: 'filament', item: 'abs', lot: '1', there: 1000, unit: 'g' };
      },
    } as unknown as Server;
    const shelf = new Shelf(() => lost++, () => {}, server);
    await expect(shelf.enter(entry)).rejects.toMatchObject({ remedy: 'Press again when it answers: it is not done twice.' });
    away = false;
    await shelf.enter(entry);
    expect(seen[0]).toBe(seen[1]);
    expect(lost).toBe(1);
    expect(shelf.now).toEqual(shop(spool));
  });
});
