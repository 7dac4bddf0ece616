// Wood where there is no photograph: a sheet of flat-sliced veneer, drawn from
// how a log grows and is cut. A sheet is made of leaves a hand or so wide, cut
// one after another from the same flitch and laid side by side, which is why
// the figure repeats from leaf to leaf and shifts a little. Each leaf is a plane
// past the pith of a log that tapers and wanders; where it meets the growth
// rings it shows cathedrals in the middle and straight grain at its sides. Into
// the rings go pores, rays and fibres as the species has them.
//
// Figures of pores and rays: from memory of the species, tuned by eye. Nothing
// is worked out from this picture.

import type { Pixels } from './warp';

type Shade = readonly [number, number, number];

export interface Species {
  /** Colours of sRGB 0..255: of the wood, of its dark lines, of its pale ones. */
  wood: Shade;
  dark: Shade;
  pale: Shade;
  /** Mean width of a ring, mm. */
  ring: number;
  /** How much a ring darkens: early wood, towards its end, and in the thin line there. */
  early: number;
  late: number;
  line: number;
  /** Broad streaks of colour, 0..1. */
  streaks: number;
  /** Pores: how many to mm², of them in the early wood, length and width in mm, depth of shade. */
  pores: number;
  ringPorous: number;
  poreLength: number;
  poreWidth: number;
  poreShade: number;
  /** Rays as flecks along the grain: to mm², length and width in mm, shade. */
  rays: number;
  rayLength: number;
  rayWidth: number;
  rayShade: number;
}

const base: Species = {
  wood: [196, 158, 116], dark: [140, 98, 62], pale: [222, 188, 148],
  ring: 3, early: 0.1, late: 0.3, line: 0.35, streaks: 0.3,
  pores: 0.12, ringPorous: 0.2, poreLength: 4, poreWidth: 0.16, poreShade: 0.4,
  rays: 0, rayLength: 2, rayWidth: 0.25, rayShade: 0.3,
};

const SPECIES: Record<string, Partial<Species>> = {
  walnut: {
    wood: [125, 88, 63], dark: [64, 42, 32], pale: [160, 121, 89],
    ring: 4, early: 0.06, late: 0.34, line: 0.36, streaks: 0.85,
    pores: 0.045, ringPorous: 0.5, poreLength: 6, poreWidth: 0.2, poreShade: 0.6,
  },
  ash: {
    wood: [217, 191, 154], dark: [164, 128, 88], pale: [232, 211, 178],
    ring: 4.2, early: 0.4, late: 0.06, line: 0.1, streaks: 0.2,
    pores: 0.13, ringPorous: 0.95, poreLength: 7, poreWidth: 0.24, poreShade: 0.5,
  },
  oak: {
    wood: [198, 162, 113], dark: [138, 102, 62], pale: [220, 188, 142],
    ring: 3.6, early: 0.36, late: 0.1, line: 0.12, streaks: 0.3,
    pores: 0.14, ringPorous: 0.88, poreLength: 8, poreWidth: 0.24, poreShade: 0.55,
    rays: 0.008, rayLength: 16, rayWidth: 0.35, rayShade: 0.42,
  },
  cherry: {
    wood: [182, 122, 80], dark: [136, 80, 50], pale: [205, 150, 108],
    ring: 3.6, early: 0.04, late: 0.26, line: 0.4, streaks: 0.4,
    pores: 0.08, ringPorous: 0.3, poreLength: 2.5, poreWidth: 0.1, poreShade: 0.35,
    rays: 0.02, rayLength: 1.5, rayWidth: 0.16, rayShade: 0.22,
  },
  maple: {
    wood: [228, 202, 166], dark: [186, 146, 104], pale: [240, 219, 189],
    ring: 3.2, early: 0.03, late: 0.14, line: 0.38, streaks: 0.25,
    pores: 0.07, ringPorous: 0.1, poreLength: 2.5, poreWidth: 0.1, poreShade: 0.25,
    rays: 0.03, rayLength: 1.2, rayWidth: 0.16, rayShade: 0.3,
  },
  beech: {
    wood: [213, 172, 134], dark: [160, 112, 76], pale: [228, 192, 156],
    ring: 2.8, early: 0.03, late: 0.2, line: 0.32, streaks: 0.18,
    pores: 0.06, ringPorous: 0.1, poreLength: 2, poreWidth: 0.1, poreShade: 0.25,
    rays: 0.11, rayLength: 2.8, rayWidth: 0.3, rayShade: 0.5,
  },
  birch: { wood: [223, 195, 154], dark: [178, 140, 98], pale: [237, 214, 178], late: 0.16, line: 0.3, pores: 0.08, poreShade: 0.3 },
  mahogany: { wood: [150, 84, 54], dark: [96, 50, 32], pale: [178, 110, 74], ring: 5, line: 0.3, streaks: 0.5, pores: 0.14, poreLength: 5, poreWidth: 0.24, poreShade: 0.55 },
  teak: { wood: [168, 120, 70], dark: [104, 70, 40], pale: [192, 146, 94], early: 0.35, late: 0.25, streaks: 0.7, pores: 0.16, ringPorous: 0.7, poreLength: 6, poreWidth: 0.24, poreShade: 0.6 },
  pine: { wood: [226, 190, 134], dark: [186, 128, 70], pale: [238, 210, 164], ring: 4, early: 0, late: 0.62, line: 0.55, streaks: 0.15, pores: 0 },
  elm: { wood: [176, 134, 92], dark: [120, 84, 54], pale: [200, 160, 118], early: 0.5, late: 0.15, streaks: 0.5, pores: 0.22, ringPorous: 0.8, poreLength: 6, poreWidth: 0.24, poreShade: 0.6 },
};

