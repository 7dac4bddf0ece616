// The server is killed in mid-plan and started again on the same port.

import { expect, givenUp, height, picture, Sheet, test, wren } from '../workshop.ts';

const file = 'heron-side-table.yaml';

test('killed in mid-plan: told, back again, nothing typed or slid is lost', async ({ page, server, folder, guard }) => {
  // The new server knows nothing of the plans of the old one (410, Gone), nor of
  // its token (403).
  guard.allow(/Failed to load resource: (net::ERR_|the server responded with a status of (403|410))/, /net::ERR_(CONNECTION_REFUSED|INCOMPLETE_CHUNKED_ENCODING|CONNECTION_RESET|EMPTY_RESPONSE)/, /Failed to fetch/, givenUp);
  folder.bring(file, 'shop.yaml');
  const sheet = new Sheet(page);
  await sheet.open(server, 'Heron side table');
  await sheet.workedOut();
  const area = await sheet.editor(file);
  const text = await area.inputValue();

  await sheet.measure('Height', '600 mm');
  await expect(page.getByRole('progressbar', { name: 'How far the plan is' })).toBeVisible();
  await server.kill();
  await expect(page.getByText('The server does not answer.')).toBeVisible();
  // In the strip that stays in sight, instead of how far the plan is.
  await page.locator('main.sheet').evaluate((e) => e.scrollTo(0, 1e6));
  await expect(page.getByText('The server does not answer.')).toBeInViewport();
  await expect(page.getByRole('progressbar', { name: 'How far the plan is' })).toBeHidden();
  await page.locator('main.sheet').evaluate((e) => e.scrollTo(0, 0));
  await picture(page, 'away');

  // Working on: in the file, and at the slider.
  const noted = (await area.inputValue()).replace('table packs flat.', 'table packs flat. For the hall.');
  expect(noted).not.toBe(text);
  await area.fill(noted);
  await expect(page.getByText('kept here until the server answers')).toBeVisible();
  const slider = sheet.slider('Length of the top');
  await slider.fill('500');
  await expect(area).toHaveValue(/For the hall/);

  await server.start();
  await expect(page.getByText('The server does not answer.')).toBeHidden();
  await sheet.saved(file);
  await sheet.workedOut();
  const kept = folder.read(file);
  expect(kept).toContain('For the hall.');
  expect(kept).toContain('height:     {value: 600 mm');
  expect(kept).toContain('top_length: {value: 500 mm');
  await expect(area).toHaveValue(kept);
  await expect(sheet.field('Length of the top')).toHaveValue('500 mm');
  await expect.poll(async () => Math.abs((await height(page)) - 600)).toBeLessThan(0.5);
});

test('started anew before the page has noticed: what is typed and set then is saved', async ({ page, server, folder, guard }) => {
  guard.allow(/Failed to load resource: (net::ERR_|the server responded with a status of (403|410))/, /net::ERR_/, givenUp);
  folder.bring('shop.yaml');
  folder.write('wren-board.yaml', wren);
  const sheet = new Sheet(page);
  await sheet.open(server, 'Wren board');
  await sheet.workedOut();
  const area = await sheet.editor('wren-board.yaml');
  await server.kill();
  await server.start();
  await sheet.measure('Length', '180 mm');
  await sheet.write(area, 'title: Wren board', ' for the hall');
  await sheet.saved('wren-board.yaml');
  await expect.poll(() => folder.read('wren-board.yaml')).toContain('for the hall');
  expect(folder.read('wren-board.yaml')).toContain('value: 180 mm');
  await expect(page.getByText(/was not done|is not saved/)).toHaveCount(0);
  await sheet.workedOut();
});
