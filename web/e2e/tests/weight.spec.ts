// What the page weighs, and how soon there is something to see.

import { gzipSync } from 'node:zlib';
import { expect, measured, Sheet, test } from '../workshop.ts';

test('weight of the page and time to the first view', async ({ page, server, folder }, info) => {
  folder.bring('heron-side-table.yaml', 'shop.yaml');
  const loaded: { path: string; raw: number; zipped: number }[] = [];
  const reading: Promise<void>[] = [];
  page.on('response', (r) => {
    const { pathname } = new URL(r.url());
    if (pathname.startsWith('/api/') || !r.url().startsWith('http')) return;
    reading.push(
      r.body().then((b) => {
        loaded.push({ path: pathname, raw: b.length, zipped: gzipSync(b, { level: 9 }).length });
      }),
    );
  });
  const sum = (what: typeof loaded) => {
    const kB = (f: (x: (typeof loaded)[number]) => number) => `${Math.round(what.reduce((n, x) => n + f(x), 0) / 1000)} kB`;
    return `${what.length} files, ${kB((x) => x.raw)} raw, ${kB((x) => x.zipped)} gzipped`;
  };
  await page.goto(server.url);
  await expect(page.getByRole('heading', { name: 'Start from' })).toBeVisible();
  await Promise.all(reading);
  expect(loaded.some((f) => f.path === '/')).toBe(true);
  measured(info, `opening view: ${sum(loaded)}`);

  const start = await page.evaluate(() => performance.now());
  await new Sheet(page).open(server, 'Heron side table');
  const first = await page.waitForFunction(
    () => ((window as unknown as { groundworkStage?: { of: string | null; frames: number } }).groundworkStage?.of ? performance.now() : null),
    undefined,
    { polling: 'raf' },
  );
  // open() loads the page once more: the clock begins with that.
  void start;
  measured(info, `side table, from loading the page over choosing it to its first picture in three dimensions: ${Math.round((await first.jsonValue())!)} ms, in software`);
  await Promise.all(reading);
  const all = [...new Map(loaded.map((f) => [f.path, f])).values()];
  measured(info, `with the drawing: ${sum(all)}`);
  const paint = await page.evaluate(() => performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? NaN);
  measured(info, `first words on the page after ${Math.round(paint)} ms`);
});
