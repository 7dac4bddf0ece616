// Lengths and other quantities as a shop writes them. Inside the page a length
// is a number of millimetres; an inch is exactly 25.4 mm.

export type Units = 'mm' | 'in';
/** The finest fraction of an inch that is written. */
export type Fraction = 32 | 64;

const inch = 25.4;

/** A quantity that was read: its value, and how to write it in a piece file. */
export interface Read {
  value: number;
  written: string;
}

/** What keeps a text from being read, in the maker's words. */
export class Unreadable extends Error {}

const lengths: Record<string, number> = {
  mm: 1, cm: 10, m: 1000,
  in: inch, inch: inch, inches: inch, '"': inch, '″': inch,
  ft: 12 * inch, foot: 12 * inch, feet: 12 * inch, "'": 12 * inch, '′': 12 * inch,
};
const angles: Record<string, number> = { deg: 1, degree: 1, degrees: 1, '°': 1 };
const masses: Record<string, number> = { g: 1, kg: 1000, lb: 453.59237, oz: 28.349523125 };
const forces: Record<string, number> = { N: 1, kN: 1000, lbf: 4.4482216152605, kgf: 9.80665 };

const vulgar: Record<string, string> = {
  '½': '1/2', '¼': '1/4', '¾': '3/4', '⅛': '1/8', '⅜': '3/8', '⅝': '5/8', '⅞': '7/8', '⅓': '1/3', '⅔': '2/3',
};

/** Reads "24 in", "1 1/2 in", "1-1/2\"", "2 ft 3 in", "600 mm", "60,5 cm"; a
 * bare number is in `units`. Throws Unreadable. */
export function readLength(text: string, units: Units): Read {
  return read(text, lengths, units, units === 'in' ? '1 1/2 in or 600 mm' : '600 mm or 1 1/2 in');
}

export function readAngle(text: string): Read {
  return read(text, angles, 'deg', '8 deg');
}

export function readMass(text: string): Read {
  return read(text, masses, 'g', '2.5 kg');
}

export function readForce(text: string): Read {
  return read(text, forces, 'N', '100 N');
}

export function readNumber(text: string): Read {
  return read(text, {}, '', '4');
}

function read(text: string, known: Record<string, number>, bare: string, example: string): Read {
  const fail = (why: string): never => {
    throw new Unreadable(`${why}; write it as ${example}`);
  };
  let s = text.trim().replace(/[½¼¾⅛⅜⅝⅞⅓⅔]/g, (c) => ` ${vulgar[c]} `);
  s = s.replace(/[\u2212\u2013]/g, '-').replace(/[\u2044\u2215]/g, '/').replace(/\s+/g, ' ').trim();
  if (!s) fail('Nothing is written');
  if (/\d[,.]\d{3}[,.]\d/.test(s) || /\d,\d{3}(?!\d)/.test(s)) fail(`"${text.trim()}" can be read in two ways`);
  s = s.replace(/(\d),(\d)/g, '$1.$2');

  let sign = 1;
  const signed = /^([+-]) ?/.exec(s);
  if (signed) {
    if (signed[1] === '-') sign = -1;
    s = s.slice(signed[0].length);
  }
  // A carpenter's dash between whole and fraction: 1-1/2.
  s = s.replace(/(\d)-(\d+\/\d)/g, '$1 $2');

  const part = /^(?:(\d+) (\d+) ?\/ ?(\d+)|(\d+) ?\/ ?(\d+)|(\d+\.?\d*|\.\d+)) ?([^\d\s.,/+-]*) ?/;
  let value = 0;
  let last = Infinity;
  const out: string[] = [];
  while (s) {
    const m = part.exec(s);
    if (!m) return fail(`"${text.trim()}" cannot be read`);
    s = s.slice(m[0].length);
    const [, whole, over, under, over2, under2, plain, unit = ''] = m;
    const above = Number(over ?? over2 ?? 0);
    const below = Number(under ?? under2 ?? 1);
    if (below === 0) return fail(`"${text.trim()}" divides by nothing`);
    const number = plain !== undefined ? Number(plain) : Number(whole ?? 0) + above / below;
    const spelled = plain !== undefined ? plain.replace(/^\./, '0.').replace(/\.$/, '') : (whole ? `${whole} ` : '') + `${above}/${below}`;
    const name = unit || bare;
    const size = name === '' ? 1 : known[name];
    if (size === undefined) return fail(unit ? `"${unit}" is no unit for this` : `"${text.trim()}" cannot be read`);
    // Parts go from large to small, and only the only one may lack its unit.
    if (size >= last || (!unit && (out.length > 0 || s))) return fail(`"${text.trim()}" cannot be read`);
    last = size;
    value += number * size;
    out.push(spelled + (name ? ` ${plainName(name)}` : ''));
  }
  return { value: sign * value, written: (sign < 0 ? '-' : '') + out.join(' ') };
}

