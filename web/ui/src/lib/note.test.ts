import { expect, it } from 'vitest';
import { noteOf } from './note';

it.each([
  ['title: T\nnote: >\n  A round seat\n  on four legs.\n\n  It stands.\nuse: seat', 'A round seat on four legs.\nIt stands.'],
  ['note: In one line # not this\nuse: seat', 'In one line'],
  ['note: "A \\"good\\" one"', 'A "good" one'],
  ["note: 'It''s'", "It's"],
  ['note: first\n  and on\nuse: seat', 'first and on'],
  ['note: |-\n  kept\nuse: seat', 'kept'],
  ['note:\nuse: seat', ''],
  ['members:\n  note: not this', ''],
  ['notes: not this', ''],
  ['', ''],
])('%j', (text, want) => expect(noteOf(text)).toBe(want));
