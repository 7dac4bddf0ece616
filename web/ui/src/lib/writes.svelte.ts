// What the maker writes, on its way to the server. Nothing of it is lost: text
// and changes are kept in the browser's storage until the server has them, and
// what another window or program wrote meanwhile is put together with them.

import * as api from './api';
import { merge } from './merge';
import type { Change, Marks, Piece } from './types';

/** What is sent; tests have their own. */
export type Server = Pick<typeof api, 'save' | 'change' | 'saveMarks' | 'undo' | 'redo'>;
export type Store = Pick<Storage, 'getItem' | 'setItem' | 'removeItem' | 'key' | 'length'>;

/** Something to be done that is not typing. */
export type Write =
  | { kind: 'changes'; changes: Change[]; what: string; gather?: string }
  | { kind: 'marks'; marks: Marks; base: string; what: string }
  | { kind: 'undo' | 'redo' };

/** Two wrote the same, and the maker must choose. Of the text, the maker's is
 * what stands in the editor. */
export type Clash =
  | { kind: 'text'; theirs: Piece }
  | { kind: 'marks'; mine: Marks; what: string; theirs: Piece };

/** What is kept in storage until the server has it. */
export interface Unsaved {
  /** The text as typed, and the file's text that it was typed into. */
  text?: string;
  base?: string;
  writes: Write[];
  when: number;
}

const prefix = 'groundwork unsaved';

/** How long after the last key a text is saved, ms. */
export const pause = 400;

export interface Told {
  /** The server has a new state of the piece. */
  taken(piece: Piece): void;
  /** It does not answer; resume() when it does. */
  unreachable(): void;
  /** Something could not be done, or was done otherwise than might be thought. */
  notice(message: string, remedy?: string): void;
}

export class Writes {
  /** The piece as the server has it. */
  piece = $state.raw<Piece>() as Piece;
  /** The text in the editor. */
  text = $state('');
  clash = $state.raw<Clash | null>(null);
  /** Waiting to be sent, in order; the text goes before them. */
  queue = $state.raw<Write[]>([]);
  busy = $state(false);
  /** Why the server does not take the text as it is; empty if it does. */
  refused = $state('');

  dirty = $derived(this.text !== this.piece.text);
  saved = $derived(!this.dirty && this.queue.length === 0 && !this.clash);

  readonly #server: Server;
  readonly #store: Store | null;
  readonly #told: Told;
  readonly #key: string;
  /** The file's text that the editor's was typed into. */
  #base: string;
  #timer: ReturnType<typeof setTimeout> | undefined;
  #running: Promise<void> | null = null;

  constructor(piece: Piece, place: string, told: Told, server: Server = api, store: Store | null = storage(), view = api.view) {
    this.piece = piece;
    this.text = piece.text;
    this.#base = piece.text;
    this.#server = server;
    this.#store = store;
    this.#told = told;
    this.#key = JSON.stringify([prefix, place, piece.file, view]);
  }

