// Pictures of veneer sheets: the maker's photograph straightened, or wood drawn
// from its species. Made aside, kept as long as they are of use.

import { drawWood, seedOf, species } from './wood';
import { straighten, type Pixels, type Point } from './warp';

/** What a picture of a sheet is made of. Two alike are the same picture. */
export interface Order {
  sheet: string;
  species: string;
  /** mm across and along the grain. */
  size: [number, number];
  photograph?: { url: string; corners: Point[] };
}

/** Pixels to the mm: fine enough for pores at arm's length, coarse enough that
 * ten sheets fit into a small graphics memory. */
const FINE = 1.2;
const LARGEST = 4096;

/** Of a first picture that is there at once. */
const ROUGH = 0.3;

export function pixelsOf(size: readonly [number, number], rough = false): [number, number] {
  const k = Math.min(rough ? ROUGH : FINE, LARGEST / Math.max(size[0], size[1]));
  return [Math.max(2, Math.round(size[0] * k)), Math.max(2, Math.round(size[1] * k))];
}

/** Makes the picture of a sheet, row 0 at y = 0. A photograph that cannot be
 * had or whose corners fix no map gives drawn wood; so does a rough picture,
 * which is small and shows until the fine one is there. */
export async function make(order: Order, rough = false): Promise<Pixels> {
  const [width, height] = pixelsOf(order.size, rough);
  const out: Pixels = { data: new Uint8ClampedArray(width * height * 4), width, height };
  if (order.photograph && !rough) {
    try {
      const { pixels, scale } = await photograph(order.photograph.url);
      if (straighten(out, pixels, order.photograph.corners.map(([x, y]) => [x * scale, y * scale]))) return out;
    } catch (err) {
      console.warn(`The photograph of sheet ${order.sheet} cannot be shown:`, err);
    }
  }
  drawWood(out, order.species, seedOf(order.sheet), order.size[0], order.size[1]);
  return out;
}

/** The photograph as the browser turns it, no larger than can be of use. */
async function photograph(url: string): Promise<{ pixels: Pixels; scale: number }> {
  const response = await fetch(url);
  if (!response.ok) throw new Error(`${url}: ${response.status}`);
  const image = await createImageBitmap(await response.blob());
  const scale = Math.min(1, LARGEST / Math.max(image.width, image.height));
  const [w, h] = [Math.max(1, Math.round(image.width * scale)), Math.max(1, Math.round(image.height * scale))];
  const canvas = new OffscreenCanvas(w, h);
  const context = canvas.getContext('2d', { willReadFrequently: true })!;
  context.drawImage(image, 0, 0, w, h);
  image.close();
  return { pixels: context.getImageData(0, 0, w, h), scale };
}

/** The one colour that stands for a veneer until its picture is there, sRGB 0..1. */
export function plainColour(name: string): [number, number, number] {
  const s = species(name);
  return [0, 1, 2].map((c) => (0.72 * s.wood[c]! + 0.28 * s.dark[c]!) / 255) as [number, number, number];
}
