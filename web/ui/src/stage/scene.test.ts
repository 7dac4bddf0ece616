import { BoxGeometry, BufferAttribute, BufferGeometry, Group, LineSegments, Matrix4, Mesh, MeshBasicMaterial, Vector3 } from 'three';
import { describe, expect, it, vi } from 'vitest';
import { dispose, readScene, share, STAND_IN, takeApart, thicken, understand, type Extras } from './scene';

/** A leaf w by h mm at z, its show side up, places on the sheet from (x, y). */
function leafGeometry(w: number, h: number, z: number, x = 0, y = 0): BufferGeometry {
  const g = new BufferGeometry();
  g.setAttribute('position', new BufferAttribute(new Float32Array([0, 0, z, w, 0, z, w, h, z, 0, h, z]), 3));
  g.setAttribute('normal', new BufferAttribute(new Float32Array([0, 0, 1, 0, 0, 1, 0, 0, 1, 0, 0, 1]), 3));
  g.setAttribute('uv', new BufferAttribute(new Float32Array([x, y, x + w, y, x + w, y + h, x, y + h]), 2));
  g.setIndex([0, 1, 2, 0, 2, 3]);
  return g;
}

function node<T extends Mesh | LineSegments | Group>(o: T, name: string, extras: Extras): T {
  o.userData = { name, ...extras };
  return o;
}

function piece(): Group {
  const root = node(new Group(), 'stool', { kind: 'piece', box: [0, 0, 0, 200, 100, 20] });
  root.matrixAutoUpdate = false;
  root.matrix.set(0.001, 0, 0, 0, 0, 0, 0.001, 0, 0, -0.001, 0, 0, 0, 0, 0, 1);
  const body = node(new Group(), 'top', { kind: 'body', away: [0, 0, 50], from: 0.2, to: 0.6 });
  const core = new BoxGeometry(200, 100, 20);
  core.translate(100, 50, 10);
  body.add(node(new Mesh(core), 'top/1', { kind: 'segment', member: 'top', load: 'load-01' }));
  body.add(node(new Mesh(leafGeometry(200, 100, 20.8, 30, 40)), 'top/face', { kind: 'leaf', member: 'top', sheet: 'oak-1', sheetSize: [600, 2400], grain: 90, away: [0, 0, 30], from: 0.6, to: 1 }));
  const dowel = new BoxGeometry(8, 8, 30);
  for (let i = 0; i < 3; i++) {
    const m = node(new Mesh(dowel), `joint-1/dowel-${i}`, { kind: 'dowel', joint: 'joint-1' });
    m.position.set(50 * i, 50, 10);
    body.add(m);
  }
  root.add(body);
  return root;
}

describe('share', () => {
  it('starts gently at from, ends gently at to, and holds before and after', () => {
    expect([0, 0.2, 0.6, 1].map((t) => share(t, 0.2, 0.6))).toEqual([0, 0, 1, 1]);
    expect(share(0.4, 0.2, 0.6)).toBeCloseTo(0.5, 12);
    let last = 0;
    for (let t = 0; t <= 1; t += 0.01) {
      const s = share(t, 0.2, 0.6);
      expect(s).toBeGreaterThanOrEqual(last);
      expect(s - last).toBeLessThan(0.04);
      last = s;
    }
    expect(share(0, 0, 0)).toBe(0);
    expect(share(0.5, 0.5, 0.5)).toBe(1);
  });
});

