// What things are made of to the eye. One kind of surface (a dull or a slightly
// shining one) with a few additions written into its shader: being chosen,
// pointed at or set back; glass; the back of a leaf; stress and movement.

import { Color, DataTexture, DoubleSide, FrontSide, LineBasicMaterial, MeshPhongMaterial, NearestFilter, SRGBColorSpace, Vector3, type Material, type Texture } from 'three';
import { stressColour, type RGB } from './colour';

/** How a part stands among the others. */
export const Tone = { plain: 0, back: 1, pointed: 2, chosen: 3 } as const;
export type Tone = (typeof Tone)[keyof typeof Tone];

/** In how many steps stress is coloured: so many can be matched with a legend. */
export const BANDS = 12;

interface Additions {
  glass?: number;
  backing?: RGB;
  stress?: boolean;
}

export class Paint {
  readonly #made = new Map<string, Material>();
  readonly #paper = { value: new Vector3(1, 1, 1) };
  readonly #glow = { value: new Vector3(1, 0.6, 0) };
  readonly #ramp: { value: DataTexture };
  /** MPa at the end of the ramp. */
  readonly limit = { value: 1 };
  /** By what movement is multiplied. */
  readonly exaggeration = { value: 0 };
  readonly #plastic = new Color();

  constructor() {
    const t = new DataTexture(new Uint8Array(BANDS * 4), BANDS, 1);
    t.colorSpace = SRGBColorSpace;
    t.minFilter = t.magFilter = NearestFilter;
    this.#ramp = { value: t };
  }

  /** Takes on the colours of the page. */
  theme(paper: RGB, glow: RGB, dark: boolean): void {
    this.#paper.value.set(...paper);
    this.#glow.value.set(...glow);
    this.#plastic.set(dark ? '#b9b4ab' : '#d9d4c9');
    const data = this.#ramp.value.image.data as Uint8Array;
    for (let i = 0; i < BANDS; i++) {
      const c = stressColour(i / (BANDS - 1), dark);
      data.set([...c.map((v) => Math.round(v * 255)), 255], i * 4);
    }
    this.#ramp.value.needsUpdate = true;
    this.clear();
  }

