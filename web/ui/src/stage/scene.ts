// What the server's scene says: parts with their IDs and kinds, how they move
// while the piece is taken apart, and the box that it fills. Inside the scene
// lengths are millimetres with Z up; its root turns and scales them to the
// metres with Y up in which everything is drawn.

import { BufferAttribute, BufferGeometry, InstancedMesh, LineSegments, Matrix4, Mesh, Object3D, Vector3, type Material } from 'three';
import { GLTFLoader } from 'three/examples/jsm/loaders/GLTFLoader.js';

export type Kind = 'member' | 'body' | 'segment' | 'leaf' | 'dowel' | 'screw' | 'insert' | 'plug' | 'seam' | 'fixture';

const KINDS = new Set<string>(['member', 'body', 'segment', 'leaf', 'dowel', 'screw', 'insert', 'plug', 'seam', 'fixture']);

/** What a node tells beside its shape, as the server writes it. */
export interface Extras {
  kind?: string;
  member?: string;
  body?: string;
  load?: string;
  pattern?: string;
  veneer?: string;
  /** Thickness with backing and adhesive, mm. */
  stack?: number;
  species?: string;
  sheet?: string;
  sheetSize?: [number, number];
  /** Degrees from TEXCOORD_0's x to the grain; 90 on a sheet. */
  grain?: number;
  joint?: string;
  seam?: string;
  /** That a part of a fixture belongs to; the operation it is for, and the
   * clamping in which it lies so. */
  fixture?: string;
  step?: string;
  clamping?: string;
  away?: [number, number, number];
  from?: number;
  to?: number;
  box?: number[];
  stages?: Stage[];
  stress?: number;
  moved?: number;
  strength?: number;
  case?: number;
}

/** A part of taking apart. */
export interface Stage {
  what: string;
  from: number;
  to: number;
}

/** A thing that is drawn and can be pointed at. */
export interface Part {
  id: string;
  kind: Kind;
  extras: Extras;
  object: Mesh | LineSegments;
}

interface Mover {
  object: Object3D;
  home: Vector3;
  away: Vector3;
  from: number;
  to: number;
}

/** Many alike, drawn at once: their own objects are not drawn. */
export interface Crowd {
  mesh: InstancedMesh;
  parts: Part[];
}

export interface PieceScene {
  root: Object3D;
  parts: Part[];
  movers: Mover[];
  crowds: Crowd[];
  extras: Extras;
  /** Least and greatest corner, mm, together. */
  box: { min: [number, number, number]; max: [number, number, number] };
}

/** How far a part is on its way, 0..1, starting and ending gently. */
export function share(apart: number, from: number, to: number): number {
  if (to <= from) return apart >= to && apart > 0 ? 1 : 0;
  const t = Math.min(1, Math.max(0, (apart - from) / (to - from)));
  return t * t * (3 - 2 * t);
}

/** Reads binary glTF. */
export async function readScene(data: ArrayBuffer): Promise<PieceScene> {
  const gltf = await new GLTFLoader().parseAsync(data, '');
  return understand(gltf.scene);
}

/** Finds the parts of a tree of nodes. Names are taken as they were written:
 * the loader strips them of dots and slashes. */
export function understand(root: Object3D): PieceScene {
  const out: PieceScene = { root, parts: [], movers: [], crowds: [], extras: {}, box: { min: [0, 0, 0], max: [0, 0, 0] } };
  const stock = new Set<Material>();
  root.traverse((object) => {
    const extras = object.userData as Extras & { name?: string };
    if (extras.kind === 'piece') out.extras = extras;
    if (extras.away) {
      out.movers.push({ object, home: object.position.clone(), away: new Vector3(...extras.away), from: extras.from ?? 0, to: extras.to ?? 1 });
    }
    if (object instanceof Mesh || object instanceof LineSegments) {
      // The look decides what things are made of.
      for (const m of [object.material].flat()) stock.add(m as Material);
      if (KINDS.has(extras.kind ?? '')) {
        out.parts.push({ id: extras.name ?? object.name, kind: extras.kind as Kind, extras, object });
      }
    }
  });
  for (const m of stock) m.dispose();
  root.updateMatrixWorld(true);
  for (const p of out.parts) {
    if (p.kind !== 'leaf') continue;
    place(p);
    thicken(p.object.geometry, p.extras.stack ?? STACK);
  }
  out.box = measured(out.parts, out.extras.box);
  out.crowds = crowds(out.parts);
  takeApart(out, 0);
  return out;
}

