// Working on the cut sheets: patterns moved and pinned, a photograph laid under
// them, a tighter layout looked for.

import { deflateSync } from 'node:zlib';
import { expect, givenUp, picture, Sheet, test, wren, type Page } from '../workshop.ts';

const file = 'wren-board.yaml';
const marksFile = 'wren-board.marks.yaml';

interface Laid {
  patterns: { id: string; panel: string; x: number; y: number; rotation: number }[];
}

test.beforeEach(({ folder, guard }) => {
  folder.bring('shop.yaml');
  folder.write(file, wren);
  guard.allow(givenUp);
});

const sheets = (page: Page) => page.getByRole('region', { name: 'Cut sheets' });
const pattern = (page: Page, id: string) => sheets(page).getByRole('button', { name: new RegExp(`^${id}, `) });

async function begin(page: Page, server: Parameters<Sheet['open']>[0]): Promise<Sheet> {
  const sheet = new Sheet(page);
  await sheet.open(server, 'Wren board');
  await sheet.workedOut();
  await sheet.look('Cut sheets');
  await expect(pattern(page, 'board/face')).toBeVisible();
  return sheet;
}

test('a pattern is moved by the keyboard, stays there, and goes back', async ({ page, server, folder }) => {
  const sheet = await begin(page, server);
  const at = async () => (await sheet.plan<Laid>()).patterns.find((p) => p.id === 'board/edge-1')!;
  const before = await at();
  const band = pattern(page, 'board/edge-1');
  await band.focus();
  // Onto the edge of the blank or a neighbour: it is told, and cannot be let down.
  const down = sheets(page).getByRole('button', { name: 'Let it down' });
  let met = '';
  for (const key of ['ArrowDown', 'ArrowUp', 'ArrowLeft', 'ArrowRight']) {
    for (let n = 0; n < 12; n++) await page.keyboard.press(key);
    await expect(sheets(page).getByText('Looking whether it fits.')).toHaveCount(0);
    if (await down.isDisabled()) {
      met = key;
      break;
    }
    await page.keyboard.press('Escape');
  }
  expect(met, 'it meets something on one side at least').not.toBe('');
  await expect(sheets(page).getByRole('status')).toContainText('board/edge-1');
  await picture(page, 'pattern-meets-another');
  await page.keyboard.press('Escape');
  await expect(down).toHaveCount(0);
  expect(folder.has(marksFile)).toBe(false);

  await page.keyboard.press('p');
  await expect(sheets(page).getByRole('button', { name: 'Pinned (1)' })).toBeVisible();
  await sheet.saved(file);
  expect(folder.read(marksFile)).toContain('board/edge-1');
  await sheet.workedOut();
  const pinned = await at();
  expect([pinned.x, pinned.y, pinned.rotation]).toEqual([before.x, before.y, before.rotation]);
  await page.getByRole('button', { name: /^Undo/ }).click();
  await expect(sheets(page).getByRole('button', { name: 'Pinned (0)' })).toBeVisible();
});

test('a search is stopped, and its layout let go', async ({ page, server, folder }) => {
  folder.bring('heron-side-table.yaml'); // enough patterns to search for minutes
  const sheet = new Sheet(page);
  await sheet.open(server, 'Heron side table');
  await sheet.workedOut();
  await sheet.look('Cut sheets');
  await sheets(page).getByRole('button', { name: 'Tighter layout' }).click();
  await sheets(page).getByRole('button', { name: '5 min' }).click();
  await sheets(page).getByRole('button', { name: 'Stop, with the best so far' }).click();
  await expect(sheets(page).getByRole('row', { name: /^Before/ })).toContainText('%');
  await picture(page, 'search');
  await sheets(page).getByRole('button', { name: 'Let it go' }).click();
  await expect(sheets(page).getByRole('button', { name: '5 min' })).toBeEnabled();
  expect(folder.has('heron-side-table.marks.yaml')).toBe(false);
});

