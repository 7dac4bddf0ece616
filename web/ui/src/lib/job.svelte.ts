// The one state of the page. Everything that is shown is read from `job`, and
// everything that is done is a method of it; parts of the page know nothing of
// one another.

import * as api from './api';
import { alike, choose, type Choice } from './choices';
import type { PlanDoc } from './plan';
import { Planner } from './planner.svelte';
import { Relations } from './relations';
import { sentence } from './findings';
import { Shelf } from './shelf.svelte';
import { asShop, shopWrites } from './shop-text';
import { bearing, jobName, underWay } from './stock';
import type { Change, Folder, Marks, Parameter, Piece, UnitChoice } from './types';
import { writeArea, writeLength, writeSize, type Fraction, type Units } from './units';
import { about, bound } from './words';
import { orphan, Writes } from './writes.svelte';

/** What the stage shows. */
export type Look = 'piece' | 'cores' | 'veneer' | 'sheets' | 'fixtures' | 'strength';

/** The sections of the job sheet, in the order of the work. */
export type Section = 'piece' | 'findings' | 'cores' | 'veneer' | 'fixtures' | 'strength' | 'calendar' | 'bill' | 'kit' | 'stock' | 'take';

export type Theme = 'auto' | 'light' | 'dark';

export interface Notice {
  id: number;
  message: string;
  remedy: string;
}

/** The drawing that belongs to each section. */
const looks: Record<Section, Look> = {
  piece: 'piece', findings: 'piece', cores: 'cores', veneer: 'veneer', fixtures: 'fixtures', strength: 'strength', calendar: 'piece', bill: 'piece',
  kit: 'piece', stock: 'piece', take: 'piece',
};

class Job {
  // --- The folder and the piece ---------------------------------------------

  folder = $state.raw<Folder | null>(null);
  writes = $state.raw<Writes | null>(null);
  /** The open piece as the server has it, or null in the opening view. */
  piece = $derived(this.writes?.piece ?? null);
  /** The text of its shop file, null where the folder has none. */
  shop = $state.raw<Writes | null>(null);
  /** All that was written has reached the server. */
  saved = $derived((this.writes?.saved ?? true) && (this.shop?.saved ?? true));
  /** The server does not answer; what is done is kept and sent when it does. */
  away = $state(false);
  notices = $state.raw<Notice[]>([]);

  /** The marks as they will be once all is saved. */
  marks: Marks = $derived.by(() => {
    const waiting = this.writes?.queue.findLast((w) => w.kind === 'marks');
    return waiting?.kind === 'marks' ? waiting.marks : (this.piece?.marks ?? { groundwork: 1 });
  });

  // --- The plan ---------------------------------------------------------------

