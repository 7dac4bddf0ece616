import { beforeEach, describe, expect, it, vi } from 'vitest';
import { Problem, Unreachable } from './api';
import type { PlanDoc } from './plan';
import { Planner, type Server } from './planner.svelte';
import type { PlanOrder } from './types';

type Handlers = Parameters<Server['onPlan']>[1];

/** A server whose plans come along as the test says. */
class Bench implements Server {
  orders: PlanOrder[] = [];
  streams: { id: string; handlers: Handlers; open: boolean }[] = [];
  cancelled: string[] = [];
  fails: Error | null = null;

  plan = vi.fn(async (order: PlanOrder) => {
    if (this.fails) throw this.fails;
    this.orders.push(order);
    return { id: `p${this.orders.length}` };
  });
  onPlan = (id: string, handlers: Handlers) => {
    const stream = { id, handlers, open: true };
    this.streams.push(stream);
    return () => void (stream.open = false);
  };
  geometry = vi.fn(async (id: string) => ({ geometry: id }) as unknown as PlanDoc);
  whole = vi.fn(async (id: string) => ({ whole: id }) as unknown as PlanDoc);
  geometryScene = vi.fn(async (id: string) => `blob:${id}`);
  cancel = async (id: string) => void this.cancelled.push(id);

  get last() {
    return this.streams.at(-1)!;
  }
}

const settle = () => new Promise((r) => setTimeout(r));
const order = (height: string): PlanOrder => ({ piece: 'p.yaml', set: { height } });

let bench: Bench;
let planner: Planner;
let away: number;

beforeEach(() => {
  bench = new Bench();
  away = 0;
  planner = new Planner(() => void away++, bench);
});

async function toGeometry(o: PlanOrder) {
  planner.want(o);
  await settle();
  bench.last.handlers.geometry!({});
  await settle();
}

async function toDone(o: PlanOrder) {
  await toGeometry(o);
  bench.last.handlers.done!({});
  await settle();
}

describe('a plan', () => {
  it('is shown as it comes: stages, geometry, whole', async () => {
    planner.want(order('1'));
    await settle();
    bench.last.handlers.stage!({ stage: 'joints', done: 0, total: 11 });
    expect(planner.progress).toEqual({ stage: 'joints', done: 0, total: 11 });
    bench.last.handlers.geometry!({});
    await settle();
    expect(planner.newest).toMatchObject({ id: 'p1', of: 'geometry', scene: 'blob:p1', doc: { geometry: 'p1' } });
    expect(planner.progress).not.toBeNull();
    bench.last.handlers.done!({});
    await settle();
    expect(planner.newest).toMatchObject({ id: 'p1', of: 'whole', doc: { whole: 'p1' } });
    expect(planner.progress).toBeNull();
  });

  it('leaves what is known in sight until the next is', async () => {
    await toDone(order('1'));
    planner.want(order('2'));
    await settle();
    expect(planner.newest).toMatchObject({ id: 'p1', of: 'whole' });
    expect(planner.whole!.id).not.toBe(planner.id); // and it is known to be old
    bench.last.handlers.geometry!({});
    await settle();
    expect(planner.newest).toMatchObject({ id: 'p2', of: 'geometry' });
    expect(planner.whole).toMatchObject({ id: 'p1' });
  });

  it('that is the same as the last is not fetched twice', async () => {
    await toDone(order('1'));
    bench.plan.mockResolvedValueOnce({ id: 'p1' });
    planner.want(order('1'));
    await settle();
    bench.last.handlers.geometry!({});
    await settle();
    expect(bench.geometry).toHaveBeenCalledTimes(1);
    expect(planner.newest).toMatchObject({ id: 'p1', of: 'whole' });
  });

  it('that fails says why, and the next clears it', async () => {
    planner.want(order('1'));
    await settle();
    bench.last.handlers.failed!({ message: 'It cannot stand.', faults: [] });
    expect(planner.failure).toEqual({ message: 'It cannot stand.', faults: [] });
    expect(planner.progress).toBeNull();
    await toDone(order('2'));
    expect(planner.failure).toBeNull();
  });

  it('that is refused says why with the remedy', async () => {
    bench.fails = new Problem(422, 'There is no height.', 'Name it.');
    planner.want(order('1'));
    await settle();
    expect(planner.failure?.message).toBe('There is no height. Name it.');
  });
});