/** How a species looks. One whose name holds a known one ("white oak",
 * "oak-thin") looks like it; any other like a plain brown wood whose shade
 * depends on its name alone. */
export function species(name: string): Species {
  const key = name.toLowerCase();
  const known = Object.keys(SPECIES).find((k) => key === k) ?? Object.keys(SPECIES).find((k) => key.includes(k));
  if (known) return { ...base, ...SPECIES[known] };
  const turn = (hash(seedOf(key), 1, 2) - 0.5) * 0.3;
  const shift = (s: Shade): Shade => [s[0] * (1 + turn), s[1] * (1 + turn * 1.1), s[2] * (1 + turn * 1.2)];
  return { ...base, wood: shift(base.wood), dark: shift(base.dark), pale: shift(base.pale) };
}

/** A whole number from a text (FNV-1a, 32 bit). */
export function seedOf(text: string): number {
  let h = 0x811c9dc5;
  for (let i = 0; i < text.length; i++) h = Math.imul(h ^ text.charCodeAt(i), 0x01000193);
  return h >>> 0;
}

/** A number in 0..1 from three whole ones, the same each time. */
function hash(seed: number, x: number, y: number): number {
  let h = Math.imul(seed ^ Math.imul(x, 0x27d4eb2f) ^ Math.imul(y, 0x165667b1), 0x85ebca6b);
  h = Math.imul(h ^ (h >>> 13), 0xc2b2ae35);
  h = Math.imul(h ^ (h >>> 16), 0x27d4eb2f);
  return ((h ^ (h >>> 15)) >>> 0) / 4294967296;
}

const smooth = (t: number) => t * t * (3 - 2 * t);

/** Smooth noise in -1..1 that varies over about one unit. */
function noise(seed: number, x: number, y: number): number {
  const x0 = Math.floor(x);
  const y0 = Math.floor(y);
  const tx = smooth(x - x0);
  const ty = smooth(y - y0);
  const a = hash(seed, x0, y0);
  const b = hash(seed, x0 + 1, y0);
  const c = hash(seed, x0, y0 + 1);
  const d = hash(seed, x0 + 1, y0 + 1);
  return 2 * (a + (b - a) * tx + (c - a) * ty + (a - b - c + d) * tx * ty) - 1;
}

/** The rings of one log, from the pith outwards. */
class Rings {
  /** Of each 0.1 mm from the pith: the ring, and how far through it, 0..1. */
  readonly #through: Float32Array;
  readonly #number: Uint16Array;

