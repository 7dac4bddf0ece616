import { beforeEach, describe, expect, it } from 'vitest';
import { ShopConflict, Problem, problemOf } from './api';
import { asShop, shopWrites, type ShopServer } from './shop-text';
import type { Piece } from './types';
import type { Writes } from './writes.svelte';

let text: string;
let version: number;
let past: string[];
let notices: string[];
let refuses: Problem | null;
let writes: Writes;

const piece = (): Piece => ({
  file: 'p.yaml', title: 'P', text: 'piece', version: 'p1', shop: 'shop.yaml', shopText: text, shopVersion: `v${version}`,
  marks: { groundwork: 1 }, marksVersion: '', parameters: [], faults: [], undo: null, redo: null,
});
const put = (to: string) => {
  past.push(text);
  text = to;
  version++;
};
const server: ShopServer = {
  saveShop: async (file, to, base) => {
    expect(file).toBe('shop.yaml');
    if (refuses) throw refuses;
    const shop = () => ({ file, text, version: `v${version}`, faults: [] });
    if (base !== `v${version}`) throw new ShopConflict('changed', shop());
    put(to);
    return shop();
  },
  undo: async (file) => {
    expect(file).toBe('p.yaml'); // undo is the piece's
    text = past.pop()!;
    version++;
    return piece();
  },
  redo: async () => piece(),
};

beforeEach(() => {
  text = 'a: 1\nb: 2\nc: 3';
  version = 1;
  past = [];
  notices = [];
  refuses = null;
  writes = shopWrites(piece(), '/shop', { taken: () => {}, unreachable: () => {}, notice: (m) => notices.push(m) }, server, null);
});

describe('the text of the shop', () => {
  it('is that of the shop file, and saved into it', async () => {
    expect(asShop(piece())).toMatchObject({ file: 'shop.yaml', text, version: 'v1' });
    writes.edit('a: 9\nb: 2\nc: 3');
    await writes.flush();
    expect(text).toBe('a: 9\nb: 2\nc: 3');
    expect(writes.saved).toBe(true);
  });
  it('is put together with what others wrote', async () => {
    put('a: 1\nb: 2\nc: other');
    writes.edit('a: mine\nb: 2\nc: 3');
    await writes.flush();
    expect(text).toBe('a: mine\nb: 2\nc: other');
  });
  it.each([['mine', 'a: mine\nb: 2\nc: 3'], ['theirs', 'a: other\nb: 2\nc: 3']] as const)('asks where both wrote; the maker keeps %s', async (keep, want) => {
    put('a: other\nb: 2\nc: 3');
    writes.edit('a: mine\nb: 2\nc: 3');
    await writes.flush();
    expect(writes.clash).toMatchObject({ kind: 'text', theirs: { file: 'shop.yaml', text: 'a: other\nb: 2\nc: 3' } });
    await writes.settle(keep);
    expect([text, writes.text, writes.saved]).toEqual([want, want, true]);
  });
  it('is told of once when it is refused', async () => {
    refuses = new Problem(413, 'It is too long.');
    writes.edit('long');
    await writes.flush();
    expect(notices).toEqual(['The text is not saved: It is too long.']);
    expect(writes.text).toBe('long');
  });
});

it('a conflict of a shop is told from others', () => {
  const body = JSON.stringify({ title: 'Conflict', detail: 'changed', currentShop: { file: 'shop.yaml', text: 'x', version: 'v', faults: [] } });
  expect(problemOf(409, '', body)).toBeInstanceOf(ShopConflict);
  expect(problemOf(422, '', body)).not.toBeInstanceOf(ShopConflict);
});
