// Reads binary glTF 2.0 (Khronos Group, glTF 2.0 Specification, 2.0.1) as far as
// the server writes it: one buffer, floats and 32 bit indices that follow one
// another closely, one primitive to a mesh. Whatever is otherwise is an error.

import { BufferAttribute, BufferGeometry, LineSegments, Matrix4, Mesh, MeshBasicMaterial, Object3D } from 'three';

interface File {
  scene?: number;
  scenes: { nodes: number[] }[];
  nodes: Node[];
  meshes?: { primitives: { attributes: Record<string, number>; indices?: number; mode?: number }[] }[];
  accessors?: { bufferView: number; byteOffset?: number; componentType: number; count: number; type: string }[];
  bufferViews?: { buffer: number; byteOffset?: number; byteLength: number; byteStride?: number }[];
}

interface Node {
  name?: string;
  mesh?: number;
  children?: number[];
  matrix?: number[];
  translation?: [number, number, number];
  rotation?: [number, number, number, number];
  extras?: Record<string, unknown>;
}

/** How many numbers each type has, and what attributes are called when drawn. */
const sizes: Record<string, number> = { SCALAR: 1, VEC2: 2, VEC3: 3 };
const names: Record<string, string> = { POSITION: 'position', NORMAL: 'normal', TEXCOORD_0: 'uv', _STRESS: '_stress', _MOVED: '_moved' };

/** The nodes of a file as a tree: names and extras are in userData. Nodes of one
 * mesh share its geometry. Throws if it is not such a file. */
export function readGLB(data: ArrayBuffer): Object3D {
  const { json, bin } = chunks(data);
  const file = JSON.parse(json) as File;

  const accessor = (index: number): BufferAttribute => {
    const a = need(file.accessors?.[index], 'accessor');
    const view = need(file.bufferViews?.[a.bufferView], 'buffer view');
    const size = need(sizes[a.type], 'known type');
    const Array = need(({ 5125: Uint32Array, 5126: Float32Array } as const)[a.componentType as 5125 | 5126], 'known component');
    const within = a.byteOffset ?? 0;
    if (view.buffer !== 0 || !bin || (view.byteStride ?? 4 * size) !== 4 * size || within + 4 * size * a.count > view.byteLength) throw new Error('a buffer view is not as it should be');
    // The constructor throws where this leaves the chunk, or is not aligned.
    return new BufferAttribute(new Array(data, bin.start + (view.byteOffset ?? 0) + within, size * a.count), size);
  };

  const stuff = new MeshBasicMaterial();
  const meshes = (file.meshes ?? []).map(({ primitives: [p, ...more] }) => {
    if (!p || more.length) throw new Error('a mesh has not one primitive');
    const geometry = new BufferGeometry();
    for (const [name, index] of Object.entries(p.attributes)) geometry.setAttribute(names[name] ?? name.toLowerCase(), accessor(index));
    if (p.indices !== undefined) geometry.setIndex(accessor(p.indices));
    if (p.mode !== undefined && p.mode !== 1 && p.mode !== 4) throw new Error(`mode ${p.mode} is not known`);
    return () => (p.mode === 1 ? new LineSegments(geometry, stuff) : new Mesh(geometry, stuff));
  });

  const build = (index: number, depth: number): Object3D => {
    if (depth > file.nodes.length) throw new Error('nodes hang on themselves');
    const n = need(file.nodes[index], 'node');
    const object = n.mesh === undefined ? new Object3D() : need(meshes[n.mesh], 'mesh')();
    object.name = n.name ?? '';
    object.userData = { ...n.extras, name: object.name };
    if (n.matrix) object.applyMatrix4(new Matrix4().fromArray(n.matrix));
    if (n.translation) object.position.fromArray(n.translation);
    if (n.rotation) object.quaternion.fromArray(n.rotation);
    for (const c of n.children ?? []) object.add(build(c, depth + 1));
    return object;
  };
  const root = new Object3D();
  for (const n of need(file.scenes[file.scene ?? 0], 'scene').nodes) root.add(build(n, 0));
  return root;
}

/** The two chunks of a file: its text, and where its data lie. */
function chunks(data: ArrayBuffer): { json: string; bin: { start: number } | null } {
  const view = new DataView(data);
  const word = (at: number) => view.getUint32(at, true);
  if (data.byteLength < 20 || word(0) !== 0x46546c67 || word(4) !== 2 || word(8) !== data.byteLength || word(16) !== 0x4e4f534a) throw new Error('this is no binary glTF 2.0');
  const end = 20 + word(12);
  const json = new TextDecoder().decode(new Uint8Array(data, 20, word(12)));
  if (end === data.byteLength) return { json, bin: null };
  if (word(end + 4) !== 0x004e4942 || end + 8 + word(end) > data.byteLength) throw new Error('the data are not as they should be');
  return { json, bin: { start: end + 8 } };
}

function need<T>(x: T | undefined, what: string): T {
  if (x === undefined) throw new Error(`there is no such ${what}`);
  return x;
}