  planner = new Planner(() => this.#lost());
  /** The plan that is being made, or was made last; empty if there is none. */
  planId = $derived(this.planner.id);
  /** How far it is; null while nothing is being worked out. */
  progress = $derived(this.planner.progress);
  /** Members, joints, patterns and the first findings, as soon as they are known. */
  geometry = $derived(this.planner.geometry);
  /** The whole plan; of an earlier state of the piece while `stale`. */
  whole = $derived(this.planner.whole);
  stale = $derived(this.whole !== null && this.whole.id !== this.planId);
  /** The newest that is known of members, joints, patterns, findings. */
  doc: PlanDoc | null = $derived(this.planner.newest?.doc ?? null);
  /** Parts of the whole plan are known too, even while they are being worked out again. */
  relations = $derived(new Relations(this.doc, this.whole?.doc ?? null));
  /** How the piece as it is bears its loads, if it has been asked. */
  strength = $derived(this.planner.strength && this.planner.strength.id === this.planId ? this.planner.strength : null);

  // --- The stock ----------------------------------------------------------------

  shelf = new Shelf(
    () => this.#lost(),
    () => this.#restocked(),
  );
  /** Plans are cut from the offcuts in stock before new sheets. */
  byStock = $state(remembered('by stock', false));
  #named = $state('');
  /** What the job is called that stock is laid aside for. */
  jobName = $derived.by(() => {
    const jobs = this.shelf.now?.jobs ?? [];
    if (this.#named && !jobs.some((j) => j.job === this.#named && !underWay(j))) return this.#named;
    return this.doc && this.shelf.now ? jobName(this.doc.piece.name, jobs) : '';
  });
  /** Files with solids that state no unit, and what they may be in. */
  unitless = $state.raw<{ file: File; units: UnitChoice[] }[]>([]);

  // --- What the maker looks at ------------------------------------------------

  section = $state<Section>('piece');
  look = $state<Look>('piece');
  /** 0 together, 1 taken apart. */
  apart = $state(0);
  /** Index in plan.json's strength.cases. */
  case = $state(0);
  selected = $state<string | null>(null);
  hovered = $state<string | null>(null);
  units = $state<Units>(remembered('units', 'mm'));
  fraction = $state<Fraction>(remembered('fraction', 32));
  theme = $state<Theme>(remembered('theme', 'auto'));
  #prefersDark = $state(globalThis.matchMedia?.('(prefers-color-scheme: dark)').matches ?? false);
  dark = $derived(this.theme === 'auto' ? this.#prefersDark : this.theme === 'dark');
  /** A line of the piece or shop file that the editor is to show. */
  line = $state.raw<{ file: string; line: number } | null>(null);

  /** What the stage draws, or null before anything is known. */
  scene = $derived.by(() => {
    if (this.look === 'strength' && this.strength) {
      return { url: api.sceneURL(this.strength.id, 'strength', this.case), of: 'strength' as const, id: this.strength.id };
    }
    const known = this.planner.newest;
    if (this.look === 'fixtures' && known?.of === 'whole') return { url: api.sceneURL(known.id, 'fixtures'), of: 'fixtures' as const, id: known.id };
    return known && { url: known.of === 'geometry' ? known.scene : api.sceneURL(known.id, 'whole'), of: known.of, id: known.id };
  });

  /** Chooses a part by any ID of plan.json; null chooses nothing. */
  select(id: string | null): void {
    this.selected = id;
  }

  hover(id: string | null): void {
    this.hovered = id;
  }

  /** Whether a part shows as chosen: it, its member, or what it is made of. */
  lit(id: string): boolean {
    return this.relations.lit(id, this.selected);
  }

  hot(id: string): boolean {
    return this.relations.lit(id, this.hovered);
  }

  /** The maker comes to a section of the sheet: its drawing goes on the stage. */
  read(section: Section): void {
    if (section === this.section) return;
    this.section = section;
    this.look = looks[section];
  }

  length(mm: number): string {
    return bound(writeLength(mm, this.units, this.fraction));
  }

  size(mm: readonly number[]): string {
    return bound(writeSize(mm, this.units, this.fraction));
  }

  area(mm2: number): string {
    return bound(writeArea(mm2, this.units));
  }

  measureIn(units: Units, fraction: Fraction): void {
    this.units = units;
    this.fraction = fraction;
    remember('units', units);
    remember('fraction', fraction);
  }

  paint(theme: Theme): void {
    this.theme = theme;
    remember('theme', theme);
  }

  // --- Coming and going ---------------------------------------------------------

  /** Begins: reads the folder, opens the piece that the address names. The
   * function it returns ends it all. */
  start(): () => void {
    const dark = matchMedia('(prefers-color-scheme: dark)');
    const repaint = () => (this.#prefersDark = dark.matches);
    const visible = () => (document.hidden ? this.#deaf() : this.#listen());
    const gone = () => this.#follow();
    dark.addEventListener('change', repaint);
    document.addEventListener('visibilitychange', visible);
    window.addEventListener('hashchange', gone);
    // While this window is open, what it has unsaved is nobody else's.
    void navigator.locks?.request(alive + api.view, () => new Promise(() => {}));
    void this.#refresh().then(gone);
    this.#listen();
    return () => {
      dark.removeEventListener('change', repaint);
      document.removeEventListener('visibilitychange', visible);
      window.removeEventListener('hashchange', gone);
      this.#deaf();
      clearTimeout(this.#retry);
      this.writes?.close();
      this.shop?.close();
      this.planner.clear();
    };
  }

  /** Opens what the address names after its #. */
  #follow(): void {
    const file = decodeURIComponent(location.hash.slice(1));
    if (file === (this.piece?.file ?? '')) return;
    if (file) void this.open(file);
    else this.close();
  }

  async open(file: string): Promise<void> {
    await this.#try('Opening', file, async () => this.#opened(await api.piece(file)));
  }

  /** Goes back to the opening view. What is unsaved is sent or kept. */
  close(): void {
    void this.writes?.flush();
    this.writes?.close();
    this.writes = null;
    void this.shop?.flush();
    this.shop?.close();
    this.shop = null;
    this.#named = '';
    this.planner.clear();
    this.select(null);
    this.#trial = {};
    if (location.hash) history.pushState(null, '', location.pathname);
    void this.#refresh();
  }

  /** Makes a new piece file of one of the library or the folder, and opens it. */
  async begin(from: string, file: string): Promise<boolean> {
    return this.#try('Starting', file, async () => this.#opened(await api.startFrom(from, file)));
  }

  /** Puts photographs and solids into the folder. Gives the pieces made of them. */
  async bring(files: Iterable<File>): Promise<string[]> {
    const pieces: string[] = [];
    for (const file of files) {
      const kind = /\.(jpe?g|png)$/i.test(file.name) ? 'photograph' : /\.(stl|obj|3mf)$/i.test(file.name) ? 'solid' : null;
      if (!kind) {
        this.tell(`${file.name} is neither a photograph (jpg, png) nor a file of solids (stl, obj, 3mf).`, 'Put piece and shop files into the folder itself.');
        continue;
      }
      await this.#try('Bringing in', file.name, async () => {
        pieces.push(...(await this.#brought(kind, file)));
      });
    }
    await this.#refresh();
    return pieces;
  }

  /** Makes another piece of a file with solids, which is in this unit. */
  async inUnit(file: File, unit: UnitChoice['unit']): Promise<string[]> {
    let pieces: string[] = [];
    await this.#try('Bringing in', file.name, async () => {
      pieces = await this.#brought('solid', file, unit);
    });
    await this.#refresh();
    return pieces;
  }

  async #brought(kind: 'photograph' | 'solid', file: File, unit?: UnitChoice['unit']): Promise<string[]> {
    const got = await api.upload(kind, file, unit);
    for (const f of got.findings) this.tell(about(f.subject, f.message), f.remedy);
    this.unitless = this.unitless.filter((u) => u.file.name !== file.name);
    if (got.units?.length) this.unitless = [...this.unitless, { file, units: got.units }];
    return got.pieces;
  }

  async #opened(piece: Piece): Promise<void> {
    this.writes?.close();
    this.shop?.close();
    this.shop = null;
    this.#named = '';
    this.planner.clear();
    this.select(null);
    this.section = 'piece';
    this.look = 'piece';
    this.#trial = {};
    const place = this.folder?.path ?? '';
    const writes = new Writes(piece, place, {
      taken: () => this.#taken(writes),
      unreachable: () => this.#lost(),
      notice: (message, remedy) => this.tell(message, remedy),
    });
    this.writes = writes;
    this.#planned = '';
    if (location.hash.slice(1) !== encodeURIComponent(piece.file)) location.hash = encodeURIComponent(piece.file);
    this.#taken(writes);

    const held = await navigator.locks?.query();
    const open = new Set(held?.held?.map((l) => (l.name ?? '').slice(alive.length)));
    const unsaved = orphan(place, piece.file, open);
    if (unsaved) {
      if (unsaved.text !== undefined || unsaved.writes.length) {
        this.tell('What you had not saved when the page ended is here again.');
      }
      await writes.restore(unsaved);
    }
    const shop = this.writes === writes ? (this.shop as Writes | null) : null;
    const text = shop && orphan(place, shop.piece.file, open);
    if (text) {
      this.tell(`What you had not saved of ${shop.piece.file} when the page ended is here again.`);
      await shop.restore(text);
    }
  }

  // --- What the maker does --------------------------------------------------------

  /** Types into the piece file. */
  edit(text: string): void {
    this.writes?.edit(text);
  }

  /** Types into the shop file. */
  editShop(text: string): void {
    this.shop?.edit(text);
  }

  /** Keeps the program's ordinary shop in the folder, to be changed. */
  async ownShop(): Promise<void> {
    const writes = this.writes;
    if (!writes || writes.piece.shop) return;
    await this.#try('Keeping', 'shop.yaml', async () => {
      await api.saveShop('shop.yaml', writes.piece.shopText, '');
      writes.take(await api.piece(writes.piece.file));
    });
  }

  /** Whether plans go by the stock. */
  goByStock(on: boolean): void {
    this.byStock = on;
    remember('by stock', on);
    this.plan();
  }

  /** Calls the job otherwise; empty for the name that it has by itself. */
  nameJob(name: string): void {
    this.#named = name;
    this.#restocked();
  }

  /** Sets single values; `what` is what undo will call it. Changes of the same
   * `gather` that follow one another are undone at once. */
  async change(changes: Change[], what: string, gather?: string): Promise<void> {
    await this.writes?.do({ kind: 'changes', changes, what, gather });
  }

  /** Saves marks and pinned patterns; `what` is what undo will call it. */
  async mark(marks: Marks, what: string): Promise<void> {
    const writes = this.writes;
    await writes?.do({ kind: 'marks', marks, base: writes.piece.marksVersion, what });
  }

  /** Something of the job is chosen, as when work begins. */
  choose(choice: Choice, what: string): void {
    const marks = choose(this.marks, choice);
    if (this.piece && !alike(marks, this.marks)) void this.mark(marks, what);
  }

  async undo(): Promise<void> {
    if (this.piece?.undo && !this.away) await this.writes?.do({ kind: 'undo' });
  }

  async redo(): Promise<void> {
    if (this.piece?.redo && !this.away) await this.writes?.do({ kind: 'redo' });
  }

  /** A slider moves: shows what the piece would be, and saves nothing. */
  slide(name: string, written: string): void {
    if (!this.piece) return;
    this.#trial = { ...this.#trial, [name]: written };
    this.planner.want({ ...this.#order(), set: this.#trial });
  }
  #trial: Record<string, string> = {};

  /** A measure is set: saved, and undone by undo. */
  async measure(p: Parameter, written: string, gather?: string): Promise<void> {
    if (written === p.written) {
      this.letGo();
      return;
    }
    await this.change([{ document: 'piece', pointer: p.pointer, value: written }], `${p.label || p.name}: ${p.written} to ${written}`, gather);
  }

  /** The slider is back where it was, or was let go without a change. */
  letGo(): void {
    if (!Object.keys(this.#trial).length) return;
    this.#trial = {};
    this.planner.want(this.#order());
  }

  /** Asks how the piece bears its loads, and what would help where it does not. */
  hold(): void {
    if (this.piece) this.planner.want({ ...this.#order(), strength: true, remedies: true });
  }

  /** Works the plan out that was given up. */
  plan(): void {
    if (this.piece) this.planner.want(this.#order());
  }

  /** How blanks are cut; part of the order of every plan. */
  cutting = $state.raw(remembered('cutting', { faceDown: false, kerf: false }));

  cut(how: { faceDown: boolean; kerf: boolean }): void {
    this.cutting = how;
    remember('cutting', how);
    this.plan();
  }

  #order() {
    const name = this.jobName;
    this.#bearing = bearing(this.shelf.now, name);
    return { piece: this.piece!.file, ...this.cutting, ...(this.byStock ? { stock: true, ...(name ? { job: name } : {}) } : {}) };
  }

  /** The stock as it was when the last plan was ordered. */
  #bearing = '';

  /** The stock or the job's name is another: plans that depend on it are made
   * anew. */
  #restocked(): void {
    if (!this.byStock || !this.piece || this.piece.faults.length || !this.planner.order) return;
    if (bearing(this.shelf.now, this.jobName) !== this.#bearing) this.plan();
  }

  /** Takes the maker to a finding's place: the line in the file, or the part. */
  visit(subject: string, file = '', line = 0): void {
    const name = file.split(/[\\/]/).pop()!;
    if (line > 0 && (name === this.piece?.file || name === this.piece?.shop)) {
      this.line = { file: name, line };
      return;
    }
    const id = this.relations.place(subject);
    if (id) this.select(id);
  }

  tell(message: string, remedy = ''): void {
    const said = bound(message);
    if (this.notices.some((n) => n.message === said)) return;
    this.notices = [...this.notices, { id: ++this.#count, message: said, remedy: sentence(remedy) }];
  }
  #count = 0;

  dismiss(id: number): void {
    this.notices = this.notices.filter((n) => n.id !== id);
  }

  // --- Behind it ------------------------------------------------------------------

  /** The piece has a new state: it is planned anew if it is really another. */
  #taken(writes: Writes): void {
    const { piece } = writes;
    if (this.writes !== writes) return;
    this.#shopOf(piece);
    const body = JSON.stringify([piece.file, piece.version, piece.shopVersion]);
    const state = JSON.stringify([body, piece.marksVersion]);
    if (state === this.#planned && !Object.keys(this.#trial).length) return;
    // How it bears its loads does not hang on marks and choices: once asked, it
    // stays asked, unless it was given up.
    const { strength, remedies } = (this.#body === body && !this.planner.cancelled && this.planner.order) || {};
    this.#planned = state;
    this.#body = body;
    this.#trial = {};
    if (piece.faults.length) this.planner.rest();
    else this.planner.want({ ...this.#order(), ...(strength ? { strength, remedies } : {}) });
  }
  #planned = '';
  #body = '';

  /** The shop file of a piece has a new state, or is another. */
  #shopOf(piece: Piece): void {
    if (this.shop?.piece.file !== piece.shop) {
      this.shop?.close();
      this.shop = null;
      if (!piece.shop) return;
      const shop: Writes = shopWrites(piece, this.folder?.path ?? '', {
        taken: () => void this.#shopAnew(shop),
        unreachable: () => this.#lost(),
        notice: (message, remedy) => this.tell(message, remedy),
      });
      this.shop = shop;
    } else if (piece.shopVersion !== this.shop.piece.version) {
      void this.#shopAnew(this.shop);
    }
  }

  /** The piece and its shop know different states of the shop file: both are read
   * anew, for either may have been told before the other was saved. */
  async #shopAnew(shop: Writes): Promise<void> {
    const writes = this.writes;
    if (this.shop !== shop || !writes || writes.piece.shopVersion === shop.piece.version) return;
    const before = shop.piece.version;
    try {
      const piece = await api.piece(writes.piece.file);
      // What is being saved meanwhile comes back with its own answer.
      if (this.shop === shop && !shop.busy && shop.piece.version === before && piece.shopVersion !== before) shop.take(asShop(piece));
      if (this.writes === writes && !writes.busy && versions(piece) !== versions(writes.piece)) writes.take(piece);
    } catch (err) {
      if (err instanceof api.Unreachable) this.#lost();
      else this.tell(err instanceof Error ? err.message : String(err), err instanceof api.Problem ? err.remedy : '');
    }
  }

  async #try(what: string, file: string, run: () => Promise<void>): Promise<boolean> {
    try {
      await run();
      return true;
    } catch (err) {
      if (err instanceof api.Unreachable) this.#lost();
      const remedy = err instanceof api.Problem ? err.remedy : '';
      const message = err instanceof Error ? err.message : String(err);
      this.tell(message.startsWith(file) ? message : `${what} ${file}: ${message}`, remedy);
      return false;
    }
  }

  /** Reads the folder and the open piece anew. */
  async #refresh(): Promise<void> {
    void this.shelf.refresh();
    try {
      const folder = await api.folder();
      this.folder = folder;
      const writes = this.writes;
      if (writes) {
        const piece = await api.piece(writes.piece.file);
        // What is being saved meanwhile comes back with its own answer.
        if (this.writes === writes && !writes.busy && versions(piece) !== versions(writes.piece)) writes.take(piece);
      }
    } catch (err) {
      if (err instanceof api.Unreachable) this.#lost();
      else this.tell(err instanceof Error ? err.message : String(err), err instanceof api.Problem ? err.remedy : '');
    }
  }

  /** Hears of what other windows and programs change. A hidden window does not
   * listen, for a browser has few connections to one server; it reads
   * everything anew when it is looked at again. */
  #listen(): void {
    if (this.#hears || document.hidden) return;
    const stop = api.onFolder({
      open: () => {
        if (this.#missed) void this.#refresh();
        this.#missed = false;
      },
      change: (c) => {
        if (c.view !== api.view) void this.#refresh();
      },
      stock: (e) => {
        if (e.view !== api.view) void this.shelf.refresh();
      },
      missed: () => void this.#refresh(),
      lost: () => this.#lost(),
    });
    this.#hears = stop;
  }
  #hears: (() => void) | null = null;
  #missed = false;

  #deaf(): void {
    this.#hears?.();
    this.#hears = null;
    this.#missed = true;
  }

  /** The server does not answer: tries again until it does, then sends what
   * waits and orders the plan anew. */
  #lost(): void {
    if (this.away) return;
    this.away = true;
    this.#deaf();
    const knock = async (wait: number) => {
      try {
        await api.knock();
      } catch {
        this.#retry = setTimeout(() => void knock(Math.min(wait * 1.5, 5000)), wait);
        return;
      }
      this.away = false;
      this.#listen();
      await this.#refresh();
      await this.writes?.flush();
      await this.shop?.flush();
      if (this.planner.order) this.planner.again();
      else this.#follow();
    };
    this.#retry = setTimeout(() => void knock(1000), 500);
  }
  #retry: ReturnType<typeof setTimeout> | undefined;
}

/** Names of the locks that show which windows are open. */
const alive = 'groundwork window ';

function versions(p: Piece): string {
  return JSON.stringify([p.version, p.shopVersion, p.marksVersion, p.undo, p.redo]);
}

/** What the maker chose the last time, in this browser. */
function remembered<T>(name: string, otherwise: T): T {
  try {
    const kept = localStorage.getItem(`groundwork ${name}`);
    return kept === null ? otherwise : (JSON.parse(kept) as T);
  } catch {
    return otherwise;
  }
}

function remember(name: string, value: unknown): void {
  try {
    localStorage.setItem(`groundwork ${name}`, JSON.stringify(value));
  } catch {
    // Then it is chosen again the next time.
  }
}

export const job = new Job();
