// Colours of the stage: a sequence for print loads, a ramp for stress, and the
// arithmetic that both are judged by. Colours are sRGB, components 0..1.

export type RGB = readonly [number, number, number];

const toLinear = (c: number) => (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4);
const toGamma = (c: number) => (c <= 0.0031308 ? 12.92 * c : 1.055 * c ** (1 / 2.4) - 0.055);
const clamp = (c: number) => Math.min(1, Math.max(0, c));

export const linear = (c: RGB): RGB => [toLinear(c[0]), toLinear(c[1]), toLinear(c[2])];
export const gamma = (c: RGB): RGB => [toGamma(clamp(c[0])), toGamma(clamp(c[1])), toGamma(clamp(c[2]))];

/** OKLab (B. Ottosson, "A perceptual color space for image processing", 2020):
 * lightness 0..1, a green to red, b blue to yellow; distances in it are about
 * as large as they look. */
export function oklab(colour: RGB): RGB {
  const [r, g, b] = linear(colour);
  const l = Math.cbrt(0.4122214708 * r + 0.5363325363 * g + 0.0514459929 * b);
  const m = Math.cbrt(0.2119034982 * r + 0.6806995451 * g + 0.1073969566 * b);
  const s = Math.cbrt(0.0883024619 * r + 0.2817188376 * g + 0.6299787005 * b);
  return [
    0.2104542553 * l + 0.793617785 * m - 0.0040720468 * s,
    1.9779984951 * l - 2.428592205 * m + 0.4505937099 * s,
    0.0259040371 * l + 0.7827717662 * m - 0.808675766 * s,
  ];
}

/** The sRGB colour of an OKLab one, cut off at the screen's range. */
export function fromOklab([L, a, b]: RGB): RGB {
  const l = (L + 0.3963377774 * a + 0.2158037573 * b) ** 3;
  const m = (L - 0.1055613458 * a - 0.0638541728 * b) ** 3;
  const s = (L - 0.0894841775 * a - 1.291485548 * b) ** 3;
  return gamma([
    4.0767416621 * l - 3.3077115913 * m + 0.2309699292 * s,
    -1.2684380046 * l + 2.6097574011 * m - 0.3413193965 * s,
    -0.0041960863 * l - 0.7034186147 * m + 1.707614701 * s,
  ]);
}

/** How far apart two colours look: distance in OKLab. */
export function difference(p: RGB, q: RGB): number {
  const a = oklab(p);
  const b = oklab(q);
  return Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]);
}

/** Ratio of contrast as WCAG 2.2 defines it, 1..21. */
export function contrast(p: RGB, q: RGB): number {
  const light = (c: RGB) => {
    const [r, g, b] = linear(c);
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const a = light(p);
  const b = light(q);
  return (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
}

export const hex = (c: RGB) =>
  '#' + c.map((v) => Math.round(clamp(v) * 255).toString(16).padStart(2, '0')).join('');

export function parse(text: string): RGB {
  const n = parseInt(text.slice(1), 16);
  return [((n >> 16) & 255) / 255, ((n >> 8) & 255) / 255, (n & 255) / 255];
}

/** Reads what getComputedStyle gives for a colour: rgb(…), rgba(…) or
 * color(srgb …). Null for one that is wholly transparent or not understood. */
export function parseComputed(text: string): RGB | null {
  const n = text.match(/-?[\d.]+(e-?\d+)?%?/g)?.map((v) => (v.endsWith('%') ? parseFloat(v) / 100 : parseFloat(v)));
  if (!n || n.length < 3 || (n.length > 3 && n[3] === 0)) return null;
  if (text.startsWith('rgb')) return [n[0]! / 255, n[1]! / 255, n[2]! / 255];
  if (text.startsWith('color(srgb')) return [n[0]!, n[1]!, n[2]!];
  if (text.startsWith('oklab')) return fromOklab([n[0]!, n[1]!, n[2]!]);
  if (text.startsWith('oklch')) {
    const h = (n[2]! * Math.PI) / 180;
    return fromOklab([n[0]!, n[1]! * Math.cos(h), n[1]! * Math.sin(h)]);
  }
  return null;
}

// Eight colours found by search over 1451 of lightness 0.46..0.845 and chroma up
// to 0.125 for the largest least distance in OKLab between any two, as seen
// with all cones and without the long, the middle or the short ones; in the
// order in which each is farthest from those before it. colour.test.ts measures
// what came of it.
const LOADS = ['#e27d8e', '#804810', '#9196ec', '#d4c35c', '#4f576f', '#858614', '#6ad3e5', '#4875bf'].map(parse);

/** The colour of the n-th print load, from 0. The ninth begins anew, darker or
 * lighter: there the legend and the name at the pointer tell loads apart. */
export function loadColour(n: number): RGB {
  const colour = LOADS[n % LOADS.length]!;
  const round = Math.floor(n / LOADS.length);
  if (round === 0) return colour;
  const [L, a, b] = oklab(colour);
  return fromOklab([L > 0.65 === round % 2 > 0 ? L - 0.14 : L + 0.14, a * 0.7, b * 0.7]);
}

/** The ramp for stress: t from 0 (none) to 1 (the strength and more). From
 * straw over red to violet its lightness falls evenly; on a dark page it runs
 * the other way. So the most stressed place stands out most from the page, and
 * the order reads without colour vision. */
export function stressColour(t: number, dark: boolean): RGB {
  const u = dark ? 1 - clamp(t) : clamp(t);
  const hue = ((95 - 165 * u) * Math.PI) / 180;
  const chroma = 0.055 + 0.085 * Math.sin(Math.PI * Math.min(1, 0.15 + 0.75 * u));
  return fromOklab([0.92 - 0.6 * u, chroma * Math.cos(hue), chroma * Math.sin(hue)]);
}
