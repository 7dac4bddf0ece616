// The page is loaded anew, closed or crashes in the middle of typing.

import { expect, Sheet, test, wren, type Page } from '../workshop.ts';

const file = 'wren-board.yaml';
const typed = wren.replace('title: Wren board', 'title: Wren board for the hall');

/** Nothing that this window saves comes through, until it is loaded anew: then
 * it has another name for itself. */
async function deafen(page: Page): Promise<void> {
  let first: string | undefined;
  await page.route('**/api/pieces/**', (route) => {
    if (route.request().method() === 'GET') return route.continue();
    const { view } = route.request().postDataJSON() as { view: string };
    first ??= view;
    return view === first ? new Promise<void>(() => {}) : route.continue();
  });
}

async function begin(page: Page, url: string, edit: string): Promise<void> {
  const sheet = new Sheet(page);
  await page.goto(`${url}/#${file}`);
  const area = await sheet.editor(file);
  await area.fill(edit);
}

test.beforeEach(({ folder }) => {
  folder.bring('shop.yaml');
  folder.write(file, wren);
});

test('loaded anew in the middle of typing', async ({ page, server, folder }) => {
  await deafen(page);
  const sent = page.waitForRequest((r) => r.method() === 'PUT');
  await begin(page, server.url, typed);
  page.on('dialog', (d) => void d.accept());
  await sent; // and never answered
  await page.reload();
  await expect(page.getByText('What you had not saved when the page ended is here again.')).toBeVisible();
  await expect(await new Sheet(page).editor(file)).toHaveValue(typed);
  await expect.poll(() => folder.read(file)).toBe(typed);
});

test('closed in the middle of typing', async ({ page, context, server, folder }) => {
  await deafen(page);
  await begin(page, server.url, typed);
  await page.close({ runBeforeUnload: false });
  expect(folder.read(file)).toBe(wren);
  const again = await context.newPage();
  await again.goto(`${server.url}/#${file}`);
  await expect(await new Sheet(again).editor(file)).toHaveValue(typed);
  await expect.poll(() => folder.read(file)).toBe(typed);
});

test('crashed in the middle of typing', async ({ page, context, server, folder }) => {
  await deafen(page);
  await begin(page, server.url, typed);
  const crashed = page.waitForEvent('crash');
  const inner = await context.newCDPSession(page);
  void inner.send('Page.crash').catch(() => {}); // it never answers
  await crashed;
  expect(folder.read(file)).toBe(wren);
  const again = await context.newPage();
  await again.goto(`${server.url}/#${file}`);
  await expect(await new Sheet(again).editor(file)).toHaveValue(typed);
  await expect.poll(() => folder.read(file)).toBe(typed);
});

test('what was typed while another program wrote the file is put together with it', async ({ page, context, server, folder }) => {
  await deafen(page);
  await begin(page, server.url, typed);
  await page.close({ runBeforeUnload: false });
  folder.write(file, wren.replace('thickness: 20 mm', 'thickness: 18 mm'));
  const again = await context.newPage();
  await again.goto(`${server.url}/#${file}`);
  const both = typed.replace('thickness: 20 mm', 'thickness: 18 mm');
  await expect(await new Sheet(again).editor(file)).toHaveValue(both);
  await expect.poll(() => folder.read(file)).toBe(both);
});
