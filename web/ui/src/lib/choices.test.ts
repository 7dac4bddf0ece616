import { describe, expect, it } from 'vitest';
import { alike, choose, readBatches, readDay, readLine, readNotes, writeBatches } from './choices';
import type { Marks } from './types';

const marked: Marks = { groundwork: 1, reserved: [{ sheet: 'walnut-1', at: [1, 2], size: [3, 4], what: 'knot' }], blanks: [], photographs: [] };

describe('choices', () => {
  it('stand with the marks, which stay', () => {
    const one = choose(marked, { making: { start: '2027-01-11', send: 'cores' } });
    const both = choose(one, { book: { maker: 'Wren', inch: true } });
    expect(both).toEqual({ ...marked, making: { start: '2027-01-11', send: 'cores' }, book: { maker: 'Wren', inch: true } });
    expect(marked.making).toBeUndefined();
  });
  it('that are the usual ones are not written', () => {
    const all = choose(marked, { making: { start: '2027-01-11', coupons: 'measured', send: 'leaves', batches: [3] }, book: { paper: 'letter', maker: 'W', notes: 'n', licence: 'l', templates: 'without', inch: true } });
    const none = choose(all, { making: { start: '', coupons: 'printed', send: 'ready', batches: [] }, book: { paper: 'a4', maker: '', notes: undefined, licence: '', templates: 'with', inch: false } });
    expect(none).toEqual(marked);
    expect(Object.keys(none)).not.toContain('making');
    expect(alike(none, marked)).toBe(true);
    expect(alike(all, marked)).toBe(false);
  });
  it('are alike in any order of their keys', () => {
    expect(alike({ groundwork: 1, making: { send: 'cores', start: '2027-01-11' } }, { groundwork: 1, making: { start: '2027-01-11', send: 'cores' }, book: {} })).toBe(true);
    expect(alike({ groundwork: 1, making: { batches: [1, 2] } }, { groundwork: 1, making: { batches: [12] } })).toBe(false);
  });
});

describe('what is written', () => {
  it('numbers of kits', () => {
    expect(readBatches(' 20, 5;1 5 ')).toEqual([1, 5, 20]);
    expect(readBatches('')).toEqual([]);
    expect(writeBatches([1, 5])).toBe('1, 5');
    expect(writeBatches(undefined)).toBe('');
    for (const bad of ['0', '-1', '1.5', '10001', 'ten', '1e3', Array.from({ length: 21 }, (_, i) => i + 1).join(' ')]) expect(() => readBatches(bad), bad).toThrow();
    expect(readBatches('10000 1')).toEqual([1, 10_000]);
  });
  it('days', () => {
    expect(readDay('')).toBe('');
    expect(readDay('2028-02-29')).toBe('2028-02-29');
    for (const bad of ['0020-01-01', '1999-12-31', '2200-01-01', '020270-01-11', 'soon']) expect(() => readDay(bad), bad).toThrow();
  });
  it('lines and notes, as long in bytes as the file takes', () => {
    expect(readLine('  The workshop\tby  the mill ')).toBe('The workshop by the mill');
    expect(readLine('é'.repeat(100))).toHaveLength(100);
    expect(() => readLine('é'.repeat(101))).toThrow(/by 2 of 200/);
    expect(readNotes('a\r\nb\n\n')).toBe('a\nb');
    expect(() => readNotes('a\u0007')).toThrow();
    expect(() => readNotes('a'.repeat(100_001))).toThrow();
  });
});