  constructor(seed: number, mean: number, reach: number) {
    const n = Math.ceil(reach * 10) + 2;
    this.#through = new Float32Array(n);
    this.#number = new Uint16Array(n);
    let from = 0;
    let ring = 0;
    let width = mean;
    for (let i = 0; i < n; i++) {
      const r = i / 10;
      while (r >= from + width) {
        from += width;
        ring++;
        // Good and lean years come in runs, and within them each differs.
        width = mean * Math.max(0.3, 1 + 0.5 * noise(seed, ring / 6, 0.5) + 0.55 * (hash(seed, ring, 9) - 0.5));
      }
      this.#through[i] = (r - from) / width;
      this.#number[i] = ring;
    }
  }

  /** How far through its ring a place r mm from the pith is. */
  through(r: number): number {
    const f = Math.min(this.#through.length - 2, Math.max(0, r * 10));
    const i = Math.floor(f);
    const a = this.#through[i]!;
    const b = this.#through[i + 1]!;
    return b < a ? (f - i < 0.5 ? a : b) : a + (b - a) * (f - i);
  }

  number(r: number): number {
    return this.#number[Math.min(this.#number.length - 1, Math.max(0, Math.round(r * 10)))]!;
  }
}

/** Width in mm of the leaves that a sheet w mm wide is made up of. */
export function leafWidth(w: number): number {
  return w / Math.max(1, Math.round(w / 205));
}

/**
 * Draws a sheet of wood into out, which spans w mm across the grain and l mm
 * along it; row 0 lies at y = 0. The same name, seed and size give the same
 * picture.
 */
export function drawWood(out: Pixels, name: string, seed: number, w: number, l: number): void {
  const s = species(name);
  const px = out.width / w; // to the mm, across
  const py = out.height / l;
  const leaf = leafWidth(w);
  const half = leaf / 2;
  const pick = (i: number) => hash(seed, i, 77);

  // Where the plane of the cut lies in the log, mm.
  const depth = 52 + 50 * pick(1);
  const rise = (0.022 + 0.016 * pick(2)) * (pick(3) < 0.5 ? -1 : 1); // taper: the cut leaves the pith or nears it
  const off = (pick(4) - 0.5) * 0.35 * leaf; // of the cathedrals from the leaf's middle
  const rings = new Rings(seed, s.ring, 3 * leaf + l * 0.045 + 120);

  /** What depends on y alone: where the pith runs beside and below the cut. */
  const beside = (y: number) => off + 0.11 * leaf * noise(seed + 11, y / 620, 0.3) + 2.2 * noise(seed + 12, y / 130, 0.7);
  const below = (y: number) => depth + (rise > 0 ? rise * y : rise * (y - l)) + 9 * noise(seed + 13, y / 380, 0.1);

  /** Distance from the pith. */
  const radius = (x: number, y: number, b = beside(y), w = below(y)): number => {
    const k = Math.floor(x / leaf);
    const u = x - k * leaf - half - b;
    // Each leaf is cut 0.6 mm deeper than the last.
    const d = w + 0.6 * k + 1.6 * noise(seed + 14, u / 60, y / 90);
    // Rings are not round, and their lines shake.
    return (
      Math.sqrt(u * u + d * d) +
      1.5 * noise(seed + 15, u / 22, y / 160) +
      0.45 * noise(seed + 16, u / 5, y / 46) +
      0.16 * noise(seed + 17, u / 1.6, y / 15)
    );
  };

  const data = out.data;
  const [wood, dark, pale] = [s.wood, s.dark, s.pale];
  for (let j = 0, o = 0; j < out.height; j++) {
    const y = (j + 0.5) / py;
    const [b, u] = [beside(y), below(y)];
    for (let i = 0; i < out.width; i++, o += 4) {
      const x = (i + 0.5) / px;
      const r = radius(x, y, b, u);
      const t = rings.through(r);
      const ring = rings.number(r);
      const year = hash(seed + 21, ring, 3);
      // Shade within the ring: early wood fades out, late wood comes on, and
      // the line at its end stops sharply.
      const early = t < 0.4 ? (1 - smooth(Math.max(0, (t - 0.06) / 0.34))) * (0.55 + 0.75 * hash(seed + 28, ring, 4)) : 0;
      const late = smooth(Math.max(0, (t - 0.35) / 0.65));
      const line = t > 0.82 ? smooth((t - 0.82) / 0.18) : t < 0.05 ? 1 - t / 0.05 : 0;
      let shade = s.early * early + s.late * late * (0.55 + 0.9 * year) + s.line * line * (0.35 + year);
      // Streaks follow the rings, several at a time.
      const streak = noise(seed + 22, r / (s.ring * 3.1), y / 700) + 0.5 * noise(seed + 23, r / (s.ring * 1.2), y / 420);
      shade += 0.34 * s.streaks * streak;
      // Fibres: fine, long, faint.
      const fibre = noise(seed + 24, x * 1.9, y / 24) + 0.8 * noise(seed + 25, x * 0.8, y / 60);
      shade += 0.06 * fibre + 0.05 * noise(seed + 26, x / 70, y / 300);
      const k = Math.floor(x / leaf);
      const bright = 1 + 0.035 * (hash(seed + 27, k, 1) - 0.5) * 2;
      const down = Math.min(1, Math.max(0, shade));
      const up = Math.min(1, Math.max(0, -shade * 1.6));
      for (let c = 0; c < 3; c++) {
        const v = wood[c]! + (dark[c]! - wood[c]!) * down + (pale[c]! - wood[c]!) * up;
        data[o + c] = v * bright;
      }
      data[o + 3] = 255;
    }
  }

  /** Darkens a dash along the grain, mm, by up to a share of the way to a shade. */
  const dash = (x: number, y: number, length: number, width: number, shade: number, to: Shade) => {
    const i0 = Math.floor((x - width / 2) * px);
    const i1 = Math.floor((x + width / 2) * px);
    const j0 = Math.max(0, Math.floor(y * py));
    const j1 = Math.min(out.height - 1, Math.floor((y + length) * py));
    for (let i = Math.max(0, i0); i <= Math.min(out.width - 1, i1); i++) {
      // Only the part of the pixel that it covers.
      const cover = Math.min((i + 1) / px, x + width / 2) - Math.max(i / px, x - width / 2);
      for (let j = j0; j <= j1; j++) {
        const along = ((j + 0.5) / py - y) / length; // pointed at both ends
        const a = shade * Math.min(1, Math.max(0, cover) * px) * Math.sqrt(Math.max(0, 1 - (2 * along - 1) ** 2));
        const o = (j * out.width + i) * 4;
        for (let c = 0; c < 3; c++) data[o + c] = data[o + c]! + (to[c]! - data[o + c]!) * a;
      }
    }
  };

  const hole: Shade = [dark[0] * 0.62, dark[1] * 0.58, dark[2] * 0.56];
  const scatter = (salt: number, density: number, put: (x: number, y: number, n: number) => void) => {
    const count = Math.round(density * w * l);
    for (let n = 0; n < count; n++) put(hash(seed + salt, n, 1) * w, hash(seed + salt, n, 2) * (l + 20) - 20, n);
  };
  scatter(31, s.pores * 4, (x, y, n) => {
    const t = rings.through(radius(x, y));
    // Ring-porous woods have nearly all pores at the beginning of the year.
    const there = t < 0.34 ? 1 : t < 0.55 ? 1 - s.ringPorous * 0.75 : 1 - s.ringPorous;
    if (hash(seed + 32, n, 3) > there) return;
    const size = 0.5 + hash(seed + 33, n, 4);
    dash(x, y, s.poreLength * size, s.poreWidth * (0.7 + 0.6 * hash(seed + 34, n, 5)), s.poreShade, hole);
  });
  scatter(41, s.rays, (x, y, n) => {
    const size = 0.4 + 1.1 * hash(seed + 42, n, 4);
    dash(x, y, s.rayLength * size, s.rayWidth * (0.6 + 0.8 * hash(seed + 43, n, 5)), s.rayShade, dark);
  });
}
