// The drawing itself: one canvas, drawn when something changed and not before.

import {
  Color, DirectionalLight, EdgesGeometry, Group, HemisphereLight, InstancedBufferAttribute, LineSegments, Material, Mesh,
  PCFShadowMap, PerspectiveCamera, PlaneGeometry, Raycaster, Scene, ShadowMaterial, SRGBColorSpace, Vector2, Vector3, WebGLRenderer, type Object3D,
} from 'three';
import { LineMaterial } from 'three/examples/jsm/lines/LineMaterial.js';
import { LineSegments2 } from 'three/examples/jsm/lines/LineSegments2.js';
import { LineSegmentsGeometry } from 'three/examples/jsm/lines/LineSegmentsGeometry.js';
import { axes, between, eye, fit, nearer, shift, turn, viewFrom, type From, type Pose } from './camera';
import { loadColour, type RGB } from './colour';
import { dimensions, drawn, type Dimension } from './measure';
import { Paint, Tone } from './paint';
import { Pictures } from './pictures';
import { corners, dispose, STAND_IN, takeApart, type Kind, type Part, type PieceScene } from './scene';
import { plainColour, type Order } from './sheets';
import type { Point } from './warp';

export type Look = 'piece' | 'cores' | 'veneer' | 'fixtures' | 'strength';

export interface Theme {
  paper: RGB;
  ink: RGB;
  /** Of what is chosen or pointed at. */
  glow: RGB;
  dark: boolean;
}

export interface Photograph {
  sheet: string;
  url: string;
  corners: Point[];
}

/** Operations of the job that fixtures are for. The place of one among all gives
 * its colour; only: those of this one alone are drawn. */
export interface Operations {
  all: readonly string[];
  only: string | null;
}

/** Whom the view tells. */
export interface Listener {
  /** A frame was drawn. */
  drawn(): void;
  /** The graphics memory was lost; when it is back, another view must be made:
   * what this one had there is gone. */
  lost(back: boolean): void;
}

const FOV = 26;
const TAN = Math.tan((FOV * Math.PI) / 360);
/** px kept free round the piece for its dimensions. */
const MARGIN = 64;
/** s that a look from elsewhere takes. */
const GLIDE = 0.38;

const SHOWN: Record<Look, ReadonlySet<Kind>> = {
  piece: new Set(['leaf', 'member', 'segment', 'plug', 'screw', 'dowel', 'insert']),
  cores: new Set(['member', 'segment', 'plug', 'screw', 'dowel', 'insert', 'seam']),
  veneer: new Set(['leaf', 'member', 'segment']),
  fixtures: new Set(['member', 'segment', 'seam', 'fixture']),
  strength: new Set(['body', 'member', 'segment']),
};

export class View {
  readonly canvas: HTMLCanvasElement;
  readonly #renderer: WebGLRenderer;
  readonly #scene = new Scene();
  readonly #camera = new PerspectiveCamera(FOV, 1, 0.01, 100);
  readonly #sun = new DirectionalLight('#fff7ee', 1.9);
  readonly #lamp = new DirectionalLight('#ffffff', 0.7);
  readonly #sky = new HemisphereLight('#ffffff', '#b3a898', 2.1);
  readonly #ground: Mesh<PlaneGeometry, ShadowMaterial>;
  readonly #paint = new Paint();
  readonly #pictures: Pictures;
  readonly #listener: Listener;
  readonly #ray = new Raycaster();
  readonly #outline = new Group();
  readonly #outlineMaterials: [LineMaterial, LineMaterial];

  #piece: PieceScene | null = null;
  #edges = new Map<Part, LineSegments>();
  #theme: Theme = { paper: [1, 1, 1], ink: [0, 0, 0], glow: [1, 0.5, 0], dark: false };
  #look: Look = 'piece';
  #photographs: readonly Photograph[] = [];
  #loads: string[] = [];
  #operations: Operations = { all: [], only: null };
  #chosen: ReadonlySet<Part> = new Set();
  #pointed: ReadonlySet<Part> = new Set();
  #apart = 0;
  #apartWanted = 0;
  #pose: Pose = { ...viewFrom('corner'), distance: 2, target: new Vector3() };
  #glide: { from: Pose; to: Pose; t: number } | null = null;
  /** The whole is kept in the picture until the maker goes nearer or shifts. */
  #framed = true;
  #asked = 0;
  #last = 0;
  #moved = true;
  #dressed = false;
  #gone = false;
  #still = false;
  /** Drawn by the processor: without what costs most there, and coarsely while
   * something moves. */
  readonly #slow: boolean;
  #coarse = 0;
  frames = 0;

