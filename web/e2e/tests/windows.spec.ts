// Two windows on one piece.

import { accessible } from '../access.ts';
import { expect, picture, Sheet, stage, test, wren, type Page } from '../workshop.ts';

const file = 'wren-board.yaml';

/** Holds back what a window saves until it is let go. */
async function hold(page: Page): Promise<() => Promise<void>> {
  let release = () => {};
  const open = new Promise<void>((r) => (release = r));
  const match = (url: URL) => url.pathname === `/api/pieces/${file}`;
  await page.route(match, async (route) => {
    if (route.request().method() === 'PUT') await open;
    await route.continue();
  });
  return async () => release();
}

test('a change in one window shows in the other', async ({ page, server, folder, another }) => {
  folder.bring('shop.yaml');
  folder.write(file, wren);
  const one = new Sheet(page);
  const two = new Sheet(await another());
  await one.open(server, 'Wren board');
  await two.open(server, 'Wren board');
  await one.measure('Length', '180');
  await expect(two.field('Length')).toHaveValue('180 mm');
  await two.workedOut();
  await expect.poll(async () => Math.round((await stage(two.page))?.size?.[0] ?? 0)).toBe(180);
  await two.page.getByRole('button', { name: /^Undo/ }).click();
  await expect(one.field('Length')).toHaveValue('200 mm');

  await test.step('and so does one made outside the page', async () => {
    folder.write(file, wren.replace('value: 200 mm', 'value: 160 mm'));
    await expect(one.field('Length')).toHaveValue('160 mm');
    await expect(two.field('Length')).toHaveValue('160 mm');
  });
});

test('who writes goes on at the same words when the text changes elsewhere', async ({ page, server, folder, another }) => {
  folder.bring('shop.yaml');
  const notes = Array.from({ length: 60 }, (_, i) => `# note ${i + 1}\n`).join('');
  folder.write(file, wren.replace('width: {value: 120 mm, min: 100 mm', 'width: {value: 100 mm, min: 60 mm') + notes);
  const one = new Sheet(page);
  const two = new Sheet(await another());
  await one.open(server, 'Wren board');
  await two.open(server, 'Wren board');
  const area = await one.editor(file);
  const text = () => area.inputValue();
  const scrolled = () => area.evaluate((a) => a.closest('.frame')!.scrollTop);

  // The caret to the end of note 30, by the keyboard.
  await area.click();
  await page.keyboard.press('Control+End');
  for (let n = 0; n < 31; n++) await page.keyboard.press('ArrowUp');
  await page.keyboard.press('End');
  await page.keyboard.type(' a');
  await expect.poll(text).toContain('# note 30 a\n');
  await one.saved(file);
  await area.evaluate((a) => (a.closest('.frame')!.scrollTop += 7)); // in the middle of a line
  const before = await scrolled();
  expect(before).toBeGreaterThan(100);

  // A slider in the other window makes the text before the caret shorter.
  await two.slider('Width').press('ArrowLeft');
  await expect.poll(text).toContain('width: {value: 95 mm');
  await expect(area).toBeFocused();
  expect(await scrolled()).toBe(before);
  await page.keyboard.type('bc');
  await expect.poll(text).toContain('# note 30 abc\n');

  // Lines that come before it outside move the text on, and what is seen with it.
  await one.saved(file);
  await expect.poll(() => folder.read(file)).toContain('# note 30 abc\n');
  const still = await scrolled(); // typing may have brought the whole line into sight
  folder.write(file, `# one\n# two\n${folder.read(file)}`);
  await expect.poll(text).toMatch(/^# one\n# two\n/);
  const line = await area.evaluate((a) => parseFloat(getComputedStyle(a).lineHeight));
  expect(Math.abs((await scrolled()) - still - 2 * line)).toBeLessThan(1.5);

  // What is selected stays selected.
  await page.keyboard.press('Shift+ArrowLeft');
  await page.keyboard.press('Shift+ArrowLeft');
  await two.slider('Width').press('ArrowRight');
  await expect.poll(text).toContain('width: {value: 100 mm');
  await page.keyboard.type('d');
  await expect.poll(text).toContain('# note 30 ad\n');

  // And so with the page's own slider, from which one comes back.
  await one.slider('Width').press('ArrowLeft');
  await expect.poll(text).toContain('width: {value: 95 mm');
  await area.focus();
  await page.keyboard.type('e');
  await expect.poll(text).toContain('# note 30 ade\n');
  await one.saved(file);
  await expect.poll(() => folder.read(file)).toContain('# note 30 ade\n');
  expect(folder.read(file)).toContain('width: {value: 95 mm');
});

test('texts changed on different lines are put together', async ({ page, server, folder, another, guard }) => {
  guard.allow(/status of 409/);
  folder.bring('shop.yaml');
  folder.write(file, wren);
  const one = new Sheet(page);
  const two = new Sheet(await another());
  await one.open(server, 'Wren board');
  await two.open(server, 'Wren board');
  const letGo = await hold(two.page);
  const [a, b] = [await one.editor(file), await two.editor(file)];
  await b.fill(wren.replace('thickness: 20 mm', 'thickness: 22 mm'));
  await a.fill(wren.replace('title: Wren board', 'title: Wren shelf board'));
  await one.saved(file);
  await letGo();
  await two.saved(file);
  await expect.poll(() => folder.read(file)).toContain('thickness: 22 mm');
  expect(folder.read(file)).toContain('title: Wren shelf board');
  await expect(a).toHaveValue(folder.read(file));
});

for (const keep of ['Keep mine', 'Take the other'] as const) {
  test(`of two texts on the same line neither is lost: ${keep}`, async ({ page, server, folder, another, guard }, info) => {
    guard.allow(/status of 409/);
    folder.bring('shop.yaml');
    folder.write(file, wren);
    const one = new Sheet(page);
    const two = new Sheet(await another());
    await one.open(server, 'Wren board');
    await two.open(server, 'Wren board');
    const [a, b] = [await one.editor(file), await two.editor(file)];
    const letGo = await hold(two.page);
    const theirs = wren.replace('thickness: 20 mm', 'thickness: 22 mm');
    const mine = wren.replace('thickness: 20 mm', 'thickness: 26 mm');
    await b.fill(mine);
    await a.fill(theirs);
    await one.saved(file);
    await letGo();
    const choice = two.page.getByRole('alert').filter({ hasText: 'was changed elsewhere' });
    await expect(choice).toContainText('thickness: 22 mm');
    await expect(choice).toContainText('thickness: 26 mm');
    if (keep === 'Keep mine') {
      await choice.scrollIntoViewIfNeeded();
      await picture(two.page, 'clash');
      await accessible(two.page, info, 'a clash');
    }
    await choice.getByRole('button', { name: keep }).click();
    await two.saved(file);
    const [kept, other] = keep === 'Keep mine' ? [mine, theirs] : [theirs, mine];
    await expect(b).toHaveValue(kept);
    await expect.poll(() => folder.read(file)).toBe(kept);
    // The other is one step away: by undo if it was saved before, by redo else.
    await two.page.getByRole('button', { name: keep === 'Keep mine' ? /^Undo/ : /^Redo/ }).click();
    await expect(b).toHaveValue(other);
    await expect.poll(() => folder.read(file)).toBe(other);
  });
}
