// The curve of a search: what was reached when.

export interface Reached {
  /** Since the search began. */
  seconds: number;
  /** Share of the blanks that patterns take, 0 to 1. */
  density: number;
  /** Veneer that the sheets lose, mm². */
  consumed: number;
}

export interface Curve {
  /** Steps, for what is reached holds until something better is found; SVG path. */
  path: string;
  /** Where the last one is, px. */
  last: readonly [number, number] | null;
  /** What density was before, px from above. */
  before: number;
  /** Densities that lines are ruled at. */
  rules: { y: number; density: number }[];
}

/** The curve over `seconds` in a field w by h px. Densities run from a whole
 * per cent below all of them to one above, at least four per cent. */
export function curve(reached: readonly Reached[], before: number, seconds: number, now: number, w: number, h: number): Curve {
  const all = [before, ...reached.map((r) => r.density)];
  let lo = Math.floor(Math.min(...all) * 100 - 0.5) / 100;
  let hi = Math.ceil(Math.max(...all) * 100 + 0.5) / 100;
  if (hi - lo < 0.04) {
    const middle = Math.round((lo + hi) * 50) / 100;
    [lo, hi] = [middle - 0.02, middle + 0.02];
  }
  const span = Math.max(seconds, now, ...reached.map((r) => r.seconds), 1e-9);
  const x = (s: number) => (Math.min(s, span) / span) * w;
  const y = (d: number) => h - ((d - lo) / (hi - lo)) * h;
  const short = (v: number) => Math.round(v * 10) / 10;

  let path = '';
  let last: [number, number] | null = null;
  for (const r of reached) {
    const to: [number, number] = [x(r.seconds), y(r.density)];
    path += last ? `H${short(to[0])}V${short(to[1])}` : `M${short(to[0])} ${short(to[1])}`;
    last = to;
  }
  if (last) {
    path += `H${short(x(now))}`;
    last = [x(now), last[1]];
  }
  const step = [0.01, 0.02, 0.05, 0.1, 0.2].find((s) => (hi - lo) / s <= 5 + 1e-9) ?? 0.5;
  const rules = [];
  for (let n = Math.ceil(lo / step - 1e-9); n * step <= hi + 1e-9; n++) rules.push({ y: y(n * step), density: n * step });
  return { path, last, before: y(before), rules };
}
