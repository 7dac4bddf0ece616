// A maker who has never seen the page: from an empty folder to the zip.

import { readFileSync, readdirSync, rmSync } from 'node:fs';
import { dirname, join, relative } from 'node:path';
import { unzipSync } from 'fflate';
import { common, onSheet, type Nest, type Point } from '../nest.ts';
import { expect, givenUp, height, picture, Sheet, stage, test } from '../workshop.ts';

const file = 'my-heron-side-table.yaml';
const marksFile = 'my-heron-side-table.marks.yaml';

test('from an empty folder to the zip, which is what the command line makes', async ({ page, server, folder, guard }) => {
  guard.allow(givenUp);
  const sheet = new Sheet(page);

  await test.step('start from the library', async () => {
    await page.goto(server.url);
    await expect(page.getByText('There is none yet.')).toBeVisible();
    await picture(page, 'opening-empty');
    await page.getByRole('button', { name: 'Heron side table' }).click();
    await expect(page.getByRole('textbox', { name: 'Name of the new file' })).toHaveValue(file);
    await page.getByRole('button', { name: 'Begin' }).click();
    await expect(page.getByRole('heading', { level: 1, name: 'Heron side table' })).toBeVisible();
    expect(folder.has(file)).toBe(true);
    expect(folder.has('shop.yaml')).toBe(true);
  });
  const first = folder.read(file);

  await test.step('the piece stands there', async () => {
    await sheet.drawn('whole');
    const s = (await stage(page))!;
    // The outermost leaves lie on the size that is written; a lap may stand a
    // leaf's thickness proud of it.
    for (const [i, mm] of [460, 340, 540].entries()) {
      expect(s.size![i]!).toBeGreaterThan(mm - 1);
      expect(s.size![i]!).toBeLessThan(mm + 1.5);
    }
    expect(s.counts.segment).toBeGreaterThan(12);
    expect(s.counts.leaf).toBeGreaterThan(20);
    await sheet.workedOut();
    await picture(page, 'piece');
  });

  const before = { mass: await sheet.sum('Weighs').innerText(), time: await sheet.sum('Prints for').innerText() };

  let slid = 0;
  let rim = '';
  await test.step('higher, by the slider', async () => {
    const slider = sheet.slider('Height');
    const box = (await slider.boundingBox())!;
    const from = box.x + box.width * ((540 - 420) / (700 - 420));
    await page.mouse.move(from, box.y + box.height / 2);
    await page.mouse.down();
    await page.mouse.move(from + 40, box.y + box.height / 2, { steps: 8 });
    slid = Number(await slider.inputValue());
    expect(slid).toBeGreaterThan(550);
    // Shown while the finger is still down, and not saved.
    await expect.poll(async () => Math.abs((await height(page)) - slid)).toBeLessThan(0.5);
    expect(folder.read(file)).toBe(first);
    await page.mouse.up();
    await expect(sheet.field('Height')).toHaveValue(`${slid} mm`);
    await sheet.saved(file);
    expect(folder.read(file)).toContain(`value: ${slid} mm`);
    await sheet.workedOut();
  });

  await test.step('higher still, by writing', async () => {
    await sheet.measure('Height', '60 cm');
    await expect.poll(async () => Math.abs((await height(page)) - 600)).toBeLessThan(0.5);
    await sheet.saved(file);
    expect(folder.read(file)).toContain('value: 60 cm');
    expect(folder.read(file)).toContain('# its x runs down');
    await sheet.workedOut();
    await expect(sheet.sum('Weighs')).not.toHaveText(before.mass);
    await expect(sheet.sum('Prints for')).not.toHaveText(before.time);
  });

  await test.step('what cannot be is refused in words', async () => {
    await sheet.measure('Height', '2 m');
    await expect(page.getByText('The piece allows 420 mm to 700 mm')).toBeVisible();
    await sheet.field('Height').press('Escape');
    await expect(sheet.field('Height')).toHaveValue('600 mm');
    expect(folder.read(file)).toContain('value: 60 cm');
  });

  await test.step('taken apart', async () => {
    await page.getByRole('slider', { name: 'Taken apart' }).fill('1');
    await expect.poll(async () => (await stage(page))!.apart).toBeCloseTo(1, 3);
    await expect.poll(async () => (await stage(page))!.complete).toBe(true);
    await picture(page, 'apart');
    await page.getByRole('slider', { name: 'Taken apart' }).fill('0');
    await expect.poll(async () => (await stage(page))!.apart).toBeCloseTo(0, 3);
  });

  await test.step('the band with the swallowtail lap on the rim', async () => {
    await sheet.goto('Veneer');
    const veneer = sheet.section('Veneer');
    await veneer.getByRole('button', { name: 'Leaves and bands of top', exact: true }).click();
    const top = veneer.getByRole('listitem').filter({ has: page.getByRole('button', { name: 'top', exact: true }) });
    const band = top.getByRole('row').filter({ hasText: 'band' }).first();
    await expect(band).toContainText('waits for');
    const name = band.getByRole('button').first();
    await name.click();
    await expect(name).toHaveAttribute('aria-pressed', 'true');
    await expect.poll(async () => (await stage(page))?.selected).toBe(await name.innerText());
    await sheet.drawn();
    await picture(page, 'lap');
    rim = await name.innerText();
    // Its two ends are cut to one another.
    const { laps, patterns } = await sheet.plan<{ laps: { id: string; member: string; fingers: number }[]; patterns: { id: string; lap: string }[] }>();
    const lap = laps.find((l) => l.id === patterns.find((p) => p.id === rim)!.lap)!;
    expect(lap.member).toBe('top');
    expect(lap.fingers).toBeGreaterThan(0);
  });

  await test.step('the same on the cut sheets', async () => {
    await sheet.look('Cut sheets');
    await expect(page.getByRole('region', { name: 'Cut sheets' }).getByRole('button', { name: new RegExp(`^${rim}, band`) })).toHaveAttribute('aria-pressed', 'true');
    await picture(page, 'lap-on-its-blank');
  });

  await test.step('a knot is marked by dragging, and no pattern lies on it', async () => {
    const sheets = page.getByRole('region', { name: 'Cut sheets' });
    const before = await sheet.plan<Nest>();
    await sheets.getByRole('button', { name: /^Knots and stains/ }).click();
    await sheets.getByRole('button', { name: 'Drag a rectangle' }).click();
    // Over a leaf of the blank that is shown.
    const leaf = sheets.getByRole('button', { name: /, (leaf|band) of walnut/ }).first();
    const at = (await leaf.boundingBox())!;
    const [x, y] = [at.x + at.width / 2, at.y + at.height / 2];
    await page.mouse.move(x - 14, y - 10);
    await page.mouse.down();
    await page.mouse.move(x + 14, y + 10, { steps: 6 });
    await picture(page, 'knot-being-marked');
    await page.mouse.up();
    await expect(page.getByRole('button', { name: /^Undo/ })).toContainText('Knot marked on');
    await sheet.saved(file);
    expect(folder.read(marksFile)).toContain('knot');
    const { marks } = (await (await page.request.get(`${server.url}/api/pieces/${file}`)).json()) as { marks: { reserved: { sheet: string; at: Point; size: Point }[] } };
    expect(marks.reserved).toHaveLength(1);
    const { sheet: on, at: from, size } = marks.reserved[0]!;
    const knot = { x: from[0], y: from[1], w: size[0], h: size[1] };
    expect(Math.min(knot.w, knot.h)).toBeGreaterThan(1);
    const over = (nest: Nest) => [...onSheet(nest, on)].filter(([, loop]) => common(loop, knot) > 1e-3).map(([id]) => id);
    expect(over(before), 'the knot was marked where something lay').not.toEqual([]);
    await sheet.workedOut();
    await expect(sheets.getByText(new RegExp(`Knot on ${on}, `))).toBeVisible();
    const after = await sheet.plan<Nest>();
    expect(over(after), 'patterns over the knot').toEqual([]);
    expect.soft(after.panels.some((b) => b.sheet === on), 'the marked sheet is still the one that is cut').toBe(true);
    expect(after.patterns.filter((p) => p.panel).length).toBe(before.patterns.filter((p) => p.panel).length);
    await picture(page, 'knot');
    await sheets.getByRole('button', { name: 'Its sheet' }).click();
    await picture(page, 'sheet-whole');
  });

  await test.step('a finding leads to its place', async () => {
    await sheet.goto(/Put right/);
    const found = sheet.section('What must be put right').getByRole('listitem').filter({ hasText: 'Warning' });
    const place = found.getByRole('button', { name: 'top/edge-1' }).first();
    await place.click();
    await expect.poll(async () => (await stage(page))?.selected ?? null).not.toBeNull();
    await picture(page, 'finding');
  });

  const last = folder.read(file);
  await test.step('undone step by step, and done again', async () => {
    const undo = page.getByRole('button', { name: /^Undo/ });
    const redo = page.getByRole('button', { name: /^Redo/ });
    const marked = folder.read(marksFile);
    await undo.click();
    await expect(undo).toContainText(`Height: ${slid} mm to 60 cm`);
    if (folder.has(marksFile)) expect(folder.read(marksFile)).not.toContain('knot');
    await undo.click();
    await expect(sheet.field('Height')).toHaveValue(`${slid} mm`);
    await undo.click();
    await expect(sheet.field('Height')).toHaveValue('540 mm');
    await expect(undo).toBeDisabled();
    expect(folder.read(file)).toBe(first);
    await redo.click();
    await expect(sheet.field('Height')).toHaveValue(`${slid} mm`);
    await redo.click();
    await expect(sheet.field('Height')).toHaveValue('600 mm');
    await redo.click();
    await expect(redo).toBeDisabled();
    expect(folder.read(file)).toBe(last);
    expect(folder.read(marksFile)).toBe(marked);
  });

  await test.step('the zip is the job folder, byte for byte', async () => {
    await sheet.goto('Take along');
    await sheet.workedOut();
    const coming = page.waitForEvent('download');
    await page.getByRole('link', { name: 'The whole job, as a zip' }).click();
    const zip = unzipSync(readFileSync(await (await coming).path()));
    const job = await folder.plan(file);
    const names = readdirSync(job, { recursive: true, withFileTypes: true })
      .filter((e) => e.isFile())
      .map((e) => relative(job, join(e.parentPath, e.name)))
      .sort();
    // The zip may hold the job in one folder of its name.
    const got = new Map(Object.entries(zip).filter(([n]) => !n.endsWith('/')));
    const heads = new Set([...got.keys()].map((n) => n.split('/')[0]));
    const inside = heads.size === 1 && !names.includes([...got.keys()][0]!) ? `${[...heads][0]}/` : '';
    expect([...got.keys()].map((n) => n.slice(inside.length)).sort()).toEqual(names);
    expect(names.length).toBeGreaterThan(30);
    const different = names.filter((n) => Buffer.compare(Buffer.from(got.get(inside + n)!), readFileSync(join(job, n))) !== 0);
    expect(different).toEqual([]);
    rmSync(dirname(job), { recursive: true });
  });
});
