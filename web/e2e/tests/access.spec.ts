// Whether everybody can use it: axe on every section and drawing, by day and by
// night, and the keyboard alone from the opening view to the zip.

import { accessible } from '../access.ts';
import { expect, picture, Sheet, test, type Page } from '../workshop.ts';

const file = 'heron-side-table.yaml';

for (const [theme, scheme] of [['paper', 'light'], ['slate', 'dark']] as const) {
  test(`axe, ${theme}`, async ({ page, server, folder }, info) => {
    folder.bring(file, 'shop.yaml');
    await page.emulateMedia({ colorScheme: scheme, reducedMotion: 'reduce' });
    const sheet = new Sheet(page);
    await page.goto(server.url);
    await expect(page.getByRole('heading', { name: 'Start from' })).toBeVisible();
    await accessible(page, info, `opening view, ${theme}`);
    await picture(page, `opening-${theme}`);
    await sheet.open(server, 'Heron side table');
    await sheet.drawn();
    await sheet.workedOut();
    for (const [name, heading] of [
      ['Piece', 'The piece'], ['Put right', 'What must be put right'], ['Cores', 'Cores'], ['Veneer', 'Veneer'],
      ['Fixtures', 'Fixtures'], ['Will it hold', 'Will it hold'], ['Calendar', 'Calendar'], ['Bill', 'Bill and hours'], ['Kit', 'Kit'], ['Take along', 'Take it along'],
    ] as const) {
      await sheet.goto(new RegExp(name));
      const section = sheet.section(heading);
      // What can be opened is open; of rows alike the first.
      for (const s of (await section.locator('details:not([open]) > summary').all()).reverse()) await s.click();
      const row = section.getByRole('button', { name: /^(Segments of|Leaves and bands of|About|What you do on) / }).first();
      if (await row.count()) await row.click();
      await sheet.drawn();
      await accessible(page, info, `${name}, ${theme}`, `section[aria-labelledby="${await section.getAttribute('aria-labelledby')}"]`);
      await sheet.goto(new RegExp(name));
      await picture(page, `section-${name.toLowerCase().replaceAll(' ', '-')}-${theme}`);
    }
    for (const look of ['Piece', 'Cores', 'Veneer', 'Fixtures', 'Cut sheets']) {
      await sheet.look(look);
      if (look !== 'Cut sheets') await sheet.drawn();
      else await expect(page.getByRole('region', { name: 'Cut sheets' }).getByRole('button', { name: /, (leaf|band) of walnut/ }).first()).toBeVisible();
      await accessible(page, info, `drawing: ${look}, ${theme}`, 'section[aria-label="Drawing"]');
      await picture(page, `look-${look.toLowerCase().replaceAll(' ', '-')}-${theme}`);
    }
    for (const tray of [/^Knots and stains/, /^Pinned/, /^Tighter layout/, /^Photograph/, /^Order of cuts/]) {
      await page.getByRole('group', { name: 'Work on the sheets' }).getByRole('button', { name: tray }).click();
      await accessible(page, info, `cut sheets: ${tray.source}, ${theme}`, 'section[aria-label="Drawing"]');
      await picture(page, `sheets-${tray.source.slice(1).toLowerCase().replaceAll(' ', '-')}-${theme}`);
    }
    await accessible(page, info, `the whole page, ${theme}`);
  });
}

/** Presses Tab until what has the focus is called so. */
async function tabTo(page: Page, role: 'link' | 'button' | 'textbox', name: string | RegExp, most = 120): Promise<void> {
  const wanted = page.getByRole(role, { name }).first();
  for (let n = 0; n < most; n++) {
    await page.keyboard.press('Tab');
    const here = await page.evaluate(() => {
      const at = document.activeElement as HTMLElement | null;
      if (!at || at === document.body) return { lost: true, seen: true };
      const s = getComputedStyle(at);
      const frame = at.tagName === 'TEXTAREA' ? getComputedStyle(at.closest('.frame') ?? at) : s;
      return { lost: false, seen: frame.outlineStyle !== 'none' || frame.boxShadow !== 'none' };
    });
    expect(here.seen, 'what has the focus can be seen').toBe(true);
    if (!here.lost && (await wanted.evaluate((e) => e === document.activeElement))) return;
  }
  throw new Error(`${role} ${String(name)} was not reached with ${most} presses of Tab`);
}

test('by the keyboard alone from the opening view to the zip', async ({ page, server, folder }) => {
  folder.bring('shop.yaml');
  const sheet = new Sheet(page);
  await page.goto(server.url);
  await expect(page.getByRole('heading', { name: 'Start from' })).toBeVisible();
  await tabTo(page, 'button', 'Otter stool');
  await page.keyboard.press('Enter');
  const name = page.getByRole('textbox', { name: 'Name of the new file' });
  await expect(name).toBeFocused();
  await page.keyboard.type('stool');
  await page.keyboard.press('Enter');
  await expect(page.getByRole('heading', { level: 1, name: 'Otter stool' })).toBeVisible();
  expect(folder.has('stool.yaml')).toBe(true);
  await tabTo(page, 'textbox', 'Height of the seat');
  await page.keyboard.press('Control+a');
  await page.keyboard.type('460');
  await page.keyboard.press('Enter');
  await sheet.saved('stool.yaml');
  await sheet.workedOut();
  expect(folder.read('stool.yaml')).toContain('460 mm');
  // The slider answers to the arrow keys.
  await page.keyboard.press('Tab');
  await expect(sheet.slider('Height of the seat')).toBeFocused();
  await page.keyboard.press('ArrowRight');
  await expect(sheet.field('Height of the seat')).toHaveValue('465 mm');
  await sheet.saved('stool.yaml');
  await sheet.workedOut();
  await expect(sheet.slider('Height of the seat')).toBeFocused();
  await page.keyboard.press('Control+z');
  await expect(sheet.field('Height of the seat')).toHaveValue('460 mm');
  await sheet.workedOut();
  await tabTo(page, 'link', 'The whole job, as a zip', 400);
  const coming = page.waitForEvent('download');
  await page.keyboard.press('Enter');
  expect((await coming).suggestedFilename()).toMatch(/\.zip$/);
});