  wood(key: string, picture: Texture | null, plain: RGB, tone: Tone): Material {
    return this.#get(`wood ${key} ${picture ? picture.id : '-'} ${tone}`, () =>
      this.#add(
        new MeshPhongMaterial({ map: picture, color: picture ? '#ffffff' : new Color().setRGB(...plain, SRGBColorSpace), specular: '#1b1917', shininess: 22, side: DoubleSide }),
        tone,
        { backing: [0.66, 0.56, 0.44] },
      ),
    );
  }

  /** A printed core; of one colour where none is given. */
  core(colour: RGB | null, glass: number, tone: Tone): Material {
    return this.#get(`core ${colour} ${glass} ${tone}`, () => {
      const m = new MeshPhongMaterial({ color: colour ? new Color().setRGB(...colour, SRGBColorSpace) : this.#plastic, specular: '#141414', shininess: 30, side: FrontSide });
      if (glass) m.transparent = true;
      // Outlines drawn on it lie above it.
      m.polygonOffset = true;
      m.polygonOffsetFactor = 1;
      m.polygonOffsetUnits = 1;
      return this.#add(m, tone, { glass });
    });
  }

  metal(kind: 'screw' | 'insert' | 'dowel', tone: Tone): Material {
    return this.#get(`${kind} ${tone}`, () => {
      const m =
        kind === 'screw' ? new MeshPhongMaterial({ color: '#4d545c', specular: '#9aa0a8', shininess: 60 })
        : kind === 'insert' ? new MeshPhongMaterial({ color: '#a97e2f', specular: '#c9b074', shininess: 60 })
        : new MeshPhongMaterial({ color: '#cfa46e', specular: '#111111', shininess: 10 });
      return this.#add(m, tone, {});
    });
  }

  stressed(tone: Tone): Material {
    return this.#get(`stress ${tone}`, () => this.#add(new MeshPhongMaterial({ color: '#ffffff', specular: '#000000', shininess: 1 }), tone, { stress: true }));
  }

  line(colour: RGB, opacity: number): Material {
    return this.#get(`line ${colour} ${opacity}`, () => new LineBasicMaterial({ color: new Color().setRGB(...colour, SRGBColorSpace), transparent: opacity < 1, opacity }));
  }

  /** Forgets everything made of pictures that are gone and of colours past. */
  clear(): void {
    for (const m of this.#made.values()) m.dispose();
    this.#made.clear();
  }

  /** Forgets what none of these objects is made of. */
  sweep(used: ReadonlySet<Material>): void {
    for (const [key, m] of this.#made) {
      if (used.has(m)) continue;
      m.dispose();
      this.#made.delete(key);
    }
  }

  dispose(): void {
    this.clear();
    this.#ramp.value.dispose();
  }

  #get(key: string, make: () => Material): Material {
    let m = this.#made.get(key);
    if (!m) this.#made.set(key, (m = make()));
    return m;
  }

  #add(m: MeshPhongMaterial, tone: Tone, add: Additions): Material {
    const defines: Record<string, string> = {};
    if (add.glass) defines.GLASS = '';
    if (add.backing) defines.BACKING = '';
    if (add.stress) defines.STRESS = '';
    m.defines = { ...m.defines, ...defines };
    const own = {
      uTone: { value: tone },
      uPaper: this.#paper,
      uGlow: this.#glow,
      uGlass: { value: add.glass ?? 1 },
      uBacking: { value: new Color().setRGB(...(add.backing ?? [0, 0, 0]), SRGBColorSpace) },
      uRamp: this.#ramp,
      uLimit: this.limit,
      uMoved: this.exaggeration,
    };
    m.onBeforeCompile = (shader) => {
      Object.assign(shader.uniforms, own);
      shader.vertexShader = shader.vertexShader
        .replace('#include <common>', `#include <common>\n${VERTEX_HEAD}`)
        .replace('#include <begin_vertex>', `#include <begin_vertex>\n${VERTEX}`);
      shader.fragmentShader = shader.fragmentShader
        .replace('#include <common>', `#include <common>\n${FRAGMENT_HEAD}`)
        .replace('#include <color_fragment>', `#include <color_fragment>\n${SURFACE}`)
        .replace('#include <opaque_fragment>', `${LIT}\n#include <opaque_fragment>`)
        .replace('#include <dithering_fragment>', `#include <dithering_fragment>\n${LAST}`);
    };
    m.customProgramCacheKey = () => 'groundwork';
    return m;
  }
}

const VERTEX_HEAD = `
uniform float uTone;
varying float vTone;
#ifdef USE_INSTANCING
attribute float tone;
#endif
#ifdef STRESS
attribute float _stress;
attribute vec3 _moved;
uniform float uMoved;
varying float vStress;
#endif
`;
const VERTEX = `
#ifdef USE_INSTANCING
vTone = tone;
#else
vTone = uTone;
#endif
#ifdef STRESS
vStress = _stress;
transformed += _moved * uMoved;
#endif
`;
const FRAGMENT_HEAD = `
varying float vTone;
uniform vec3 uPaper;
uniform vec3 uGlow;
uniform float uGlass;
uniform vec3 uBacking;
#ifdef STRESS
uniform sampler2D uRamp;
uniform float uLimit;
varying float vStress;
#endif
`;
const SURFACE = `
#ifdef BACKING
if (!gl_FrontFacing) diffuseColor.rgb = uBacking;
#endif
#ifdef STRESS
diffuseColor.rgb = texture2D(uRamp, vec2(clamp(vStress / uLimit, 0.0, 0.9999), 0.5)).rgb;
#endif
`;
// Glass is seen best where it turns away. Stress keeps its colour in the shade.
const LIT = `
#ifdef GLASS
float away = 1.0 - abs(dot(normalize(vViewPosition), normal));
diffuseColor.a = mix(uGlass, min(1.0, uGlass + 0.45), away * away);
if (vTone > 0.5 && vTone < 1.5) diffuseColor.a *= 0.7;
#endif
#ifdef STRESS
outgoingLight = mix(diffuseColor.rgb, outgoingLight, 0.35);
#endif
`;
const LAST = `
if (vTone > 2.5) gl_FragColor.rgb = gl_FragColor.rgb * 1.12 + 0.03;
else if (vTone > 1.5) gl_FragColor.rgb = mix(gl_FragColor.rgb * 1.08, uGlow, 0.15);
else if (vTone > 0.5) gl_FragColor.rgb = mix(gl_FragColor.rgb, uPaper, 0.42);
`;
