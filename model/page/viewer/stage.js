// The model: every body where it stands, who is shown, ghosted, moved apart, and how finely it is drawn.

import { Box3, BoxGeometry, Color, Frustum, Group, LineSegments, Matrix4, Mesh, Scene, Sphere, Vector3, WebGLRenderer } from "three";
import { Eye } from "./eye.js";
import { linePaint, surfacePaint, withAlpha } from "./paint.js";
import { shapeOf } from "./shape.js";

const STRIPES = 20, WIDE = 56; // points of the picture from stripe to stripe; on walls, lest nothing else be seen
const GHOST = 0.05; // opacity of what is not meant
const KEEP_OUT = [0.52, 0.4, 0.72, 0.2];
const REACH = [0.1, 0.62, 0.58, 0.22];
const ALARM = [0.84, 0.24, 0.05];
const FINE_LINES = new Set(["fins", "mesh"]); // materials of so many edges that they would be a grey field
const COARSE = 0.4; // mm: what the coarse meshes are off by (`coarse.py`)
const SETTLES = 220; // ms after the last movement when the picture is drawn in full again
const SLOW = 40; // ms between pictures from which on less is drawn while it moves
const RATIOS = [1, 0.75, 0.5]; // of the screen's points, while it moves, the slower the browser
const TINY = [0, 5, 12]; // points of the picture: smaller bodies are left out then

// Whether the browser draws by itself, without a graphics card: then edges are smoothed by finer pictures at rest alone,
// since smoothing each picture takes as long as all else.
function unaided() {
  const gl = document.createElement("canvas").getContext("webgl2", { failIfMajorPerformanceCaveat: true });
  gl?.getExtension("WEBGL_lose_context")?.loseContext();
  return !gl;
}

function blockOf(box) {
  const size = box.getSize(new Vector3());
  return new BoxGeometry(size.x, size.y, size.z).translate(...box.getCenter(new Vector3()).toArray());
}

export class Stage extends EventTarget {
  constructor(canvas) {
    super();
    this.canvas = canvas;
    const slow = unaided();
    this.renderer = new WebGLRenderer({ canvas, antialias: !slow, stencil: true, alpha: true });
    this.renderer.autoClear = false;
    this.ratio = slow ? Math.max(devicePixelRatio, 1.5) : Math.min(devicePixelRatio, 2);
    this.renderer.setPixelRatio(this.ratio);
    this.scene = new Scene();
    this.eye = new Eye(this);
    this.model = new Group();
    this.scene.add(this.model);
    this.layers = { keepOuts: false, reach: false, air: false, assumed: false, lines: true };
    this.hidden = new Set();
    this.chosen = null; // { pieces, bodies, ports, glassy }
    this.apart = 0;
    this.before = []; // what is done before each picture
    this.after = [];
    this.thrift = slow ? 1 : 0;
    this.ease = 0;
    this.alarms = new Set();
    new ResizeObserver(() => this.resize()).observe(canvas.parentElement);
  }

  load({ told, meshes }) {
    this.model.traverse((o) => {
      o.material?.dispose();
      o.geometry?.dispose();
    });
    this.model.clear();
    this.told = told;
    this.meshes = meshes;
    this.shapes = new Map();
    this.bodies = [];
    this.byId = new Map();
    this.pieces = new Map(told.pieces.map((p) => [p.name, { ...p, bodies: [], box: new Box3(), assumed: Object.values(p.fields).some((f) => told.assumed_marks.includes(f.basis)) }]));
    for (const b of told.bodies) {
      const look = b.kind === "keep-out" ? KEEP_OUT : told.looks[b.material];
      const fine = String(b.mesh), coarse = told.coarse[b.mesh];
      const body = this.add(coarse ?? b.mesh, look, b.pose, b.kind !== "keep-out" && !FINE_LINES.has(b.material));
      Object.assign(body, { ...b, fine: Number(fine), coarse, owner: this.pieces.get(b.piece) });
      this.bodies.push(body);
      if (b.kind !== "look") this.byId.set(b.id, body);
      body.owner.bodies.push(body);
      if (b.kind !== "keep-out") body.owner.box.union(body.box);
    }
    this.reach = Object.entries(told.reach).map(([port, { mesh, piece }]) => ({ port, piece, ...this.add(mesh, REACH, null, false) }));
    this.box = new Box3();
    for (const p of this.pieces.values()) if (!p.outside) this.box.union(p.box);
    if (this.box.isEmpty() && told.interior) this.box.set(new Vector3(...told.interior[0]), new Vector3(...told.interior[1]));
    this.centre = this.box.getCenter(new Vector3());
    this.overlaps = new Map();
    for (const [id, { mesh, piece }] of Object.entries(told.overlaps)) this.overlaps.set(id, this.alarm(mesh, piece));
    this.dispatchEvent(new Event("load"));
    this.show();
    this.prepare();
  }

