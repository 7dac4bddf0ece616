// The text of the shop file: written in the page, its faults at their lines,
// taken back by undo; and the unit of solids whose file states none.

import { accessible } from '../access.ts';
import { expect, picture, Sheet, test, wren } from '../workshop.ts';

const file = 'wren-board.yaml';

for (const [theme, scheme] of [['paper', 'light'], ['slate', 'dark']] as const) {
  test(`the shop is written in the page, ${theme}`, async ({ page, server, folder, another }, info) => {
    folder.bring('shop.yaml');
    folder.write(file, wren);
    await page.emulateMedia({ colorScheme: scheme, reducedMotion: 'reduce' });
    const was = folder.read('shop.yaml');
    const sheet = new Sheet(page);
    await sheet.open(server, 'Wren board');
    await sheet.workedOut();
    await page.getByText('The shop it is planned for, shop.yaml').click();
    const area = page.getByRole('textbox', { name: 'Shop file shop.yaml' });
    await expect(area).toHaveValue(was);

    // A change is saved, and the piece planned with it.
    const before = await sheet.sum('Prints for').innerText();
    const faster = was.replace(/^name:.*$/m, 'name: My own shop');
    expect(faster).not.toBe(was);
    await area.fill(faster);
    await sheet.saved(file);
    await expect.poll(() => folder.read('shop.yaml')).toBe(faster);
    await sheet.workedOut();
    await expect.poll(async () => (await sheet.plan<{ shop: { name: string } }>()).shop.name).toBe('My own shop');
    await expect(sheet.sum('Prints for')).toHaveText(before);

    await test.step('a fault is told on its line, and saved all the same', async () => {
      const bad = faster.replace(/nozzle: [\d.]+ mm/, 'nozzle: wide');
      const line = bad.split('\n').findIndex((l) => l.includes('nozzle: wide')) + 1;
      await area.fill(bad);
      const told = page.getByRole('listitem').filter({ has: page.getByRole('button', { name: `Line ${line}`, exact: true }) });
      await expect(told).toBeVisible();
      await expect(area).toHaveAttribute('aria-invalid', 'true');
      await expect.poll(() => folder.read('shop.yaml')).toBe(bad);
      await told.getByRole('button').click();
      await expect(area).toBeFocused();
      expect(await area.evaluate((t: HTMLTextAreaElement) => t.value.slice(t.selectionStart, t.selectionEnd))).toContain('wide');
      await accessible(page, info, `a fault in the shop, ${theme}`);
      await picture(page, `shop-fault-${theme}`);
    });

    await test.step('undo takes it back, and redo does it again', async () => {
      await page.getByRole('button', { name: /^Undo.*Text of shop\.yaml/ }).click();
      await expect(area).toHaveValue(faster);
      await expect(area).toHaveAttribute('aria-invalid', 'false');
      await sheet.workedOut();
      await page.getByRole('button', { name: /^Undo.*Text of shop\.yaml/ }).click();
      await expect(area).toHaveValue(was);
      await expect.poll(() => folder.read('shop.yaml')).toBe(was);
      await page.getByRole('button', { name: /^Redo.*Text of shop\.yaml/ }).click();
      await expect(area).toHaveValue(faster);
    });

    await test.step('two windows write in other lines, and both are kept', async () => {
      const second = await another();
      const other = new Sheet(second);
      await other.open(server, 'Wren board');
      await second.getByText('The shop it is planned for, shop.yaml').click();
      const theirs = second.getByRole('textbox', { name: 'Shop file shop.yaml' });
      await expect(theirs).toHaveValue(faster);
      await theirs.fill(`${faster}# of the other window\n`);
      await expect(area).toHaveValue(`${faster}# of the other window\n`);
      await area.fill(`# of this window\n${faster}# of the other window\n`);
      await expect(theirs).toHaveValue(`# of this window\n${faster}# of the other window\n`);
      await expect.poll(() => folder.read('shop.yaml')).toBe(`# of this window\n${faster}# of the other window\n`);
    });
  });
}

