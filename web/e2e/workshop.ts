// A maker's folder, the server on it, and windows of the page. Whatever a window
// asks of another host, or complains of in its console, fails the test.

import { spawn, execFile, type ChildProcess } from 'node:child_process';
import { once } from 'node:events';
import { cpSync, existsSync, mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { createInterface } from 'node:readline';
import { promisify } from 'node:util';
import { test as base, expect, type BrowserContext, type BrowserContextOptions, type Locator, type Page, type TestInfo } from '@playwright/test';

export { expect };
export type { Page };

const root = resolve(import.meta.dirname, '../..');
const program = resolve(process.env.GROUNDWORK ?? join(root, 'bin/groundwork'));
export const examples = join(root, 'examples');
const pictures = resolve(process.env.PICTURES ?? join(root, 'out/page'));

/** A folder of the maker's, gone after the test. */
export class Folder {
  readonly path = mkdtempSync(join(tmpdir(), 'groundwork-page-'));
  /** Where the shop's stock is kept. */
  readonly data = mkdtempSync(join(tmpdir(), 'groundwork-stock-'));

  /** Copies examples into it. */
  bring(...names: string[]): void {
    for (const n of names) cpSync(join(examples, n), join(this.path, n));
  }

  write(name: string, text: string | Uint8Array): void {
    writeFileSync(join(this.path, name), text);
  }

  read(name: string): string {
    return readFileSync(join(this.path, name), 'utf8');
  }

  has(name: string): boolean {
    return existsSync(join(this.path, name));
  }

  /** Plans a piece by the command line; gives the job folder. */
  async plan(piece: string, ...more: string[]): Promise<string> {
    const out = join(mkdtempSync(join(tmpdir(), 'groundwork-job-')), 'job');
    await promisify(execFile)(program, ['plan', join(this.path, piece), '--shop', join(this.path, 'shop.yaml'), '--out', out, ...more], { maxBuffer: 1 << 26 });
    return out;
  }

  /** Does something with the stock by the command line; gives what it said. */
  async stock(...words: string[]): Promise<string> {
    return (await promisify(execFile)(program, ['stock', ...words, '--data', this.data])).stdout;
  }

  remove(): void {
    for (const dir of [this.path, this.data]) rmSync(dir, { recursive: true, force: true, maxRetries: 5 });
  }
}

/** `groundwork serve` on a folder. */
export class Server {
  url = '';
  #child: ChildProcess | null = null;
  #said = '';
  readonly #folder: Folder;

  constructor(folder: Folder) {
    this.#folder = folder;
  }

  /** Starts it on any free port, and on the same one again after it was ended. */
  async start(): Promise<void> {
    const port = this.url ? new URL(this.url).port : '0';
    const child = spawn(program, ['serve', this.#folder.path, '--port', port, '--data', this.#folder.data], { stdio: ['ignore', 'pipe', 'pipe'] });
    this.#child = child;
    child.stderr!.on('data', (b: Buffer) => (this.#said += b.toString()));
    const address = new Promise<string>((told, fail) => {
      createInterface(child.stdout!).on('line', (line) => {
        const m = /^Open (http:\S+)/.exec(line);
        if (m) told(m[1]!);
      });
      child.once('error', fail);
      child.once('exit', (code, signal) => fail(new Error(`groundwork serve ended (${code ?? signal}): ${this.#said}`)));
    });
    this.url = await address;
  }

  /** Ends it as a power cut would. */
  async kill(): Promise<void> {
    await this.#end('SIGKILL');
  }

  async stop(): Promise<void> {
    await this.#end('SIGINT');
  }

  async #end(signal: 'SIGKILL' | 'SIGINT'): Promise<void> {
    const child = this.#child;
    this.#child = null;
    if (!child || child.exitCode !== null || child.signalCode !== null) return;
    const gone = once(child, 'exit');
    child.kill(signal);
    const hard = setTimeout(() => child.kill('SIGKILL'), 20_000);
    await gone;
    clearTimeout(hard);
  }

  /** What it told on standard error. */
  get said(): string {
    return this.#said;
  }
}

/** The browser's own complaint of a picture that was asked for while its plan was
 * given up for another one. The page takes that for what it is. */
export const givenUp = /status of 409 \(Conflict\) \(\S+\/scene\.glb/;

/** Watches what windows ask for and complain of. */
export class Guard {
  readonly faults: string[] = [];
  #allowed: RegExp[] = [];

  /** A complaint that belongs to what the test does, such as a refused request. */
  allow(...patterns: RegExp[]): void {
    this.#allowed.push(...patterns);
  }

  watch(context: BrowserContext, origin: () => string): void {
    const tell = (fault: string) => {
      if (!this.#allowed.some((p) => p.test(fault))) this.faults.push(fault);
    };
    context.on('request', (r) => {
      const url = r.url();
      if (/^(data|blob|about):/.test(url)) return;
      if (new URL(url).origin !== origin()) tell(`asked another host: ${r.method()} ${url}`);
    });
    context.on('console', (m) => {
      if (m.type() !== 'error') return;
      tell(`console error: ${m.text()} (${m.location().url})`);
    });
    context.on('weberror', (e) => tell(`uncaught: ${e.error().stack ?? e.error().message}`));
  }
}

interface Fixtures {
  folder: Folder;
  server: Server;
  guard: Guard;
  /** Another window, of another browser session. */
  another: (options?: BrowserContextOptions) => Promise<Page>;
}

export const test = base.extend<Fixtures>({
  folder: async ({}, use) => {
    const folder = new Folder();
    await use(folder);
    folder.remove();
  },
  server: async ({ folder }, use) => {
    const server = new Server(folder);
    await server.start();
    await use(server);
    await server.stop();
    expect(server.said, 'the server does not panic').not.toMatch(/panic|goroutine \d+|fatal error/);
  },
  guard: async ({}, use) => {
    const guard = new Guard();
    await use(guard);
    expect(guard.faults, 'requests to other hosts, console errors, uncaught errors').toEqual([]);
  },
  context: async ({ context, server, guard }, use) => {
    guard.watch(context, () => new URL(server.url).origin);
    await use(context);
    await context.close(); // before the server ends, which windows would complain of
  },
  another: async ({ browser, server, guard }, use) => {
    const opened: BrowserContext[] = [];
    await use(async (options) => {
      const context = await browser.newContext({ viewport: { width: 1280, height: 800 }, colorScheme: 'light', reducedMotion: 'reduce', ...options });
      opened.push(context);
      guard.watch(context, () => new URL(server.url).origin);
      return context.newPage();
    });
    for (const c of opened) await c.close();
  },
});

/** Takes a picture of the window into out/page. */
export async function picture(page: Page, name: string): Promise<void> {
  mkdirSync(pictures, { recursive: true });
  await page.screenshot({ path: join(pictures, `${name}.png`), animations: 'disabled' });
}

/** A figure for the end of the run. */
export function measured(info: TestInfo, what: string): void {
  info.annotations.push({ type: 'measured', description: what });
}

/** What the drawing tells tests of itself. */
export interface Stage {
  counts: Record<string, number>;
  size: [number, number, number] | null;
  of: string | null;
  look: string;
  apart: number;
  selected: string | null;
  frames: number;
  complete: boolean;
}

/** Reads the stage's own account. */
export function stage(page: Page): Promise<Stage | null> {
  return page.evaluate(() => {
    const s = (window as unknown as { groundworkStage?: Stage }).groundworkStage;
    return s
      ? { counts: { ...s.counts }, size: s.size, of: s.of, look: s.look, apart: s.apart, selected: s.selected, frames: s.frames, complete: s.complete }
      : null;
  });
}

/** Height of the piece on the stage, mm to a tenth. */
export async function height(page: Page): Promise<number> {
  const s = await stage(page);
  return s?.size ? Math.round(s.size[2] * 10) / 10 : NaN;
}

/** The page's ways, by what a maker sees. */
export class Sheet {
  constructor(readonly page: Page) {}

  /** Opens a piece of the folder from the opening view. */
  async open(server: Server, title: string): Promise<void> {
    await this.page.goto(server.url);
    await this.page.getByRole('link', { name: title, exact: true }).click();
    await expect(this.page.getByRole('heading', { level: 1, name: title })).toBeVisible();
  }

  /** The plan is whole. */
  async workedOut(): Promise<void> {
    await expect(this.page.getByRole('status').filter({ hasText: 'Worked out.' })).toBeAttached();
  }

  /** The head's line of a piece file tells that all is saved. */
  async saved(file: string): Promise<void> {
    await expect(this.page.getByText(`${file}, saved`)).toBeVisible();
  }

  /** plan.json of the whole plan that the sheet offers. */
  async plan<T>(): Promise<T> {
    const link = this.page.getByRole('link', { name: 'The whole job, as a zip' });
    const href = new URL((await link.getAttribute('href'))!, this.page.url());
    return (await (await this.page.request.get(href.href.replace(/job\.zip$/, 'plan.json'))).json()) as T;
  }

  async goto(section: string | RegExp): Promise<void> {
    await this.page.getByRole('navigation', { name: 'Sections of the job sheet' }).getByRole('link', { name: section }).click();
  }

  section(heading: string) {
    return this.page.getByRole('region', { name: heading });
  }

  /** A figure of the head, as it is written. */
  sum(name: string) {
    return this.page.getByLabel('Sums').locator('div', { hasText: name }).getByRole('definition');
  }

  async look(name: string): Promise<void> {
    await this.page.getByRole('group', { name: 'What is drawn' }).getByRole('button', { name, exact: true }).click();
  }

  /** The drawing shows the whole piece, with the fixtures where these are looked
   * at, and nothing moves in it. */
  async drawn(of?: 'geometry' | 'whole' | 'fixtures'): Promise<void> {
    await expect.poll(async () => {
      const s = await stage(this.page);
      return s?.of === (of ?? (s?.look === 'fixtures' ? 'fixtures' : 'whole'));
    }).toBe(true);
    await expect.poll(async () => (await stage(this.page))?.complete).toBe(true);
  }

  field(label: string) {
    return this.page.getByRole('textbox', { name: label, exact: true });
  }

  slider(label: string) {
    return this.page.getByRole('slider', { name: `${label}, slider` });
  }

  /** Types a measure and leaves the field with Enter. */
  async measure(label: string, value: string): Promise<void> {
    await this.field(label).fill(value);
    await this.field(label).press('Enter');
  }

  /** Opens the editor on the piece file. */
  async editor(file: string) {
    const area = this.page.getByRole('textbox', { name: `Piece file ${file}` });
    if (!(await area.isVisible())) await this.page.getByText(`The piece file, ${file}`).click();
    await expect(area).toBeVisible();
    return area;
  }

  /** Writes behind some text of the editor, in whatever the text is at that
   * moment: read first and filled in later, it would take back what the server
   * answered in between. */
  async write(area: Locator, after: string, more: string): Promise<void> {
    await area.evaluate(
      (e: HTMLTextAreaElement, [after, more]) => {
        const at = e.value.indexOf(after!);
        if (at < 0) throw new Error(`no "${after}" in the text`);
        e.focus();
        e.setRangeText(more!, at + after!.length, at + after!.length, 'end');
        e.dispatchEvent(new InputEvent('input', { bubbles: true, inputType: 'insertText', data: more! }));
      },
      [after, more],
    );
  }
}

/** A small piece that is planned at once: one board with a band all round. */
export const wren = `groundwork: 1
name: wren-board
title: Wren board
use: other
sizes: finished
veneer: {use: walnut, order: faces first, allowance: 2 mm}
filament: abs

parameters:
  length: {value: 200 mm, min: 120 mm, max: 220 mm, step: 5 mm, label: Length}
  width: {value: 120 mm, min: 100 mm, max: 160 mm, step: 5 mm, label: Width}

members:
  board:
    board: {rectangle: {length: = length, width: = width}, thickness: 20 mm}
    at: [0, 0, 0]
`;
