// The stock in words and figures: amounts, shapes of pieces of veneer, what is
// short, what a job is called.

import type { Place, Stock, StockArea, StockJobEntry, StockKind, StockLot, StockPiece, StockShort } from './types';
import { readLength, Unreadable, writeMass, type Units } from './units';
import { count } from './words';

/** Kinds in the order in which they are told. */
export const kinds: readonly { kind: StockKind; heading: string; one: string }[] = [
  { kind: 'filament', heading: 'Filament', one: 'A spool of filament' },
  { kind: 'sheet', heading: 'Sheets of veneer', one: 'Whole sheets of veneer' },
  { kind: 'offcut', heading: 'Offcuts of veneer', one: 'An offcut of veneer' },
  { kind: 'hardware', heading: 'Hardware', one: 'Hardware' },
  { kind: 'consumable', heading: 'Consumables', one: 'Glue, filler, finish' },
];

/** "750 g", "250 ml", "40". */
export function writeAmount(n: number, unit: string): string {
  if (unit === 'g') return n === 0 ? '0 g' : writeMass(n);
  const plain = String(Number(n.toFixed(3)));
  return unit === 'piece' || unit === '' ? plain : `${plain} ${unit}`;
}

/** What people call an item or a lot of it: "abs spool 3", "walnut offcut 4". */
export function nameOf(kind: string, item: string, lot = ''): string {
  const word = kind === 'sheet' ? ' sheet' : kind === 'offcut' ? ' offcut' : kind === 'filament' && lot ? ' spool' : '';
  return item + word + (lot ? ` ${lot}` : '');
}

/** "3 spools, 2 offcuts, 1 job under way". */
export function summary(stock: Stock): string {
  const lots = (kind: StockKind) => stock.items.filter((i) => i.kind === kind).reduce((n, i) => n + i.lots.filter((l) => l.there > 0).length, 0);
  const jobs = stock.jobs.filter(underWay).length;
  return [[lots('filament'), 'spool'], [lots('offcut'), 'offcut']]
    .filter(([n]) => n)
    .map(([n, word]) => count(n as number, word as string))
    .concat(jobs ? [`${count(jobs, 'job')} under way`] : [])
    .join(', ');
}

export function underWay(job: { state: string }): boolean {
  return job.state === 'planned' || job.state === 'reserved';
}

/** Reads "300 x 480": across the grain, along it. Throws Unreadable. */
export function readSize(text: string, units: Units): Place {
  const parts = text.replace(/×/g, 'x').split('x');
  if (parts.length !== 2) throw new Unreadable(`"${text.trim()}" is no size; write it across the grain and along it, as 300 x 480`);
  const size = parts.map((p) => readLength(p, units).value) as Place;
  if (!(size[0] > 0 && size[1] > 0)) throw new Unreadable(`"${text.trim()}" is no size; both sides are longer than nothing`);
  return size;
}

/** Reads corners, across and along the grain in mm: "0,0 300,0 300,200 0,480".
 * Throws Unreadable. */
export function readCorners(text: string): Place[] {
  const out = text.trim().split(/\s+/).filter(Boolean).map(point);
  if (out.length < 3) throw new Unreadable('A piece has three corners or more; write them in mm, as 0,0 300,0 300,200 0,480');
  return out;
}

/** Reads areas to keep off, one a line: "40 x 60 at 120,300". Throws Unreadable. */
export function readAreas(text: string): StockArea[] {
  return text
    .split('\n')
    .filter((l) => l.trim())
    .map((line) => {
      const [size, at, more] = line.split(/\bat\b/);
      if (!size || !at || more !== undefined) throw new Unreadable(`"${line.trim()}" is no area; write its size and the place of its lower left corner, as 40 x 60 at 120,300`);
      return { at: point(at.trim()), size: readSize(size, 'mm') };
    });
}

function point(text: string): Place {
  const m = /^(-?\d+(?:\.\d+)?)\s*,\s*(-?\d+(?:\.\d+)?)$/.exec(text);
  if (!m) throw new Unreadable(`"${text}" is no place; write across and along the grain in mm, as 300,200`);
  return [Number(m[1]), Number(m[2])];
}

