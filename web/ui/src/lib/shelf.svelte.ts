// The shop's stock as this window knows it, and what is done to it.

import * as api from './api';
import { Deeds } from './deeds';
import type { Stock, StockEntered, StockEntry, StockFinished, StockJob, StockPrint, StockReserved } from './types';

export type Server = Pick<typeof api, 'stock' | 'enterStock' | 'reservePlan' | 'stockDeed'>;

/** Something that is wanted in stock, for the form by which it is taken in. */
export interface Wanted {
  kind: StockEntry['kind'];
  item: string;
  amount: string;
  unit: string;
}

export class Shelf {
  /** What there is; null before it is known. */
  now = $state.raw<Stock | null>(null);
  /** Why it is not known. */
  wrong = $state.raw<{ message: string; remedy: string } | null>(null);
  /** What the maker was offered to take in. */
  wanted = $state.raw<Wanted | null>(null);

  readonly #deeds = new Deeds();
  readonly #server: Server;
  readonly #unreachable: () => void;
  readonly #changed: () => void;
  #asked = 0;

  constructor(unreachable: () => void, changed: () => void = () => {}, server: Server = api) {
    this.#unreachable = unreachable;
    this.#changed = changed;
    this.#server = server;
  }

  /** Reads it anew. Of answers that overtake one another the last asked for
   * counts. */
  async refresh(): Promise<void> {
    const asked = ++this.#asked;
    try {
      const now = await this.#server.stock();
      if (asked !== this.#asked) return;
      this.now = now;
      this.wrong = null;
      this.#changed();
    } catch (err) {
      if (err instanceof api.Unreachable) this.#unreachable();
      else if (asked === this.#asked) this.wrong = said(err);
    }
  }

  enter(entry: StockEntry): Promise<StockEntered> {
    return this.#do(['enter', entry], (key) => this.#server.enterStock(entry, key));
  }

  /** Enters a plan as a job and lays aside what it takes. */
  reserve(plan: string, job: string): Promise<StockReserved> {
    return this.#do(['reserve', plan, job], (key) => this.#server.reservePlan(plan, { job }, key));
  }

  /** Lays aside for a job that was entered before. */
  reserveJob(job: string): Promise<StockReserved> {
    return this.#do(['reserve job', job], (key) => this.#server.stockDeed<StockReserved>(job, 'reserve', {}, key));
  }

  print(job: string, run: StockPrint): Promise<StockJob> {
    return this.#do(['print', job, run], (key) => this.#server.stockDeed(job, 'print', run, key));
  }

  finish(job: string, how: { noOffcuts: boolean; reason?: string }): Promise<StockFinished> {
    return this.#do(['finish', job, how], (key) => this.#server.stockDeed<StockFinished>(job, 'finish', how, key));
  }

  end(job: string, deed: 'release' | 'abandon', reason?: string): Promise<StockJob> {
    return this.#do([deed, job, reason], (key) => this.#server.stockDeed(job, deed, { reason }, key));
  }

  /** Does something and reads the stock anew. Throws what the maker is to be
   * told. */
  async #do<T>(what: unknown, send: (key: string) => Promise<T>): Promise<T> {
    try {
      const out = await this.#deeds.do(what, send);
      await this.refresh();
      return out;
    } catch (err) {
      if (err instanceof api.Unreachable) {
        this.#unreachable();
        throw new api.Problem(0, 'The server did not answer, so that it is not known whether this was done.', 'Press again when it answers: it is not done twice.');
      }
      throw err;
    }
  }
}

/** An error in the maker's words. */
export function said(err: unknown): { message: string; remedy: string } {
  return { message: err instanceof Error ? err.message : String(err), remedy: err instanceof api.Problem ? err.remedy : '' };
}
