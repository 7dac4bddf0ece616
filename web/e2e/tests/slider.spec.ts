// A slider under the finger: the last value wins, whatever came before.

import { expect, givenUp, height, measured, Sheet, stage, test } from '../workshop.ts';

const file = 'heron-side-table.yaml';

test('dragged to and fro: the last value wins', async ({ page, server, folder, guard }, info) => {
  folder.bring(file, 'shop.yaml');
  guard.allow(givenUp);
  const sheet = new Sheet(page);
  await sheet.open(server, 'Heron side table');
  await sheet.workedOut();
  await sheet.drawn();

  const orders: string[] = [];
  page.on('request', (r) => {
    if (r.method() === 'POST' && new URL(r.url()).pathname === '/api/plans') orders.push(r.postDataJSON().set?.height ?? '');
  });

  // Notes when a value was set, and when the drawing first had that height.
  await page.evaluate(() => {
    const page = window as unknown as { groundworkStage: { size: number[] | null }; noted: { value: number; set: number; shown: number }[] };
    page.noted = [];
    addEventListener('input', (e) => {
      const t = e.target as HTMLInputElement;
      if (t.type === 'range') page.noted.push({ value: Number(t.value), set: performance.now(), shown: 0 });
    }, true);
    const look = () => {
      const last = page.noted.at(-1);
      const z = page.groundworkStage.size?.[2];
      if (last && !last.shown && z !== undefined && Math.abs(z - last.value) < 0.5) last.shown = performance.now();
      requestAnimationFrame(look);
    };
    look();
  });

  const slider = sheet.slider('Height');
  const box = (await slider.boundingBox())!;
  const at = (mm: number) => box.x + 8 + ((box.width - 16) * (mm - 420)) / 280;
  const y = box.y + box.height / 2;
  await page.mouse.move(at(540), y);
  await page.mouse.down();

  await test.step('one value after another, each seen', async () => {
    for (const mm of [560, 580, 600, 620, 640, 660, 680]) {
      await page.mouse.move(at(mm), y);
      const value = Number(await slider.inputValue());
      await expect.poll(async () => Math.abs((await height(page)) - value)).toBeLessThan(0.5);
    }
  });
  const times = (await page.evaluate(() => (window as unknown as { noted: { set: number; shown: number }[] }).noted))
    .filter((n) => n.shown)
    .map((n) => n.shown - n.set)
    .sort((a, b) => a - b);
  expect(times.length).toBeGreaterThan(4);
  measured(info, `slider to the drawing of that value: median ${Math.round(times[times.length >> 1]!)} ms of ${times.length} (${Math.round(times[0]!)} to ${Math.round(times.at(-1)!)}), drawn in software`);

  await test.step('to and fro without waiting', async () => {
    const before = { frames: (await stage(page))!.frames, orders: orders.length, time: Date.now() };
    for (let n = 0; n < 6; n++) {
      await page.mouse.move(at(430), y, { steps: 10 });
      await page.mouse.move(at(690), y, { steps: 10 });
    }
    const seconds = (Date.now() - before.time) / 1000;
    measured(info, `while the slider is dragged: ${(((await stage(page))!.frames - before.frames) / seconds).toFixed(1)} frames drawn a second, in software; ${orders.length - before.orders} plans ordered by 120 moves in ${seconds.toFixed(1)} s`);
    await page.mouse.move(at(500), y, { steps: 5 });
    await page.mouse.up();
  });
  const last = Number(await slider.inputValue());
  expect(last).toBeLessThan(520);
  await sheet.saved(file);
  await sheet.workedOut();
  await expect.poll(async () => Math.abs((await height(page)) - last)).toBeLessThan(0.5);
  await sheet.drawn('whole');
  expect(Math.abs((await height(page)) - last)).toBeLessThan(0.5);
  await expect(sheet.field('Height')).toHaveValue(`${last} mm`);
  expect(folder.read(file)).toContain(`height:     {value: ${last} mm`);
  // One pull is one step back.
  await page.getByRole('button', { name: /^Undo/ }).click();
  await expect(sheet.field('Height')).toHaveValue('540 mm');
  expect(folder.read(file)).toContain('height:     {value: 540 mm');
});

test('the piece is turned by dragging it', async ({ page, server, folder }, info) => {
  folder.bring(file, 'shop.yaml');
  const sheet = new Sheet(page);
  await sheet.open(server, 'Heron side table');
  await sheet.workedOut();
  await sheet.drawn();
  const box = (await page.getByRole('application').boundingBox())!;
  const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
  const before = { frames: (await stage(page))!.frames, time: Date.now() };
  await page.mouse.move(x, y);
  await page.mouse.down();
  for (let n = 0; n < 4; n++) {
    await page.mouse.move(x - 150, y, { steps: 15 });
    await page.mouse.move(x + 150, y, { steps: 15 });
  }
  await page.mouse.up();
  const frames = (await stage(page))!.frames - before.frames;
  expect(frames).toBeGreaterThan(0);
  measured(info, `while the piece is turned: ${(frames / ((Date.now() - before.time) / 1000)).toFixed(1)} frames drawn a second, in software`);
});
