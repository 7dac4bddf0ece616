// Where patterns lie on their sheets, worked out from what plan.json says of
// itself: an outline turned by `rotation` about its origin and moved by x and y
// lies on its blank; a blank's grain runs `grain` degrees from its own X axis,
// a sheet's along its Y axis; the blank's lower left corner on the sheet is at
// sheet_x, sheet_y.

export type Point = readonly [number, number];

export interface Nest {
  patterns: { id: string; panel: string; outline: Point[]; x: number; y: number; rotation: number }[];
  panels: { id: string; sheet: string; sheet_x: number; sheet_y: number; width_mm: number; height_mm: number; grain: number }[];
  sheets: { id: string; width_mm: number; length_mm: number }[];
}

export interface Box {
  x: number;
  y: number;
  w: number;
  h: number;
}

function turned([x, y]: Point, degrees: number): Point {
  const a = (degrees * Math.PI) / 180;
  return [x * Math.cos(a) - y * Math.sin(a), x * Math.sin(a) + y * Math.cos(a)];
}

/** Outlines of a sheet's patterns on that sheet, by ID. */
export function onSheet(nest: Nest, sheet: string): Map<string, Point[]> {
  const out = new Map<string, Point[]>();
  for (const b of nest.panels.filter((b) => b.sheet === sheet)) {
    const corners = ([[0, 0], [b.width_mm, 0], [0, b.height_mm], [b.width_mm, b.height_mm]] as const).map((c) => turned(c, 90 - b.grain));
    const [x0, y0] = [Math.min(...corners.map((c) => c[0])), Math.min(...corners.map((c) => c[1]))];
    for (const p of nest.patterns.filter((p) => p.panel === b.id)) {
      out.set(
        p.id,
        p.outline.map((q) => {
          const [px, py] = turned(q, p.rotation);
          const [x, y] = turned([px + p.x, py + p.y], 90 - b.grain);
          return [x - x0 + b.sheet_x, y - y0 + b.sheet_y];
        }),
      );
    }
  }
  return out;
}

/** Area that a loop has in common with a box: the loop cut along the box's four
 * sides one after another (Sutherland and Hodgman 1974; the box is convex, and
 * parts that the cut joins by an edge there and back add nothing). */
export function common(loop: readonly Point[], box: Box): number {
  const sides: [0 | 1, number, 1 | -1][] = [[0, box.x, 1], [0, box.x + box.w, -1], [1, box.y, 1], [1, box.y + box.h, -1]];
  let rest = [...loop];
  for (const [axis, at, way] of sides) {
    const inside = (p: Point) => (p[axis] - at) * way >= 0;
    rest = rest.flatMap((p, i) => {
      const q = rest[(i + 1) % rest.length]!;
      const out: Point[] = inside(p) ? [p] : [];
      if (inside(p) !== inside(q)) {
        const t = (at - p[axis]) / (q[axis] - p[axis]);
        out.push([p[0] + t * (q[0] - p[0]), p[1] + t * (q[1] - p[1])]);
      }
      return out;
    });
  }
  const twice = rest.reduce((a, p, i) => {
    const q = rest[(i + 1) % rest.length]!;
    return a + p[0] * q[1] - q[0] * p[1];
  }, 0);
  return Math.abs(twice) / 2;
}