function plainName(unit: string): string {
  if (['"', '″', 'inch', 'inches'].includes(unit)) return 'in';
  if (["'", '′', 'foot', 'feet'].includes(unit)) return 'ft';
  if (['°', 'degree', 'degrees'].includes(unit)) return 'deg';
  return unit;
}

/** "540 mm" to a tenth, or "1 1/2 in" to the nearest fraction; ties away from
 * zero, as the program itself writes lengths. */
export function writeLength(mm: number, units: Units, fraction: Fraction = 32): string {
  return bareLength(mm, units, fraction) + (Number.isFinite(mm) ? ` ${units}` : '');
}

/** The same without the unit, for tables that name it once. */
export function bareLength(mm: number, units: Units, fraction: Fraction = 32): string {
  if (!Number.isFinite(mm)) return '?';
  const minus = mm < 0 ? '\u2212' : '';
  if (units === 'mm') {
    const tenths = Math.round(Math.abs(mm) * 10 + 1e-9);
    return (tenths ? minus : '') + trim((tenths / 10).toFixed(1));
  }
  let over = Math.round((Math.abs(mm) / inch) * fraction + 1e-9);
  if (over === 0) return '0';
  let under: number = fraction;
  const whole = Math.floor(over / under);
  over -= whole * under;
  while (over && over % 2 === 0) {
    over /= 2;
    under /= 2;
  }
  return minus + [whole || '', over ? `${over}/${under}` : ''].filter(Boolean).join(' ');
}

/** Whether a length as it is written is not quite the length. */
export function rounded(mm: number, units: Units, fraction: Fraction = 32): boolean {
  const parts = units === 'mm' ? mm * 10 : (mm / inch) * fraction;
  return Math.abs(parts - Math.round(parts)) > 1e-4;
}

/** Sizes side by side: "585 × 85 mm". */
export function writeSize(mm: readonly number[], units: Units, fraction: Fraction = 32): string {
  return `${mm.map((x) => bareLength(x, units, fraction)).join(' × ')} ${units}`;
}

export function writeArea(mm2: number, units: Units): string {
  return units === 'mm' ? `${trim((mm2 / 1e6).toFixed(2))} m²` : `${trim((mm2 / (144 * inch * inch)).toFixed(1))} sq ft`;
}

export function writeMass(g: number): string {
  if (g >= 999.5) return `${trim((g / 1000).toFixed(2))} kg`;
  return g >= 9.95 ? `${Math.round(g)} g` : `${trim(g.toFixed(1))} g`;
}

/** "45 s", "20 min", "3 h 20 min", "2 d 4 h": two parts at most. */
export function writeTime(seconds: number): string {
  if (seconds < 59.5) return `${Math.round(seconds)} s`;
  const minutes = Math.round(seconds / 60);
  if (minutes < 60) return `${minutes} min`;
  if (minutes < 24 * 60) return pair(Math.floor(minutes / 60), 'h', minutes % 60, 'min');
  const hours = Math.round(seconds / 3600);
  return pair(Math.floor(hours / 24), 'd', hours % 24, 'h');
}

function pair(a: number, ua: string, b: number, ub: string): string {
  return `${a} ${ua}` + (b ? ` ${b} ${ub}` : '');
}

/** "5.4 hours": for sums and spreads. */
export function writeHours(seconds: number): string {
  const hours = seconds / 3600;
  return `${trim(hours.toFixed(hours < 10 ? 1 : 0))} h`;
}

export function writeMoney(amount: number, currency: string): string {
  return `${amount.toFixed(2)} ${currency}`.trim();
}

export function writeBytes(bytes: number): string {
  if (bytes < 1000) return `${bytes} B`;
  if (bytes < 999_500) return `${Math.round(bytes / 1000)} kB`;
  return `${trim((bytes / 1e6).toFixed(1))} MB`;
}

function trim(s: string): string {
  return s.includes('.') ? s.replace(/\.?0+$/, '') : s;
}

/** How far a slider moves at once, in mm: the maker's own step, or in inches the
 * coarsest half, quarter, eighth, … that is no coarser. */
export function stepOf(mm: number, units: Units, fraction: Fraction = 32): number {
  if (units === 'mm') return mm;
  let part = 1;
  while (part < fraction && inch / part > mm * 1.000001) part *= 2;
  return inch / part;
}
