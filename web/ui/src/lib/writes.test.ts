import { beforeEach, describe, expect, it, vi } from 'vitest';
import { Conflict, Problem, Unreachable } from './api';
import type { Change, Marks, Piece } from './types';
import { orphan, pause, Writes, type Server } from './writes.svelte';

/** A server with one piece file, whose versions count up. */
class Desk implements Server {
  text = 'a: 1\nb: 2\nc: 3';
  marks: Marks = { groundwork: 1 };
  version = 1;
  marksVersion = 1;
  log: string[] = [];
  away = false;
  refuses: Problem | null = null;
  /** Done just before the next call is answered. */
  meanwhile: () => void = () => {};

  piece(): Piece {
    return {
      file: 'p.yaml', title: 'P', text: this.text, version: `v${this.version}`, shop: '', shopText: '', shopVersion: '',
      marks: this.marks, marksVersion: `m${this.marksVersion}`, parameters: [], faults: [], undo: null, redo: null,
    };
  }

  past: string[] = [];

  outside(text: string) {
    this.past.push(this.text);
    this.text = text;
    this.version++;
  }

  async #answer(what: string, run: () => void): Promise<Piece> {
    await Promise.resolve();
    this.meanwhile();
    this.meanwhile = () => {};
    if (this.away) throw new Unreachable();
    if (this.refuses) throw this.refuses;
    run();
    this.log.push(what);
    return this.piece();
  }

  #check(base: string, now: string) {
    if (base !== now) throw new Conflict('changed', this.piece());
  }

  save = (_: string, text: string, base: string) =>
    this.#answer('save', () => {
      this.#check(base, `v${this.version}`);
      this.outside(text);
    });
  change = (_: string, changes: Change[], base: string, what: string) =>
    this.#answer(what, () => {
      this.#check(base, `v${this.version}`);
      for (const c of changes) this.outside(this.text.replace(new RegExp(`${c.pointer}: .*`), `${c.pointer}: ${c.value}`));
    });
  saveMarks = (_: string, marks: Marks, base: string, what: string) =>
    this.#answer(what, () => {
      this.#check(base, `m${this.marksVersion}`);
      this.marks = marks;
      this.marksVersion++;
    });
  undo = () =>
    this.#answer('undo', () => {
      this.text = this.past.pop()!;
      this.version++;
    });
  redo = () => this.#answer('redo', () => this.outside('redone'));
}

let desk: Desk;
let writes: Writes;
let notices: string[];
let unreachable: number;
const told = {
  taken: () => {},
  unreachable: () => void unreachable++,
  notice: (m: string) => void notices.push(m),
};
const open = (view = 'me') => new Writes(desk.piece(), '/shop', told, desk, localStorage, view);
const set = (pointer: string, value: string) => ({ kind: 'changes' as const, changes: [{ document: 'piece' as const, pointer, value }], what: `${pointer} to ${value}` });
const knot = (n: number): Marks => ({ groundwork: 1, reserved: Array.from({ length: n }, () => ({ sheet: 's', at: [0, 0], size: [1, 1], what: 'knot' })) });

beforeEach(() => {
  vi.useFakeTimers();
  localStorage.clear();
  desk = new Desk();
  notices = [];
  unreachable = 0;
  writes = open();
});

describe('text', () => {
  it('is saved once, after a pause', async () => {
    writes.edit('a: 1x');
    await vi.advanceTimersByTimeAsync(pause - 1);
    writes.edit('a: 1xy');
    await vi.advanceTimersByTimeAsync(pause - 1);
    expect(desk.log).toEqual([]);
    await vi.advanceTimersByTimeAsync(1);
    expect(desk.log).toEqual(['save']);
    expect(desk.text).toBe('a: 1xy');
    expect(writes.saved).toBe(true);
    expect(localStorage.length).toBe(0);
  });

  it('typed while the save is on its way is saved after it', async () => {
    writes.edit('one');
    desk.meanwhile = () => writes.edit('one two');
    await writes.flush();
    expect(desk.log).toEqual(['save', 'save']);
    expect(desk.text).toBe('one two');
  });

  it('goes before a change, so that the change is in it', async () => {
    writes.edit('a: 9\nb: 2\nc: 3');
    await writes.do(set('c', '7'));
    expect(desk.log).toEqual(['save', 'c to 7']);
    expect(writes.text).toBe('a: 9\nb: 2\nc: 7');
  });

  it('typed while a change is on its way keeps both', async () => {
    const done = writes.do(set('c', '7'));
    writes.edit('a: 9\nb: 2\nc: 3');
    await done;
    await vi.advanceTimersByTimeAsync(pause);
    expect(desk.text).toBe('a: 9\nb: 2\nc: 7');
  });

  it('joins what was changed outside in other lines', async () => {
    desk.outside('a: 1\nb: 2\nc: outside');
    writes.edit('a: mine\nb: 2\nc: 3');
    await writes.flush();
    expect(desk.text).toBe('a: mine\nb: 2\nc: outside');
    expect(writes.clash).toBeNull();
  });

  it.each([
    ['mine', 'a: mine\nb: 2\nc: 3'],
    ['theirs', 'a: outside\nb: 2\nc: 3'],
  ] as const)('asks when both changed a line; the maker keeps %s', async (keep, want) => {
    desk.outside('a: outside\nb: 2\nc: 3');
    writes.edit('a: mine\nb: 2\nc: 3');
    await writes.flush();
    expect(writes.clash).toMatchObject({ kind: 'text', theirs: { text: 'a: outside\nb: 2\nc: 3' } });
    expect(writes.text).toBe('a: mine\nb: 2\nc: 3');
    expect(desk.log).toEqual([]);
    await writes.settle(keep);
    // What is not kept has been saved and taken back: redo has it.
    expect(desk.log).toEqual(keep === 'mine' ? ['save'] : ['save', 'undo']);
    expect(desk.text).toBe(want);
    expect(writes.text).toBe(want);
    expect(writes.saved).toBe(true);
  });

  it('stays the maker\'s while a clash stands and the file changes on', async () => {
    desk.outside('a: outside\nb: 2\nc: 3');
    writes.edit('a: mine\nb: 2\nc: 3');
    await writes.flush();
    desk.outside('a: outside\nb: 5\nc: 3');
    writes.take(desk.piece());
    expect(writes.clash).not.toBeNull();
    expect(writes.text).toBe('a: mine\nb: 2\nc: 3');
    // The other takes its change back: nothing to ask any more.
    desk.outside('a: 1\nb: 5\nc: 3');
    writes.take(desk.piece());
    expect(writes.clash).toBeNull();
    expect(writes.text).toBe('a: mine\nb: 5\nc: 3');
  });

  it('is told of once when it is refused, and sent again when it changes', async () => {
    desk.refuses = new Problem(413, 'It is too long.');
    writes.edit('long');
    await writes.flush();
    await writes.flush();
    expect(notices).toEqual(['The text is not saved: It is too long.']);
    expect(writes.text).toBe('long');
    desk.refuses = null;
    writes.edit('short');
    await writes.flush();
    expect(desk.text).toBe('short');
  });
});

