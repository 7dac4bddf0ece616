// What the server's scene says: parts with their IDs and kinds, how they move
// while the piece is taken apart, and the box that it fills. Inside the scene
// lengths are millimetres with Z up; its root turns and scales them to the
// metres with Y up in which everything is drawn.

import { BufferAttribute, BufferGeometry, InstancedMesh, LineSegments, Matrix4, Mesh, Object3D, Vector3, type Material } from 'three';
import { GLTFLoader } from 'three/examples/jsm/loaders/GLTFLoader.js';

export type Kind = 'member' | 'body' | 'segment' | 'leaf' | 'dowel' | 'screw' | 'insert' | 'plug' | 'seam';

const KINDS = new Set<string>(['member', 'body', 'segment', 'leaf', 'dowel', 'screw', 'insert', 'plug', 'seam']);

/** What a node tells beside its shape, as the server writes it. */
export interface Extras {
  kind?: string;
  member?: string;
  body?: string;
  load?: string;
  pattern?: string;
  veneer?: string;
  species?: string;
  sheet?: string;
  sheetSize?: [number, number];
  /** Degrees from TEXCOORD_0's x to the grain; 90 on a sheet. */
  grain?: number;
  joint?: string;
  seam?: string;
  away?: [number, number, number];
  from?: number;
  to?: number;
  box?: number[];
  stages?: Stage[];
  stress?: number;
  moved?: number;
  strength?: number;
  case?: string;
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
  const b = out.extras.box;
  out.box = b?.length === 6 ? { min: [b[0]!, b[1]!, b[2]!], max: [b[3]!, b[4]!, b[5]!] } : measured(out.parts);
  for (const p of out.parts) if (p.kind === 'leaf') place(p);
  out.crowds = crowds(out.parts);
  takeApart(out, 0);
  return out;
}

function measured(parts: Part[]): PieceScene['box'] {
  const min: [number, number, number] = [Infinity, Infinity, Infinity];
  const max: [number, number, number] = [-Infinity, -Infinity, -Infinity];
  const v = new Vector3();
  for (const { object } of parts) {
    const at = object.geometry.getAttribute('position') as BufferAttribute;
    for (let i = 0; i < at.count; i++) {
      v.fromBufferAttribute(at, i).applyMatrix4(object.matrixWorld);
      const mm = [v.x * 1000, -v.z * 1000, v.y * 1000];
      for (let k = 0; k < 3; k++) {
        min[k] = Math.min(min[k]!, mm[k]!);
        max[k] = Math.max(max[k]!, mm[k]!);
      }
    }
  }
  return min[0] <= max[0] ? { min, max } : { min: [0, 0, 0], max: [0, 0, 0] };
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

/** Parts that share a shape are drawn in one call. */
function crowds(parts: Part[]): Crowd[] {
  const by = new Map<BufferGeometry, Part[]>();
  for (const p of parts) {
    if (!(p.object instanceof Mesh) || p.kind === 'leaf') continue;
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
