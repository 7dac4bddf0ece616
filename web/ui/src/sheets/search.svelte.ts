// The search for a tighter layout. It goes on while the maker looks at
// something else, and ends with a choice.

import * as api from '../lib/api';
import { job } from '../lib/job.svelte';
import type { Marks } from '../lib/types';
import type { Reached } from './curve';
import { use } from './marks';

class Search {
  /** What the running or last search began from; null before the first one. */
  before = $state.raw<{ density: number; consumed: number } | null>(null);
  reached = $state.raw<Reached[]>([]);
  /** It is asked to last, s. */
  lasts = $state(0);
  now = $state(0);
  running = $state(false);
  stopping = $state(false);
  /** Its best layout, until the maker has chosen. */
  found = $state.raw<Marks | null>(null);
  failure = $state('');
  /** The piece and marks that it was for. */
  #for = '';
  #id = '';
  #end: () => void = () => {};

  /** Whether what was found still belongs to the piece as it is. */
  fits = $derived.by(() => this.#state === this.#for);
  #state = $derived(job.piece ? JSON.stringify([job.piece.file, job.piece.version, job.piece.shopVersion, job.piece.marksVersion]) : '');

  async start(seconds: number): Promise<void> {
    const known = job.whole;
    if (!known || this.running) return;
    this.#end();
    this.before = use(known.doc);
    this.reached = [];
    this.found = null;
    this.failure = '';
    this.lasts = seconds;
    this.now = 0;
    this.running = true;
    this.stopping = false;
    this.#for = this.#state;
    const began = performance.now();
    const clock = setInterval(() => (this.now = (performance.now() - began) / 1000), 200);
    const over = () => {
      clearInterval(clock);
      this.running = false;
    };
    try {
      this.#id = (await api.improve(known.id, seconds)).id;
    } catch (err) {
      over();
      this.failure = err instanceof Error ? err.message : String(err);
      return;
    }
    const deaf = api.onSearch(this.#id, {
      better: (b) => (this.reached = [...this.reached, { seconds: b.seconds, density: b.density, consumed: b.consumedMm2 }]),
      done: ({ marks }) => {
        over();
        this.found = marks;
      },
      failed: (f) => {
        over();
        this.failure = f.message;
      },
      lost: (again) => {
        if (again) return;
        over();
        this.failure = 'The search was lost with its server.';
      },
    });
    this.#end = () => {
      deaf();
      over();
    };
  }

  async stop(): Promise<void> {
    if (!this.running || !this.#id) return;
    this.stopping = true;
    try {
      await api.stopSearch(this.#id);
    } catch (err) {
      this.failure = err instanceof Error ? err.message : String(err);
    }
  }

  async keep(): Promise<void> {
    const marks = this.found;
    this.letGo();
    if (marks) await job.mark(marks, 'Tighter layout kept');
  }

  letGo(): void {
    this.found = null;
    this.before = null;
    this.reached = [];
  }
}

export const search = new Search();
