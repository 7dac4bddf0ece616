// Fixtures, the calendar and the kit: what is told of them, how the calendar's
// bars are read with the keyboard, and what is saved.

import { readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { dirname, join, relative } from 'node:path';
import { unzipSync } from 'fflate';
import { accessible } from '../access.ts';
import { expect, measured, picture, Sheet, stage, test, wren, type Page } from '../workshop.ts';

const file = 'heron-side-table.yaml';

interface Made {
  fixtures: { id: string; kind: string; step: string; serves: string[]; parts: { file: string }[]; templates: { id: string }[] }[];
  fixture_loads: { id: string; file: string }[];
  clamping: { id: string; clamps: number; drawing: string; closes: { force_n: number }[]; words: string[] }[];
  calendar: { end_s: number; hands_s: number; activities: { id: string; start_s: number; end_s: number; hand_s: number; critical: boolean; machine: string }[]; alternatives: { what: string; end_s: number }[] };
  kit: { revision: string; insert: string[]; parcels: { id: string; things: number[]; steps: string[]; length_and_girth_mm: number; drawing: string }[]; prices: { batch: number; total: number; lines: { what: string }[] }[]; hardware: { item: string }[] };
  bill: { section: string; cost: number }[];
  totals: { cost: number };
  units: { money: string };
}

async function opened(page: Page, server: Parameters<Sheet['open']>[0], folder: { bring: (...n: string[]) => void }): Promise<[Sheet, Made]> {
  folder.bring(file, 'shop.yaml');
  const sheet = new Sheet(page);
  await sheet.open(server, 'Heron side table');
  await sheet.workedOut();
  return [sheet, await sheet.plan<Made>()];
}

/** Saves what a link offers; gives its first bytes. */
async function saved(page: Page, click: () => Promise<void>): Promise<{ name: string; data: Buffer }> {
  const coming = page.waitForEvent('download');
  await click();
  const d = await coming;
  return { name: d.suggestedFilename(), data: readFileSync(await d.path()) };
}

/** No picture that stands in the sheet is broken. */
async function whole(page: Page): Promise<void> {
  await expect.poll(() => page.evaluate(() => [...document.images].filter((i) => i.complete && i.naturalWidth === 0).map((i) => i.src))).toEqual([]);
}

test('fixtures by the work that they serve', async ({ page, server, folder }, info) => {
  const [sheet, plan] = await opened(page, server, folder);
  await sheet.goto('Fixtures');
  const section = sheet.section('Fixtures');
  await expect(section).toContainText(`${plan.fixtures.length} fixtures`);

  // Every one has its row, under its operation and nowhere else.
  for (const name of ['Gluing segments', 'Laying leaves and bands', 'Before all: measuring coupons']) await expect(section.getByRole('heading', { name })).toBeVisible();
  await expect(section.getByRole('button', { name: /^About / })).toHaveCount(plan.fixtures.length);
  await expect(section.getByRole('button', { name: /^Clamping of / })).toHaveCount(plan.clamping.length);
  const gluing = plan.fixtures.filter((f) => f.step === 'glue segments');
  await expect(section.getByRole('list', { name: 'Fixtures, Gluing segments' }).getByRole('button', { name: /^About / })).toHaveCount(gluing.length);
  // What is folded is not in the page.
  expect(await section.locator('img').count()).toBe(0);

  const caul = gluing.find((f) => f.kind === 'caul' && f.templates.length)!;
  await section.getByRole('button', { name: `About ${caul.id}`, exact: true }).click();
  const row = section.getByRole('listitem').filter({ has: page.getByRole('button', { name: `About ${caul.id}`, exact: true }) });
  const seam = row.getByRole('button', { name: caul.serves[0]!, exact: true });
  await seam.click();
  await expect(seam).toHaveAttribute('aria-pressed', 'true');
  await sheet.drawn();
  await expect.poll(async () => (await stage(page))?.selected).toBe(caul.serves[0]);
  await expect.poll(async () => (await stage(page))?.look).toBe('fixtures');
  // A fixture shows where it lies, and what it serves.
  const itself = row.getByRole('button', { name: caul.id, exact: true });
  await itself.first().click();
  await expect.poll(async () => (await stage(page))?.selected).toBe(caul.id);
  await expect(row.locator('.part.lit', { hasText: caul.serves[0]! })).toBeVisible();
  await picture(page, 'fixture-chosen');
  await seam.click();
  const stl = await saved(page, () => row.getByRole('link', { name: /as STL$/ }).first().click());
  expect(stl.name).toMatch(/^caul-\d+\.stl$/);
  expect(stl.data.readUInt32LE(80) * 50 + 84, 'a binary STL of as many triangles as it says').toBe(stl.data.length);

  const template = row.getByRole('button', { name: `Template ${caul.templates[0]!.id}, large` });
  await template.click();
  const large = page.getByRole('dialog', { name: `Template ${caul.templates[0]!.id}` });
  await expect(large.getByRole('img')).toBeVisible();
  await expect.poll(() => large.getByRole('img').evaluate((i: HTMLImageElement) => i.naturalWidth)).toBeGreaterThan(0);
  await picture(page, 'fixture-template');
  await accessible(page, info, 'a template, large', 'dialog');
  await page.keyboard.press('Escape');
  await expect(large).toBeHidden();
  await expect(template).toBeFocused();
  await expect(seam).toHaveAttribute('aria-pressed', 'true'); // Escape closed the drawing alone

  const plan1 = plan.clamping[0]!;
  const about = plan1.id.replace('clamping/', '');
  await section.getByRole('button', { name: `Clamping of ${about}`, exact: true }).click();
  const clamp = section.getByRole('listitem').filter({ has: page.getByRole('button', { name: `Clamping of ${about}`, exact: true }) });
  await expect(clamp).toContainText(`${plan1.clamps} ${plan1.clamps === 1 ? 'clamp' : 'clamps'}`);
  await expect(clamp).toContainText(`${Math.round(plan1.closes[0]!.force_n)}\u00a0N`);
  await expect(clamp).toContainText(plan1.words[plan1.words.length - 1]!.slice(0, 30));
  await clamp.scrollIntoViewIfNeeded();
  await whole(page);
  await picture(page, 'fixture-clamping');

  const form = await saved(page, () => section.getByRole('link', { name: 'coupons.yaml' }).click());
  expect(form.data.toString()).toContain('groundwork: 1');
  await expect(section.getByText('groundwork measure coupons.yaml --shop shop.yaml')).toBeVisible();
  for (const l of plan.fixture_loads) await expect(section.getByRole('link', { name: `${l.id} as 3MF` })).toHaveAttribute('href', new RegExp(`${l.file}$`));
  await accessible(page, info, 'fixtures, folds open', 'section[aria-labelledby="heading-fixtures"]');
});

test('fixtures in the drawing', async ({ page, server, folder }, info) => {
  const [sheet, plan] = await opened(page, server, folder);
  await sheet.goto('Fixtures');
  const section = sheet.section('Fixtures');
  const drawing = page.getByRole('region', { name: 'Drawing' });
  await expect(drawing.getByRole('button', { name: 'Fixtures', exact: true })).toHaveAttribute('aria-pressed', 'true');
  await sheet.drawn('fixtures');
  const counts = (await stage(page))!.counts;
  expect(counts.fixture).toBeGreaterThanOrEqual(plan.fixtures.filter((f) => f.step !== 'measure').length);
  expect(counts.segment).toBeGreaterThan(0);
  await picture(page, 'fixtures-all');

  // One operation at a time.
  const only = drawing.getByRole('button', { name: 'Setting inserts' });
  await only.click();
  await expect(only).toHaveAttribute('aria-pressed', 'true');
  await picture(page, 'fixtures-inserts');

  // What is pointed at tells its name, and pressed it is chosen in the list too.
  const guide = plan.fixtures.find((f) => f.kind === 'insert guide')!;
  const at = await page.evaluate((id) => {
    const s = (window as unknown as { groundworkStage: { of: string; where(id: string): { x: number; y: number } | null } }).groundworkStage;
    return s.where(`${id}/place-1`);
  }, guide.id);
  expect(at, 'the first guide is in sight').not.toBeNull();
  const box = (await page.getByRole('application').boundingBox())!;
  await page.mouse.move(box.x + at!.x, box.y + at!.y);
  await expect(drawing.getByText(`${guide.id}, for setting inserts`).first()).toBeVisible();
  await page.mouse.down();
  await page.mouse.up();
  const row = section.getByRole('button', { name: guide.id, exact: true }).first();
  await expect(row).toHaveAttribute('aria-pressed', 'true');
  await expect(row).toBeInViewport();
  await picture(page, 'fixtures-guide');

  // What is chosen in the list is drawn, though others alone were asked for.
  const fence = plan.fixtures.find((f) => f.kind === 'fence')!;
  await section.getByRole('button', { name: fence.id, exact: true }).first().click();
  await expect(only).toHaveAttribute('aria-pressed', 'false');
  await picture(page, 'fixtures-fence');
  const clamping = plan.clamping[0]!;
  await section.getByRole('button', { name: clamping.id.replace('clamping/', ''), exact: true }).first().click();
  await expect.poll(async () => (await stage(page))?.selected).toBe(clamping.id);
  await picture(page, 'fixtures-clamping');
  await accessible(page, info, 'fixtures in the drawing', 'section[aria-label="Drawing"]');

  // They come back with every plan.
  await page.keyboard.press('Escape');
  await sheet.measure('Height', '500');
  await sheet.saved(file);
  await sheet.workedOut();
  await sheet.look('Fixtures');
  await sheet.drawn('fixtures');
  // Without the veneer, of which it is less than a millimetre.
  await expect.poll(async () => Math.abs((await stage(page))!.size![2] - 500)).toBeLessThan(1);
});

test('the calendar as bars, by the keyboard, as a table and day by day', async ({ page, server, folder }, info) => {
  const [sheet, plan] = await opened(page, server, folder);
  await sheet.goto('Calendar');
  const section = sheet.section('Calendar');
  const { calendar } = plan;
  const day = 86_400;
  const end = Math.ceil(calendar.end_s / day);
  await expect(section).toContainText(`Ends on day ${end},`);
  const other = calendar.alternatives.find((a) => Math.ceil(a.end_s / day) !== end);
  if (other) await expect(section.getByRole('list', { name: 'With something else' })).toContainText(`ends on day ${Math.ceil(other.end_s / day)} instead of ${end}`);

  const chart = section.getByRole('group', { name: /^Bars of the calendar/ });
  const bars = chart.getByRole('button');
  const first = await bars.count();
  expect(first).toBeGreaterThan(10);
  measured(info, `calendar of the side table: ${calendar.activities.length} activities in ${first} bars`);
  // One stop for Tab; from there arrows.
  await expect(chart.locator('[tabindex="0"]')).toHaveCount(1);
  await chart.locator('[tabindex="0"]').focus();
  const seen = new Set<string>();
  const told = section.locator('.told');
  for (const k of ['ArrowDown', 'ArrowRight', 'ArrowUp', 'End', 'Home']) {
    await page.keyboard.press(k);
    const label = await page.evaluate(() => document.activeElement?.getAttribute('aria-label') ?? '');
    expect(label).toMatch(/day \d+, \d+:\d\d to /);
    await expect(told).toHaveText(label);
    seen.add(label);
  }
  expect(seen.size).toBeGreaterThan(2);
  await sheet.goto('Calendar');
  await picture(page, 'calendar-job');

  // The day of a bar: each of its activities is in one bar, at its time.
  await bars.first().focus();
  await page.keyboard.press('Enter');
  await expect(section.getByRole('button', { name: 'A day' })).toHaveAttribute('aria-pressed', 'true');
  await expect(section.getByRole('status')).toHaveText('Mon 1');
  await expect(told, 'the bar keeps the focus').toHaveText(/^print .*load-\d+/);
  await expect(section.getByRole('button', { name: 'Earlier' })).toBeDisabled();
  const early = calendar.activities.find((a) => a.machine && a.start_s < day)!;
  await expect(chart.getByRole('button', { name: new RegExp(`^${early.id}[,;].* day 1, 8:0\\d`) })).toBeAttached();
  await picture(page, 'calendar-day');
  await section.getByRole('button', { name: 'Later' }).click();
  await expect(section.getByRole('status')).toHaveText('Tue 2');
  await section.getByRole('button', { name: 'A week' }).click();
  await expect(section.getByRole('status')).toHaveText('Mon 1 to Sun 7');
  await picture(page, 'calendar-week');
  await section.getByRole('button', { name: 'Whole job' }).click();
  await expect(bars).toHaveCount(first);

  await section.getByText('The same as a table').click();
  await expect(section.getByRole('row', { name: /day \d+, / })).toHaveCount(calendar.activities.length);
  await section.getByText('The same as a table').click();
  const days = new Set(calendar.activities.filter((a) => a.hand_s > 0).map((a) => Math.floor(a.start_s / day) + 1));
  await expect(section.getByRole('button', { name: /^What you do on day / })).toHaveCount(days.size);
  await section.getByRole('button', { name: 'What you do on day 1, Monday' }).click();
  await expect(section.getByRole('list', { name: 'Day by day' }).getByRole('listitem').first()).toContainText('load-');
  await section.getByRole('list', { name: 'Day by day' }).scrollIntoViewIfNeeded();
  await picture(page, 'calendar-days');
  const csv = await saved(page, () => section.getByRole('link', { name: 'calendar.csv' }).click());
  expect(csv.data.toString().trim().split('\n').length).toBe(calendar.activities.length + 1);
  await accessible(page, info, 'calendar, folds open', 'section[aria-labelledby="heading-calendar"]');
});

test('the kit, the bill with and without fixtures, and the bench book', async ({ page, server, folder }, info) => {
  const [sheet, plan] = await opened(page, server, folder);
  await sheet.goto('Kit');
  const kit = sheet.section('Kit');
  await expect(kit).toContainText(plan.kit.revision);
  const parcel = plan.kit.parcels[0]!;
  await expect(kit).toContainText(`${(Math.round(parcel.length_and_girth_mm * 10) / 10).toString()}\u00a0mm`);
  for (const s of parcel.steps) await expect(kit).toContainText(s);
  await expect(kit.getByRole('table', { name: `What goes into ${parcel.id}` }).getByRole('row')).toHaveCount(parcel.things.length + 1);
  for (const h of plan.kit.hardware) await expect(kit.getByRole('cell', { name: h.item, exact: true })).toBeVisible();
  for (const p of plan.kit.prices) await expect(kit.getByRole('cell', { name: `${p.total.toFixed(2)} ${plan.units.money}`, exact: true }).first()).toBeVisible();
  await whole(page);
  await picture(page, 'kit');
  await kit.getByText('The insert sheet').click();
  for (const l of plan.kit.insert) await expect(kit.getByText(l, { exact: true }).first()).toBeVisible();
  await kit.getByRole('button', { name: 'What the price of 5 rests on' }).click();
  const five = plan.kit.prices.find((p) => p.batch === 5)!;
  await expect(kit.getByRole('listitem').or(kit.getByRole('row')).filter({ hasText: five.lines[0]!.what }).first()).toBeVisible();
  await accessible(page, info, 'kit, folds open', 'section[aria-labelledby="heading-kit"]');
  await kit.getByRole('button', { name: `Packing of ${parcel.id}, large` }).click();
  await expect.poll(() => page.getByRole('dialog').getByRole('img').evaluate((i: HTMLImageElement) => i.naturalWidth)).toBeGreaterThan(0);
  await page.getByRole('dialog').getByRole('button', { name: 'Close' }).click();

  await sheet.goto('Bill');
  const bill = sheet.section('Bill and hours');
  const once = plan.bill.filter((l) => l.section === 'fixtures').reduce((n, l) => n + l.cost, 0);
  expect(once).toBeGreaterThan(0);
  await expect(bill.getByRole('row', { name: 'The piece, without fixtures' })).toContainText(`${plan.totals.cost.toFixed(2)} ${plan.units.money}`);
  await expect(bill.getByRole('row', { name: 'The first piece, with fixtures' })).toContainText(`${(plan.totals.cost + once).toFixed(2)} ${plan.units.money}`);
  await picture(page, 'bill-fixtures');

  await sheet.goto('Take along');
  const take = sheet.section('Take it along');
  const names = await take.getByRole('link').allInnerTexts();
  expect(names.slice(0, 2), 'the book and the labels stand first').toEqual(['Bench book', 'Labels']);
  for (const name of ['Bench book', 'Labels']) {
    const pdf = await saved(page, () => take.getByRole('link', { name, exact: true }).click());
    expect(pdf.name).toMatch(/^(book|labels)\.pdf$/);
    expect(pdf.data.subarray(0, 5).toString()).toBe('%PDF-');
    measured(info, `${pdf.name}: ${Math.round(pdf.data.length / 1000)} kB`);
  }
  const workbook = await saved(page, () => take.getByRole('link', { name: 'Bill as a workbook' }).click());
  expect([workbook.name, workbook.data.subarray(0, 2).toString()], 'a zip package (ISO/IEC 29500-2)').toEqual(['bill.xlsx', 'PK']);
  await take.getByText('Single files').click();
  await expect(take.getByRole('list', { name: 'For the bench' })).toContainText(/PDF, \d+ kB/);
  await picture(page, 'take-along');
});

test('what is chosen of the job: when work begins, what is sent, what the book tells', async ({ page, server, folder }, info) => {
  const [sheet, before] = await opened(page, server, folder);
  const calendar = sheet.section('Calendar');
  const kit = sheet.section('Kit');
  const take = sheet.section('Take it along');
  await sheet.goto('Calendar');
  const day = calendar.getByLabel('Work begins on');
  await expect(calendar).toContainText('Day 1 is a Monday.');

  // A day that is begun and never was one is told, and nothing is saved.
  await day.focus();
  await page.keyboard.type('31');
  await page.keyboard.press('Tab');
  await page.keyboard.press('Tab');
  await page.keyboard.press('Tab');
  await page.keyboard.press('Tab');
  await expect(calendar.getByRole('alert')).toHaveText('This is no day of the calendar.');
  await page.getByLabel('Work begins on').focus();
  await page.keyboard.press('Escape');
  await expect(calendar.getByRole('alert')).toBeHidden();
  expect(folder.has('heron-side-table.marks.yaml')).toBe(false);

  await day.fill('2027-01-11');
  await expect(calendar).toContainText(/Ends on \w+ \d+ (Jan|Feb|Mar)/);
  await expect(calendar).not.toContainText('Day 1 is a Monday.');
  await calendar.getByLabel('Coupons are measured already').check();
  await sheet.saved(file);
  await sheet.workedOut();
  expect(folder.read('heron-side-table.marks.yaml')).toContain('coupons: measured');
  await sheet.goto('Calendar');
  await picture(page, 'chosen-calendar');
  await accessible(page, info, 'when work begins', 'section[aria-labelledby="heading-calendar"]');

  await sheet.goto('Kit');
  const ready = kit.getByRole('radio', { name: /^Finished parts/ });
  await expect(ready).toBeChecked();
  await ready.focus();
  await page.keyboard.press('ArrowDown');
  await expect(kit.getByRole('radio', { name: /^Cores and cut veneer/ })).toBeChecked();
  await expect(kit).toContainText('You print and laser; the buyer glues, veneers and finishes.');
  const kits = kit.getByLabel('Kits to price');
  await kits.fill('ten');
  await kits.press('Enter');
  await expect(kit.getByRole('alert')).toHaveText('ten is no number of kits from 1 to 10000.');
  await picture(page, 'chosen-kit-fault');
  await kits.fill('12 2');
  await kits.press('Enter');
  await expect(kits).toHaveValue('2, 12');
  await expect(kit.getByRole('columnheader', { name: 'Of 12' })).toBeVisible();
  await sheet.workedOut();
  await sheet.goto('Kit');
  await picture(page, 'chosen-kit');
  await accessible(page, info, 'what is sent', 'section[aria-labelledby="heading-kit"]');
  await sheet.goto('Take along');
  const cores = await sheet.plan<Made>();
  expect(cores.kit.prices.map((p) => p.batch)).toEqual([2, 12]);
  const parts = (m: Made) => m.kit.parcels.map((p) => [p.things.length, p.length_and_girth_mm, p.steps]);
  expect(parts(cores), 'other things lie in the parcel').not.toEqual(parts(before));

  await take.getByLabel('Made by').fill('The workshop by the mill');
  await take.getByLabel('Notes of your own').fill('Keep it dry.\nOil it: twice a year.');
  await take.getByLabel('Paper').selectOption('letter');
  await take.getByLabel('With the templates at full size').uncheck();
  await sheet.saved(file);
  await sheet.workedOut();
  await expect(take.getByRole('link', { name: 'The whole job, as a zip' })).toBeVisible();
  await sheet.goto('Take along');
  await picture(page, 'chosen-book');
  await accessible(page, info, 'the bench book', 'section[aria-labelledby="heading-take"]');

  // It is there after the page is loaded again, and in another browser.
  await page.reload();
  await sheet.workedOut();
  await expect(take.getByLabel('Made by')).toHaveValue('The workshop by the mill');
  await expect(day).toHaveValue('2027-01-11');
  const zip = unzipSync((await saved(page, () => take.getByRole('link', { name: 'The whole job, as a zip' }).click())).data);
  expect(Buffer.from(zip['book.pdf']!).toString('latin1'), 'ISO 32000-1, 14.3.3: the information dictionary').toContain('The workshop by the mill');
  writeFileSync(join(folder.path, 'notes.txt'), 'Keep it dry.\nOil it: twice a year.');
  const out = await folder.plan(file, '--start', '2027-01-11', '--no-coupons', '--send', 'cores', '--batch', '2,12', '--maker', 'The workshop by the mill', '--notes', join(folder.path, 'notes.txt'), '--paper', 'letter', '--no-templates');
  const names = Object.keys(zip).filter((n) => !n.endsWith('/')).sort();
  const theirs = readdirSync(out, { recursive: true, withFileTypes: true }).filter((e) => e.isFile()).map((e) => relative(out, join(e.parentPath, e.name)));
  expect(names).toEqual(theirs.sort());
  const other = names.filter((n) => !readFileSync(join(out, n)).equals(Buffer.from(zip[n]!)));
  expect(other, 'the zip is what the command line makes with the same options').toEqual([]);
  rmSync(dirname(out), { recursive: true });
  measured(info, `${names.length} files of the job with choices are those of the command line`);

  // Each is undone by itself, the last first.
  await page.getByRole('button', { name: /^Undo/ }).click();
  await expect(take.getByLabel('With the templates at full size')).toBeChecked();
  await expect(take.getByLabel('Paper')).toHaveValue('letter');
});

test('what is chosen of the job leaves what the piece bears as it is known', async ({ page, server, folder }) => {
  folder.bring('shop.yaml');
  folder.write('wren-board.yaml', wren.replace('use: other', 'use: stand'));
  const sheet = new Sheet(page);
  await sheet.open(server, 'Wren board');
  await sheet.workedOut();
  await sheet.goto('Will it hold');
  await page.getByRole('button', { name: 'Work out what it bears' }).click();
  const holds = sheet.section('Will it hold');
  await expect(holds).toContainText('It is being worked out');
  await sheet.workedOut();
  interface Borne { strength: { cases: unknown[] } | null }
  const before = (await sheet.plan<Borne>()).strength;
  expect(before?.cases.length).toBeGreaterThan(0);
  await sheet.goto('Take along');
  const take = sheet.section('Take it along');
  const link = take.getByRole('link', { name: 'Bench book', exact: true });
  const old = await link.getAttribute('href');
  await take.getByLabel('Made by').fill('Owl');
  await page.keyboard.press('Enter');
  await sheet.saved('wren-board.yaml');
  await expect(link).not.toHaveAttribute('href', old!);
  await sheet.workedOut();
  expect((await sheet.plan<Borne>()).strength, 'it is in the job folder as before').toEqual(before);
  // Another piece is another matter.
  await sheet.measure('Length', '180');
  await sheet.saved('wren-board.yaml');
  await expect(holds.getByRole('button', { name: 'Ask again' })).toBeVisible();
  await sheet.workedOut();
  expect((await sheet.plan<Borne>()).strength ?? null).toBeNull();
});

for (const scheme of ['light', 'dark'] as const) {
  test(`on a tablet held upright, ${scheme}`, async ({ server, folder, another }, info) => {
    const page = await another({ viewport: { width: 800, height: 1180 }, colorScheme: scheme });
    const [sheet] = await opened(page, server, folder);
    for (const [name, heading] of [['Fixtures', 'Fixtures'], ['Calendar', 'Calendar'], ['Kit', 'Kit'], ['Bill', 'Bill and hours']] as const) {
      await sheet.goto(name);
      // Nothing but the chart's own scroller is wider than the sheet.
      const wide = await page.evaluate(() => {
        const m = document.querySelector('main.sheet')!;
        return m.scrollWidth - m.clientWidth;
      });
      expect.soft(wide, `${name} is no wider than the sheet`).toBeLessThanOrEqual(0);
      if (name !== 'Bill') await accessible(page, info, `${name} on a tablet, ${scheme}`, `section[aria-labelledby="${await sheet.section(heading).getAttribute('aria-labelledby')}"]`);
      await picture(page, `tablet-${name.toLowerCase()}-${scheme}`);
    }
    await sheet.goto('Take along');
    await accessible(page, info, `Take along on a tablet, ${scheme}`, 'section[aria-labelledby="heading-take"]');
    await picture(page, `tablet-take-${scheme}`);
    // Inches: no millimetres are left in what the page itself writes of the kit.
    await page.getByRole('combobox', { name: 'Measure in' }).selectOption('in, 1/32');
    await expect(sheet.section('Kit').locator('dl')).toContainText(/\d\sin/);
    await expect(sheet.section('Kit').locator('dl')).not.toContainText('mm');
  });
}