/** The box of all but the hardware, which may be turned any way and lies inside,
 * and of fixtures, which lie outside.
 * Laps that stand proud do not count as size: no farther than a leaf's thickness
 * from the cores, if their box is told. */
function measured(parts: Part[], cores?: number[]): PieceScene['box'] {
  const min: [number, number, number] = [Infinity, Infinity, Infinity];
  const max: [number, number, number] = [-Infinity, -Infinity, -Infinity];
  for (const p of parts) {
    if (p.kind === 'screw' || p.kind === 'insert' || p.kind === 'dowel' || p.kind === 'plug' || p.kind === 'seam' || p.kind === 'fixture') continue;
    for (const v of corners(p)) {
      const mm = [v.x * 1000, 0 - v.z * 1000, v.y * 1000];
      for (let k = 0; k < 3; k++) {
        // To a hundredth: single precision has no more to say.
        min[k] = Math.min(min[k]!, Math.round(mm[k]! * 100) / 100);
        max[k] = Math.max(max[k]!, Math.round(mm[k]! * 100) / 100);
      }
    }
  }
  if (!(min[0] <= max[0])) return { min: [0, 0, 0], max: [0, 0, 0] };
  if (cores?.length === 6) {
    const leaf = Math.max(0, ...parts.filter((p) => p.kind === 'leaf').map((p) => p.extras.stack ?? STACK));
    for (let k = 0; k < 3; k++) {
      // What differs from the cores by a hair only is their size.
      const near = (a: number, b: number) => (Math.abs(a - b) < 0.15 ? b : a);
      min[k] = near(Math.max(min[k]!, cores[k]! - leaf), cores[k]!);
      max[k] = near(Math.min(max[k]!, cores[k + 3]! + leaf), cores[k + 3]!);
    }
  }
  return { min, max };
}

/** How thick a leaf is shown where the scene does not tell, mm. */
const STACK = 0.8;

/** Gives a leaf its edge: from the border of its show side straight down, so
 * that no gap shows where two leaves meet at an arris. */
export function thicken(geometry: BufferGeometry, thickness: number): void {
  const { index } = geometry;
  const position = geometry.getAttribute('position');
  const normal = geometry.getAttribute('normal');
  const uv = geometry.getAttribute('uv');
  if (!index || !normal) return;
  // Sides that belong to one triangle only, in its sense.
  const sides = new Map<number, [number, number]>();
  const n = position.count;
  for (let i = 0; i < index.count; i += 3) {
    for (let k = 0; k < 3; k++) {
      const a = index.getX(i + k);
      const b = index.getX(i + ((k + 1) % 3));
      if (!sides.delete(b * n + a)) sides.set(a * n + b, [a, b]);
    }
  }
  const p: number[] = [];
  const q: number[] = [];
  const t: number[] = [];
  const tri: number[] = [];
  const [a, b, na, nb, e] = [new Vector3(), new Vector3(), new Vector3(), new Vector3(), new Vector3()];
  for (const [i, j] of sides.values()) {
    a.fromBufferAttribute(position as BufferAttribute, i);
    b.fromBufferAttribute(position as BufferAttribute, j);
    na.fromBufferAttribute(normal as BufferAttribute, i);
    nb.fromBufferAttribute(normal as BufferAttribute, j);
    e.subVectors(b, a).cross(na).normalize();
    const base = n + p.length / 3;
    for (const [v, m] of [[a, na], [b, nb]] as const) p.push(v.x, v.y, v.z, v.x - m.x * thickness, v.y - m.y * thickness, v.z - m.z * thickness);
    for (let k = 0; k < 4; k++) q.push(e.x, e.y, e.z);
    if (uv) for (const k of [i, i, j, j]) t.push(uv.getX(k), uv.getY(k));
    tri.push(base, base + 1, base + 3, base, base + 3, base + 2);
  }
  const grown = (old: ArrayLike<number>, more: number[]) => {
    const out = new Float32Array(old.length + more.length);
    out.set(old);
    out.set(more, old.length);
    return out;
  };
  const flat = (x: { count: number; itemSize: number; getComponent(i: number, k: number): number }) => {
    const out = new Float32Array(x.count * x.itemSize);
    for (let i = 0; i < x.count; i++) for (let k = 0; k < x.itemSize; k++) out[i * x.itemSize + k] = x.getComponent(i, k);
    return out;
  };
  const all = new Uint32Array(index.count + tri.length);
  for (let i = 0; i < index.count; i++) all[i] = index.getX(i);
  all.set(tri, index.count);
  geometry.setAttribute('position', new BufferAttribute(grown(flat(position), p), 3));
  geometry.setAttribute('normal', new BufferAttribute(grown(flat(normal), q), 3));
  if (uv) geometry.setAttribute('uv', new BufferAttribute(grown(flat(uv), t), 2));
  geometry.setIndex(new BufferAttribute(all, 1));
  geometry.boundingBox = null;
  geometry.boundingSphere = null;
}

