// What the maker chooses of the job beside the piece and the shop: it stands
// with the marks. Nothing is changed in place.

import type { Book, Making, Marks } from './types';
import { Unreadable } from './units';

/** What is done where nothing is chosen; not written down. */
const usual = { coupons: 'printed', send: 'ready', paper: 'a4', templates: 'with' } as const;

/** The kits that are priced where nothing is chosen. */
export const usualBatches = [1, 5, 20];

export const sends = [
  { send: 'ready', name: 'Finished parts', what: 'You do all but the last screws.' },
  { send: 'cores', name: 'Cores and cut veneer', what: 'The buyer glues, veneers and finishes.' },
  { send: 'leaves', name: 'Cut veneer and print files', what: 'The buyer prints too.' },
] as const;

/** Choices that may be taken back: undefined is the usual. */
export interface Choice {
  making?: { [K in keyof Making]?: Making[K] | undefined };
  book?: { [K in keyof Book]?: Book[K] | undefined };
}

/** The marks with something else chosen. */
export function choose(marks: Marks, choice: Choice): Marks {
  const { making, book, ...rest } = marks;
  const m = chosen<Making>({ ...making, ...choice.making });
  const b = chosen<Book>({ ...book, ...choice.book });
  return { ...rest, ...(m ? { making: m } : {}), ...(b ? { book: b } : {}) };
}

/** What is not the usual; null if all is. */
function chosen<T extends object>(all: object): T | null {
  const kept = Object.entries(all).filter(
    ([key, v]) => v !== undefined && v !== '' && v !== false && !(Array.isArray(v) && !v.length) && usual[key as keyof typeof usual] !== v,
  );
  return kept.length ? (Object.fromEntries(kept) as T) : null;
}

/** Whether the same is chosen. */
export function alike(a: Marks, b: Marks): boolean {
  const written = (m: Marks) => JSON.stringify([m.making, m.book].map((x) => Object.entries(x ?? {}).sort(([p], [q]) => (p < q ? -1 : 1))));
  return written(choose(a, {})) === written(choose(b, {}));
}

const first = 2000;
const last = 2199;

/** A day as a field for dates writes it; empty for none. Throws Unreadable. */
export function readDay(text: string): string {
  const year = /^(\d{4,6})-\d\d-\d\d$/.exec(text)?.[1];
  if (text && (!year || Number(year) < first || Number(year) > last)) throw new Unreadable(`Give a day from ${first} to ${last}`);
  return text;
}

/** Numbers of kits, "1, 5, 20" or apart by spaces: in order, each once. Throws
 * Unreadable. */
export function readBatches(text: string): number[] {
  const words = text.split(/[\s,;]+/).filter(Boolean);
  const out = words.map((w) => {
    const n = Number(w);
    if (!/^\d+$/.test(w) || n < 1 || n > 10_000) throw new Unreadable(`${w} is no number of kits from 1 to 10000`);
    return n;
  });
  const each = [...new Set(out)].sort((a, b) => a - b);
  if (each.length > 20) throw new Unreadable('Give 20 numbers at most');
  return each;
}

export const writeBatches = (batches: readonly number[] | undefined) => (batches ?? []).join(', ');

/** A line of the book: how long it may be, in bytes, is what the file takes. */
export function readLine(text: string): string {
  return within(text.replace(/\s+/g, ' ').trim(), 200);
}

export function readNotes(text: string): string {
  return within(text.replace(/\r\n?/g, '\n').replace(/\s+$/, ''), 100_000);
}

function within(text: string, most: number): string {
  const bytes = new TextEncoder().encode(text).length;
  if (bytes > most) throw new Unreadable(`It is longer than the book takes, by ${bytes - most} of ${most} bytes`);
  if (/[\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f-\u009f]/.test(text)) throw new Unreadable('It has signs that are no text');
  return text;
}
