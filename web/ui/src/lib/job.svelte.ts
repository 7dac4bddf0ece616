// The one state of the page. Everything shown is read from `job`; everything
// done is a method of it. Parts of the page never talk to each other.

import * as api from './api';
import { Latest } from './latest';
import type { PlanDoc } from './plan';
import { Relations } from './relations';
import type { Change, Fault, Folder, Marks, Piece, PlanOrder } from './types';

/** What the stage shows. */
export type Look = 'piece' | 'cores' | 'veneer' | 'sheets' | 'strength';
export type Units = 'mm' | 'in';

export interface Progress {
  stage: string;
  done: number;
  total: number;
}

class Job {
  // --- What the server has -------------------------------------------------

  folder = $state.raw<Folder | null>(null);
  piece = $state.raw<Piece | null>(null);

  // --- The plan ------------------------------------------------------------

  /** The plan that is being made or was made last. */
  planId = $state('');
  progress = $state.raw<Progress | null>(null);
  failure = $state.raw<{ message: string; faults: Fault[] } | null>(null);
  /** Members, joints, patterns and the first findings, as soon as they are known. */
  geometry = $state.raw<{ id: string; doc: PlanDoc } | null>(null);
  /** The whole plan; of an earlier state of the piece while `stale`. */
  whole = $state.raw<{ id: string; doc: PlanDoc } | null>(null);
  stale = $derived(this.whole !== null && this.whole.id !== this.planId);
  /** The newest that is known: use it for members, joints, patterns, findings. */
  doc = $derived(this.whole && !this.stale ? this.whole.doc : this.geometry?.id === this.planId ? this.geometry.doc : (this.whole?.doc ?? this.geometry?.doc ?? null));
  relations = $derived(new Relations(this.doc));

  // --- What the maker looks at ---------------------------------------------

  look = $state<Look>('piece');
  /** 0 together, 1 taken apart. */
  apart = $state(0);
  /** Index in plan.json's strength.cases. */
  case = $state(0);
  selected = $state<string | null>(null);
  hovered = $state<string | null>(null);
  units = $state<Units>('mm');

  /** What the stage draws, or null before anything is known. */
  scene = $derived.by(() => {
    const whole = this.whole && !this.stale ? this.whole : null;
    if (this.look === 'strength' && whole?.doc.strength) return { url: api.sceneURL(whole.id, 'strength', this.case), of: 'strength' as const, id: whole.id };
    if (whole && this.look !== 'piece') return { url: api.sceneURL(whole.id, 'whole'), of: 'whole' as const, id: whole.id };
    const geometry = this.geometry ?? this.whole;
    return geometry ? { url: api.sceneURL(geometry.id, 'geometry'), of: 'geometry' as const, id: geometry.id } : null;
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

  // --- What the maker does -------------------------------------------------

  async start(): Promise<void> {
    this.folder = await api.folder();
  }

  async open(file: string): Promise<void> {
    this.#take(await api.piece(file));
  }

  async change(changes: Change[], what: string): Promise<void> {
    if (this.piece) this.#take(await api.change(this.piece.file, changes, this.piece.version, what));
  }

  /** Saves marks and pinned patterns; what is what undo says. */
  async mark(marks: Marks, what: string): Promise<void> {
    if (this.piece) this.#take(await api.saveMarks(this.piece.file, marks, this.piece.marksVersion, what));
  }

  async undo(): Promise<void> {
    if (this.piece?.undo) this.#take(await api.undo(this.piece.file));
  }

  async redo(): Promise<void> {
    if (this.piece?.redo) this.#take(await api.redo(this.piece.file));
  }

  #take(piece: Piece): void {
    this.piece = piece;
    this.#planner.want({ piece: piece.file });
  }

  #stop: () => void = () => {};
  #planner = new Latest<PlanOrder>(async (request) => {
    this.#stop();
    this.failure = null;
    const { id } = await api.plan(request);
    this.planId = id;
    await new Promise<void>((resolve) => {
      this.#stop = api.onPlan(id, {
        stage: (p) => (this.progress = p),
        geometry: async () => {
          this.geometry = { id, doc: await api.geometry(id) };
          resolve();
        },
        done: async () => {
          this.progress = null;
          this.whole = { id, doc: await api.whole(id) };
          resolve();
        },
        failed: (f) => {
          this.progress = null;
          this.failure = { message: f.message, faults: f.faults ?? [] };
          resolve();
        },
        superseded: () => resolve(),
        lost: (again) => {
          if (!again) resolve();
        },
      });
    });
  });
}

export const job = new Job();