describe('a slider', () => {
  it('has one plan on its way, and after its geometry only the newest value', async () => {
    for (const h of ['1', '2', '3', '4']) planner.want(order(h));
    await settle();
    expect(bench.orders.map((o) => o.set!.height)).toEqual(['1']);
    bench.last.handlers.geometry!({});
    await settle();
    expect(bench.orders.map((o) => o.set!.height)).toEqual(['1', '4']);
    // The first one's stream is left; what it might still say changes nothing.
    expect(bench.streams[0]!.open).toBe(false);
    bench.streams[0]!.handlers.done!({});
    bench.streams[0]!.handlers.failed!({ message: 'late', faults: [] });
    await settle();
    expect(planner.whole).toBeNull();
    expect(planner.failure).toBeNull();
    expect(planner.id).toBe('p2');
  });

  it('waits for the scene of what it shows', async () => {
    let come: (url: string) => void = () => {};
    bench.geometryScene.mockImplementationOnce(() => new Promise((r) => (come = r)));
    planner.want(order('1'));
    await settle();
    planner.want(order('2'));
    bench.last.handlers.geometry!({});
    await settle();
    expect(bench.orders).toHaveLength(1);
    come('blob:late');
    await settle();
    expect(planner.newest).toMatchObject({ id: 'p1', scene: 'blob:late' });
    expect(bench.orders).toHaveLength(2);
  });

  it('is not held up by a plan that fails or is superseded', async () => {
    planner.want(order('1'));
    await settle();
    planner.want(order('2'));
    bench.last.handlers.failed!({ message: 'no', faults: [] });
    await settle();
    planner.want(order('3'));
    bench.last.handlers.superseded!({});
    await settle();
    expect(bench.orders.map((o) => o.set!.height)).toEqual(['1', '2', '3']);
  });
});

it('keeps a few scenes and lets the older ones go', async () => {
  const gone: string[] = [];
  URL.revokeObjectURL = (url) => void gone.push(url);
  for (let n = 1; n <= 7; n++) await toGeometry(order(String(n)));
  expect(gone).toEqual(['blob:p1', 'blob:p2', 'blob:p3']);
  expect(planner.newest).toMatchObject({ scene: 'blob:p7' });
});

describe('giving up', () => {
  it('at the maker\'s wish tells the server and says so', async () => {
    planner.want(order('1'));
    await settle();
    await planner.cancel();
    expect(bench.cancelled).toEqual(['p1']);
    expect(planner.cancelled).toBe(true);
    expect(planner.progress).toBeNull();
    await toDone(order('2')); // and the next is not held up
    expect(planner.cancelled).toBe(false);
    expect(planner.whole).toMatchObject({ id: 'p2' });
  });

  it('for faults in the file keeps what is known, as old', async () => {
    await toDone(order('1'));
    planner.want(order('2'));
    await settle();
    planner.rest();
    bench.last.handlers.done!({});
    await settle();
    expect(planner.id).toBe('');
    expect(planner.newest).toMatchObject({ id: 'p1' });
    expect(planner.progress).toBeNull();
    await toDone(order('3'));
    expect(planner.whole).toMatchObject({ id: 'p3' });
  });

  it('while the order is on its way to the server', async () => {
    planner.want(order('1'));
    planner.rest();
    await settle();
    expect(planner.id).toBe('');
    expect(bench.streams).toHaveLength(0);
  });
});

describe('a server that is away', () => {
  it('is told of, and the plan ordered anew', async () => {
    bench.fails = new Unreachable();
    planner.want(order('1'));
    await settle();
    expect(away).toBe(1);
    expect(planner.failure).toBeNull();
    bench.fails = null;
    planner.again();
    await settle();
    expect(bench.orders).toEqual([order('1')]);
  });

  it('and was started anew does not know the plan', async () => {
    planner.want(order('1'));
    await settle();
    bench.last.handlers.lost!(true); // the browser tries again by itself
    expect(away).toBe(0);
    bench.last.handlers.lost!(false);
    expect(away).toBe(1);
    planner.again();
    await settle();
    expect(bench.orders).toHaveLength(2);
  });
});

it('keeps the strength of an earlier state, to say that it is earlier', async () => {
  bench.whole.mockResolvedValueOnce({ strength: { cases: [] } } as unknown as PlanDoc);
  await toDone({ piece: 'p.yaml', strength: true });
  expect(planner.strength).toMatchObject({ id: 'p1' });
  await toDone(order('2'));
  expect(planner.strength).toMatchObject({ id: 'p1' });
  expect(planner.id).toBe('p2');
  planner.clear();
  expect(planner.strength).toBeNull();
});
