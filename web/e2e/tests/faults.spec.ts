// A piece with an error in it.

import { accessible } from '../access.ts';
import { expect, picture, Sheet, stage, test, wren } from '../workshop.ts';

const file = 'wren-board.yaml';

test('a fault is told on its line, the last good view stays, mending clears it', async ({ page, server, folder }, info) => {
  folder.bring('shop.yaml');
  folder.write(file, wren);
  const sheet = new Sheet(page);
  await sheet.open(server, 'Wren board');
  await sheet.workedOut();
  await sheet.drawn();
  const good = (await stage(page))!;

  const bad = wren.replace('length: = length', 'length: = lenght');
  const line = bad.split('\n').findIndex((l) => l.includes('lenght')) + 1;
  const area = await sheet.editor(file);
  await area.fill(bad);
  await expect(page.getByText('The file has faults; what is shown is from before.').first()).toBeVisible();
  await expect(area).toHaveAttribute('aria-invalid', 'true');
  const told = page.getByRole('listitem').filter({ has: page.getByRole('button', { name: `Line ${line}`, exact: true }) });
  await expect(told).toContainText('lenght');
  await expect(told).toContainText(/did you mean "length"/i);
  // Bad text is saved all the same.
  expect(folder.read(file)).toBe(bad);
  await picture(page, 'fault');
  await accessible(page, info, 'a fault in the editor');

  await test.step('the last good view stays', async () => {
    const s = (await stage(page))!;
    expect(s.counts).toEqual(good.counts);
    expect(s.size).toEqual(good.size);
  });

  await test.step('the finding leads to the line', async () => {
    await sheet.goto(/Put right/);
    await sheet.section('What must be put right').getByRole('button', { name: `${file}, line ${line}` }).click();
    await expect(area).toBeFocused();
    const chosen = await area.evaluate((t: HTMLTextAreaElement) => t.value.slice(t.selectionStart, t.selectionEnd));
    expect(chosen).toContain('lenght');
    await expect(area).toBeInViewport();
  });

  await test.step('mending clears it', async () => {
    await area.fill(wren.replace('thickness: 20 mm', 'thickness: 24 mm'));
    await expect(told).toHaveCount(0);
    await expect(area).toHaveAttribute('aria-invalid', 'false');
    await sheet.workedOut();
    await expect.poll(async () => (await stage(page))!.size![2]).toBeCloseTo(24, 0);
  });

  await test.step('two faults at once are both told', async () => {
    await area.fill(wren.replace('length: = length', 'length: = lenght').replace('width: = width', 'width: = widht'));
    await expect(page.getByRole('button', { name: /^Line \d+$/ })).toHaveCount(2);
  });
});

test('a piece that was broken in the folder opens with its faults, and no drawing', async ({ page, server, folder }) => {
  folder.bring('shop.yaml');
  folder.write(file, wren.replace('board: {rectangle', 'board: {rectangel'));
  const sheet = new Sheet(page);
  await page.goto(server.url);
  await expect(page.getByText(/Has a fault/)).toBeVisible();
  await page.getByRole('link', { name: /Wren board|wren-board/ }).click();
  // The file opens by itself at its faults.
  const area = page.getByRole('textbox', { name: `Piece file ${file}` });
  await expect(area).toHaveAttribute('aria-invalid', 'true');
  await expect(page.getByRole('button', { name: /^Line \d+$/ }).first()).toBeVisible();
  await picture(page, 'fault-from-the-start');
  await area.fill(wren);
  await sheet.workedOut();
  await sheet.drawn();
});