  shape(i) {
    if (!this.shapes.has(i)) this.shapes.set(i, shapeOf(this.meshes[i]));
    return this.shapes.get(i);
  }

  // What is fine is made ready while nothing else is to be done.
  prepare() {
    const waiting = [...new Set(this.bodies.map((b) => b.fine))];
    const { told } = this;
    const soon = globalThis.requestIdleCallback ?? ((f) => setTimeout(f, 50));
    const next = () => {
      if (this.told !== told || !waiting.length) return;
      this.shape(waiting.pop());
      soon(next, { timeout: 2000 });
    };
    setTimeout(() => soon(next), 600);
  }

  add(mesh, [r, g, b, alpha = 1], pose, lined) {
    const shape = this.shape(mesh);
    const surface = new Mesh(shape.surface, surfacePaint(new Color(r, g, b), alpha));
    surface.matrixAutoUpdate = false;
    if (pose) surface.matrix.set(...pose, 0, 0, 0, 1);
    const lines = lined ? new LineSegments(shape.edges, linePaint(new Color(0, 0, 0), 0.55)) : null;
    if (lines) surface.add(lines);
    this.model.add(surface);
    surface.updateMatrixWorld(true);
    const box = shape.surface.boundingBox.clone().applyMatrix4(surface.matrix);
    return { surface, lines, alpha, colour: new Color(r, g, b), box, home: surface.matrix.clone(), drawn: mesh, sphere: new Sphere() };
  }

  // What two bodies share, seen through all that stands before it.
  alarm(mesh, piece) {
    const it = { piece, ...this.add(mesh, ALARM, null, true) };
    it.surface.renderOrder = 4;
    it.lines.renderOrder = 5;
    for (const o of [it.surface, it.lines]) Object.assign(o.material, { depthTest: false, depthWrite: false, transparent: true });
    return it;
  }

  // Puts every body into the state that the choice, the layers and the hidden pieces ask for.
  show() {
    const { chosen, layers } = this;
    const dark = document.documentElement.dataset.theme === "dark";
    for (const body of this.bodies) {
      const { owner } = body;
      const meant = !chosen || chosen.pieces.has(body.piece);
      const named = chosen?.bodies.has(body.id);
      const keepOut = body.kind === "keep-out";
      let visible = !this.hidden.has(body.piece), alpha = body.alpha;
      if (keepOut) visible = (visible && layers.keepOuts && meant) || Boolean(named);
      if (!meant && !named) alpha = keepOut ? 0 : GHOST * Math.min(1, body.alpha * 2);
      else if (chosen?.glassy && !keepOut) alpha = Math.min(alpha, 0.34);
      if (chosen && meant && owner.encloses && !named && !chosen.plain) alpha = GHOST;
      body.wanted = Boolean(visible && alpha > 0);
      body.ghost = alpha <= GHOST;
      body.shownAlpha = alpha;
      withAlpha(body.surface.material, alpha);
      body.stripes = layers.assumed && meant && !keepOut && owner.assumed ? (owner.encloses ? WIDE : STRIPES) : 0;
      body.surface.material.uniforms.stripes.value = body.stripes;
      body.surface.renderOrder = alpha < 1 ? 2 : 0;
      if (body.lines) {
        body.lined = layers.lines && !(body.ghost && owner.small);
        withAlpha(body.lines.material, body.ghost ? (dark ? 0.1 : 0.13) : 0.6);
        body.lines.material.uniforms.colour.value.set(dark ? (body.ghost ? 0xb8c4d0 : 0x05070a) : 0x10161c);
        body.lines.renderOrder = body.surface.renderOrder;
      }
      this.move(body, body.piece);
    }
    for (const r of this.reach) {
      r.surface.visible = (layers.reach && !chosen) || Boolean(chosen?.ports.has(r.port));
      r.surface.renderOrder = 3;
      this.move(r, r.piece);
    }
    for (const [id, o] of this.overlaps) {
      o.surface.visible = this.alarms.has(id) && !this.hidden.has(o.piece);
      withAlpha(o.surface.material, chosen ? 1 : 0.8);
      Object.assign(o.surface.material, { transparent: true, depthWrite: false });
      this.move(o, o.piece);
    }
    this.step(true);
    this.dispatchEvent(new Event("show"));
    this.draw();
  }

  // How far a piece stands from its place while all are pulled apart.
  offset(name) {
    const piece = this.pieces.get(name);
    if (!this.apart || !piece || piece.encloses || piece.box.isEmpty()) return new Vector3();
    return piece.box.getCenter(new Vector3()).sub(this.centre).multiplyScalar(this.apart * 1.1);
  }

  move(body, piece = body.piece) {
    const off = this.offset(piece);
    body.surface.matrix.copy(body.home).premultiply(new Matrix4().makeTranslation(off));
    body.surface.updateMatrixWorld(true);
    body.stands = body.box.clone().translate(off);
    body.stands.getBoundingSphere(body.sphere);
  }