export function rectangle([w, l]: Place): Place[] {
  return [[0, 0], [w, 0], [w, l], [0, l]];
}

/** A shape from its corners, as the stock tells one. */
export function shape(outline: readonly Place[], reserved: readonly StockArea[]): StockPiece {
  const [x, y] = [0, 1].map((i) => outline.map((p) => p[i]!)) as [number[], number[]];
  const from: Place = [Math.min(...x), Math.min(...y)];
  const moved = (p: Place): Place => [p[0] - from[0], p[1] - from[1]];
  return {
    form: 'offcut', size: [Math.max(...x) - from[0], Math.max(...y) - from[1]], outline: outline.map(moved),
    reserved: reserved.map((r) => ({ at: moved(r.at), size: r.size })), from: '',
  };
}

/** Whether the outline is the rectangle round it. */
export function square(p: StockPiece): boolean {
  let twice = 0;
  for (const [i, a] of p.outline.entries()) {
    const b = p.outline[(i + 1) % p.outline.length]!;
    twice += a[0] * b[1] - b[0] * a[1];
  }
  return Math.abs(Math.abs(twice) / 2 - p.size[0] * p.size[1]) < 1;
}

/** The scale at which pieces are drawn side by side, pixels to a millimetre: the
 * longest is no longer than `most` pixels, but small ones can be seen. */
export function scaleOf(pieces: readonly (StockPiece | undefined)[], most = 180): number {
  const longest = Math.max(1, ...pieces.map((p) => (p ? Math.max(...p.size) : 0)));
  return Math.min(0.16, Math.max(0.05, most / longest));
}

/** What is short, loads of one filament put together. */
export interface Lacking {
  kind: StockKind;
  item: string;
  lot: string;
  unit: string;
  wanted: number;
  /** Can be had; null where it is a matter of each load. */
  free: number | null;
  short: number;
  /** Of loads: how many, and the largest. */
  loads: number;
  largest: number;
  holds: { job: string; amount: number }[];
}

export function lacking(short: readonly StockShort[]): Lacking[] {
  const out: Lacking[] = [];
  for (const s of short) {
    const known = s.oneLot && out.find((l) => l.loads > 0 && l.kind === s.kind && l.item === s.item);
    if (known) {
      known.wanted += s.amount;
      known.short += s.amount;
      known.loads++;
      known.largest = Math.max(known.largest, s.amount);
      continue;
    }
    out.push({
      kind: s.kind as StockKind, item: s.item, lot: s.lot, unit: s.unit, wanted: s.amount, free: s.oneLot ? null : s.free, short: s.oneLot ? s.amount : s.short,
      loads: s.oneLot ? 1 : 0, largest: s.oneLot ? s.amount : 0, holds: [...s.holds],
    });
  }
  return out;
}

/** What to take in to meet a lack: filament by the kilogram, as it is sold. */
export function enough(l: Lacking): string {
  if (l.kind === 'filament') return `${Math.max(1, Math.ceil(l.short / 1000))} kg`;
  return writeAmount(l.short, l.unit);
}

/** What a job of a piece is called unless the maker says otherwise: as the one
 * under way for it, else the first number that is free. */
export function jobName(piece: string, jobs: readonly StockJobEntry[]): string {
  const mine = jobs.filter((j) => underWay(j) && j.piece === piece);
  if (mine.length) return mine[mine.length - 1]!.job;
  const taken = new Set(jobs.map((j) => j.job));
  for (let n = 1; ; n++) if (!taken.has(`${piece}-${n}`)) return `${piece}-${n}`;
}

/** What of the stock a plan for a job depends on. */
export function bearing(stock: Stock | null, job: string): string {
  const lots: [string, StockLot][] = (stock?.items ?? []).filter((i) => i.kind === 'offcut').flatMap((i) => i.lots.map((l): [string, StockLot] => [i.item, l]));
  return JSON.stringify([
    job,
    lots.filter(([, l]) => l.there > l.holds.reduce((n, h) => n + (h.job === job ? 0 : h.amount), 0)).map(([item, l]) => [item, l.lot, l.piece?.outline, l.piece?.reserved]),
  ]);
}
