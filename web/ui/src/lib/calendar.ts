// The calendar in words and as bars. Times are seconds of the calendar: from the
// midnight before its first day, which is a Monday where no date is given.

import type { ActivityDoc, CalendarDoc, HoursDoc } from './plan';
import { writeTime } from './units';
import { count } from './words';

export const day = 86_400;

const weekdays = ['Monday', 'Tuesday', 'Wednesday', 'Thursday', 'Friday', 'Saturday', 'Sunday'];
const months = ['Jan', 'Feb', 'Mar', 'Apr', 'May', 'June', 'July', 'Aug', 'Sept', 'Oct', 'Nov', 'Dec'];

/** What a row of each kind of work is called, in the order of the job. */
const kinds: Record<string, string> = {
  coupons: 'Coupons',
  print: 'Printing',
  'take off': 'Taking off',
  inserts: 'Inserts',
  'dry fit': 'Dry fit',
  glue: 'Gluing segments',
  ground: 'Ground',
  measure: 'Measuring',
  cut: 'Cutting veneer',
  lay: 'Laying veneer',
  trim: 'Trimming',
  join: 'Gluing members',
  sand: 'Sanding veneer',
  finish: 'Finishing',
  assemble: 'Putting together',
  'hand over': 'Handing over',
};

export function rowName(kind: string): string {
  return kinds[kind] ?? capital(kind);
}

export function capital(s: string): string {
  return s ? s[0]!.toUpperCase() + s.slice(1) : s;
}

/** Number of the day, from 1. */
export function dayOf(s: number): number {
  return Math.floor(s / day) + 1;
}

/** The day on which something ends: what ends at midnight ends with the day before. */
export function lastDay(s: number): number {
  return Math.max(1, Math.ceil(s / day));
}

/** "day 3, Wednesday"; with dates "Wednesday 2 Dec". */
export function dayName(c: Pick<CalendarDoc, 'start'>, n: number): string {
  const date = dateOf(c.start, n);
  return date ? `${weekdays[weekday(c.start, n)]} ${date}` : `day ${n}, ${weekdays[weekday(c.start, n)]}`;
}

/** The same where there is little room: "Wed 3", "Wed 2 Dec". */
export function shortDay(c: Pick<CalendarDoc, 'start'>, n: number): string {
  return `${weekdays[weekday(c.start, n)]!.slice(0, 3)} ${dateOf(c.start, n) || n}`;
}

/** 0 for a Monday. */
export function weekday(start: string, n: number): number {
  const first = parsed(start);
  return first === null ? (n - 1) % 7 : (new Date(first + (n - 1) * day * 1000).getUTCDay() + 6) % 7;
}

function dateOf(start: string, n: number): string {
  const first = parsed(start);
  if (first === null) return '';
  const d = new Date(first + (n - 1) * day * 1000);
  return `${d.getUTCDate()} ${months[d.getUTCMonth()]}`;
}

function parsed(start: string): number | null {
  const ms = start ? Date.parse(`${start}T00:00:00Z`) : NaN;
  return Number.isNaN(ms) ? null : ms;
}

/** Time of the day, to the minute: "8:05". */
export function clock(s: number): string {
  const minutes = Math.round((s % day) / 60) % (24 * 60);
  return `${Math.floor(minutes / 60)}:${String(minutes % 60).padStart(2, '0')}`;
}

/** "day 3, 8:05"; with dates "Wed 2 Dec, 8:05". */
export function moment(c: Pick<CalendarDoc, 'start'>, s: number): string {
  const n = dayOf(Math.round(s / 60) * 60);
  return `${c.start ? shortDay(c, n) : `day ${n}`}, ${clock(s)}`;
}

/** From and until; the day is told once. */
export function stretch(c: Pick<CalendarDoc, 'start'>, from: number, to: number): string {
  const within = dayOf(Math.round(from / 60) * 60) === dayOf(Math.round(to / 60) * 60);
  return `${moment(c, from)} to ${within ? clock(to) : moment(c, to)}`;
}

/** What an activity is of, by its ID in the plan: loads of fixtures have names
 * of their own. */
export function thing(a: Pick<ActivityDoc, 'id' | 'kind' | 'of'>): string {
  return (a.kind === 'print' || a.kind === 'take off') && a.id.includes(`fixtures ${a.of}`) ? `fixtures ${a.of}` : a.of;
}

/** What is done, and with what: "coat 2 top" is "Coat 2" of the top. Activities
 * that do not name their thing, such as "unpack veneer", are all in the words. */
export function deed(a: Pick<ActivityDoc, 'id' | 'kind' | 'of'>): { what: string; of: string } {
  const of = thing(a);
  const whole = a.id.replace(/ \(\d+ of \d+\)$/, '');
  const at = whole.indexOf(` ${of}`);
  if (at < 0) return { what: capital(whole), of: '' };
  // Behind the thing stands with what it is done, or the number of the glue-up.
  const after = whole.slice(at + 1 + of.length).replace(/^\/\d+/, '');
  return { what: a.kind === 'print' ? 'Start' : capital(whole.slice(0, at) + after), of };
}