  /** The maker types. */
  edit(text: string): void {
    this.text = text;
    this.refused = '';
    this.#keep();
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => void this.flush(), pause);
  }

  /** The maker does something; the text typed so far goes first. */
  do(write: Write): Promise<void> {
    this.queue = [...this.queue, write];
    this.#keep();
    return this.flush();
  }

  /** The file has another state: what is typed here is carried over to it. */
  take(piece: Piece): void {
    this.piece = piece;
    const both = this.text === this.#base ? piece.text : merge(this.#base, this.text, piece.text);
    if (both === null) {
      this.clash = { kind: 'text', theirs: piece };
    } else {
      if (this.clash?.kind === 'text') this.clash = null;
      this.text = both;
      this.#base = piece.text;
    }
    this.#keep();
    this.#told.taken(piece);
  }

  /** Ends a clash by the maker's choice. */
  settle(keep: 'mine' | 'theirs'): Promise<void> {
    const clash = this.clash;
    this.clash = null;
    if (clash?.kind === 'text') {
      this.#base = clash.theirs.text;
      // The maker's is saved all the same and taken back, so that redo has it.
      if (keep === 'theirs') this.queue = [{ kind: 'undo' }, ...this.queue];
    }
    if (clash?.kind === 'marks' && keep === 'mine') {
      this.queue = [{ kind: 'marks', marks: clash.mine, base: clash.theirs.marksVersion, what: clash.what }, ...this.queue];
    }
    this.#keep();
    return this.flush();
  }

  /** What was done but never reached the server, before the page was loaded. */
  restore(unsaved: Unsaved): Promise<void> {
    if (unsaved.text !== undefined && unsaved.base !== undefined) {
      this.text = unsaved.text;
      this.#base = unsaved.base;
    }
    this.queue = [...unsaved.writes, ...this.queue];
    this.take(this.piece);
    return this.flush();
  }

  /** Sends what waits. Ends when all is sent or nothing more can be. */
  flush(): Promise<void> {
    clearTimeout(this.#timer);
    if (!this.#running) {
      this.busy = true;
      this.#running = this.#send().finally(() => {
        this.#running = null;
        this.busy = false;
      });
    }
    return this.#running;
  }

  /** Leaves no timer behind. What is unsaved stays in storage. */
  close(): void {
    clearTimeout(this.#timer);
  }

  async #send(): Promise<void> {
    // Each round sends one thing. A limit, so that a server which answers with
    // yet another state each time cannot keep the page busy for ever.
    for (let round = 0; round < 50 && !this.clash; round++) {
      const typing = this.dirty && !this.refused;
      const next = this.queue[0];
      if (typing) await this.#sendText();
      else if (next) await this.#sendWrite(next);
      else return;
      if (this.#away) return;
    }
  }
  #away = false;

  async #sendText(): Promise<void> {
    const sent = this.text;
    try {
      const piece = await this.#server.save(this.piece.file, sent, this.piece.version);
      this.#away = false;
      this.#base = sent;
      this.#acknowledged(piece);
    } catch (err) {
      if (this.#lost(err)) return;
      if (err instanceof api.Conflict) return this.take(err.current);
      const { message, remedy } = told(err);
      this.refused = message;
      this.#told.notice(`The text is not saved: ${message}`, remedy);
    }
  }

  async #sendWrite(write: Write): Promise<void> {
    const done = () => {
      this.queue = this.queue.filter((w) => w !== write);
    };
    const { file, version } = this.piece;
    try {
      let piece: Piece;
      if (write.kind === 'changes') piece = await this.#server.change(file, write.changes, version, write.what, write.gather);
      else if (write.kind === 'marks') piece = await this.#server.saveMarks(file, write.marks, write.base, write.what);
      else piece = await this.#server[write.kind](file);
      this.#away = false;
      done();
      this.#acknowledged(piece);
    } catch (err) {
      if (this.#lost(err)) return;
      if (err instanceof api.Conflict) {
        // Single values are set in whatever the file has become; whole marks
        // would undo what others marked.
        if (write.kind === 'marks') {
          done();
          this.clash = { kind: 'marks', mine: write.marks, what: write.what, theirs: err.current };
        }
        return this.take(err.current);
      }
      done();
      this.#keep();
      const { message, remedy } = told(err);
      this.#told.notice(`${nameOf(write)} was not done: ${message}`, remedy);
    }
  }

  /** Marks that wait were made on top of what has just been done. */
  #acknowledged(piece: Piece): void {
    const before = this.piece.marksVersion;
    this.queue = this.queue.map((w) => (w.kind === 'marks' && w.base === before ? { ...w, base: piece.marksVersion } : w));
    this.take(piece);
  }

  #lost(err: unknown): boolean {
    this.#away = err instanceof api.Unreachable;
    if (this.#away) this.#told.unreachable();
    return this.#away;
  }

  #keep(): void {
    try {
      if (this.saved) {
        this.#store?.removeItem(this.#key);
        return;
      }
      const writes = this.queue.filter((w) => w.kind === 'changes' || w.kind === 'marks');
      if (this.clash?.kind === 'marks') {
        writes.unshift({ kind: 'marks', marks: this.clash.mine, base: '', what: this.clash.what });
      }
      const unsaved: Unsaved = { writes, when: Date.now() };
      if (this.dirty) {
        unsaved.text = this.text;
        unsaved.base = this.#base;
      }
      this.#store?.setItem(this.#key, JSON.stringify(unsaved));
    } catch {
      // Storage is full or forbidden: then only this window has it.
    }
  }
}

function told(err: unknown): { message: string; remedy: string } {
  return { message: err instanceof Error ? err.message : String(err), remedy: err instanceof api.Problem ? err.remedy : '' };
}

function nameOf(write: Write): string {
  return write.kind === 'changes' || write.kind === 'marks' ? `"${write.what}"` : write.kind === 'undo' ? 'Undo' : 'Redo';
}

function storage(): Storage | null {
  try {
    return globalThis.localStorage;
  } catch {
    return null;
  }
}

/** What a window that is gone left unsaved of a file: the newest, if there is
 * any; alive are the views of the windows still open. Taking it removes it, and
 * older ones stay for another time. */
export function orphan(place: string, file: string, alive: ReadonlySet<string>, store: Store | null = storage()): Unsaved | null {
  let newest: { key: string; unsaved: Unsaved } | null = null;
  for (let i = 0; i < (store?.length ?? 0); i++) {
    const key = store!.key(i)!;
    try {
      const [p, where, name, view] = JSON.parse(key) as string[];
      if (p !== prefix || where !== place || name !== file || alive.has(view ?? '')) continue;
      const unsaved = JSON.parse(store!.getItem(key)!) as Unsaved;
      if (!newest || unsaved.when > newest.unsaved.when) newest = { key, unsaved };
    } catch {
      // Not ours.
    }
  }
  if (newest) store!.removeItem(newest.key);
  return newest?.unsaved ?? null;
}
