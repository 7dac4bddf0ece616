import { describe, expect, it } from 'vitest';
import { barWords, bars, busy, byDay, chain, clock, day, dayName, dayOf, deed, instead, lastDay, moment, quiet, rows, shortDay, stretch, summary, thing, weekday } from './calendar';
import type { ActivityDoc, CalendarDoc } from './plan';

const hour = 3600;

function activity(id: string, kind: string, start: number, end: number, over: Partial<ActivityDoc> = {}): ActivityDoc {
  return { id, kind, of: id.split(' ').pop()!, start_s: start, end_s: end, hand_s: 0, slack_s: 0, critical: false, machine: '', after: [], note: '', ...over };
}

function calendar(activities: ActivityDoc[], over: Partial<CalendarDoc> = {}): CalendarDoc {
  return {
    start: '', finish: '', begin_s: 0, end_s: Math.max(0, ...activities.map((a) => a.end_s)), least_s: 0, hands_s: 0,
    hours: [], activities, critical: [], alternatives: [], rests: [], charts: [], ...over,
  };
}

describe('days', () => {
  it.each([[0, 1], [day - 1, 1], [day, 2], [2.5 * day, 3]])('%d s is in day %d', (s, n) => expect(dayOf(s)).toBe(n));
  it.each([[1, 1], [day, 1], [day + 1, 2], [0, 1]])('what ends at %d s ends on day %d', (s, n) => expect(lastDay(s)).toBe(n));
  it('without a date begin on a Monday', () => expect([1, 5, 7, 8].map((n) => dayName({ start: '' }, n))).toEqual(['day 1, Monday', 'day 5, Friday', 'day 7, Sunday', 'day 8, Monday']));
  // 30 November 2026 is a Monday and 28 February 2028 one of a leap year, by the
  // Gregorian calendar (ISO 8601).
  it.each([
    ['2026-11-30', 1, 'Monday 30 Nov', 'Mon 30 Nov'], ['2026-11-30', 3, 'Wednesday 2 Dec', 'Wed 2 Dec'], ['2026-12-31', 2, 'Friday 1 Jan', 'Fri 1 Jan'], ['2028-02-28', 2, 'Tuesday 29 Feb', 'Tue 29 Feb'],
  ])('%s, day %d', (start, n, long, short) => expect([dayName({ start }, n), shortDay({ start }, n)]).toEqual([long, short]));
  it('a date that is none counts days', () => expect(weekday('soon', 3)).toBe(2));

  it.each([[0, '0:00'], [8 * hour + 300, '8:05'], [day - 1, '0:00'], [day + 59 * 60 + 29, '0:59'], [13 * hour, '13:00']])('clock of %d s', (s, want) => expect(clock(s)).toBe(want));
  it('a moment that rounds to midnight is of the day that begins', () => expect(moment({ start: '' }, day - 10)).toBe('day 2, 0:00'));
  it('a stretch tells its day once', () => {
    expect(stretch({ start: '' }, 8 * hour, 9 * hour)).toBe('day 1, 8:00 to 9:00');
    expect(stretch({ start: '2026-11-30' }, 8 * hour, day + hour)).toBe('Mon 30 Nov, 8:00 to Tue 1 Dec, 1:00');
  });
});

describe('another end', () => {
  const c = { start: '', end_s: 15.5 * day };
  it.each([
    [13.2 * day, 'ends on day 14 instead of 16'], [15.9 * day, 'ends the same day, 9 h 36 min later'], [15.5 * day - 539, 'ends the same day, 9 min sooner'], [15.5 * day, 'ends at the same time'], [15.5 * day + 30, 'ends at the same time'],
  ])('%d', (s, want) => expect(instead(c, s)).toBe(want));
  it('with dates', () => expect(instead({ start: '2026-11-30', end_s: 3 * day }, 2 * day)).toBe('ends on Tuesday 1 Dec instead of Wednesday 2 Dec'));
});

describe('rows', () => {
  it('are printers by name, then kinds in the order of the job; what takes no time has no bar', () => {
    const got = rows([
      activity('lay a', 'lay', 10, 20), activity('print load-2', 'print', 0, 5, { machine: 'small-bed 2' }), activity('print load-1', 'print', 0, 5, { machine: 'small-bed 1' }),
      activity('take off load-1', 'take off', 5, 6, { machine: 'small-bed 1' }), activity('glue top', 'glue', 6, 8), activity('glue nothing', 'glue', 6, 6), activity('polish a', 'polish', 30, 31),
    ]);
    expect(got.map((r) => [r.name, r.activities.map((a) => a.id).join('+')])).toEqual([
      ['small-bed 1', 'print load-1+take off load-1'], ['small-bed 2', 'print load-2'], ['Gluing segments', 'glue top'], ['Laying veneer', 'lay a'], ['Polish', 'polish a'],
    ]);
  });
});

