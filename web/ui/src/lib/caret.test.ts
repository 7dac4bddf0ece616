import { describe, expect, it } from 'vitest';
import { lineAt, moved, startOf } from './caret';

/** Texts with | at the place. */
function check(before: string, after: string) {
  const place = before.indexOf('|');
  const [from, to] = [before.replace('|', ''), after.replace('|', '')];
  const got = moved(from, to, place);
  expect(to.slice(0, got) + '|' + to.slice(got)).toBe(after);
}

describe('a place in a text that changes', () => {
  it.each([
    ['nothing', 'a|b', 'a|b'],
    ['before it, longer', 'width: 90\nheight: |20', 'width: 1200\nheight: |20'],
    ['before it, shorter', 'width: 1200\nheight: |20', 'width: 90\nheight: |20'],
    ['before it, a line', 'a\nc|\n', 'a\nb\nc|\n'],
    ['behind it', 'width: |90\nheight: 20', 'width: |90\nheight: 2000'],
    ['right before it', '40| mm', '450| mm'],
    ['right behind it', '4|0 mm', '4|50 mm'],
    ['at the beginning', '|ab', '|xab'],
    ['at the end', 'ab|', 'xab|'],
    ['all that is alike', 'aa|aa', 'aa|aaa'],
    ['in what was taken away', 'keep gone|gone keep', 'keep |keep'],
    ['in what was replaced by less', 'x: 12|3456\n', 'x: 78|\n'],
    ['all of it', 'abc|', 'x|'],
    ['into nothing', 'ab|c', '|'],
    ['out of nothing', '|', '|abc'],
  ])('%s', (_, before, after) => check(before, after));

  it('stays within the text, before what follows it, and in order', () => {
    // Every pair of short texts over two letters, at every place.
    const texts = [''];
    for (let i = 0; i < 31; i++) texts.push(`${texts[i]}a`, `${texts[i]}b`);
    for (const a of texts) {
      for (const b of texts) {
        let last = 0;
        for (let p = 0; p <= a.length; p++) {
          const at = moved(a, b, p);
          expect(at).toBeGreaterThanOrEqual(last);
          expect(at).toBeLessThanOrEqual(b.length);
          last = at;
        }
        expect(moved(a, a, a.length)).toBe(a.length);
      }
    }
  });
});

describe('lines', () => {
  it.each([['', 0, 0], ['a\nb', 1, 0], ['a\nb', 2, 1], ['a\n\nb', 2, 1], ['a\n\nb', 3, 2], ['a\n', 2, 1]])('%j at %i is on line %i', (text, place, line) => expect(lineAt(text, place)).toBe(line));
  it.each([['', 0, 0], ['', 3, 0], ['a\nb', 1, 2], ['a\n\nb', 2, 3], ['a\nb', 9, 3]])('%j line %i begins at %i', (text, line, at) => expect(startOf(text, line)).toBe(at));
});
