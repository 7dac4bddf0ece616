// Solids drawn elsewhere: a good one becomes a piece, a damaged one is told in
// words and leaves nothing behind.

import { readdirSync } from 'node:fs';
import { expect, picture, Sheet, stage, test, type Page } from '../workshop.ts';

type Point = [number, number, number];

/** A box from the origin as binary STL (80 bytes of head, count, facets). */
function box(x: number, y: number, z: number): Buffer {
  const c = (i: number): Point => [i & 1 ? x : 0, i & 2 ? y : 0, i & 4 ? z : 0];
  const faces = [[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [2, 6, 7, 3], [0, 4, 6, 2], [1, 3, 7, 5]];
  const facets = faces.flatMap(([a, b, d, e]) => [[a!, b!, d!], [a!, d!, e!]]);
  const out = Buffer.alloc(84 + 50 * facets.length);
  out.writeUInt32LE(facets.length, 80);
  facets.forEach((f, n) => f.forEach((i, k) => c(i).forEach((v, m) => out.writeFloatLE(v, 84 + 50 * n + 12 + 12 * k + 4 * m))));
  return out;
}

const everything = (folder: string) => readdirSync(folder, { recursive: true }).map(String).sort();

async function choose(page: Page, name: string, buffer: Buffer) {
  await page.getByLabel(/Solids drawn elsewhere/).setInputFiles({ name, mimeType: 'model/stl', buffer });
}

async function drop(page: Page, name: string, buffer: Buffer) {
  const data = await page.evaluateHandle(
    ([name, bytes]) => {
      const d = new DataTransfer();
      d.items.add(new File([new Uint8Array(bytes)], name));
      return d;
    },
    [name, [...buffer]] as const,
  );
  await page.getByRole('group', { name: 'Bring in' }).dispatchEvent('drop', { dataTransfer: data });
}

/** The same with one facet taken out: a hole that can be closed. */
function holed(b: Buffer): Buffer {
  const out = Buffer.from(b.subarray(0, b.length - 50));
  out.writeUInt32LE(b.readUInt32LE(80) - 1, 80);
  return out;
}

/** The same with a corner that is nowhere. */
function nowhere(b: Buffer): Buffer {
  const out = Buffer.from(b);
  out.writeFloatLE(NaN, 84 + 50 + 12);
  return out;
}

const damaged: [string, Buffer][] = [
  ['cut off in the middle', box(200, 160, 20).subarray(0, 333)],
  ['with a corner that is nowhere', nowhere(box(200, 160, 20))],
  ['of something else', Buffer.from('This is no solid at all.\n'.repeat(20))],
];

test('damaged solids are told in words and leave nothing behind', async ({ page, server, folder, guard }) => {
  guard.allow(/Failed to load resource: the server responded with a status of 4\d\d/);
  folder.bring('shop.yaml');
  await page.goto(server.url);
  await expect(page.getByRole('heading', { name: 'Bring in' })).toBeVisible();
  const before = everything(folder.path);
  for (const [n, [what, bytes]] of damaged.entries()) {
    await test.step(what, async () => {
      const name = `damaged-${n}.stl`;
      await (n === 0 ? drop : choose)(page, name, bytes);
      const told = page.locator('[data-notice=told]').filter({ hasText: name });
      await expect(told).toBeVisible();
      // A sentence for a maker: what is wrong and no inner name.
      expect((await told.innerText()).length).toBeGreaterThan(name.length + 40);
      await expect(told).not.toContainText(/undefined|null|\[object|status|error:/i);
      if (n === 0) await picture(page, 'solid-damaged');
      expect(everything(folder.path)).toEqual(before);
      await told.getByRole('button', { name: /^Noted/ }).click();
      await expect(told).toBeHidden();
    });
  }
  await expect(page.getByText('There is none yet.')).toBeVisible();
});

test('a good solid becomes a piece', async ({ page, server, folder }) => {
  folder.bring('shop.yaml');
  const sheet = new Sheet(page);
  await page.goto(server.url);
  await choose(page, 'plinth.stl', box(180, 120, 24));
  await expect(page.getByText('Pieces were made of them')).toBeVisible();
  await picture(page, 'solid-brought');
  await page.getByRole('group', { name: 'Bring in' }).getByRole('link', { name: /plinth.*\.yaml/ }).click();
  await sheet.workedOut();
  await sheet.drawn();
  const size = (await stage(page))!.size!;
  for (const [i, mm] of [180, 120, 24].entries()) expect(Math.abs(size[i]! - mm)).toBeLessThan(3);
  await expect(page.getByRole('button', { name: /^Undo/ })).toBeVisible();
});

test('a hole is closed, and told', async ({ page, server, folder }) => {
  folder.bring('shop.yaml');
  await page.goto(server.url);
  await choose(page, 'plinth.stl', holed(box(180, 120, 24)));
  await expect(page.locator('[data-notice=told]').filter({ hasText: /1 hole closed/ })).toBeVisible();
  await expect(page.getByRole('group', { name: 'Bring in' }).getByRole('link', { name: /plinth.*\.yaml/ })).toBeVisible();
});