describe('bars', () => {
  const ids = (list: ReturnType<typeof bars>) => list.map((b) => `${b.lane}:${b.activities.map((a) => a.id).join('+')}`);

  it('of what goes on at the same time lie below one another, and a lane is used again', () => {
    expect(ids(bars([activity('a', 'glue', 0, 100), activity('b', 'glue', 50, 150), activity('c', 'glue', 100, 200), activity('d', 'glue', 120, 130)], 0, 300, 5))).toEqual(['0:a', '1:b', '0:c', '2:d']);
  });
  it('that would be too narrow join what they touch', () => {
    const small = Array.from({ length: 5 }, (_, i) => activity(`s${i}`, 'lay', 10 * i, 10 * i + 9, { hand_s: 9, critical: i === 3 }));
    const [one, ...more] = bars(small, 0, 1000, 20);
    expect(more).toEqual([]);
    expect([one!.from, one!.to, one!.critical, one!.activities.length]).toEqual([0, 49, true, 5]);
    expect(one!.hands).toEqual([[0, 9], [10, 19], [20, 29], [30, 39], [40, 49]]);
  });
  it('that are narrow join a wide one that they touch, but two wide ones stay apart', () => {
    expect(ids(bars([activity('print', 'print', 0, 100), activity('off', 'take off', 104, 106), activity('next', 'print', 110, 200)], 0, 300, 5))).toEqual(['0:print', '0:off', '0:next']);
    expect(ids(bars([activity('print', 'print', 0, 100), activity('off', 'take off', 100, 102), activity('next', 'print', 102, 200)], 0, 300, 5))).toEqual(['0:print+off', '0:next']);
  });
  it('outside of what is shown are left out', () => expect(ids(bars([activity('a', 'lay', 0, 10), activity('b', 'lay', 10, 30), activity('c', 'lay', 30, 40)], 10, 30, 1))).toEqual(['0:b']));

  // Whatever the activities, each is in one bar, and no two bars of a lane overlap as they are drawn.
  it('hold everything once and never overlap', () => {
    let seed = 7;
    const random = (n: number) => ((seed = (seed * 1103515245 + 12345) % 2 ** 31) / 2 ** 31) * n;
    for (let round = 0; round < 200; round++) {
      const all = Array.from({ length: 1 + Math.floor(random(30)) }, (_, i) => {
        const start = Math.floor(random(1000));
        return activity(`a${i}`, 'lay', start, start + 1 + Math.floor(random(round % 2 ? 200 : 15)), { hand_s: random(5) });
      });
      const narrow = 1 + random(30);
      const got = bars(all, 0, 2000, narrow);
      expect(got.flatMap((b) => b.activities.map((a) => a.id)).sort()).toEqual(all.map((a) => a.id).sort());
      for (const b of got) {
        expect(b.from).toBe(Math.min(...b.activities.map((a) => a.start_s)));
        expect(b.to).toBe(Math.max(...b.activities.map((a) => a.end_s)));
        for (const o of got) if (o !== b && o.lane === b.lane && o.from >= b.from) expect(o.from).toBeGreaterThanOrEqual(Math.max(b.to, b.from + narrow));
      }
    }
  });
});

describe('when nobody is at work', () => {
  const hours = (...list: [number, number][]) => list.map(([s, e]) => ({ start_s: s * hour, end_s: e * hour }));
  it.each([
    ['nights, a break and a free day', hours([8, 12], [13, 17], [56, 65]), 3, [[0, 8], [12, 13], [17, 56], [65, 72]]],
    ['through midnight there is no night', hours([0, 28]), 2, [[28, 48]]],
    ['to the last midnight', hours([20, 48]), 2, [[0, 20]]],
    ['hours behind the last day', hours([8, 17], [56, 65]), 2, [[0, 8], [17, 48]]],
    ['no hours at all', [], 2, [[0, 48]]],
  ])('%s', (_, open, days, want) => expect(quiet(open, days).map(([s, e]) => [s / hour, e / hour])).toEqual(want));
});

describe('words', () => {
  const lay = activity('lay top/face', 'lay', 8 * hour, 8.5 * hour, { hand_s: 1800, critical: true });
  it('of a bar', () => {
    const [bar] = bars([lay], 0, day, 1);
    expect(barWords({ start: '' }, 'Laying veneer', bar!)).toBe('lay top/face; day 1, 8:00 to 8:30; hands at it for 30 min; sets the end');
  });
  it('of several in one', () => {
    const more = ['a', 'b', 'c'].map((x, i) => activity(`lay leg/${x}`, 'lay', 8.5 * hour + i, 9 * hour));
    const [two] = bars([lay, more[0]!], 0, day, 2 * hour);
    expect(barWords({ start: '' }, 'Laying veneer', two!)).toBe('lay top/face, lay leg/a; day 1, 8:00 to 9:00; hands at it for 30 min; sets the end');
    const [four] = bars([lay, ...more], 0, day, 2 * hour);
    expect(barWords({ start: '' }, 'Laying veneer', four!)).toBe('Laying veneer: 4 things, lay top/face to lay leg/c; day 1, 8:00 to 9:00; hands at it for 30 min; sets the end');
  });
  it('of waiting', () => expect(barWords({ start: '' }, 'x', bars([activity('cure', 'finish', 0, hour)], 0, day, 1)[0]!)).toBe('cure; day 1, 0:00 to 1:00; no hands needed'));
  it('loads of fixtures are not those of the piece', () => {
    expect(thing({ id: 'print fixtures load-01', kind: 'print', of: 'load-01' })).toBe('fixtures load-01');
    expect(thing({ id: 'take off load-01', kind: 'take off', of: 'load-01' })).toBe('load-01');
  });
});

