import { describe, expect, it } from 'vitest';
import { drawWood, leafWidth, seedOf, species } from './wood';
import type { Pixels } from './warp';

function draw(name: string, seed: number, w = 220, l = 300): Pixels {
  const p = { data: new Uint8ClampedArray(w * l * 4), width: w, height: l };
  drawWood(p, name, seed, w, l);
  return p;
}

const grey = (p: Pixels) => Array.from({ length: p.width * p.height }, (_, i) => (p.data[4 * i]! + p.data[4 * i + 1]! + p.data[4 * i + 2]!) / 3);
const mean = (a: number[]) => a.reduce((s, v) => s + v, 0) / a.length;

/** How alike neighbours are some pixels apart, 1 for the same. */
function alike(p: Pixels, dx: number, dy: number): number {
  const g = grey(p);
  const m = mean(g);
  let [n, d] = [0, 0];
  for (let j = 0; j < p.height - dy; j++) {
    for (let i = 0; i < p.width - dx; i++) {
      n += (g[j * p.width + i]! - m) * (g[(j + dy) * p.width + i + dx]! - m);
      d += (g[j * p.width + i]! - m) ** 2;
    }
  }
  return n / d;
}

const NAMES = ['walnut', 'ash', 'oak', 'cherry', 'maple', 'beech', 'something else'];

describe('wood', () => {
  it('is the same for the same sheet, and another for another', () => {
    const a = draw('oak', seedOf('oak-1'), 120, 120);
    expect(draw('oak', seedOf('oak-1'), 120, 120).data).toEqual(a.data);
    expect(draw('oak', seedOf('oak-2'), 120, 120).data).not.toEqual(a.data);
  });

  for (const name of NAMES) {
    it(`of ${name} runs along the sheet and covers it`, () => {
      const p = draw(name, seedOf(name));
      for (let i = 3; i < p.data.length; i += 4) if (p.data[i] !== 255) throw new Error('a hole');
      // Grain: 8 mm along is far more alike than 8 mm across.
      expect(alike(p, 0, 8)).toBeGreaterThan(alike(p, 8, 0) + 0.15);
      // No stripes: figure changes along the grain too.
      expect(alike(p, 0, 120)).toBeLessThan(0.85);
      // It has the colour of its species on the whole.
      const s = species(name);
      for (let c = 0; c < 3; c++) {
        const m = mean(Array.from({ length: p.width * p.height }, (_, i) => p.data[4 * i + c]!));
        expect(m).toBeLessThan(Math.max(...[s.wood[c]!, s.pale[c]!]) + 6);
        expect(m).toBeGreaterThan(s.dark[c]! - 6);
      }
    });
  }

  it('is darkest of walnut and palest of maple among the common ones', () => {
    const by = NAMES.slice(0, 6).map((n) => [n, mean(grey(draw(n, 5, 120, 120)))] as const).sort((a, b) => a[1] - b[1]);
    expect(by[0]![0]).toBe('walnut');
    expect(by.at(-1)![0]).toBe('maple');
  });

  it('knows a species by a name that holds it', () => {
    expect(species('oak-thin')).toEqual(species('oak'));
    expect(species('White Oak')).toEqual(species('oak'));
    expect(species('unheard-of')).not.toEqual(species('unheard'));
  });

  it('makes a sheet of leaves a hand or two wide', () => {
    for (const w of [100, 305, 610, 1220]) {
      expect(leafWidth(w)).toBeGreaterThan(80);
      expect(leafWidth(w)).toBeLessThan(310);
      expect(w / leafWidth(w)).toBeCloseTo(Math.round(w / leafWidth(w)), 9);
    }
  });
});