describe('a scene', () => {
  it('has its parts by their written names, its size, and alike things drawn at once', () => {
    const s = understand(piece());
    expect(s.parts.map((p) => [p.id, p.kind])).toEqual([
      ['top/1', 'segment'], ['top/face', 'leaf'], ['joint-1/dowel-0', 'dowel'], ['joint-1/dowel-1', 'dowel'], ['joint-1/dowel-2', 'dowel'],
    ]);
    expect(s.box).toEqual({ min: [0, 0, 0], max: [200, 100, 20.8] });
    expect(s.crowds.map((c) => c.parts.length)).toEqual([3]);
    expect(s.crowds[0]!.parts.every((p) => !p.object.visible)).toBe(true);
  });

  it('is taken apart and put together again exactly; what hangs on a body goes along', () => {
    const s = understand(piece());
    const z = (id: string) => new Vector3().setFromMatrixPosition(s.parts.find((p) => p.id === id)!.object.matrixWorld).y * 1000;
    const together = s.parts.map((p) => p.object.matrixWorld.clone());
    takeApart(s, 0.6);
    expect(z('top/1')).toBeCloseTo(50, 9);
    expect(z('top/face')).toBeCloseTo(50, 9);
    takeApart(s, 1);
    expect(z('top/face')).toBeCloseTo(80, 9);
    // The crowd stands where its parts do.
    const m = new Matrix4();
    s.crowds[0]!.parts.forEach((p, i) => {
      s.crowds[0]!.mesh.getMatrixAt(i, m);
      m.elements.forEach((v, k) => expect(v).toBeCloseTo(p.object.matrixWorld.elements[k]!, 6));
    });
    takeApart(s, 0);
    s.parts.forEach((p, i) => expect(p.object.matrixWorld.equals(together[i]!)).toBe(true));
  });

  it('places a leaf on its sheet in shares of it', () => {
    const s = understand(piece());
    const uv = s.parts[1]!.object.geometry.getAttribute('uv');
    expect([uv.getX(0) * 600, uv.getY(0) * 2400]).toEqual([expect.closeTo(30, 4), expect.closeTo(40, 4)]);
    expect([uv.getX(2) * 600, uv.getY(2) * 2400]).toEqual([expect.closeTo(230, 4), expect.closeTo(140, 4)]);
  });

  it('turns a leaf without a sheet to the grain, at its true size', () => {
    const root = new Group();
    root.add(node(new Mesh(leafGeometry(200, 100, 0)), 'a', { kind: 'leaf', grain: 0 }));
    const uv = understand(root).parts[0]!.object.geometry.getAttribute('uv');
    // 200 mm along the pattern's x, where the grain runs, are 200 mm along the sheet.
    const [dx, dy] = [(uv.getX(1) - uv.getX(0)) * STAND_IN[0], (uv.getY(1) - uv.getY(0)) * STAND_IN[1]];
    expect(dx).toBeCloseTo(0, 3);
    expect(Math.abs(dy)).toBeCloseTo(200, 3);
  });

  it('does not count a lap that stands proud as size, nor a hair', () => {
    const root = piece();
    const body = root.children[0]!;
    body.add(node(new Mesh(leafGeometry(200, 100, 22)), 'top/lap', { kind: 'leaf', stack: 0.8 }));
    body.add(node(new Mesh(leafGeometry(200, 100.1, 5)), 'top/hair', { kind: 'leaf', stack: 0.8 }));
    expect(understand(root).box.max).toEqual([200, 100, 20.8]);
  });

  it('gives everything back', () => {
    const s = understand(piece());
    const gone = new Set<unknown>();
    for (const g of new Set(s.parts.map((p) => p.object.geometry))) g.addEventListener('dispose', () => gone.add(g));
    const mesh = vi.fn();
    s.crowds[0]!.mesh.addEventListener('dispose', mesh);
    dispose(s);
    expect(gone.size).toBe(3);
    expect(mesh).toHaveBeenCalledOnce();
  });

  it('throws away the materials of the file', () => {
    const root = new Group();
    const m = new MeshBasicMaterial();
    const thrown = vi.fn();
    m.addEventListener('dispose', thrown);
    root.add(node(new Mesh(new BoxGeometry(), m), 'a', { kind: 'segment' }));
    understand(root);
    expect(thrown).toHaveBeenCalledOnce();
  });
});

