import { describe, expect, it } from 'vitest';
import { contrast, difference, fromOklab, hex, linear, gamma, loadColour, oklab, parse, parseComputed, stressColour, type RGB } from './colour';

// Matrices for linear RGB at full severity from G. Machado, M. Oliveira,
// L. Fernandes, "A physiologically-based model for simulation of color vision
// deficiency", IEEE TVCG 15(6), 2009; from memory, rows checked to sum to 1.
const SEEN: Record<string, number[][]> = {
  'all cones': [[1, 0, 0], [0, 1, 0], [0, 0, 1]],
  'no long cones': [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
  'no middle cones': [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.01182, 0.04294, 0.968881]],
  'no short cones': [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.3039]],
};
const seen = (m: number[][], c: RGB): RGB => {
  const l = linear(c);
  const row = (r: number[]) => r[0]! * l[0] + r[1]! * l[1] + r[2]! * l[2];
  return gamma([row(m[0]!), row(m[1]!), row(m[2]!)]);
};

describe('colour', () => {
  it('agrees with the published OKLab values of white and pure red', () => {
    // Ottosson's post gives white as (1, 0, 0); red by the CSS Color 4 draft's
    // sample value oklch(0.62796 0.25768 29.234).
    expect(oklab([1, 1, 1])[0]).toBeCloseTo(1, 4);
    const [L, a, b] = oklab([1, 0, 0]);
    expect(L).toBeCloseTo(0.62796, 4);
    expect(Math.hypot(a, b)).toBeCloseTo(0.25768, 4);
    expect((Math.atan2(b, a) * 180) / Math.PI).toBeCloseTo(29.234, 2);
  });

  it('goes there and back', () => {
    for (const c of ['#000000', '#804810', '#6ad3e5', '#ffffff', '#123456']) expect(hex(fromOklab(oklab(parse(c))))).toBe(c);
  });

  it('measures contrast as WCAG does', () => {
    expect(contrast([0, 0, 0], [1, 1, 1])).toBeCloseTo(21, 6);
    expect(contrast(parse('#777777'), [1, 1, 1])).toBeCloseTo(4.48, 2); // well-known just-failing grey
  });

  it('reads computed colours', () => {
    expect(parseComputed('rgb(255, 0, 51)')).toEqual([1, 0, 0.2]);
    expect(parseComputed('rgba(0, 0, 0, 0)')).toBeNull();
    expect(parseComputed('color(srgb 0.5 0.25 1)')).toEqual([0.5, 0.25, 1]);
    expect(parseComputed('transparent')).toBeNull();
    expect(oklab(parseComputed('oklch(0.62796 0.25768 29.234)')!)[0]).toBeCloseTo(0.628, 3);
  });
});

describe('colours of print loads', () => {
  for (const [eyes, m] of Object.entries(SEEN)) {
    it(`are told apart with ${eyes}`, () => {
      for (const row of m) expect(row[0]! + row[1]! + row[2]!).toBeCloseTo(1, 5);
      let least = 9;
      for (let i = 0; i < 8; i++) for (let j = 0; j < i; j++) least = Math.min(least, difference(seen(m, loadColour(i)), seen(m, loadColour(j))));
      // About six times what is just seen as different side by side (0.02).
      expect(least).toBeGreaterThan(0.12);
    });
  }
  it('differ for 24 loads', () => {
    expect(new Set(Array.from({ length: 24 }, (_, i) => hex(loadColour(i)))).size).toBe(24);
  });
});

describe('ramp for stress', () => {
  for (const dark of [false, true]) {
    it(`is even and its order reads without colour, ${dark ? 'dark' : 'light'}`, () => {
      const at = Array.from({ length: 21 }, (_, i) => oklab(stressColour(i / 20, dark)));
      const step = at.slice(1).map((c, i) => c[0] - at[i]![0]);
      for (const s of step) expect(Math.sign(s)).toBe(dark ? 1 : -1);
      expect(Math.max(...step.map(Math.abs)) / Math.min(...step.map(Math.abs))).toBeLessThan(1.25);
      const whole = at.slice(1).map((c, i) => Math.hypot(c[0] - at[i]![0], c[1] - at[i]![1], c[2] - at[i]![2]));
      expect(Math.max(...whole) / Math.min(...whole)).toBeLessThan(1.5);
      // The extreme stands out from the page.
      expect(contrast(stressColour(1, dark), dark ? [0.1, 0.1, 0.1] : [1, 1, 1])).toBeGreaterThan(7);
    });
  }
  it('holds its ends beyond 0 and 1', () => {
    expect(stressColour(-3, false)).toEqual(stressColour(0, false));
    expect(stressColour(7, true)).toEqual(stressColour(1, true));
  });
});