test('a layout is kept whole', async ({ page, server, folder }) => {
  const sheet = await begin(page, server);
  const laid = async () => (await sheet.plan<Laid>()).patterns.filter((p) => p.panel).map(({ id, panel, x, y, rotation }) => ({ id, panel, x, y, rotation }));
  const before = await laid();
  await sheets(page).getByRole('button', { name: /^Pinned/ }).click();
  await sheets(page).getByRole('button', { name: 'Keep this layout whole' }).click();
  await sheet.saved(file);
  await expect(sheets(page).getByRole('button', { name: `Pinned (${before.length})` })).toBeVisible();
  await sheet.workedOut();
  expect(await laid()).toEqual(before);
  expect(folder.has(marksFile)).toBe(true);
  await sheets(page).getByRole('button', { name: 'Unpin all' }).click();
  await expect(sheets(page).getByRole('button', { name: 'Pinned (0)' })).toBeVisible();
});

/** A plain photograph, w by h pixels: PNG (ISO/IEC 15948), 8 bits of grey. */
function photograph(w: number, h: number): Buffer {
  const table = Array.from({ length: 256 }, (_, n) => {
    for (let k = 0; k < 8; k++) n = n & 1 ? 0xedb88320 ^ (n >>> 1) : n >>> 1;
    return n >>> 0;
  });
  const crc = (b: Buffer) => (b.reduce((c, x) => table[(c ^ x) & 255]! ^ (c >>> 8), 0xffffffff) ^ 0xffffffff) >>> 0;
  const chunk = (type: string, data: Buffer) => {
    const out = Buffer.alloc(12 + data.length);
    out.writeUInt32BE(data.length, 0);
    out.write(type, 4, 'latin1');
    data.copy(out, 8);
    out.writeUInt32BE(crc(out.subarray(4, 8 + data.length)), 8 + data.length);
    return out;
  };
  const head = Buffer.alloc(13);
  head.writeUInt32BE(w, 0);
  head.writeUInt32BE(h, 4);
  head[8] = 8;
  const rows = Buffer.concat(Array.from({ length: h }, (_, y) => Buffer.concat([Buffer.of(0), Buffer.from(Array.from({ length: w }, (_, x) => 90 + ((x * 7 + y) % 80)))])));
  return Buffer.concat([Buffer.from('89504e470d0a1a0a', 'hex'), chunk('IHDR', head), chunk('IDAT', deflateSync(rows)), chunk('IEND', Buffer.alloc(0))]);
}

test('a photograph is laid under the patterns', async ({ page, server, folder }) => {
  const sheet = await begin(page, server);
  await sheets(page).getByRole('button', { name: 'Photograph' }).click();
  await sheets(page).getByLabel(/Bring a photograph/).setInputFiles({ name: 'walnut.png', mimeType: 'image/png', buffer: photograph(160, 600) });
  await expect(sheets(page).getByRole('button', { name: /^The sheet's corner/ })).toHaveCount(4);
  await picture(page, 'photograph-corners');
  await sheets(page).getByRole('button', { name: 'These are its corners' }).click();
  await expect(page.getByRole('button', { name: /^Undo/ })).toContainText('Photograph walnut.png laid on walnut-1');
  await sheet.saved(file);
  expect(folder.has('walnut.png')).toBe(true);
  expect(folder.read(marksFile)).toContain('walnut.png');
  await expect(sheets(page).getByText('walnut.png is laid on walnut-1.')).toBeVisible();
  // The photograph is grey, which no veneer drawn from its species is.
  const colourful = () =>
    sheets(page).locator('svg image').evaluateAll(async ([image]) => {
      const href = image?.getAttribute('href');
      if (!href) return NaN;
      const picture = await createImageBitmap(await (await fetch(href)).blob());
      const canvas = new OffscreenCanvas(picture.width, picture.height).getContext('2d')!;
      canvas.drawImage(picture, 0, 0);
      const [r, , b] = canvas.getImageData(picture.width >> 1, picture.height >> 1, 1, 1).data;
      return Math.abs(r! - b!);
    });
  await expect.poll(colourful, 'the photograph lies under the patterns').toBeLessThan(6);
  await picture(page, 'photograph');
});
