// From a spool that comes in to the offcut that is left: the stock in the page,
// beside the command line.

import { accessible } from '../access.ts';
import { expect, measured, picture, Sheet, test, wren, type Page } from '../workshop.ts';

const file = 'wren-board.yaml';

/** A row of a table, by its head. */
function row(page: Page, name: string) {
  return page.getByRole('row').filter({ has: page.getByRole('rowheader', { name }) });
}

interface Planned {
  sheets: { id: string; kept?: string; veneer: string }[];
  piece: { name: string };
}

for (const [theme, scheme] of [['paper', 'light'], ['slate', 'dark']] as const) {
  test(`from the spool to the offcut, ${theme}`, async ({ page, server, folder, guard }, info) => {
    guard.allow(/status of 422 \(Unprocessable Entity\) \(\S+\/api\/stock\/entries/);
    folder.bring('shop.yaml');
    folder.write(file, wren);
    await page.emulateMedia({ colorScheme: scheme, reducedMotion: 'reduce' });
    const sheet = new Sheet(page);
    await sheet.open(server, 'Wren board');
    await sheet.workedOut();
    await sheet.goto('Stock');
    const section = sheet.section('Stock');
    await expect(section).toContainText('There is nothing in stock yet.');
    const takeIn = section.getByRole('form', { name: 'Take in' });

    await test.step('take in a spool', async () => {
      await section.getByText('Take something in').click();
      await takeIn.getByRole('combobox', { name: 'What comes in' }).selectOption('A spool of filament');
      await takeIn.getByRole('combobox', { name: 'Filament' }).fill('abs');
      await takeIn.getByRole('textbox', { name: 'What it cost in all' }).fill('22 EUR');
      await takeIn.getByRole('button', { name: 'Take in' }).click();
      await expect(section).toContainText('abs spool 1 is in stock. Write 1 on it. Now there is 1 kg of it.');
      await expect(row(page, 'abs 1')).toContainText('1 kg');
      expect(await folder.stock()).toMatch(/spool 1\s+1000 g/);
    });

    await test.step('what cannot be read is told, and nothing is lost', async () => {
      await takeIn.getByRole('textbox', { name: 'On the spool' }).fill('much');
      await takeIn.getByRole('combobox', { name: 'Filament' }).fill('abs');
      await takeIn.getByRole('button', { name: 'Take in' }).click();
      await expect(takeIn.getByRole('alert')).toContainText('"much" is no amount');
      await expect(takeIn.getByRole('textbox', { name: 'On the spool' })).toHaveValue('much');
    });

    await test.step('put right a count, with a reason', async () => {
      await section.getByRole('button', { name: 'Put right, abs spool 1' }).click();
      const form = page.getByRole('form', { name: 'Put right abs spool 1' });
      await expect(form.getByRole('textbox', { name: 'There is now' })).toBeFocused();
      await page.keyboard.type('940 g');
      await page.keyboard.press('Enter');
      await expect(form).toHaveCount(0);
      await expect(row(page, 'abs 1')).toContainText('940 g');
      await expect(section.getByRole('button', { name: 'Put right, abs spool 1' })).toBeFocused();
      expect(await folder.stock('history')).toContain('weighed');
    });

    const name = section.getByRole('textbox', { name: 'Job', exact: true });
    await expect(name).toHaveValue('wren-board-1');

    await test.step('what is short is told, and leads to the form', async () => {
      await section.getByRole('checkbox', { name: 'Cut from the offcuts in stock' }).check();
      await sheet.workedOut();
      await section.getByRole('button', { name: 'Lay aside what it takes' }).first().click();
      await expect(section.getByRole('table', { name: 'What is short for wren-board-1' })).toBeVisible();
      await expect(section).toContainText('wren-board-1 is entered, and nothing is laid aside for it yet');
      await accessible(page, info, `what is short, ${theme}`, 'main.sheet');
      await picture(page, `stock-short-${theme}`);
      const missing = section.getByRole('table', { name: 'What is short for wren-board-1' }).getByRole('button', { name: /^Take in/ });
      const many = await missing.count();
      expect(many).toBeGreaterThan(0);
      for (let i = 0; i < many; i++) {
        await missing.nth(i).click();
        await expect(takeIn.getByRole('combobox', { name: /Veneer|What it is|Filament/ })).toBeFocused();
        await takeIn.getByRole('button', { name: 'Take in' }).click();
        await expect(takeIn.getByRole('status')).toContainText('is in stock');
      }
    });

    await test.step('lay aside', async () => {
      await section.getByRole('form', { name: 'Lay aside for this piece' }).getByRole('button').click();
      await expect(section.getByText('All that wren-board-1 takes is laid aside.')).toBeVisible();
      await expect(row(page, 'walnut')).toContainText('wren-board-1');
      expect(await folder.stock('jobs')).toMatch(/wren-board-1\s+wren-board\s+reserved/);
    });

    await section.getByRole('button', { name: 'About the job wren-board-1' }).click();
    await test.step('log a load', async () => {
      await section.getByRole('button', { name: 'Log load-01', exact: true }).click();
      const log = section.getByRole('form', { name: 'Log load-01 of wren-board-1' });
      await log.getByRole('textbox', { name: 'The printer was busy for' }).fill('2 h 5 min');
      await log.getByRole('textbox', { name: 'It took from the spool' }).fill('90 g');
      await expect(log.getByRole('combobox', { name: 'Spool' })).not.toHaveValue('');
      await accessible(page, info, `log a load, ${theme}`, 'main.sheet');
      await page.evaluate(() => document.querySelector('[aria-label^="About the job"]')!.scrollIntoView({ block: 'start' }));
      await picture(page, `stock-job-${theme}`);
      await log.getByRole('button', { name: 'Log it' }).click();
      await expect(section.getByText('load-01 is logged.')).toBeVisible();
      await expect(section.getByRole('button', { name: 'Log again load-01' })).toBeFocused();
      await expect(row(page, 'abs').filter({ hasText: '850 g' }).or(row(page, 'abs').filter({ hasText: '910 g' }))).toBeVisible();
      expect(JSON.parse(await folder.stock('jobs', 'wren-board-1', '--json'))).toMatchObject({ runs: [{ load: 'load-01', seconds: 7500, grams: 90 }] });
    });

    await test.step('finish', async () => {
      await section.getByRole('button', { name: 'Finish', exact: true }).click();
      await section.getByRole('form', { name: 'Finish wren-board-1' }).getByRole('button', { name: 'Finish wren-board-1' }).click();
      await expect(section.getByText('Back in stock; write the number on each:')).toBeVisible();
      const offcuts = section.getByRole('list', { name: 'Offcuts of veneer' });
      await expect(offcuts.getByRole('img').first()).toBeVisible();
      const told = JSON.parse(await folder.stock('list', '--json')) as { items: { kind: string; lots: unknown[] }[] };
      const lots = told.items.find((i) => i.kind === 'offcut')!.lots.length;
      await expect(offcuts.getByRole('listitem')).toHaveCount(lots);
      measured(info, `a board of 200 x 120 mm leaves ${lots} offcuts`);
      await page.evaluate(() => document.querySelector('[data-back]')!.scrollIntoView({ block: 'end' }));
      await picture(page, `stock-finished-${theme}`);
    });

    await test.step('the next is cut from the offcut, as at the command line', async () => {
      await expect(name).toHaveValue('wren-board-2');
      await sheet.workedOut();
      await expect.poll(async () => (await sheet.plan<Planned>()).sheets[0]?.kept ?? '').not.toBe('');
      const here = await sheet.plan<Planned>();
      const out = await folder.plan(file, '--stock', '--data', folder.data);
      const { readFileSync } = await import('node:fs');
      const there = JSON.parse(readFileSync(`${out}/plan.json`, 'utf8')) as Planned;
      expect(here.sheets.map((s) => [s.id, s.kept])).toEqual(there.sheets.map((s) => [s.id, s.kept]));
      expect(JSON.stringify(here)).toBe(JSON.stringify(there));
    });

    /** As when the maker comes back to the window. */
    const lookAgain = () =>
      page.evaluate(() => {
        for (const value of [true, false]) {
          Object.defineProperty(document, 'hidden', { value, configurable: true });
          document.dispatchEvent(new Event('visibilitychange'));
        }
      });

    await test.step('a job of the command line is given up', async () => {
      await lookAgain();
      const other = section.getByRole('button', { name: 'About the job job', exact: true });
      await other.click();
      await section.getByRole('button', { name: 'Give up', exact: true }).click();
      const form = section.getByRole('form', { name: 'Give up job' });
      await form.getByRole('textbox', { name: 'Note' }).fill('only a trial');
      await page.keyboard.press('Enter');
      await expect(section.getByText('It is given up.')).toBeVisible();
      expect(await folder.stock('jobs', '--all')).toMatch(/job\s+wren-board\s+abandoned/);
      await expect(name).toHaveValue('wren-board-2');
    });

    await test.step('what the command line does is seen when the window is looked at again', async () => {
      await folder.stock('add', 'spool', 'pla', '500 g');
      await lookAgain();
      await expect(row(page, 'pla 1')).toContainText('500 g');
    });

    for (const s of (await section.locator('details:not([open]) > summary').all()).reverse()) await s.click();
    await sheet.goto('Stock');
    await accessible(page, info, `stock, ${theme}`, 'main.sheet');
    await picture(page, `stock-${theme}`);
  });
}

test('two windows share the stock, and the opening view has it too', async ({ page, server, folder, another }, info) => {
  folder.bring('shop.yaml');
  await page.goto(server.url);
  await page.getByText('What the shop has, and the jobs under way').click();
  await page.getByText('Take something in').click();
  const takeIn = page.getByRole('form', { name: 'Take in' });
  // An offcut with a slanted side and a knot, by the keyboard alone.
  await takeIn.getByRole('combobox', { name: 'What comes in' }).selectOption('An offcut of veneer');
  await takeIn.getByRole('combobox', { name: 'What comes in' }).focus();
  await page.keyboard.press('Tab');
  await page.keyboard.type('walnut');
  await takeIn.getByText('Not square, or with knots').click();
  await takeIn.getByRole('textbox', { name: 'Corners' }).fill('0,0 300,0 300,200 0,480');
  await takeIn.getByRole('textbox', { name: 'Areas to keep off' }).fill('40 x 60 at 120,100');
  await expect(takeIn.getByRole('img', { name: /^300 × 480\smm, not square, 1 area to keep off$/ })).toBeVisible();
  const second = await another();
  await second.goto(server.url);
  await second.getByText('What the shop has, and the jobs under way').click();
  await expect(second.getByText('There is nothing in stock yet.')).toBeVisible();
  await takeIn.getByRole('button', { name: 'Take in' }).click();
  for (const p of [page, second]) await expect(p.getByRole('list', { name: 'Offcuts of veneer' }).getByRole('img')).toHaveAttribute('aria-label', /^300 × 480\smm, not square, 1 area to keep off$/);
  await accessible(page, info, 'the stock in the opening view');
  await picture(page, 'stock-opening');
  await second.getByRole('button', { name: 'Gone, walnut offcut 1' }).click();
  await second.getByRole('form', { name: 'walnut offcut 1 is gone' }).getByRole('textbox', { name: 'Why it is gone' }).fill('used for a sample');
  await second.keyboard.press('Enter');
  for (const p of [page, second]) await expect(p.getByText('There is nothing in stock yet.')).toBeVisible();
});