test('where the folder has no shop, one is kept of the ordinary', async ({ page, server, folder }) => {
  folder.write(file, wren);
  const sheet = new Sheet(page);
  await sheet.open(server, 'Wren board');
  await page.getByText('Planned for the ordinary shop of the program').click();
  await expect(page.getByRole('textbox', { name: 'The ordinary shop' })).toHaveAttribute('readonly', '');
  await page.getByRole('button', { name: 'Keep a shop file of my own' }).click();
  const area = page.getByRole('textbox', { name: 'Shop file shop.yaml' });
  await expect(area).toBeEditable();
  expect(folder.has('shop.yaml')).toBe(true);
  await area.fill(folder.read('shop.yaml').replace(/^name:.*$/m, 'name: My own shop'));
  await expect.poll(() => folder.read('shop.yaml')).toContain('My own shop');
});

test('what was typed when the page was loaded anew is not lost', async ({ page, server, folder }) => {
  folder.bring('shop.yaml');
  folder.write(file, wren);
  const sheet = new Sheet(page);
  await sheet.open(server, 'Wren board');
  await page.getByText('The shop it is planned for, shop.yaml').click();
  const area = page.getByRole('textbox', { name: 'Shop file shop.yaml' });
  const want = `${folder.read('shop.yaml')}# typed at the last moment\n`;
  // Within the pause after which it would be saved.
  await area.evaluate((t: HTMLTextAreaElement, text) => {
    t.value = text;
    t.dispatchEvent(new Event('input', { bubbles: true }));
    location.reload();
  }, want);
  await expect(page.getByText('What you had not saved of shop.yaml when the page ended is here again.')).toBeVisible();
  await expect.poll(() => folder.read('shop.yaml')).toBe(want);
});

/** A box as binary STL, which states no unit. */
function box(x: number, y: number, z: number): Buffer {
  const at = (i: number) => [(i & 1) * x, ((i >> 1) & 1) * y, ((i >> 2) & 1) * z];
  const faces = [[0, 2, 1], [1, 2, 3], [4, 5, 6], [5, 7, 6], [0, 1, 4], [1, 5, 4], [2, 6, 3], [3, 6, 7], [0, 4, 2], [2, 4, 6], [1, 3, 5], [3, 7, 5]];
  const out = Buffer.alloc(84 + 50 * faces.length);
  out.writeUInt32LE(faces.length, 80);
  faces.forEach((f, n) => f.forEach((i, k) => at(i).forEach((v, d) => out.writeFloatLE(v, 84 + 50 * n + 12 + 12 * k + 4 * d))));
  return out;
}

test('the unit of solids can be chosen', async ({ page, server, folder }, info) => {
  folder.bring('shop.yaml');
  await page.goto(server.url);
  await page.locator('input[type=file]').setInputFiles({ name: 'plinth.stl', mimeType: 'model/stl', buffer: box(18, 12, 2.4) });
  const choice = page.getByRole('group', { name: 'Unit of plinth.stl' });
  await expect(choice).toBeVisible();
  await expect(choice).toContainText('does not say in which unit it was drawn');
  const cm = choice.getByRole('button', { name: /^centimetres, then 180 mm long/ });
  const taken = (await cm.count()) === 0;
  await accessible(page, info, 'the choice of a unit');
  await choice.scrollIntoViewIfNeeded();
  await picture(page, 'solid-unit');
  if (taken) await expect(choice).toContainText('It was taken for centimetres: its longest side is 180 mm.');
  await choice.getByRole('button', { name: /^inches, then 457\.2 mm long/ }).click();
  await expect(choice).toContainText('It was taken for inches: its longest side is 457.2 mm.');
  await page.getByRole('group', { name: 'Bring in' }).getByRole('link', { name: 'plinth-2.yaml' }).click();
  await new Sheet(page).workedOut();
  expect(folder.read('plinth-2.yaml')).toMatch(/unit:? ?in|457/);
});
