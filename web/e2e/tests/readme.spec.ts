// The pictures of the page that stand in the README, under the names that they
// have in docs/.

import { expect, picture, Sheet, test } from '../workshop.ts';

test('pictures of the page', async ({ page, server, folder }) => {
  folder.bring('heron-side-table.yaml', 'shop.yaml');
  const sheet = new Sheet(page);
  await sheet.open(server, 'Heron side table');
  await sheet.workedOut();
  await sheet.drawn();
  await picture(page, 'page-piece');

  await sheet.goto(/Cores/);
  await sheet.drawn();
  await picture(page, 'page-cores');

  await sheet.goto(/Veneer/);
  await sheet.section('Veneer').getByRole('button', { name: 'Look at the cut sheets' }).click();
  const cut = page.getByRole('region', { name: 'Cut sheets' });
  await expect(cut.getByRole('button', { name: /, (leaf|band) of walnut/ }).first()).toBeVisible();
  // The wood is drawn roughly first, then with at least a pixel to the millimetre.
  const across = () =>
    cut.locator('image').first().evaluate(async (wood) => {
      const picture = new Image();
      picture.src = wood.getAttribute('href')!;
      await picture.decode().catch(() => {}); // it has just been replaced
      return picture.naturalWidth;
    });
  await expect.poll(across).toBeGreaterThan(610);
  await picture(page, 'page-sheets');

  await sheet.goto(/Fixtures/);
  const section = sheet.section('Fixtures');
  await section.getByRole('button', { name: 'caul/1', exact: true }).first().click();
  await section.getByRole('heading', { name: 'Gluing segments' }).scrollIntoViewIfNeeded();
  await sheet.drawn('fixtures');
  await picture(page, 'page-fixtures');

  await page.keyboard.press('Escape');
  await sheet.goto(/Calendar/);
  await sheet.drawn();
  await picture(page, 'page-calendar');
});
