// Pictures of sheets as images that a drawing can lay under its lines: made by
// the same worker as the stage's, from the maker's photograph or the species.

import { SvelteMap } from 'svelte/reactivity';
import { make, type Order } from '../stage/sheets';
import type { Pixels } from '../stage/warp';

/** How many are kept. */
const KEPT = 8;

export class Pictures {
  readonly #urls = new SvelteMap<string, string>();
  readonly #asked = new Set<string>();
  readonly #waiting = new Map<number, (p: Pixels) => void>();
  #worker: Worker | null = null;
  #n = 0;

  /** The picture's address, or null while there is none yet. */
  get(order: Order): string | null {
    const key = JSON.stringify(order);
    if (!this.#asked.has(key)) {
      this.#asked.add(key);
      this.#order(order, (pixels) => void this.#keep(key, pixels));
    }
    return this.#urls.get(key) ?? null;
  }

  dispose(): void {
    this.#worker?.terminate();
    this.#worker = null;
    for (const url of this.#urls.values()) URL.revokeObjectURL(url);
    this.#urls.clear();
    this.#asked.clear();
    this.#waiting.clear();
  }

  #order(order: Order, done: (p: Pixels) => void): void {
    if (typeof Worker === 'undefined' || typeof OffscreenCanvas === 'undefined') {
      void make(order).then(done);
      return;
    }
    if (!this.#worker) {
      this.#worker = new Worker(new URL('../stage/sheets.worker.ts', import.meta.url), { type: 'module' });
      this.#worker.onmessage = (e: MessageEvent<{ id: number; pixels: Pixels; rough: boolean }>) => {
        this.#waiting.get(e.data.id)?.(e.data.pixels);
        if (!e.data.rough) this.#waiting.delete(e.data.id);
      };
    }
    const id = ++this.#n;
    this.#waiting.set(id, done);
    // A worker knows no page to which an address could be relative.
    const plain = JSON.parse(JSON.stringify(order)) as Order;
    if (plain.photograph) plain.photograph.url = new URL(plain.photograph.url, document.baseURI).href;
    this.#worker.postMessage({ id, order: plain });
  }

  async #keep(key: string, { data, width, height }: Pixels): Promise<void> {
    // Its first row lies at the lower edge; an image's at the upper one.
    const image = new ImageData(width, height);
    for (let y = 0; y < height; y++) image.data.set(data.subarray((height - 1 - y) * width * 4, (height - y) * width * 4), y * width * 4);
    const canvas = document.createElement('canvas');
    canvas.width = width;
    canvas.height = height;
    canvas.getContext('2d')?.putImageData(image, 0, 0);
    const blob = await new Promise<Blob | null>((got) => canvas.toBlob(got, 'image/jpeg', 0.92));
    if (!blob || !this.#asked.has(key)) return;
    const before = this.#urls.get(key);
    this.#urls.set(key, URL.createObjectURL(blob));
    if (before) URL.revokeObjectURL(before);
    const oldest = this.#urls.keys().next().value;
    if (this.#urls.size > KEPT && oldest !== undefined && oldest !== key) {
      URL.revokeObjectURL(this.#urls.get(oldest)!);
      this.#urls.delete(oldest);
      this.#asked.delete(oldest);
    }
  }
}