  // Walls of what encloses all else step aside while they stand between the eye and the inside.
  step(force) {
    const away = new Vector3(), size = new Vector3();
    const eye = this.eye.camera.position.clone().sub(this.centre).normalize();
    for (const body of this.bodies) {
      if (body.kind === "keep-out" || !body.owner.encloses) continue;
      body.box.getSize(size);
      const thin = ["x", "y", "z"].reduce((a, b) => (size[a] <= size[b] ? a : b));
      away.set(0, 0, 0)[thin] = Math.sign((body.box.min[thin] + body.box.max[thin]) / 2 - this.centre[thin]);
      const aside = !this.chosen && eye.dot(away) > 0.12;
      if (aside === body.aside && !force) continue;
      body.aside = aside;
      if (!body.ghost) withAlpha(body.surface.material, aside ? Math.min(body.alpha, 0.06) : body.shownAlpha);
      if (body.lines && !body.ghost) withAlpha(body.lines.material, aside ? 0.16 : 0.6);
      body.surface.material.uniforms.stripes.value = aside ? 0 : body.stripes;
      body.surface.renderOrder = aside || body.shownAlpha < 1 ? 2 : 0;
    }
  }

  // Fine where a point of the picture is smaller than what the coarse meshes are off by, and only what is in the picture.
  refine() {
    const { camera } = this.eye;
    camera.updateMatrixWorld();
    const seen = new Frustum().setFromProjectionMatrix(new Matrix4().multiplyMatrices(camera.projectionMatrix, camera.matrixWorldInverse));
    const hasty = this.moving && this.thrift > 0;
    for (const o of this.overlaps.values()) o.lines.visible = !hasty;
    for (const body of this.bodies) {
      const far = Math.max(1, camera.position.distanceTo(body.sphere.center) - body.sphere.radius);
      const grain = this.eye.grain(far) / Math.min(1, this.moving ? 1 : this.ratio);
      const fine = body.coarse === undefined || (!hasty && !body.ghost && !body.aside && grain < COARSE && seen.intersectsSphere(body.sphere));
      const block = hasty && this.thrift > 1 && body.material === "fins" && !body.ghost;
      const mesh = fine ? body.fine : body.coarse;
      if ((body.drawn !== mesh || body.block !== block) && body.wanted) {
        const shape = this.shape(mesh);
        Object.assign(body, { drawn: mesh, block });
        body.surface.geometry = block ? (shape.block ??= blockOf(shape.surface.boundingBox)) : shape.surface;
        if (body.lines) body.lines.geometry = shape.edges;
      }
      body.surface.visible = body.wanted && !body.gone && !(hasty && (body.sphere.radius * 2) / grain < TINY[this.thrift]);
      // Large faint faces take as long to draw as all that is solid: of them the outline is enough for so long.
      body.surface.material.visible = !(hasty && (body.ghost || body.aside));
      if (body.lines) body.lines.visible = body.lined && !(hasty && !body.owner.encloses && (body.owner.small || body.ghost || this.thrift > 1));
    }
  }

  onScreen(point) {
    return this.eye.onScreen(point);
  }

  choose(chosen, alarms) {
    this.chosen = chosen;
    this.alarms = alarms;
    this.show();
  }

  resize() {
    const { clientWidth: w, clientHeight: h } = this.canvas.parentElement;
    if (!w || !h) return;
    this.renderer.setSize(w, h, false);
    this.eye.camera.aspect = w / h;
    this.eye.camera.updateProjectionMatrix();
    this.draw();
  }

  // Said by whatever moves the eye: pictures may be rougher until it comes to rest.
  moves() {
    if (!this.moving) this.last = null;
    this.moving = true;
    clearTimeout(this.settling);
    this.settling = setTimeout(() => {
      if (this.eye.flight || this.eye.held) return this.moves();
      this.moving = false;
      this.draw();
    }, SETTLES);
  }

  pace(now) {
    if (this.moving && this.last !== null && this.last !== undefined) {
      const took = now - this.last;
      if (took > SLOW && took < 2000 && this.thrift < RATIOS.length - 1) this.thrift++;
      else if (took < SLOW / 3 && this.thrift > 0 && ++this.ease > 30) {
        this.thrift--;
        this.ease = 0;
      }
    }
    this.last = this.moving ? now : null;
    const ratio = this.moving && this.thrift ? RATIOS[this.thrift] : this.ratio;
    if (ratio !== this.renderer.getPixelRatio()) this.renderer.setPixelRatio(ratio);
  }

  draw() {
    if (this.asked) return;
    this.asked = true;
    requestAnimationFrame((now) => {
      this.asked = false;
      if (!this.told) return;
      this.pace(now);
      if (this.eye.flight) {
        this.moves();
        this.eye.fly(now);
      }
      this.step(false);
      this.refine();
      for (const f of this.before) f();
      this.renderer.clear();
      this.renderer.render(this.scene, this.eye.camera);
      for (const f of this.after) f();
      if (this.eye.flight) this.draw();
    });
  }
}
