// One call at a time, and after it only the newest of those asked for meanwhile.

export class Latest<T> {
  readonly #run: (value: T) => Promise<void>;
  #waiting: { value: T } | null = null;
  #busy = false;

  /** run must not reject: what goes wrong in it is its own to tell. */
  constructor(run: (value: T) => Promise<void>) {
    this.#run = run;
  }

  /** Whether a call is on its way. */
  get busy(): boolean {
    return this.#busy;
  }

  want(value: T): void {
    this.#waiting = { value };
    if (!this.#busy) void this.#go();
  }

  /** Forgets what waits; what is on its way goes on. */
  drop(): void {
    this.#waiting = null;
  }

  async #go(): Promise<void> {
    this.#busy = true;
    while (this.#waiting) {
      const { value } = this.#waiting;
      this.#waiting = null;
      try {
        await this.#run(value);
      } catch (err) {
        console.error(err);
      }
    }
    this.#busy = false;
  }
}