/** What a leaf that has no place on a sheet yet is shown on, mm. */
export const STAND_IN: [number, number] = [610, 2440];

/** Turns places in mm into shares of the sheet, as textures want them. A leaf
 * whose sheet is not known yet lies on a stand-in of the same veneer, turned to
 * its grain, at a spot that depends on its ID alone. */
function place(part: Part): void {
  const { geometry } = part.object;
  const uv = geometry.getAttribute('uv') as BufferAttribute | undefined;
  if (!uv) return;
  const { sheet, sheetSize, grain = 90 } = part.extras;
  const [w, l] = sheet && sheetSize ? sheetSize : STAND_IN;
  const turn = ((90 - grain) * Math.PI) / 180;
  const [cos, sin] = sheet ? [1, 0] : [Math.cos(turn), Math.sin(turn)];
  let [x0, y0] = [0, 0];
  if (!sheet) {
    let n = 7;
    for (const c of part.id) n = (n * 31 + c.charCodeAt(0)) % 9973;
    [x0, y0] = [w * (0.15 + 0.7 * ((n % 97) / 97)), l * (0.15 + 0.7 * ((n % 89) / 89))];
  }
  const out = new Float32Array(uv.count * 2);
  for (let i = 0; i < uv.count; i++) {
    const x = uv.getX(i);
    const y = uv.getY(i);
    out[2 * i] = (x0 + x * cos - y * sin) / w;
    out[2 * i + 1] = (y0 + x * sin + y * cos) / l;
  }
  geometry.setAttribute('uv', new BufferAttribute(out, 2));
}

/** Parts that share a shape are drawn in one call; but fixtures are not, some of
 * which are set back as glass among others alike. */
function crowds(parts: Part[]): Crowd[] {
  const by = new Map<BufferGeometry, Part[]>();
  for (const p of parts) {
    if (!(p.object instanceof Mesh) || p.kind === 'leaf' || p.kind === 'fixture') continue;
    by.set(p.object.geometry, [...(by.get(p.object.geometry) ?? []), p]);
  }
  const out: Crowd[] = [];
  for (const [geometry, alike] of by) {
    if (alike.length < 2) continue;
    const mesh = new InstancedMesh(geometry, undefined, alike.length);
    mesh.frustumCulled = false;
    mesh.castShadow = false;
    for (const p of alike) p.object.visible = false;
    out.push({ mesh, parts: alike });
  }
  return out;
}

const scratch = new Matrix4();

/** Moves everything to where it is when the piece is taken apart so far. */
export function takeApart(scene: PieceScene, apart: number): void {
  for (const m of scene.movers) m.object.position.copy(m.home).addScaledVector(m.away, share(apart, m.from, m.to));
  scene.root.updateMatrixWorld(true);
  for (const c of scene.crowds) {
    c.parts.forEach((p, i) => c.mesh.setMatrixAt(i, scratch.copy(p.object.matrixWorld)));
    c.mesh.instanceMatrix.needsUpdate = true;
  }
}

/** The eight corners of what a part fills now, in drawn coordinates. */
export function corners(part: Part): Vector3[] {
  const { geometry, matrixWorld } = part.object;
  if (!geometry.boundingBox) geometry.computeBoundingBox();
  const { min, max } = geometry.boundingBox!;
  const out: Vector3[] = [];
  for (const x of [min.x, max.x]) for (const y of [min.y, max.y]) for (const z of [min.z, max.z]) out.push(new Vector3(x, y, z).applyMatrix4(matrixWorld));
  return out;
}

/** Gives back what the graphics memory holds of a scene. */
export function dispose(scene: PieceScene): void {
  for (const c of scene.crowds) c.mesh.dispose();
  for (const g of new Set(scene.parts.map((p) => p.object.geometry))) g.dispose();
}
