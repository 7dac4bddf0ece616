// Things that must not be done twice. A deed whose answer was lost may have been
// done: sent again it has the key that it had, by which the server knows it.

import { Problem, Unreachable } from './api';

export class Deeds {
  readonly #open = new Map<string, string>();

  /** Does something; what is its whole content, by which it is known when it is
   * asked for again. */
  async do<T>(what: unknown, send: (key: string) => Promise<T>): Promise<T> {
    const name = JSON.stringify(what);
    const key = this.#open.get(name) ?? fresh();
    this.#open.set(name, key);
    try {
      const out = await send(key);
      this.#open.delete(name);
      return out;
    } catch (err) {
      // Only of what was refused is it known that it was not done.
      const lost = err instanceof Unreachable || (err instanceof Problem && err.status >= 500);
      if (!lost) this.#open.delete(name);
      throw err;
    }
  }
}

function fresh(): string {
  return Array.from(crypto.getRandomValues(new Uint8Array(12)), (b) => b.toString(16).padStart(2, '0')).join('');
}
