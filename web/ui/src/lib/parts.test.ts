import { describe, expect, it } from 'vitest';
import { Conflict, Problem, problemOf } from './api';
import { entries, sentence } from './findings';
import { Latest } from './latest';
import type { FindingDoc, PlanDoc } from './plan';
import { Relations } from './relations';

const finding = (over: Partial<FindingDoc>): FindingDoc => ({
  severity: 'warning', stage: 's', code: 'c', subject: 'x', message: 'it leans', remedy: '', source: '', file: '', line: 0, changes: [], ...over,
});

describe('findings', () => {
  it('in the same words are one entry, in the order they came', () => {
    const got = entries([
      finding({ subject: 'leg-1.a' }), finding({ subject: 'seat', message: 'other' }), finding({ subject: 'leg-1.b' }), finding({ subject: 'leg-1.a' }),
    ]);
    expect(got.map((e) => [e.subjects.join(' '), e.message])).toEqual([['leg-1.a leg-1.b', 'It leans.'], ['seat', 'Other.']]);
  });

  it('are one entry too where only the name in them differs', () => {
    const got = entries([
      finding({ subject: 'leg-1', message: 'leg-1 leans by 2 mm' }), finding({ subject: 'leg-2', message: 'leg-2 leans by 2 mm' }), finding({ subject: 'leg-3', message: 'leg-3 leans by 3 mm' }),
    ]);
    expect(got.map((e) => [e.subjects.join(' '), e.message])).toEqual([['leg-1 leg-2', 'Each leans by 2\u00a0mm.'], ['leg-3', 'leg-3 leans by 3\u00a0mm.']]);
  });

  it('stay apart where a line or an edit belongs to each', () => {
    expect(entries([finding({ subject: 'a', line: 3 }), finding({ subject: 'b', line: 4 })])).toHaveLength(2);
    const changes = [{ document: 'piece' as const, pointer: '/a', value: '1' }];
    expect(entries([finding({ subject: 'a', changes }), finding({ subject: 'b', changes })])).toHaveLength(2);
    expect(entries([finding({ severity: 'stop' }), finding({})])).toHaveLength(2);
  });

  it('of the whole piece name no part', () => expect(entries([finding({ subject: 'piece' })])[0]!.subjects).toEqual([]));

  it.each([['it leans', 'It leans.'], ['It leans.', 'It leans.'], ['Why?', 'Why?'], ['', ''], ['top/edge-1 leans', 'top/edge-1 leans.'], ['165 mm² lean', '165\u00a0mm² lean.']])('%s', (s, want) => expect(sentence(s)).toBe(want));
});

describe('problems', () => {
  // Members of a problem document: RFC 9457, section 3.1.
  it.each([
    ['detail over title', 422, '{"title":"Unprocessable","detail":"the name is taken","remedy":"choose another"}', 'the name is taken', 'choose another'],
    ['title alone', 404, '{"title":"Not Found","status":404}', 'Not Found', ''],
    ['its errors', 422, '{"detail":"bad","errors":[{"message":"too long","location":"body.text"},{"message":"no"},null,7]}', 'bad (body.text: too long; no)', ''],
    ['the faults of a file', 422, '{"detail":"bad","faults":[{"line":7,"message":"no such word"},{"line":0,"message":"too long"},{}]}', 'bad (line 7: no such word; too long)', ''],
    ['no document', 502, '<html>Bad gateway</html>', 'Bad Gateway', ''],
    ['a list', 500, '[1]', 'Bad Gateway', ''],
    ['null', 500, 'null', 'Bad Gateway', ''],
    ['wrong kinds', 500, '{"detail":7,"title":null,"errors":"x"}', 'Bad Gateway', ''],
    ['nothing', 500, '', 'Bad Gateway', ''],
  ])('%s', (_, status, body, message, remedy) => {
    const p = problemOf(status, 'Bad Gateway', body);
    expect([p.message, p.remedy, p.status]).toEqual([message, remedy, status]);
    expect(p).toBeInstanceOf(Problem);
    expect(p).not.toBeInstanceOf(Conflict);
  });

  it('with the current piece are conflicts', () => {
    const p = problemOf(409, '', '{"detail":"changed","current":{"text":"a: 1","version":"v2"}}');
    expect(p).toBeInstanceOf(Conflict);
    expect((p as Conflict).current.version).toBe('v2');
  });

  it('of the same status without it are not', () => expect(problemOf(409, '', '{"detail":"exists"}')).not.toBeInstanceOf(Conflict));
});