describe('thicken', () => {
  it('closes the rim of a leaf: edges outward, of the right height, inner sides untouched', () => {
    const g = leafGeometry(200, 100, 20.8);
    thicken(g, 0.8);
    const at = g.getAttribute('position');
    const n = g.getAttribute('normal');
    const index = g.index!;
    expect(at.count).toBe(4 + 4 * 4);
    expect(index.count).toBe(6 + 4 * 6);
    g.computeBoundingBox();
    expect(g.boundingBox!.min.z).toBeCloseTo(20, 5);
    const [a, b, c, out] = [new Vector3(), new Vector3(), new Vector3(), new Vector3()];
    let area = 0;
    for (let i = 6; i < index.count; i += 3) {
      a.fromBufferAttribute(at as BufferAttribute, index.getX(i));
      b.fromBufferAttribute(at as BufferAttribute, index.getX(i + 1));
      c.fromBufferAttribute(at as BufferAttribute, index.getX(i + 2));
      out.fromBufferAttribute(n as BufferAttribute, index.getX(i));
      const cross = b.clone().sub(a).cross(c.clone().sub(a));
      area += cross.length() / 2;
      expect(cross.normalize().dot(out)).toBeCloseTo(1, 5); // wound as its normal says
      const middle = a.add(b).add(c).divideScalar(3).sub(new Vector3(100, 50, 20.4));
      expect(middle.dot(out)).toBeGreaterThan(0); // outward
    }
    expect(area).toBeCloseTo(2 * (200 + 100) * 0.8, 3);
  });
});

describe('reading', () => {
  /** A file of one triangle, written by hand from the specification. */
  function glb(): ArrayBuffer {
    const bin = new Float32Array([0, 0, 0, 100, 0, 0, 0, 100, 0, 1, 2, 3]);
    const json = JSON.stringify({
      asset: { version: '2.0' }, scene: 0, scenes: [{ nodes: [0] }],
      nodes: [
        { name: 'stool', children: [1], matrix: [0.001, 0, 0, 0, 0, 0, -0.001, 0, 0, 0.001, 0, 0, 0, 0, 0, 1], extras: { kind: 'piece', stress: 3, moved: 0.1 } },
        { name: 'leg-1.a/edge:2', mesh: 0, extras: { kind: 'body', body: 'leg-1' } },
      ],
      meshes: [{ primitives: [{ attributes: { POSITION: 0, _STRESS: 1 } }] }],
      accessors: [
        { bufferView: 0, componentType: 5126, count: 3, type: 'VEC3', min: [0, 0, 0], max: [100, 100, 0] },
        { bufferView: 1, componentType: 5126, count: 3, type: 'SCALAR' },
      ],
      bufferViews: [{ buffer: 0, byteLength: 36 }, { buffer: 0, byteOffset: 36, byteLength: 12 }],
      buffers: [{ byteLength: 48 }],
    }).padEnd(4 * Math.ceil(9999 / 4));
    const text = new TextEncoder().encode(json.slice(0, 4 * Math.ceil(json.trimEnd().length / 4)));
    const out = new ArrayBuffer(12 + 8 + text.length + 8 + bin.byteLength);
    const v = new DataView(out);
    [0x46546c67, 2, out.byteLength, text.length, 0x4e4f534a].forEach((x, i) => v.setUint32(4 * i, x, true));
    new Uint8Array(out).set(text, 20);
    v.setUint32(20 + text.length, bin.byteLength, true);
    v.setUint32(24 + text.length, 0x004e4942, true);
    new Uint8Array(out).set(new Uint8Array(bin.buffer), 28 + text.length);
    return out;
  }

  it('takes names as written, metres and Y up, and fields of points', async () => {
    const s = await readScene(glb());
    expect(s.parts.map((p) => p.id)).toEqual(['leg-1.a/edge:2']);
    expect(s.extras.stress).toBe(3);
    expect(s.box).toEqual({ min: [0, 0, 0], max: [100, 100, 0] });
    expect(Array.from(s.parts[0]!.object.geometry.getAttribute('_stress').array)).toEqual([1, 2, 3]);
  });

  it('refuses what is no scene', async () => {
    await expect(readScene(new ArrayBuffer(7))).rejects.toThrow();
  });
});
