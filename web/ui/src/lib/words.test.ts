import { expect, it } from 'vitest';
import { about, bound, count, lineOf } from './words';

it('counts in words', () => {
  expect([0, 1, 2].map((n) => count(n, 'member'))).toEqual(['0 members', '1 member', '2 members']);
  expect([1, 3].map((n) => count(n, 'leaf', 'leaves'))).toEqual(['1 leaf', '3 leaves']);
});

it.each([
  ['0.7 % of 18 1/8 in', '0.7~% of 18~1/8~in'],
  ['165 mm² lean by 2 mm.', '165~mm² lean by 2~mm.'],
  ['12 h 20 min, 3 kg', '12~h 20~min, 3~kg'],
  ['2 members, 4 sides, 3 grooves', '2 members, 4 sides, 3 grooves'], // units are whole words
  ['30 °C and 5 N', '30~°C and 5~N'],
  ['step 2 1 3', 'step 2 1 3'],
])('binds %s', (text, want) => expect(bound(text)).toBe(want.replaceAll('~', '\u00a0')));

it('names a file once', () => {
  expect(about('plinth.stl', 'plinth.stl is cut off')).toBe('plinth.stl is cut off');
  expect(about('plinth.stl', 'it is cut off')).toBe('plinth.stl: it is cut off');
});

it('finds a thing of a shop by its id', () => {
  const shop = 'printers:\n  - id: abs-bed\nfilaments:\n  - id: abs   # black\n    price: 1\n  - {id: "petg", price: 2}\n';
  expect(['abs', 'petg', 'abs-bed', 'pla', 'price'].map((n) => lineOf(shop, n))).toEqual([4, 6, 2, 0, 0]);
});
