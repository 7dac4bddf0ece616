// Pictures of sheets as textures: made in a worker, kept while they are used and
// a little longer, so that a slider that comes back finds them.

import { DataTexture, LinearFilter, LinearMipmapLinearFilter, MirroredRepeatWrapping, SRGBColorSpace, type Texture } from 'three';
import { make, type Order } from './sheets';
import type { Pixels } from './warp';

/** How many pictures are kept that nothing shows. */
const SPARE = 4;

interface Entry {
  texture: Texture | null;
  fine: boolean;
  used: number;
}

export class Pictures {
  readonly #entries = new Map<string, Entry>();
  readonly #ready: () => void;
  readonly #anisotropy: number;
  #worker: Worker | null = null;
  readonly #waiting = new Map<number, (p: Pixels, rough: boolean) => void>();
  #asked = 0;
  #round = 0;

  /** ready is called when a picture that was missing has come. */
  constructor(anisotropy: number, ready: () => void) {
    this.#anisotropy = anisotropy;
    this.#ready = ready;
  }

  /** The picture, or null if it is still being made. */
  get(order: Order): Texture | null {
    const key = JSON.stringify(order);
    let entry = this.#entries.get(key);
    if (!entry) {
      entry = { texture: null, fine: false, used: this.#round };
      this.#entries.set(key, entry);
      this.#make(order, (pixels, rough) => {
        if (this.#entries.get(key) !== entry) return; // dropped meanwhile
        const t = new DataTexture(new Uint8Array(pixels.data.buffer), pixels.width, pixels.height);
        t.colorSpace = SRGBColorSpace;
        t.wrapS = t.wrapT = MirroredRepeatWrapping;
        t.magFilter = LinearFilter;
        t.minFilter = LinearMipmapLinearFilter;
        t.generateMipmaps = true;
        t.anisotropy = this.#anisotropy;
        t.needsUpdate = true;
        entry!.texture?.dispose();
        entry!.texture = t;
        entry!.fine = !rough;
        this.#ready();
      });
    }
    entry.used = this.#round;
    return entry.texture;
  }

  /** Whether every picture that was asked for is there in full. */
  get complete(): boolean {
    return [...this.#entries.values()].every((e) => e.fine);
  }

  /** Forgets what has not been asked for since the last call but a few. */
  sweep(): void {
    const idle = [...this.#entries].filter(([, e]) => e.used < this.#round && e.texture).sort((a, b) => b[1].used - a[1].used);
    for (const [key, e] of idle.slice(SPARE)) {
      e.texture!.dispose();
      this.#entries.delete(key);
    }
    this.#round++;
  }

  /** lost: the graphics memory is gone already. */
  dispose(lost = false): void {
    if (!lost) for (const e of this.#entries.values()) e.texture?.dispose();
    this.#entries.clear();
    this.#worker?.terminate();
    this.#worker = null;
  }

  #make(order: Order, done: (p: Pixels, rough: boolean) => void): void {
    if (typeof Worker === 'undefined' || typeof OffscreenCanvas === 'undefined') {
      void make(order, true).then((p) => done(p, true));
      setTimeout(() => void make(order).then((p) => done(p, false)), 50);
      return;
    }
    if (!this.#worker) {
      this.#worker = new Worker(new URL('./sheets.worker.ts', import.meta.url), { type: 'module' });
      this.#worker.onmessage = (e: MessageEvent<{ id: number; pixels: Pixels; rough: boolean }>) => {
        this.#waiting.get(e.data.id)?.(e.data.pixels, e.data.rough);
        if (!e.data.rough) this.#waiting.delete(e.data.id);
      };
    }
    const id = ++this.#asked;
    // A worker knows no page to which an address could be relative.
    const plain: Order = JSON.parse(JSON.stringify(order));
    if (plain.photograph) plain.photograph.url = new URL(plain.photograph.url, document.baseURI).href;
    this.#waiting.set(id, done);
    this.#worker.postMessage({ id, order: plain });
  }
}
