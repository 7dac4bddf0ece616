import { describe, expect, it } from 'vitest';
import { exaggeration, nameOf, writeStress } from './words';

describe('words', () => {
  it('name things', () => {
    expect(nameOf({ id: 'top/face', kind: 'leaf', extras: { veneer: 'walnut', sheet: 'walnut-1' } })).toBe('walnut leaf top/face, from sheet walnut-1');
    expect(nameOf({ id: 'top/face', kind: 'leaf', extras: {} })).toBe('leaf top/face');
    expect(nameOf({ id: 'leg-1/2', kind: 'segment', extras: { load: 'load-03' } })).toBe('segment leg-1/2, print load load-03');
    expect(nameOf({ id: 'joint-1/dowel-1', kind: 'dowel', extras: { joint: 'joint-1', member: 'leg' } })).toBe('dowel, of joint joint-1');
    expect(nameOf({ id: 'x', kind: 'dowel', extras: { seam: 'top/seam-1', joint: '' } })).toBe('dowel, of seam top/seam-1');
    expect(nameOf({ id: 'caul/1/place-2', kind: 'fixture', extras: { fixture: 'caul/1', step: 'glue segments' } })).toBe('caul/1, for gluing segments');
  });

  it('exaggerate movement by a round number so that it is seen', () => {
    for (const moved of [0.003, 0.04, 0.5, 6]) {
      const f = exaggeration(moved, 800);
      expect([1, 2, 5]).toContain(Number(f.toExponential().split('e')[0]));
      if (f > 1) {
        expect(f * moved).toBeGreaterThan(800 / 20 / 2.6);
        expect(f * moved).toBeLessThanOrEqual(800 / 20);
      }
    }
    expect(exaggeration(0, 800)).toBe(0);
    expect(exaggeration(500, 800)).toBe(1);
  });

  it('write stress with as many digits as tell something', () => {
    expect([0, 0.083, 3.44, 12.6].map(writeStress)).toEqual(['0', '0.08', '3.4', '13']);
  });
});