describe('changes', () => {
  it('are set in what the file has become', async () => {
    desk.outside('a: outside\nb: 2\nc: 3');
    await writes.do(set('c', '7'));
    expect(desk.text).toBe('a: outside\nb: 2\nc: 7');
  });

  it('that are refused are told of and not tried again', async () => {
    desk.refuses = new Problem(422, 'There is no such place.');
    await writes.do(set('zz', '7'));
    expect(notices).toEqual(['"zz to 7" was not done: There is no such place.']);
    expect(writes.saved).toBe(true);
  });

  it('do not run for ever against a file that never rests', async () => {
    desk.change = async () => {
      desk.outside(desk.text + '!');
      throw new Conflict('changed', desk.piece());
    };
    await writes.do(set('c', '7'));
    expect(desk.version).toBeLessThan(100);
  });
});

describe('marks', () => {
  it('made one upon the other are not taken for a clash', async () => {
    const base = writes.piece.marksVersion;
    const first = writes.do({ kind: 'marks', marks: knot(1), base, what: 'one' });
    const second = writes.do({ kind: 'marks', marks: knot(2), base, what: 'two' });
    await Promise.all([first, second]);
    expect(desk.log).toEqual(['one', 'two']);
    expect(desk.marks).toEqual(knot(2));
  });

  it.each(['mine', 'theirs'] as const)('of another window are not written over unasked; the maker keeps %s', async (keep) => {
    const base = writes.piece.marksVersion;
    desk.marks = knot(5);
    desk.marksVersion++;
    writes.take(desk.piece()); // even if this window has heard of it
    await writes.do({ kind: 'marks', marks: knot(1), base, what: 'one' });
    expect(writes.clash?.kind).toBe('marks');
    expect(desk.marks).toEqual(knot(5));
    await writes.settle(keep);
    expect(desk.marks).toEqual(keep === 'mine' ? knot(1) : knot(5));
    expect(writes.saved).toBe(true);
  });
});

describe('without a server', () => {
  it('keeps everything and sends it later, in order', async () => {
    desk.away = true;
    writes.edit('a: 9\nb: 2\nc: 3');
    await writes.do(set('c', '7'));
    await writes.do(set('b', '8'));
    expect(unreachable).toBeGreaterThan(0);
    expect(writes.saved).toBe(false);
    desk.away = false;
    await writes.flush();
    expect(desk.log).toEqual(['save', 'c to 7', 'b to 8']);
    expect(desk.text).toBe('a: 9\nb: 8\nc: 7');
    expect(localStorage.length).toBe(0);
  });

  it('survives the end of the page', async () => {
    desk.away = true;
    writes.edit('a: 9\nb: 2\nc: 3');
    await writes.do(set('c', '7'));
    writes.close();

    desk.away = false;
    desk.outside('a: outside\nb: 2\nc: 3');
    expect(orphan('/shop', 'p.yaml', new Set(['me']), localStorage)).toBeNull(); // its window is still open
    expect(orphan('/shop', 'other.yaml', new Set(), localStorage)).toBeNull();
    expect(orphan('/elsewhere', 'p.yaml', new Set(), localStorage)).toBeNull();
    const unsaved = orphan('/shop', 'p.yaml', new Set(), localStorage);
    const later = open('later');
    // Both changed a line: the maker is asked, and nothing is sent.
    await later.restore(unsaved!);
    expect(later.clash?.kind).toBe('text');
    expect(orphan('/shop', 'p.yaml', new Set(), localStorage)?.text).toBe('a: 9\nb: 2\nc: 3');
    await later.settle('mine');
    expect(desk.log).toEqual(['save', 'c to 7']);
    expect(desk.text).toBe('a: 9\nb: 2\nc: 7');
  });

  it('takes the newest of several windows and leaves the others', async () => {
    desk.away = true;
    for (const [view, text] of [['one', 'a: one'], ['two', 'a: two']] as const) {
      const w = open(view);
      w.edit(text);
      w.close();
      await vi.advanceTimersByTimeAsync(1000);
    }
    expect(orphan('/shop', 'p.yaml', new Set(), localStorage)?.text).toBe('a: two');
    expect(orphan('/shop', 'p.yaml', new Set(), localStorage)?.text).toBe('a: one');
    expect(orphan('/shop', 'p.yaml', new Set(), localStorage)).toBeNull();
  });
});