describe('what is done', () => {
  it.each([
    ['print fixtures load-02', 'print', 'load-02', 'Start', 'fixtures load-02'], ['take off load-02', 'take off', 'load-02', 'Take off', 'load-02'], ['unpack veneer', 'cut', 'piece', 'Unpack veneer', ''], ['enter measures', 'measure', 'piece', 'Enter measures', ''],
    ['glue body top/2', 'glue', 'top', 'Glue body', 'top'], ['sand leg-1 P180', 'sand', 'leg-1', 'Sand P180', 'leg-1'], ['sand ground top (1 of 2)', 'ground', 'top', 'Sand ground', 'top'], ['lay top/face', 'lay', 'top/face', 'Lay', 'top/face'],
    ['coat 4 plugs', 'finish', 'plugs', 'Coat 4', 'plugs'], ['assemble piece', 'assemble', 'piece', 'Assemble', 'piece'], ['glue members joint-9+joint-10', 'join', 'joint-9+joint-10', 'Glue members', 'joint-9+joint-10'],
  ])('%s', (id, kind, of, what, with_) => expect(deed({ id, kind, of })).toEqual({ what, of: with_ }));
});

describe('the job in words', () => {
  const all = [
    activity('print load-01', 'print', 8 * hour, 12 * hour, { hand_s: 150, machine: 'bed 1' }), activity('take off load-01', 'take off', 12 * hour, 12 * hour + 150, { hand_s: 150, machine: 'bed 1' }),
    activity('print load-02', 'print', 12 * hour + 150, 20 * hour, { hand_s: 150, machine: 'bed 1' }), activity('take off load-02', 'take off', day + 8 * hour, day + 8 * hour + 150, { hand_s: 150, machine: 'bed 1', note: 'cold' }),
    activity('lay a', 'lay', day + 9 * hour, day + 9 * hour + 300, { hand_s: 300 }), activity('lay b', 'lay', day + 9 * hour + 300, day + 9 * hour + 600, { hand_s: 300 }), activity('coat 1 a', 'finish', 3 * day + 9 * hour, 3 * day + 9 * hour + 60, { hand_s: 60 }),
  ];
  const c = calendar(all, {
    hands_s: 1260,
    critical: [
      { activity: 'print load-01', why: 'the job begins', wait_s: 28800 }, { activity: 'take off load-01', why: 'what is before it is done', wait_s: 0 }, { activity: 'print load-02', why: 'bed 1 is free again', wait_s: 0 },
      { activity: 'take off load-02', why: 'what is before it is done', wait_s: 12 * hour }, { activity: 'lay a', why: 'what is before it is done', wait_s: 0 }, { activity: 'lay b', why: 'person is free again', wait_s: 0 },
      { activity: 'coat 1 a', why: 'the bond is whole', wait_s: 600 }, { activity: 'gone', why: '', wait_s: 0 },
    ],
  });
  it('what sets the end', () => {
    expect(chain(c).map((l) => [l.name, l.things.join(' '), l.after, l.wait])).toEqual([
      ['Printing', 'load-01 load-02', '', 12 * hour], ['Laying veneer', 'a b', '', 0], ['Finishing', 'a', 'the bond is whole', 600],
    ]);
  });
  it('who is busy', () => {
    expect(busy(c)).toEqual([{ name: 'Hands', seconds: 1260, days: 3 }, { name: 'bed 1', seconds: 12 * hour - 150, days: 1 }]);
  });
  it('day by day', () => {
    const got = byDay(c);
    expect(got.map((d) => [d.n, d.hands, d.doings.map((w) => `${w.what} ${w.things.join('+')}`).join('; ')])).toEqual([
      [1, 450, 'Start load-01; Take off load-01; Start load-02'], [2, 750, 'Take off load-02; Lay a+b'], [4, 60, 'Coat 1 a'],
    ]);
    expect(got[1]!.doings[0]!.notes).toEqual(['cold']);
    expect(got.reduce((n, d) => n + d.hands, 0)).toBe(all.reduce((n, a) => n + a.hand_s, 0));
    expect(summary(got[1]!)).toBe('printing, laying veneer');
    expect(summary(got[1]!, 1)).toBe('printing and 1 more');
  });
});