  /** Throws if the browser has no WebGL 2. pose: where another view stood. */
  constructor(canvas: HTMLCanvasElement, listener: Listener, pose?: Pose) {
    if (pose) {
      this.#pose = pose;
      this.#framed = false;
    }
    this.canvas = canvas;
    this.#listener = listener;
    this.#slow = software();
    this.#renderer = new WebGLRenderer({ canvas, antialias: !this.#slow, powerPreference: 'default' });
    this.#renderer.shadowMap.enabled = true;
    this.#renderer.shadowMap.type = PCFShadowMap;
    this.#renderer.shadowMap.autoUpdate = false;
    this.#pictures = new Pictures(this.#slow ? 1 : Math.min(8, this.#renderer.capabilities.getMaxAnisotropy()), () => this.#redress());

    this.#sun.castShadow = true;
    this.#sun.shadow.mapSize.set(1024, 1024);
    this.#sun.shadow.radius = 5;
    this.#sun.shadow.bias = -0.0006;
    this.#sun.shadow.normalBias = 0.0012;
    this.#ground = new Mesh(new PlaneGeometry(1, 1), new ShadowMaterial({ opacity: 0.14 }));
    this.#ground.rotation.x = -Math.PI / 2;
    this.#ground.receiveShadow = true;
    this.#scene.add(this.#sun, this.#sun.target, this.#lamp, this.#lamp.target, this.#sky, this.#ground, this.#outline);
    this.#outlineMaterials = [
      new LineMaterial({ linewidth: 2.5, transparent: true }),
      new LineMaterial({ linewidth: 1.5, transparent: true, opacity: 0.4, depthTest: false }),
    ];

