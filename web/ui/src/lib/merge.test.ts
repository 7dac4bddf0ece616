import { execFileSync } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { hunks, merge } from './merge';

const text = (s: string) => s.split(' ').join('\n');

describe('merge', () => {
  it.each([
    ['nobody', 'a b c', 'a b c', 'a b c', 'a b c'],
    ['only mine', 'a b c', 'a X c', 'a b c', 'a X c'],
    ['only theirs', 'a b c', 'a b c', 'a X c', 'a X c'],
    ['both, the same', 'a b c', 'a X c', 'a X c', 'a X c'],
    ['far apart', 'a b c d e', 'X b c d e', 'a b c d Y', 'X b c d Y'],
    ['mine grows, theirs shrinks', 'a b c d e', 'a 1 2 b c d e', 'a b c e', 'a 1 2 b c e'],
    ['the same line', 'a b c', 'a X c', 'a Y c', null],
    ['next to each other', 'a b c d', 'a X c d', 'a b Y d', 'a X Y d'],
    ['put in next to a change', 'a b c d', 'a 1 b c d', 'a Y c d', null],
    ['deleted next to a change', 'a b c d', 'a c d', 'a b Y d', 'a Y d'],
    ['put in at one place', 'a b', 'a X b', 'a Y b', null],
    ['deleted and changed', 'a b c', 'a c', 'a Y c', null],
    ['from nothing', '', 'a', '', 'a'],
    ['to nothing', 'a b c', '', 'a b c', ''],
    ['one change of theirs is mine too', 'a b c d e f g', 'a X c d e f g', 'a X c d e Y g', 'a X c d e Y g'],
  ])('%s', (_, base, mine, theirs, want) => {
    const got = merge(text(base), text(mine), text(theirs));
    expect(got).toBe(want === null ? null : text(want));
    // Nobody is preferred.
    expect(merge(text(base), text(theirs), text(mine))).toBe(got);
  });

  it('makes the new text of its hunks', () => {
    const random = seeded(7);
    for (let k = 0; k < 300; k++) {
      const old = Array.from({ length: random(12) }, () => String(random(4)));
      const now = Array.from({ length: random(12) }, () => String(random(4)));
      const out = old.slice();
      for (const h of hunks(old, now).reverse()) out.splice(h.from, h.to - h.from, ...h.lines);
      expect(out).toEqual(now);
    }
  });
});

describe('against git merge-file', () => {
  const dir = mkdtempSync(join(tmpdir(), 'merge-'));
  afterAll(() => rmSync(dir, { recursive: true }));

  // Wherever both merge, the texts must be the same. Git asks about changes that
  // touch.
  it('comes to the same', () => {
    const random = seeded(3);
    let merged = 0;
    for (let k = 0; k < 60; k++) {
      const base = Array.from({ length: 24 }, (_, i) => `line ${i}`);
      const edit = () => {
        const out = base.slice();
        out.splice(random(24), random(3), ...Array.from({ length: random(3) }, () => `new ${random(1000)}`));
        return out;
      };
      const [mine, theirs] = [edit(), edit()];
      const got = merge(base.join('\n'), mine.join('\n'), theirs.join('\n'));
      if (got === null) continue;
      const names = ['mine', 'base', 'theirs'].map((n) => join(dir, n));
      [mine, base, theirs].forEach((t, i) => writeFileSync(names[i]!, t.join('\n') + '\n'));
      let git: string;
      try {
        git = execFileSync('git', ['merge-file', '-p', ...names], { encoding: 'utf8' });
      } catch {
        continue; // it asks
      }
      expect(got + '\n').toBe(git);
      merged++;
    }
    expect(merged).toBeGreaterThan(30);
  });
});

/** Whole numbers below n from a linear congruential generator (Numerical Recipes). */
function seeded(state: number): (n: number) => number {
  return (n) => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return Math.floor((state / 2 ** 32) * n);
  };
}