describe('latest', () => {
  it('has one call on its way, and after it only the newest', async () => {
    const seen: number[] = [];
    let busy = 0;
    let release: () => void = () => {};
    const latest = new Latest<number>(async (n) => {
      expect(++busy).toBe(1);
      seen.push(n);
      await new Promise<void>((r) => (release = r));
      busy--;
    });
    for (const n of [1, 2, 3, 4]) latest.want(n);
    expect(seen).toEqual([1]);
    release();
    await new Promise((r) => setTimeout(r));
    expect(seen).toEqual([1, 4]);
    latest.want(5);
    latest.drop();
    release();
    await new Promise((r) => setTimeout(r));
    expect(seen).toEqual([1, 4]);
    expect(latest.busy).toBe(false);
    latest.want(6);
    expect(seen).toEqual([1, 4, 6]);
  });
});

describe('relations', () => {
  const none = { x: 0, y: 0, rotation: 0 };
  const doc = {
    members: [{ id: 'seat', surfaces: [{ name: 'face' }, { name: 'edge-1' }, { name: 'edge-2' }, { name: 'edge-3' }] }, { id: 'leg-1', surfaces: [] }, { id: 'leg-10', surfaces: [] }],
    bodies: [{ id: 'seat', members: ['seat'] }, { id: 'leg-1', members: ['leg-1', 'leg-10'] }],
    contacts: [{ id: 'seat:leg-1', a: { member: 'seat' }, b: { member: 'leg-1' } }], round_contacts: [],
    joints: [{ id: 'joint-1', contact: 'seat:leg-1' }], plugs: [{ id: 'joint-1/plug-1', member: 'seat' }],
    segments: [{ id: 'seat.a', body: 'seat', member: 'seat' }, { id: 'leg-1.a', body: 'leg-1', member: 'leg-1' }],
    seams: [{ id: 'seat/seam-1', body: 'seat', segments: ['seat.a', 'seat.b'] }], bores: [{ id: 'joint-1/insert-1', of: 'joint-1', member: 'leg-1' }],
    laps: [], patterns: [{ id: 'seat/face', member: 'seat', surface: 'face', also: [], lap: '', panel: 'blank-01' }, { id: 'seat/edge-2/band-1', member: 'seat', surface: 'edge-2', also: ['seat/edge-3'], lap: '', panel: '' }, { id: 'joint-1/plug-1', member: '', surface: '', also: [], lap: '', panel: 'blank-01' }],
    panels: [{ id: 'blank-01', sheet: 'oak-1' }], sheets: [{ id: 'oak-1' }], plates: [{ id: 'load-01', segments: [{ segment: 'seat.a', ...none }] }],
  } as unknown as PlanDoc;
  const r = new Relations(doc);

  it.each([
    ['seat.a', 'seat', true], // a segment of the member chosen
    ['seat', 'seat.a', false], // not the whole member for a segment
    ['seat/face', 'seat', true],
    ['leg-1.a', 'leg-10', true], // printed as one
    ['leg-1', 'leg-10', false], // not a name that begins alike
    ['joint-1', 'seat', true],
    ['seat.a', 'seat/seam-1', true],
    ['seat/face', 'blank-01', true],
    ['blank-01', 'oak-1', true],
    ['seat.a', 'load-01', true],
    ['leg-1.a', 'load-01', false],
    ['seat', 'nothing', false],
    ['seat/edge-2/band-1', 'seat/edge-2', true], // on the surface chosen
    ['seat/edge-2/band-1', 'seat/edge-3', true], // covers it as well
    ['seat/face', 'seat/edge-2', false],
    ['seat', 'seat/edge-2', false],
  ])('%s lit by %s: %s', (id, chosen, want) => expect(r.lit(id, chosen)).toBe(want));

  it('nothing is lit when nothing is chosen', () => expect(r.lit('seat', null)).toBe(false));

  it.each([
    ['seat/edge-1', 'seat'], ['seat/edge-2', 'seat/edge-2'], ['seat/face', 'seat/face'], ['seat.a', 'seat.a'], ['leg-10/side-1', 'leg-10'], ['abs', null], ['piece', null], ['', null], ['joint-1/insert-1', 'joint-1/insert-1'],
    ['leg-100', null],
  ])('a finding on %s is at %s', (subject, want) => expect(r.place(subject)).toBe(want));

  it('knows the members of a plug, whose leaf has the same ID', () => {
    expect(r.kind('joint-1/plug-1')).toBe('plug');
    expect(r.members('joint-1/plug-1')).toEqual(['seat']);
  });
});
