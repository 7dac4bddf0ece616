// What is made beside the piece, in the order of the work that it serves.

import type { ClampDoc, CloseDoc, FixtureDoc } from './plan';
import type { Kind } from './relations';

/** Operations of the job, in its order, in a maker's words. */
const steps: readonly (readonly [string, string])[] = [
  ['measure', 'Before all: measuring coupons'],
  ['inserts', 'Setting inserts'],
  ['glue segments', 'Gluing segments'],
  ['lay leaves', 'Laying leaves and bands'],
  ['trim', 'Trimming'],
  ['glue members', 'Gluing members'],
  ['assemble', 'Putting together'],
];

/** What an operation of the job is called. */
export function stepName(step: string): string {
  return steps.find(([s]) => s === step)?.[1] ?? step[0]!.toUpperCase() + step.slice(1);
}

/** Operations in the order of the job, those that are not known last. */
export function inOrder(some: Iterable<string>): string[] {
  const there = new Set(some);
  const known = steps.map(([step]) => step);
  return [...known.filter((s) => there.delete(s)), ...there];
}

export interface Operation {
  step: string;
  name: string;
  fixtures: FixtureDoc[];
  clamping: ClampDoc[];
}

/** Fixtures and clamping plans by the operation that they serve. */
export function operations(fixtures: readonly FixtureDoc[], clamping: readonly ClampDoc[]): Operation[] {
  return inOrder([...fixtures, ...clamping].map((x) => x.step)).map((step) => ({
    step,
    name: stepName(step),
    fixtures: fixtures.filter((f) => f.step === step),
    clamping: clamping.filter((c) => c.step === step),
  }));
}

/** How many are made of a fixture: "2 printed", "3 printed, 8 templates". */
export function made(f: FixtureDoc): string {
  const sum = (list: readonly { quantity: number }[]) => list.reduce((n, x) => n + x.quantity, 0);
  const printed = sum(f.parts.filter((p) => p.file));
  const other = sum(f.parts.filter((p) => !p.file));
  const templates = sum(f.templates);
  return [printed && `${printed} printed`, other && `${other} not printed`, templates && `${templates} ${templates === 1 ? 'template' : 'templates'}`]
    .filter(Boolean)
    .join(', ');
}

/** The forces of a clamping plan, N: of the clamps that close one row of seams
 * together, from the least to the greatest. */
export function force(closes: readonly CloseDoc[]): [number, number] | null {
  if (!closes.length) return null;
  const all = closes.map((c) => c.force_n);
  return [Math.min(...all), Math.max(...all)];
}

/** The drawing on which something of a kind is seen; none: the one that is there. */
export function lookOf(kind: Kind | undefined): 'fixtures' | 'veneer' | undefined {
  if (kind === 'seam' || kind === 'segment' || kind === 'fixture' || kind === 'clamping') return 'fixtures';
  if (kind === 'pattern' || kind === 'surface' || kind === 'lap') return 'veneer';
  return undefined;
}