/** What the end is in another case, beside what it is: "ends on day 14 instead of 16". */
export function instead(c: Pick<CalendarDoc, 'start' | 'end_s'>, other: number): string {
  const [is, was] = [lastDay(other), lastDay(c.end_s)];
  if (is === was) return other < c.end_s - 60 ? `ends the same day, ${writeTime(c.end_s - other)} sooner` : other > c.end_s + 60 ? `ends the same day, ${writeTime(other - c.end_s)} later` : 'ends at the same time';
  return c.start ? `ends on ${dayName(c, is)} instead of ${dayName(c, was)}` : `ends on day ${is} instead of ${was}`;
}

// --- Bars ---------------------------------------------------------------------

export interface Row {
  name: string;
  activities: ActivityDoc[];
}

/** A row for every printer, with what is taken off it, then one for every kind
 * of work by hand in the order of the job. */
export function rows(activities: readonly ActivityDoc[]): Row[] {
  const onMachine = (a: ActivityDoc) => a.machine !== '' && (a.kind === 'print' || a.kind === 'take off');
  const machines = new Map<string, ActivityDoc[]>();
  const byKind = new Map<string, ActivityDoc[]>(Object.keys(kinds).map((k) => [k, []]));
  for (const a of activities) {
    if (a.end_s <= a.start_s) continue;
    const [to, name] = onMachine(a) ? [machines, a.machine] : [byKind, a.kind];
    const known = to.get(name);
    if (known) known.push(a);
    else to.set(name, [a]);
  }
  return [
    ...[...machines].sort(([a], [b]) => (a < b ? -1 : 1)).map(([name, list]) => ({ name, activities: list })),
    ...[...byKind].filter(([, list]) => list.length).map(([kind, list]) => ({ name: rowName(kind), activities: list })),
  ];
}

/** A bar: one activity, or several that would be too narrow apart. */
export interface Bar {
  from: number;
  to: number;
  /** Line within the row, from 0: what goes on at the same time lies below. */
  lane: number;
  critical: boolean;
  activities: ActivityDoc[];
  /** When hands are at it. */
  hands: [number, number][];
}

/** Lays the activities of a row out between two times. What is shorter than
 * `narrow` seconds joins the bar that it all but touches; no bar is drawn
 * narrower than that. */
export function bars(activities: readonly ActivityDoc[], from: number, to: number, narrow: number): Bar[] {
  interface Open extends Bar { all: boolean; drawn: number }
  const lanes: Open[] = []; // the last bar of each
  const out: Open[] = [];
  for (const a of [...activities].sort((x, y) => x.start_s - y.start_s || x.end_s - y.end_s)) {
    if (a.end_s <= from || a.start_s >= to) continue;
    const small = a.end_s - a.start_s < narrow;
    const hand: [number, number][] = a.hand_s > 0 ? [[a.start_s, a.start_s + a.hand_s]] : [];
    const joined = lanes.find((b) => (small ? a.start_s < b.drawn + narrow / 2 : b.all && a.start_s < b.drawn));
    if (joined) {
      joined.activities.push(a);
      joined.to = Math.max(joined.to, a.end_s);
      joined.drawn = Math.max(joined.to, joined.from + narrow);
      joined.all &&= small;
      joined.critical ||= a.critical;
      joined.hands = union(joined.hands, hand);
      continue;
    }
    let lane = lanes.findIndex((b) => b.drawn <= a.start_s);
    if (lane < 0) lane = lanes.length;
    const bar: Open = { from: a.start_s, to: a.end_s, drawn: Math.max(a.end_s, a.start_s + narrow), lane, critical: a.critical, activities: [a], hands: hand, all: small };
    lanes[lane] = bar;
    out.push(bar);
  }
  return out.map(({ all: _, drawn: __, ...bar }) => bar);
}

/** Stretches of time put together where they touch. */
function union(a: readonly [number, number][], b: readonly [number, number][]): [number, number][] {
  const out: [number, number][] = [];
  for (const [s, e] of [...a, ...b].sort((x, y) => x[0] - y[0])) {
    const last = out[out.length - 1];
    if (last && s <= last[1]) last[1] = Math.max(last[1], e);
    else out.push([s, e]);
  }
  return out;
}

/** When nobody is at work: what is not among the working hours. */
export function quiet(hours: readonly HoursDoc[], days: number): [number, number][] {
  const out: [number, number][] = [];
  let from = 0;
  for (const h of [...hours, { start_s: days * day, end_s: days * day }]) {
    if (h.start_s > from) out.push([from, Math.min(h.start_s, days * day)]);
    from = Math.max(from, h.end_s);
  }
  return out;
}

