// Inches with fractions, a tablet held upright, a small laptop.

import { expect, height, picture, Sheet, stage, test, type Page } from '../workshop.ts';

const file = 'heron-side-table.yaml';

/** Words that are cut off, and things that stand out of the window sideways. */
async function spilt(page: Page): Promise<string[]> {
  return page.evaluate(() => {
    const out: string[] = [];
    const wide = document.documentElement.clientWidth;
    if (document.documentElement.scrollWidth > wide) out.push(`the page is ${document.documentElement.scrollWidth} px wide in a window of ${wide}`);
    for (const e of document.querySelectorAll<HTMLElement>('h1, h2, h3, p, a, button, label, dt, dd, th, td, summary, input, select, output, canvas')) {
      const r = e.getBoundingClientRect();
      const style = getComputedStyle(e);
      if (!r.width || !r.height || style.visibility === 'hidden' || e.closest('.unseen, [aria-hidden=true], .frame')) continue;
      const name = `${e.tagName.toLowerCase()} "${(e.innerText || e.getAttribute('aria-label') || '').slice(0, 40)}"`;
      if (r.left < -1 || r.right > wide + 1) out.push(`${name} stands out of the window: ${Math.round(r.left)} to ${Math.round(r.right)}`);
      if (!['canvas', 'input', 'select'].includes(e.tagName.toLowerCase()) && e.scrollWidth > e.clientWidth + 1 && style.overflowX !== 'visible' && e.clientWidth > 0) out.push(`${name} is cut off`);
      // Beyond the part of the page that it belongs to.
      const home = e.closest<HTMLElement>('main, .drawing');
      const h = home?.getBoundingClientRect();
      if (h && (r.right > h.right + 1 || r.left < h.left - 1)) out.push(`${name} stands out of its side`);
    }
    for (const i of document.querySelectorAll<HTMLInputElement>('input.field')) {
      if (i.scrollWidth > i.clientWidth + 1) out.push(`field "${i.value}" is cut off`);
    }
    return out;
  });
}

test('inches with fractions', async ({ page, server, folder }) => {
  folder.bring(file, 'shop.yaml');
  const sheet = new Sheet(page);
  await sheet.open(server, 'Heron side table');
  await page.getByRole('combobox', { name: 'Measure in' }).selectOption('in, 1/32');
  // 540 mm / 25.4 = 21.2598 in, nearest 1/32: 21 8/32 = 21 1/4.
  await expect(sheet.field('Height')).toHaveValue('21 1/4 in');
  // 150 mm = 5.9055 in: 5 29/32.
  await expect(sheet.field('Underside of the shelf')).toHaveValue('5 29/32 in');
  await sheet.measure('Height', '22 1/2');
  await sheet.saved(file);
  expect(folder.read(file)).toContain('height:     {value: 22 1/2 in');
  await expect.poll(async () => Math.abs((await height(page)) - 571.5)).toBeLessThan(0.5);
  await sheet.measure('Height', '1 ft 9 5/8"');
  await sheet.saved(file);
  expect(folder.read(file)).toContain('1 ft 9 5/8 in');
  await expect(sheet.field('Height')).toHaveValue('21 5/8 in');
  await sheet.workedOut();
  await sheet.drawn();
  await picture(page, 'inches');
  await sheet.goto('Veneer');
  await picture(page, 'inches-veneer');
  expect(await spilt(page)).toEqual([]);
  // It is remembered.
  await page.reload();
  await expect(sheet.field('Height')).toHaveValue('21 5/8 in');
});

test('a tablet held upright', async ({ another, server, folder }) => {
  folder.bring(file, 'shop.yaml');
  const page = await another({ viewport: { width: 820, height: 1180 }, hasTouch: true });
  const sheet = new Sheet(page);
  await page.goto(server.url);
  await page.getByRole('link', { name: 'Heron side table' }).tap();
  await sheet.workedOut();
  await sheet.drawn();
  expect(await spilt(page)).toEqual([]);
  await picture(page, 'tablet');
  for (const name of ['Cores', 'Veneer', 'Bill']) {
    await page.getByRole('navigation').getByRole('link', { name }).tap();
    expect(await spilt(page)).toEqual([]);
    await picture(page, `tablet-${name.toLowerCase()}`);
  }
  // A finger on a part of the drawing chooses it.
  await page.getByRole('group', { name: 'What is drawn' }).getByRole('button', { name: 'Piece', exact: true }).tap();
  const canvas = page.getByRole('application');
  const box = (await canvas.boundingBox())!;
  await page.touchscreen.tap(box.x + box.width / 2, box.y + box.height / 2);
  await expect(canvas).toBeFocused();
});

test('a small laptop', async ({ page, server, folder }) => {
  folder.bring(file, 'shop.yaml');
  const sheet = new Sheet(page);
  await page.goto(server.url);
  await expect(page.getByRole('heading', { name: 'Start from' })).toBeVisible();
  expect(await spilt(page)).toEqual([]);
  await sheet.open(server, 'Heron side table');
  await sheet.workedOut();
  await sheet.drawn();
  expect(await spilt(page)).toEqual([]);
  await page.evaluate(() => document.querySelectorAll('details').forEach((d) => (d.open = true)));
  expect(await spilt(page)).toEqual([]);
  // The drawing says what the fields say.
  const size = (await stage(page))!.size!;
  for (const [label, mm] of [['Length of the top', size[0]], ['Depth of the top', size[1]], ['Height', size[2]]] as const) {
    expect.soft(Math.round(mm * 10) / 10, label).toBe(Number.parseFloat(await sheet.field(label).inputValue()));
  }
});
