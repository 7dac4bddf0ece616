// The strip of sections and the drawing follow what is read; what is clicked
// wins over a scroll that is still under way.

import { expect, type Page, Sheet, test, wren } from '../workshop.ts';

/** The section that is marked, and what is drawn. */
async function at(page: Page): Promise<string> {
  return page.evaluate(() => {
    const section = document.querySelector('nav a[aria-current]')?.textContent ?? '';
    const look = document.querySelector('[aria-label="What is drawn"] [aria-pressed=true]')?.textContent ?? '';
    return `${section.replace(/\d|,.*/g, '').trim()}: ${look.trim()}`;
  });
}

/** Long enough for late scroll events to do harm: some frames after the last. */
async function quiet(page: Page): Promise<void> {
  await page.evaluate(async () => {
    for (let i = 0; i < 20; i++) await new Promise(requestAnimationFrame);
  });
}

test('a section or look that is clicked stays, however long its scroll takes', async ({ page, server, folder }) => {
  folder.bring('shop.yaml');
  folder.write('wren-board.yaml', wren);
  const sheet = new Sheet(page);
  await sheet.open(server, 'Wren board');
  await sheet.workedOut();
  for (const [name, want] of [['Will it hold', 'Will it hold: Strength'], ['Bill', 'Bill: Piece'], ['Veneer', 'Veneer: Veneer'], ['Cores', 'Cores: Cores']] as const) {
    await sheet.goto(new RegExp(name));
    // The page is busy meanwhile, and its scroll events come late.
    await page.evaluate(() => {
      const until = performance.now() + 400;
      while (performance.now() < until);
    });
    await quiet(page);
    expect(await at(page)).toBe(want);
  }
  await page.evaluate(() => {
    document.querySelector('main.sheet')!.scrollBy(0, -5000);
    [...document.querySelectorAll('button')].find((b) => b.textContent === 'Look at the cut sheets')!.click();
  });
  await quiet(page);
  expect(await at(page)).toBe('Cores: Cut sheets');
  // Reading goes on with the next scroll.
  await page.evaluate(() => document.querySelector('main.sheet')!.scrollBy(0, 1));
  await page.mouse.move(300, 500);
  await page.mouse.wheel(0, 8000);
  await expect.poll(() => at(page)).toBe('Take along: Piece');
});
