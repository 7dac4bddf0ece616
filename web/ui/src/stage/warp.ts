// A photograph of a sheet, straightened: the sheet's four corners in the
// picture fix a projective map, by which each point of the sheet is found.

export type Point = readonly [number, number];

/** A projective map of the plane: (x, y) goes to
 * ((a x + b y + c) / (g x + h y + 1), (d x + e y + f) / (g x + h y + 1)). */
export type Homography = readonly [number, number, number, number, number, number, number, number];

/** The map that takes the corners (0, 0), (w, 0), (w, l), (0, l) of a rectangle
 * to four points in that order, by eight linear equations. Null if three of the
 * points lie on a line, or nearly so. */
export function homography(w: number, l: number, to: readonly Point[]): Homography | null {
  if (to.length !== 4 || !(w > 0) || !(l > 0)) return null;
  const from: Point[] = [[0, 0], [w, 0], [w, l], [0, l]];
  const rows: number[][] = [];
  from.forEach(([x, y], i) => {
    const [u, v] = to[i]!;
    rows.push([x, y, 1, 0, 0, 0, -u * x, -u * y, u]);
    rows.push([0, 0, 0, x, y, 1, -v * x, -v * y, v]);
  });
  const area = (a: Point, b: Point, c: Point) => (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
  const turns = [0, 1, 2, 3].map((i) => area(to[i]!, to[(i + 1) % 4]!, to[(i + 2) % 4]!));
  const size = Math.max(...to.map((p) => Math.hypot(p[0] - to[0]![0], p[1] - to[0]![1])));
  // Corners seen from the front go round once in one sense.
  if (!turns.every((t) => Math.sign(t) === Math.sign(turns[0]!) && Math.abs(t) > 1e-6 * size * size)) return null;

  // Gauss with the largest pivot.
  for (let c = 0; c < 8; c++) {
    let p = c;
    for (let r = c + 1; r < 8; r++) if (Math.abs(rows[r]![c]!) > Math.abs(rows[p]![c]!)) p = r;
    if (rows[p]![c] === 0) return null;
    [rows[c], rows[p]] = [rows[p]!, rows[c]!];
    for (let r = 0; r < 8; r++) {
      if (r === c) continue;
      const k = rows[r]![c]! / rows[c]![c]!;
      if (k) for (let j = c; j < 9; j++) rows[r]![j]! -= k * rows[c]![j]!;
    }
  }
  return rows.map((r, i) => r[8]! / r[i]!) as unknown as Homography;
}

export function mapPoint(h: Homography, x: number, y: number): Point {
  const w = h[6] * x + h[7] * y + 1;
  return [(h[0] * x + h[1] * y + h[2]) / w, (h[3] * x + h[4] * y + h[5]) / w];
}

export interface Pixels {
  data: Uint8ClampedArray;
  width: number;
  height: number;
}

/** Straightens: out is filled with the sheet w mm by l mm, its row 0 at y = 0,
 * each pixel between the four nearest of the photograph. Corners are in pixels
 * of photo, from the picture's upper left corner. What lies outside the
 * photograph takes its edge. False, and nothing filled, if the corners fix no
 * map. */
export function straighten(out: Pixels, photo: Pixels, corners: readonly Point[]): boolean {
  const h = homography(out.width, out.height, corners);
  if (!h) return false;
  const { data, width, height } = photo;
  let o = 0;
  for (let y = 0; y < out.height; y++) {
    for (let x = 0; x < out.width; x++, o += 4) {
      const [u, v] = mapPoint(h, x + 0.5, y + 0.5);
      const fx = Math.min(width - 1, Math.max(0, u - 0.5));
      const fy = Math.min(height - 1, Math.max(0, v - 0.5));
      const x0 = Math.floor(fx);
      const y0 = Math.floor(fy);
      const x1 = Math.min(width - 1, x0 + 1);
      const y1 = Math.min(height - 1, y0 + 1);
      const tx = fx - x0;
      const ty = fy - y0;
      for (let c = 0; c < 3; c++) {
        const top = data[(y0 * width + x0) * 4 + c]! * (1 - tx) + data[(y0 * width + x1) * 4 + c]! * tx;
        const low = data[(y1 * width + x0) * 4 + c]! * (1 - tx) + data[(y1 * width + x1) * 4 + c]! * tx;
        out.data[o + c] = top * (1 - ty) + low * ty;
      }
      out.data[o + 3] = 255;
    }
  }
  return true;
}