    canvas.addEventListener('webglcontextlost', this.#onLost);
    canvas.addEventListener('webglcontextrestored', this.#onRestored);
  }

  #onLost = (event: Event) => {
    event.preventDefault(); // or it would never come back
    this.#gone = true;
    cancelAnimationFrame(this.#asked);
    this.#listener.lost(false);
  };

  #onRestored = () => this.#listener.lost(true);

  // --- What is shown ---------------------------------------------------------

  /** Replaces what is shown, in one frame. anew: another piece, seen from the
   * corner; otherwise the eye stays where it is. */
  show(piece: PieceScene | null, anew: boolean): void {
    const old = this.#piece;
    if (old) {
      this.#scene.remove(old.root);
      for (const c of old.crowds) this.#scene.remove(c.mesh);
    }
    this.#dropEdges();
    this.#piece = piece;
    this.#chosen = new Set();
    this.#pointed = new Set();
    if (piece) {
      this.#scene.add(piece.root);
      for (const c of piece.crowds) {
        c.mesh.geometry.setAttribute('tone', new InstancedBufferAttribute(new Float32Array(c.parts.length), 1));
        this.#scene.add(c.mesh);
      }
      takeApart(piece, this.#apart);
      const { min, max } = piece.box;
      const size = Math.max(max[0] - min[0], max[1] - min[1], max[2] - min[2]) / 1000 || 1;
      this.#ground.scale.setScalar(size * 40);
      this.#ground.position.copy(drawn((min[0] + max[0]) / 2, (min[1] + max[1]) / 2, min[2])).y -= 0.0005;
      if (anew) {
        this.#glide = null;
        this.#framed = true;
        this.#pose = { ...this.#pose, ...viewFrom('corner') };
        this.#pose = this.#fitted(this.#pose, this.#apart);
      }
    }
    this.#moved = true;
    this.#redress();
    if (old) dispose(old);
    this.#pictures.sweep();
    this.#paint.sweep(this.#used());
  }

  get piece(): PieceScene | null {
    return this.#piece;
  }

  get apart(): number {
    return this.#apart;
  }

  set look(look: Look) {
    if (look === this.#look) return;
    this.#look = look;
    this.#moved = true;
    this.#redress();
  }

  set theme(theme: Theme) {
    this.#theme = theme;
    this.#paint.theme(theme.paper, theme.glow, theme.dark);
    this.#renderer.setClearColor(new Color().setRGB(...theme.paper, SRGBColorSpace), 1);
    this.#ground.material.opacity = theme.dark ? 0.36 : 0.14;
    this.#sky.intensity = theme.dark ? 1.85 : 2.1;
    for (const m of this.#outlineMaterials) m.color.setRGB(...theme.glow, SRGBColorSpace);
    this.#redress();
  }

  set photographs(photographs: readonly Photograph[]) {
    this.#photographs = photographs;
    this.#redress();
  }

  /** Print loads in order; the place of a load gives its colour. */
  set loads(loads: string[]) {
    this.#loads = loads;
    this.#redress();
  }

  set operations(operations: Operations) {
    this.#operations = operations;
    this.#moved = true;
    this.#redress();
  }

  /** Glides there unless still motion was asked for. */
  set apartWanted(apart: number) {
    this.#apartWanted = Math.min(1, Math.max(0, apart));
    this.invalidate();
  }

  /** No gliding: everything is at once where it goes. */
  set still(still: boolean) {
    this.#still = still;
  }

  /** MPa at which the ramp ends, and by what movement is multiplied. */
  strength(limit: number, exaggeration: number): void {
    this.#paint.limit.value = Math.max(1e-9, limit);
    this.#paint.exaggeration.value = exaggeration;
    this.#moved = true;
    this.invalidate();
  }

  // --- Choosing and pointing -------------------------------------------------

  /** Marks parts; with bring, the eye goes where the chosen can be seen. */
  mark(chosen: (p: Part) => boolean, pointed: (p: Part) => boolean, bring: boolean): void {
    if (!this.#piece) return;
    this.#chosen = new Set(this.#piece.parts.filter(chosen));
    this.#pointed = new Set(this.#piece.parts.filter(pointed));
    this.#redress();
    if (bring) this.#bringIntoView();
  }

  /** The part at a place of the canvas, px. Through glass, what is in it. */
  pick(x: number, y: number): Part | null {
    if (!this.#piece) return null;
    const { clientWidth: w, clientHeight: h } = this.canvas;
    this.#camera.updateMatrixWorld();
    this.#ray.setFromCamera(new Vector2((2 * x) / w - 1, 1 - (2 * y) / h), this.#camera);
    return this.#first(this.#ray)?.part ?? null;
  }

  #first(ray: Raycaster): { part: Part; distance: number } | null {
    const by = new Map<Object3D, Part>();
    for (const p of this.#piece!.parts) if (this.#shown(p) && p.object instanceof Mesh) by.set(p.object, p);
    const hits = ray.intersectObjects([...by.keys()], false).map((h) => ({ part: by.get(h.object)!, distance: h.distance }));
    if (this.#look === 'fixtures') return hits.find((h) => h.part.kind === 'fixture') ?? hits[0] ?? null;
    if (this.#look === 'cores') {
      const inside = hits.find((h) => h.part.kind !== 'segment' && h.part.kind !== 'member');
      if (inside) return inside;
    }
    if (this.#look === 'veneer') return hits.find((h) => h.part.kind === 'leaf') ?? null;
    return hits[0] ?? null;
  }

  /** A place of the canvas at which a part can be pointed at, or null. */
  where(part: Part): { x: number; y: number } | null {
    this.#camera.updateMatrixWorld();
    for (const p of this.#samples(part, 48)) {
      const at = this.#project(p);
      if (at.x < 0 || at.y < 0 || at.x > this.canvas.clientWidth || at.y > this.canvas.clientHeight) continue;
      if (this.pick(at.x, at.y) === part) return at;
    }
    // A large part of which little is seen: look through its box in the picture.
    const box = corners(part).map((p) => this.#project(p));
    const [xs, ys] = [box.map((p) => p.x), box.map((p) => p.y)];
    const [x0, x1] = [Math.max(0, Math.min(...xs)), Math.min(this.canvas.clientWidth, Math.max(...xs))];
    const [y0, y1] = [Math.max(0, Math.min(...ys)), Math.min(this.canvas.clientHeight, Math.max(...ys))];
    for (let i = 0.5; i < 12; i++) {
      for (let j = 0.5; j < 12; j++) {
        const at = { x: x0 + ((x1 - x0) * i) / 12, y: y0 + ((y1 - y0) * j) / 12 };
        if (x1 > x0 && y1 > y0 && this.pick(at.x, at.y) === part) return at;
      }
    }
    return null;
  }

  /** Points of a part's surface, in drawn coordinates. */
  #samples(part: Part, most: number): Vector3[] {
    const { geometry, matrixWorld } = part.object;
    const at = geometry.getAttribute('position');
    const index = geometry.index;
    const count = Math.floor((index ? index.count : at.count) / 3);
    const out: Vector3[] = [];
    const v = new Vector3();
    const step = Math.max(1, Math.floor(count / most));
    for (let t = 0; t < count && out.length < most; t += step) {
      const middle = new Vector3();
      for (let k = 0; k < 3; k++) middle.add(v.fromBufferAttribute(at, index ? index.getX(3 * t + k) : 3 * t + k));
      out.push(middle.divideScalar(3).applyMatrix4(matrixWorld));
    }
    return out;
  }

  #bringIntoView(): void {
    const parts = [...this.#chosen].filter((p) => this.#shown(p));
    if (!parts.length) return;
    const points = parts.flatMap(corners);
    const goal = this.#glide?.to ?? this.#pose;
    // In the picture, and large enough to be seen?
    const placed = this.#at(goal, () => points.map((p) => this.#project(p)));
    const [w, h] = [this.canvas.clientWidth, this.canvas.clientHeight];
    const xs = placed.map((p) => p.x);
    const ys = placed.map((p) => p.y);
    const inside = Math.min(...xs) >= 0 && Math.max(...xs) <= w && Math.min(...ys) >= 0 && Math.max(...ys) <= h;
    const large = Math.max(Math.max(...xs) - Math.min(...xs), Math.max(...ys) - Math.min(...ys)) > 22;
    const largest = parts.sort((a, b) => span(b) - span(a)).slice(0, 4);
    const samples = largest.flatMap((p) => this.#samples(p, 6));
    const seen = this.#seen(samples, goal);
    if (inside && large && seen > 0.1) return;

    let [azimuth, elevation, best] = [goal.azimuth, goal.elevation, seen];
    if (seen <= 0.1) {
      for (const up of [0.4, -0.35, 1.1]) {
        for (let k = 1; k < 8; k++) {
          const a = goal.azimuth + (k * Math.PI) / 4;
          const s = this.#seen(samples, { ...goal, azimuth: a, elevation: up });
          if (s > best + 0.15) [azimuth, elevation, best] = [a, up, s];
        }
      }
    }
    const whole = this.#fitted({ ...goal, azimuth, elevation }, this.#apartWanted);
    if (inside && large) return this.#glideTo(this.#framed ? whole : { ...goal, azimuth, elevation });
    const close = fit(points, azimuth, elevation, TAN * 0.4 * this.#camera.aspect, TAN * 0.4);
    // No nearer than a tenth of the whole: what is round it tells where it is.
    close.distance = Math.max(close.distance, whole.distance * (large ? 0.25 : 0.12));
    this.#framed = false;
    this.#glideTo(close);
  }

  /** What share of points of the chosen can be seen from a pose. */
  #seen(points: Vector3[], pose: Pose): number {
    const from = eye(pose);
    let n = 0;
    for (const p of points) {
      const way = p.clone().sub(from);
      const length = way.length();
      this.#ray.set(from, way.divideScalar(length));
      const hit = this.#first(this.#ray);
      if (!hit || this.#chosen.has(hit.part) || hit.distance > length - 0.0005) n++;
    }
    return points.length ? n / points.length : 0;
  }

  // --- The eye ---------------------------------------------------------------

  turn(right: number, up: number): void {
    this.#go(turn(this.#goal(), right, up));
  }

  shift(right: number, up: number): void {
    this.#framed = false;
    this.#go(shift(this.#goal(), right, up, TAN));
  }

  /** factor below 1 goes nearer, towards a place of the canvas, px. */
  nearer(factor: number, x = this.canvas.clientWidth / 2, y = this.canvas.clientHeight / 2): void {
    const h = this.canvas.clientHeight / 2 || 1;
    this.#framed = false;
    const whole = this.#fitted(this.#pose, this.#apart).distance;
    this.#go(nearer(this.#goal(), factor, (x - this.canvas.clientWidth / 2) / h, (h - y) / h, TAN, whole * 0.03, whole * 4));
  }

  from(view: From): void {
    this.#framed = true;
    this.#glideTo(this.#fitted({ ...this.#pose, ...viewFrom(view) }, this.#apartWanted));
  }

  /** All of it, from where it is looked at now. */
  fit(): void {
    this.#framed = true;
    this.#glideTo(this.#fitted(this.#goal(), this.#apartWanted));
  }

  #goal(): Pose {
    return this.#glide?.to ?? this.#pose;
  }

  #go(pose: Pose): void {
    if (this.#framed) pose = this.#fitted(pose, this.#apart);
    this.#glide = null;
    this.#pose = pose;
    this.#moves();
    this.invalidate();
  }

  #glideTo(to: Pose): void {
    if (this.#still) return this.#go(to);
    this.#glide = { from: this.#pose, to, t: 0 };
    this.invalidate();
  }

  #fitted(pose: Pose, apart: number): Pose {
    if (!this.#piece) return pose;
    const [w, h] = [this.canvas.clientWidth || 1, this.canvas.clientHeight || 1];
    const k = Math.max(0.4, 1 - (2 * MARGIN) / Math.min(w, h));
    return fit(this.#hull(apart), pose.azimuth, pose.elevation, (TAN * w * k) / h, TAN * k);
  }

  /** Points that hold everything when it is taken apart so far. */
  #hull(apart: number): Vector3[] {
    const piece = this.#piece!;
    const now = this.#apart;
    const { min, max } = piece.box;
    const out: Vector3[] = [];
    for (const x of [min[0], max[0]]) for (const y of [min[1], max[1]]) for (const z of [min[2], max[2]]) out.push(drawn(x, y, z));
    if (apart === 0 && this.#look === 'fixtures') for (const p of piece.parts) if (p.kind === 'fixture' && this.#shown(p)) out.push(...corners(p));
    if (apart > 0) {
      if (apart !== now) takeApart(piece, apart);
      for (const p of piece.parts) out.push(...corners(p));
      if (apart !== now) takeApart(piece, now);
    }
    return out;
  }

  // --- Drawing ---------------------------------------------------------------

  resize(): void {
    const [w, h] = [this.canvas.clientWidth, this.canvas.clientHeight];
    if (!w || !h) return;
    this.#grain();
    this.#camera.aspect = w / h;
    this.#camera.updateProjectionMatrix();
    for (const m of this.#outlineMaterials) m.resolution.set(w, h);
    if (this.#framed) this.#pose = this.#fitted(this.#pose, this.#apart);
    this.invalidate();
  }

  /** As many pixels as the screen has, at most four to the CSS pixel. */
  #grain(): void {
    const ratio = this.#slow ? (this.#coarse ? 0.5 : 1) : Math.min(2, window.devicePixelRatio || 1);
    this.#renderer.setPixelRatio(ratio);
    this.#renderer.setSize(this.canvas.clientWidth, this.canvas.clientHeight, false);
  }

  /** Something moves: coarse until it has rested a moment. */
  #moves(): void {
    if (!this.#slow) return;
    const fresh = !this.#coarse;
    clearTimeout(this.#coarse);
    this.#coarse = window.setTimeout(() => {
      this.#coarse = 0;
      if (this.#gone) return;
      this.#grain();
      this.invalidate();
    }, 250);
    if (fresh) this.#grain();
  }

  /** Asks for a frame. */
  invalidate(): void {
    if (this.#asked || this.#gone) return;
    this.#asked = requestAnimationFrame(this.#frame);
  }

  #frame = (now: number) => {
    this.#asked = 0;
    const dt = Math.min(0.05, this.#last ? (now - this.#last) / 1000 : 0.016);
    this.#last = now;
    let going = false;
    if (this.#glide || this.#apart !== this.#apartWanted) this.#moves();
    if (this.#apart !== this.#apartWanted) {
      const rest = this.#apartWanted - this.#apart;
      this.#apart = this.#still || Math.abs(rest) < 0.002 ? this.#apartWanted : this.#apart + rest * (1 - Math.exp(-dt / 0.07));
      if (this.#piece) takeApart(this.#piece, this.#apart);
      this.#moved = true;
      if (this.#framed && !this.#glide) this.#pose = this.#fitted(this.#pose, this.#apart);
      going = this.#apart !== this.#apartWanted;
    }
    if (this.#glide) {
      const g = this.#glide;
      g.t = Math.min(1, g.t + dt / GLIDE);
      this.#pose = between(g.from, g.to, g.t);
      if (g.t === 1) this.#glide = null;
      else going = true;
    }
    this.draw();
    if (going) this.invalidate();
    else this.#last = 0;
  };

  draw(): void {
    if (this.#gone) return;
    if (!this.#dressed) this.#dress();
    this.#aim(this.#pose);
    if (this.#moved) {
      this.#light();
      this.#renderer.shadowMap.needsUpdate = true;
      for (const o of this.#outline.children) o.matrix.copy((o.userData.of as Part).object.matrixWorld);
      this.#moved = false;
    }
    this.#renderer.render(this.#scene, this.#camera);
    this.frames++;
    this.#listener.drawn();
  }

  #aim(pose: Pose): void {
    const a = axes(pose.azimuth, pose.elevation);
    this.#camera.position.copy(eye(pose));
    this.#camera.up.copy(a.up);
    this.#camera.lookAt(pose.target);
    const reach = this.#reach();
    this.#camera.near = Math.max(0.004, pose.distance - reach * 3);
    this.#camera.far = pose.distance + reach * 8;
    this.#camera.updateProjectionMatrix();
    this.#camera.updateMatrixWorld(true);
    this.#lamp.position.copy(this.#camera.position).addScaledVector(a.right, -0.3 * pose.distance);
    this.#lamp.target.position.copy(pose.target);
    this.#lamp.target.updateMatrixWorld();
  }

  #reach(): number {
    if (!this.#piece) return 1;
    const { min, max } = this.#piece.box;
    return Math.hypot(max[0] - min[0], max[1] - min[1], max[2] - min[2]) / 1000 || 1;
  }

  /** The sun stands to the left in front, above; its shadows hold everything. */
  #light(): void {
    if (!this.#piece) return;
    const points = this.#hull(this.#apart);
    const middle = points.reduce((s, p) => s.add(p), new Vector3()).divideScalar(points.length);
    const radius = points.reduce((r, p) => Math.max(r, p.distanceTo(middle)), 0) * 1.05;
    this.#sun.position.copy(middle).add(new Vector3(-0.45, 1.5, 0.62).multiplyScalar(radius * 2));
    this.#sun.target.position.copy(middle);
    this.#sun.target.updateMatrixWorld();
    const c = this.#sun.shadow.camera;
    c.left = c.bottom = -radius;
    c.right = c.top = radius;
    c.near = 0.1 * radius;
    c.far = 8 * radius;
    c.updateProjectionMatrix();
  }

  #project(p: Vector3): { x: number; y: number } {
    const v = p.clone().project(this.#camera);
    return { x: ((v.x + 1) / 2) * this.canvas.clientWidth, y: ((1 - v.y) / 2) * this.canvas.clientHeight };
  }

  #at<T>(pose: Pose, f: () => T): T {
    this.#aim(pose);
    try {
      return f();
    } finally {
      this.#aim(this.#pose);
    }
  }

  /** Dimension lines over the picture; none when the piece is apart. */
  dimensions(): Dimension[] {
    if (!this.#piece || this.#apart > 0.004) return [];
    const [w, h] = [this.canvas.clientWidth, this.canvas.clientHeight];
    const inside = (x: number, y: number) => x >= 0 && y >= 0 && x <= w && y <= h;
    return dimensions(this.#piece.box, (p) => this.#project(p)).filter(
      ({ line: l }) => inside(l.x1, l.y1) && inside(l.x2, l.y2),
    );
  }

  // --- Dressing --------------------------------------------------------------

  #shown(p: Part): boolean {
    if (!SHOWN[this.#look].has(p.kind)) return false;
    if (p.kind === 'fixture' && this.#operations.only !== null && p.extras.step !== this.#operations.only) return false;
    return this.#look !== 'strength' || p.object.geometry.hasAttribute('_stress');
  }

  #redress(): void {
    this.#dressed = false;
    this.invalidate();
  }

  #tone(p: Part): Tone {
    if (this.#pointed.has(p)) return Tone.pointed;
    if (this.#chosen.has(p)) return Tone.chosen;
    return this.#chosen.size ? Tone.back : Tone.plain;
  }

  #order(p: Part): Order {
    const { sheet, sheetSize, veneer = '', species } = p.extras;
    const photo = this.#photographs.find((f) => f.sheet === sheet);
    const order: Order = { sheet: sheet ?? `${veneer} of no sheet`, species: species ?? veneer, size: sheet && sheetSize ? sheetSize : STAND_IN };
    if (photo) order.photograph = { url: photo.url, corners: photo.corners };
    return order;
  }

  #loadColour(p: Part): RGB | null {
    const n = p.extras.load ? this.#loads.indexOf(p.extras.load) : -1;
    return n < 0 ? null : loadColour(n);
  }

  #material(p: Part, tone: Tone): Material {
    switch (p.kind) {
      case 'leaf': {
        const order = this.#order(p);
        const picture = this.#pictures.get(order);
        return this.#paint.wood(JSON.stringify(order), picture, plainColour(order.species), tone);
      }
      case 'screw':
      case 'insert':
      case 'dowel':
        return this.#paint.metal(p.kind, tone);
      case 'fixture':
        return this.#paint.core(loadColour(Math.max(0, this.#operations.all.indexOf(p.extras.step ?? ''))), tone === Tone.back ? 0.06 : 0, tone);
      case 'seam':
        return this.#paint.line(tone === Tone.chosen || tone === Tone.pointed ? this.#theme.glow : this.#theme.ink, tone === Tone.back ? 0.25 : 1);
      default:
        if (this.#look === 'strength') return this.#paint.stressed(tone);
        if (this.#look === 'cores') return this.#paint.core(this.#loadColour(p), 0.52, tone);
        if (this.#look === 'veneer') return this.#paint.core(null, 0.08, tone);
        if (this.#look === 'fixtures') return this.#paint.core(null, 0.3, tone);
        return this.#paint.core(null, 0, tone);
    }
  }

  #dress(): void {
    this.#dressed = true;
    const piece = this.#piece;
    if (!piece) return;
    this.#moved ||= this.#look === 'fixtures'; // those that are set back cast no shadow
    const crowded = new Set<Part>();
    for (const c of piece.crowds) {
      c.mesh.visible = this.#shown(c.parts[0]!);
      const tone = c.mesh.geometry.getAttribute('tone') as InstancedBufferAttribute;
      c.parts.forEach((p, i) => {
        crowded.add(p);
        tone.setX(i, this.#tone(p));
      });
      tone.needsUpdate = true;
      c.mesh.material = this.#material(c.parts[0]!, Tone.plain);
    }
    for (const p of piece.parts) {
      if (crowded.has(p)) continue;
      const shown = this.#shown(p);
      p.object.visible = shown;
      if (!shown) continue;
      p.object.material = this.#material(p, this.#tone(p));
      const glass = p.object.material.transparent;
      p.object.castShadow = p.kind !== 'seam' && !(glass && (this.#look === 'veneer' || p.kind === 'fixture'));
      p.object.receiveShadow = !glass && !this.#slow;
      // Seams lie in the matter; they are seen through it.
      p.object.renderOrder = p.kind === 'seam' ? -1 : 0;
    }
    this.#drawEdges();
    this.#drawOutline();
  }

  /** Outlines of what the look is about: of cores, of leaves. */
  #drawEdges(): void {
    const drawnAs = (p: Part) => (this.#look === 'cores' || this.#look === 'fixtures' ? p.kind === 'segment' || p.kind === 'member' : this.#look === 'veneer' && p.kind === 'leaf');
    for (const [p, lines] of this.#edges) lines.visible = drawnAs(p);
    for (const p of this.#piece!.parts) {
      if (!drawnAs(p)) continue;
      let lines = this.#edges.get(p);
      if (!lines) {
        lines = new LineSegments(new EdgesGeometry(p.object.geometry, 35));
        p.object.add(lines);
        lines.updateMatrixWorld(true);
        this.#edges.set(p, lines);
      }
      lines.material = this.#paint.line(this.#theme.ink, this.#tone(p) === Tone.back ? 0.15 : 0.75);
    }
  }

  #dropEdges(): void {
    for (const lines of this.#edges.values()) {
      lines.removeFromParent();
      lines.geometry.dispose();
    }
    this.#edges.clear();
    this.#clearOutline();
  }

  #clearOutline(): void {
    for (const o of [...this.#outline.children]) {
      this.#outline.remove(o);
      if (o.userData.owner) (o as LineSegments2).geometry.dispose();
    }
  }

  /** A heavy line round what is chosen, faint where something hides it. */
  #drawOutline(): void {
    this.#clearOutline();
    // Of a member, what the look is about; of other things, all of them.
    const shown = [...this.#chosen].filter((p) => this.#shown(p) && p.object instanceof Mesh);
    const about = (p: Part) => (this.#look === 'piece' || this.#look === 'veneer' ? p.kind === 'leaf' : this.#look === 'fixtures' ? p.kind === 'fixture' : p.kind === 'segment' || p.kind === 'member' || p.kind === 'body');
    const main = shown.filter(about);
    for (const p of main.length ? main : shown) {
      const edges = new EdgesGeometry(p.object.geometry, 35);
      const geometry = new LineSegmentsGeometry().fromEdgesGeometry(edges);
      edges.dispose();
      this.#outlineMaterials.forEach((m, i) => {
        const o = new LineSegments2(geometry, m);
        o.userData = { of: p, owner: i === 0 };
        o.matrixAutoUpdate = false;
        o.matrix.copy(p.object.matrixWorld);
        o.renderOrder = 2 + i;
        this.#outline.add(o);
      });
    }
  }

  #used(): Set<Material> {
    const out = new Set<Material>();
    this.#dress();
    this.#scene.traverse((o) => {
      const m = (o as Mesh).material as Material | undefined;
      if (m) out.add(m);
    });
    return out;
  }

  // --- For tests, and the end ------------------------------------------------

  /** Whether pictures of sheets are all there in full. */
  get complete(): boolean {
    return this.#pictures.complete;
  }

  counts(): Record<string, number> {
    const out: Record<string, number> = {};
    for (const p of this.#piece?.parts ?? []) out[p.kind] = (out[p.kind] ?? 0) + 1;
    return out;
  }

  info(): { calls: number; triangles: number; geometries: number; textures: number; programs: number } {
    const { render, memory, programs } = this.#renderer.info;
    return { calls: render.calls, triangles: render.triangles, geometries: memory.geometries, textures: memory.textures, programs: programs?.length ?? 0 };
  }

  get pose(): Pose {
    return this.#pose;
  }

  dispose(): void {
    const lost = this.#gone;
    this.#gone = true;
    clearTimeout(this.#coarse);
    cancelAnimationFrame(this.#asked);
    this.canvas.removeEventListener('webglcontextlost', this.#onLost);
    this.canvas.removeEventListener('webglcontextrestored', this.#onRestored);
    this.#pictures.dispose(lost);
    if (lost) return; // nothing is there to be given back
    this.#dropEdges();
    if (this.#piece) dispose(this.#piece);
    this.#paint.dispose();
    for (const m of this.#outlineMaterials) m.dispose();
    this.#ground.geometry.dispose();
    this.#ground.material.dispose();
    this.#sun.shadow.dispose();
    this.#renderer.dispose();
  }
}

/** Whether the browser draws with the processor. */
function software(): boolean {
  const gl = document.createElement('canvas').getContext('webgl2');
  const known = gl?.getExtension('WEBGL_debug_renderer_info');
  const name = gl && known ? String(gl.getParameter(known.UNMASKED_RENDERER_WEBGL)) : '';
  gl?.getExtension('WEBGL_lose_context')?.loseContext();
  return /swiftshader|llvmpipe|softpipe|software|basic render/i.test(name);
}

function span(p: Part): number {
  const c = corners(p);
  return c[0]!.distanceTo(c[7]!);
}

