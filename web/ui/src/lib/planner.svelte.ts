// Plans in the making: one order at a time, the newest wins, and what is known
// is shown as it comes.

import * as api from './api';
import { Latest } from './latest';
import type { PlanDoc, StrengthDoc } from './plan';
import type { Fault, Finding, PlanEvents, PlanOrder } from './types';

export type Server = Pick<typeof api, 'plan' | 'onPlan' | 'geometry' | 'geometryScene' | 'whole' | 'cancel'>;

export interface Known {
  id: string;
  doc: PlanDoc;
}

export class Planner {
  /** The plan ordered last; empty while there is none to be had. */
  id = $state('');
  /** Where it stands; null while nothing is being worked out. */
  progress = $state.raw<PlanEvents['stage'] | null>(null);
  failure = $state.raw<{ message: string; faults: Fault[] } | null>(null);
  /** Given up because the maker asked. */
  cancelled = $state(false);
  /** What the running or last plan was ordered with. */
  order = $state.raw<PlanOrder | null>(null);

  /** What of the stock the running or last plan could not go by. */
  notes = $state.raw<Finding[]>([]);

  /** The newest that is known of the piece, whole or not. */
  newest = $state.raw<(Known & ({ of: 'whole' } | { of: 'geometry'; scene: string })) | null>(null);
  geometry = $state.raw<Known | null>(null);
  whole = $state.raw<Known | null>(null);
  strength = $state.raw<{ id: string; doc: StrengthDoc } | null>(null);

  readonly #server: Server;
  readonly #unreachable: () => void;
  readonly #latest = new Latest<PlanOrder>((order) => this.#make(order));
  #stop: () => void = () => {};

  constructor(unreachable: () => void, server: Server = api) {
    this.#unreachable = unreachable;
    this.#server = server;
  }

  want(order: PlanOrder): void {
    this.#latest.want(order);
  }

  /** Orders the last plan anew, as after the server was away. */
  again(): void {
    if (this.order) this.want(this.order);
  }

  /** There is nothing to plan: what is known belongs to an earlier state. */
  rest(): void {
    this.#latest.drop();
    this.#stop();
    this.id = '';
    this.order = null;
    this.progress = null;
    this.failure = null;
    this.cancelled = false;
  }

  /** Forgets everything, for another piece. */
  clear(): void {
    this.rest();
    this.newest = null;
    this.geometry = null;
    this.whole = null;
    this.strength = null;
  }

  async cancel(): Promise<void> {
    const id = this.id;
    this.#latest.drop();
    if (!this.progress || !id) return;
    try {
      await this.#server.cancel(id);
    } catch (err) {
      if (err instanceof api.Unreachable) this.#unreachable();
    }
    if (this.id === id && this.progress) this.#cancelled();
  }

  #cancelled(): void {
    this.#stop();
    this.progress = null;
    this.cancelled = true;
  }

  /** Ends when the geometry is known, or there will be none. */
  async #make(order: PlanOrder): Promise<void> {
    this.#stop();
    this.order = order;
    this.failure = null;
    this.cancelled = false;
    this.progress = { stage: '', done: 0, total: 0 };
    let id: string;
    try {
      const ordered = await this.#server.plan(order);
      id = ordered.id;
      if (this.order === order) this.notes = ordered.findings ?? [];
    } catch (err) {
      if (this.order === order) this.#fail(err);
      return;
    }
    if (this.order !== order) return; // the page turned to something else
    this.id = id;
    await new Promise<void>((enough) => {
      const current = () => this.id === id && this.order === order;
      const fetched = async (get: () => Promise<PlanDoc>, take: (doc: PlanDoc) => void) => {
        try {
          const doc = await get();
          if (current()) take(doc);
        } catch (err) {
          if (current() && !this.cancelled) this.#fail(err);
        }
        enough();
      };
      const stop = this.#server.onPlan(id, {
        stage: (p) => {
          if (current()) this.progress = p;
        },
        geometry: () => {
          if (!current()) return enough(); // given up: its scene is gone
          if (this.whole?.id === id) return enough(); // the same as is known already
          // The scene as well, before the next order lets this plan go: every
          // step of a slider that is worked out is seen.
          let scene = '';
          void fetched(
            async () => {
              const [doc, url] = await Promise.all([this.#server.geometry(id), this.#server.geometryScene(id).catch(() => '')]);
              // Without it the stage asks for itself, and tells if it cannot.
              scene = url ? this.#hold(url) : api.sceneURL(id, 'geometry');
              return doc;
            },
            (doc) => {
              this.geometry = { id, doc };
              if (this.whole?.id !== id) this.newest = { id, doc, of: 'geometry', scene };
            },
          );
        },
        done: () =>
          void fetched(
            () => this.#server.whole(id),
            (doc) => {
              this.progress = null;
              this.whole = { id, doc };
              this.newest = { id, doc, of: 'whole' };
              if (doc.strength) this.strength = { id, doc: doc.strength };
            },
          ),
        failed: (f) => {
          if (current()) {
            this.progress = null;
            this.failure = { message: f.message, faults: f.faults ?? [] };
          }
          enough();
        },
        superseded: () => enough(),
        cancelled: () => {
          if (current()) this.#cancelled();
          enough();
        },
        lost: (again) => {
          // The browser listens anew by itself unless the server answers that
          // there is no such plan: then it has been started anew.
          if (!again && current()) this.#unreachable();
          if (!again) enough();
        },
      });
      this.#stop = () => {
        stop();
        enough();
      };
    });
  }

  /** Keeps the last few scenes: the stage may still be reading the one before. */
  #hold(url: string): string {
    this.#scenes.push(url);
    while (this.#scenes.length > 4) URL.revokeObjectURL(this.#scenes.shift()!);
    return url;
  }
  readonly #scenes: string[] = [];

  #fail(err: unknown): void {
    this.progress = null;
    if (err instanceof api.Unreachable) {
      this.#unreachable();
      return;
    }
    const remedy = err instanceof api.Problem && err.remedy ? ` ${err.remedy}` : '';
    this.failure = { message: (err instanceof Error ? err.message : String(err)) + remedy, faults: [] };
  }
}