/** What a bar tells: its name, from and until, and for how long hands are at it. */
export function barWords(c: Pick<CalendarDoc, 'start'>, row: string, b: Bar): string {
  const n = b.activities.length;
  const hands = b.activities.reduce((sum, a) => sum + a.hand_s, 0);
  const name = n <= 3 ? b.activities.map((a) => a.id).join(', ') : `${row}: ${count(n, 'thing')}, ${b.activities[0]!.id} to ${b.activities[n - 1]!.id}`;
  return `${name}; ${stretch(c, b.from, b.to)}; ${hands ? `hands at it for ${writeTime(hands)}` : 'no hands needed'}${b.critical ? '; sets the end' : ''}`;
}

// --- In words -----------------------------------------------------------------

/** Part of what sets the end: steps of one kind that follow one another. */
export interface Stage {
  name: string;
  things: string[];
  from: number;
  to: number;
  /** What it waits for before, in the program's words; empty if it begins with
   * the end of what is before it. */
  after: string;
  /** For working hours, in all. */
  wait: number;
}

/** What sets the end, as a chain of few parts. */
export function chain(c: CalendarDoc): Stage[] {
  const byId = new Map(c.activities.map((a) => [a.id, a]));
  const out: Stage[] = [];
  let last = '';
  for (const step of c.critical) {
    const a = byId.get(step.activity);
    if (!a) continue;
    const kind = a.kind === 'take off' ? 'print' : a.kind;
    const plain = step.why === 'what is before it is done' || step.why === 'the job begins' || step.why.endsWith('is free again');
    const at = out[out.length - 1];
    // The wait before the first activity is only the morning of the first day.
    const wait = out.length ? step.wait_s : 0;
    if (at && kind === last && (plain || kind === 'finish')) {
      if (!at.things.includes(thing(a))) at.things.push(thing(a));
      at.to = Math.max(at.to, a.end_s);
      at.wait += wait;
    } else out.push({ name: rowName(kind), things: [thing(a)], from: a.start_s, to: a.end_s, after: plain ? '' : step.why, wait });
    last = kind;
  }
  return out;
}

export interface Busy {
  name: string;
  seconds: number;
  /** On so many days. */
  days: number;
}

/** Who and what is busy: hands, then every printer. */
export function busy(c: CalendarDoc): Busy[] {
  const daysOf = (list: readonly { start_s: number; to: number }[]) => {
    const seen = new Set<number>();
    for (const a of list) for (let n = dayOf(a.start_s); n <= lastDay(a.to); n++) seen.add(n);
    return seen.size;
  };
  const hands = c.activities.filter((a) => a.hand_s > 0);
  const prints = new Map<string, ActivityDoc[]>();
  for (const a of c.activities) if (a.kind === 'print' && a.machine) prints.set(a.machine, [...(prints.get(a.machine) ?? []), a]);
  return [
    { name: 'Hands', seconds: c.hands_s, days: daysOf(hands.map((a) => ({ start_s: a.start_s, to: a.start_s + a.hand_s }))) },
    ...[...prints].sort(([a], [b]) => (a < b ? -1 : 1)).map(([name, list]) => ({
      name,
      seconds: list.reduce((n, a) => n + a.end_s - a.start_s, 0),
      days: daysOf(list.map((a) => ({ start_s: a.start_s, to: a.end_s }))),
    })),
  ];
}

/** One thing after another with which the same is done. */
export interface Doing {
  from: number;
  what: string;
  kind: string;
  hands: number;
  things: string[];
  notes: string[];
}

export interface DayDoing {
  n: number;
  hands: number;
  doings: Doing[];
}

/** Day by day what is done by hand; days without are left out. */
export function byDay(c: CalendarDoc): DayDoing[] {
  const out = new Map<number, DayDoing>();
  for (const a of [...c.activities].sort((x, y) => x.start_s - y.start_s)) {
    if (a.hand_s <= 0) continue;
    const n = dayOf(a.start_s);
    const today: DayDoing = out.get(n) ?? { n, hands: 0, doings: [] };
    out.set(n, today);
    today.hands += a.hand_s;
    const last = today.doings[today.doings.length - 1];
    const { what, of } = deed(a);
    if (last && last.what === what) {
      last.hands += a.hand_s;
      if (of && !last.things.includes(of)) last.things.push(of);
      if (a.note && !last.notes.includes(a.note)) last.notes.push(a.note);
    } else today.doings.push({ from: a.start_s, what, kind: a.kind, hands: a.hand_s, things: of ? [of] : [], notes: a.note ? [a.note] : [] });
  }
  return [...out.values()];
}

/** The kinds of a day's work in few words. */
export function summary(d: DayDoing, most = 4): string {
  const names = [...new Set(d.doings.map((x) => rowName(x.kind === 'take off' ? 'print' : x.kind).toLowerCase()))];
  return names.slice(0, most).join(', ') + (names.length > most ? ` and ${names.length - most} more` : '');
}
