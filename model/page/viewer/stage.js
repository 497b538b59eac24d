// The model: every body where it stands, who is shown, ghosted, moved apart, and the eye that looks at it.

import { Box3, Color, Group, LineSegments, Matrix4, Mesh, PerspectiveCamera, Scene, Sphere, Vector3, WebGLRenderer } from "three";
import { OrbitControls } from "three/addons/controls/OrbitControls.js";
import { linePaint, surfacePaint, withAlpha } from "./paint.js";
import { shapeOf } from "./shape.js";

const GHOST = 0.05; // opacity of what is not meant
const FLIGHT = 450; // ms
const KEEP_OUT = [0.52, 0.4, 0.72, 0.2];
const REACH = [0.1, 0.62, 0.58, 0.22];
const ALARM = [0.84, 0.24, 0.05];
const FINE_LINES = new Set(["fins", "mesh"]); // materials of so many edges that they would be a grey field

export class Stage extends EventTarget {
  constructor(canvas) {
    super();
    this.canvas = canvas;
    this.renderer = new WebGLRenderer({ canvas, antialias: true, stencil: true, alpha: true });
    this.renderer.autoClear = false;
    this.renderer.setPixelRatio(Math.min(devicePixelRatio, 2));
    this.scene = new Scene();
    this.camera = new PerspectiveCamera(32, 1, 1, 20000);
    this.camera.up.set(0, 0, 1);
    this.controls = new OrbitControls(this.camera, canvas);
    this.controls.zoomToCursor = true;
    this.controls.addEventListener("change", () => this.draw());
    this.controls.addEventListener("start", () => (this.flight = null));
    this.model = new Group();
    this.scene.add(this.model);
    this.layers = { keepOuts: false, reach: false, air: false, assumed: false, walls: true, lines: true };
    this.hidden = new Set();
    this.chosen = null; // { pieces, bodies, extra }
    this.apart = 0;
    this.before = []; // what is done before each picture
    this.after = [];
    this.calm = matchMedia("(prefers-reduced-motion: reduce)").matches;
    new ResizeObserver(() => this.resize()).observe(canvas.parentElement);
  }

  load({ told, meshes }) {
    this.model.traverse((o) => o.material?.dispose());
    this.model.clear();
    this.told = told;
    this.shapes = new Map();
    this.bodies = [];
    this.byId = new Map();
    const shape = (i) => this.shapes.get(i) ?? this.shapes.set(i, { ...shapeOf(meshes[i]), mesh: meshes[i] }).get(i);
    this.shape = shape;
    this.pieces = new Map(told.pieces.map((p) => [p.name, { ...p, bodies: [], box: new Box3(), assumed: Object.values(p.fields).some((f) => f.basis === "M" || f.basis === "P") }]));
    for (const b of told.bodies) {
      const look = b.kind === "keep-out" ? KEEP_OUT : told.looks[b.material];
      const body = this.add(shape(b.mesh), look, b.pose, b.kind !== "keep-out" && !FINE_LINES.has(b.material));
      Object.assign(body, { id: b.id, piece: b.piece, kind: b.kind, material: b.material, bound: b.bound, closed: b.closed, why: b.why, mesh: meshes[b.mesh] });
      this.bodies.push(body);
      if (b.kind !== "look") this.byId.set(b.id, body);
      const piece = this.pieces.get(b.piece);
      piece.bodies.push(body);
      if (b.kind !== "keep-out") piece.box.union(body.box);
    }
    this.reach = Object.entries(told.reach).map(([port, i]) => ({ port, ...this.add(shape(i), REACH, null, false) }));
    this.box = new Box3();
    for (const p of this.pieces.values()) if (!p.outside) this.box.union(p.box);
    this.centre = this.box.getCenter(new Vector3());
    this.overlap = null;
    this.dispatchEvent(new Event("load"));
    this.show();
  }

  add(shape, [r, g, b, alpha = 1], pose, lined) {
    const surface = new Mesh(shape.surface, surfacePaint(new Color(r, g, b), alpha));
    surface.matrixAutoUpdate = false;
    if (pose) surface.matrix.set(...pose, 0, 0, 0, 1);
    const lines = lined ? new LineSegments(shape.edges, linePaint(new Color(0, 0, 0), 0.55)) : null;
    if (lines) surface.add(lines);
    this.model.add(surface);
    surface.updateMatrixWorld(true);
    const box = shape.surface.boundingBox.clone().applyMatrix4(surface.matrix);
    return { surface, lines, alpha, colour: new Color(r, g, b), box, home: surface.matrix.clone() };
  }

  // Puts every body into the state that the choice, the layers and the hidden pieces ask for.
  show() {
    const { chosen, layers } = this;
    const dark = document.documentElement.dataset.theme === "dark";
    for (const body of this.bodies) {
      const meant = !chosen || chosen.pieces.has(body.piece);
      const named = chosen?.bodies.has(body.id);
      let visible = !this.hidden.has(body.piece), alpha = body.alpha;
      if (body.kind === "keep-out") visible = visible && ((layers.keepOuts && meant) || named);
      if (!meant) alpha = body.kind === "keep-out" ? 0 : GHOST * Math.min(1, body.alpha * 2);
      else if (chosen?.glassy && body.kind !== "keep-out") alpha = Math.min(alpha, 0.34);
      if (chosen && meant && this.pieces.get(body.piece).encloses && !named) alpha = GHOST;
      body.surface.visible = Boolean(visible && alpha > 0);
      body.ghost = alpha <= GHOST;
      body.shownAlpha = alpha;
      withAlpha(body.surface.material, alpha);
      body.surface.material.uniforms.stripes.value = layers.assumed && meant && body.kind !== "keep-out" && this.pieces.get(body.piece).assumed ? 1 : 0;
      body.surface.renderOrder = alpha < 1 ? 2 : 0;
      if (body.lines) {
        body.lines.visible = layers.lines && !(body.ghost && this.pieces.get(body.piece).small);
        withAlpha(body.lines.material, body.ghost ? (dark ? 0.1 : 0.13) : 0.6);
        body.lines.material.uniforms.colour.value.set(dark ? (body.ghost ? 0xb8c4d0 : 0x05070a) : 0x10161c);
        body.lines.renderOrder = body.surface.renderOrder;
      }
      this.move(body);
    }
    for (const r of this.reach) {
      r.surface.visible = layers.reach && !chosen || Boolean(chosen?.ports.has(r.port));
      r.surface.renderOrder = 3;
    }
    this.step(true);
    this.dispatchEvent(new Event("show"));
    this.draw();
  }

  move(body) {
    const piece = this.pieces.get(body.piece);
    const matrix = body.surface.matrix.copy(body.home);
    if (this.apart && !piece.encloses) {
      const off = piece.box.getCenter(new Vector3()).sub(this.centre).multiplyScalar(this.apart * 1.1);
      matrix.premultiply(new Matrix4().makeTranslation(off));
    }
    body.surface.updateMatrixWorld(true);
  }

  // Walls of what encloses all else step aside while they stand between the eye and the inside.
  step(force) {
    const away = new Vector3();
    let changed = force;
    for (const body of this.bodies) {
      if (body.kind === "keep-out" || !this.pieces.get(body.piece).encloses) continue;
      const size = body.box.getSize(new Vector3());
      const thin = ["x", "y", "z"].reduce((a, b) => (size[a] <= size[b] ? a : b));
      away.set(0, 0, 0)[thin] = Math.sign(body.box.getCenter(new Vector3())[thin] - this.centre[thin]);
      const eye = this.camera.position.clone().sub(this.centre).normalize();
      const aside = this.layers.walls && !this.chosen && eye.dot(away) > 0.12;
      if (aside !== body.aside || force) {
        body.aside = aside;
        changed = true;
        if (!body.ghost) withAlpha(body.surface.material, aside ? Math.min(body.alpha, 0.06) : body.shownAlpha);
        if (body.lines && !body.ghost) withAlpha(body.lines.material, aside ? 0.16 : 0.6);
        body.surface.renderOrder = aside || body.shownAlpha < 1 ? 2 : 0;
      }
    }
    return changed;
  }

  choose(chosen, meshOfOverlap) {
    if (this.overlap) this.model.remove(this.overlap.surface);
    this.overlap = null;
    this.chosen = chosen;
    if (meshOfOverlap !== undefined) {
      this.overlap = this.add(this.shape(meshOfOverlap), ALARM, null, true);
      this.overlap.surface.renderOrder = 4;
      this.overlap.surface.material.depthTest = false;
      this.overlap.surface.material.transparent = true;
      this.overlap.lines.renderOrder = 5;
      this.overlap.lines.material.depthTest = false;
      this.overlap.lines.material.transparent = true;
    }
    this.show();
  }

  resize() {
    const { clientWidth: w, clientHeight: h } = this.canvas.parentElement;
    if (!w || !h) return;
    this.renderer.setSize(w, h, false);
    this.camera.aspect = w / h;
    this.camera.updateProjectionMatrix();
    this.draw();
  }

  draw() {
    if (this.asked) return;
    this.asked = true;
    requestAnimationFrame((now) => {
      this.asked = false;
      if (this.flight) this.fly(now);
      if (this.told) this.step(false);
      for (const f of this.before) f();
      this.renderer.clear();
      this.renderer.render(this.scene, this.camera);
      for (const f of this.after) f();
      if (this.flight) this.draw();
    });
  }

  // Looks at a sphere from a direction (the present one where none is given).
  look(sphere, direction, at_once) {
    const { camera, controls } = this;
    const from = { eye: camera.position.clone(), target: controls.target.clone() };
    const way = (direction ?? camera.position.clone().sub(controls.target)).clone().normalize();
    const half = (camera.fov / 2) * (Math.PI / 180);
    const fit = Math.atan(Math.tan(half) * Math.min(1, camera.aspect));
    const far = sphere.radius / Math.sin(fit);
    const to = { target: sphere.center.clone(), eye: sphere.center.clone().addScaledVector(way, far) };
    this.flight = { from, to, start: performance.now(), length: at_once || this.calm ? 1 : FLIGHT };
    this.draw();
  }

  fly(now) {
    const { from, to, start, length } = this.flight;
    const t = Math.min(1, Math.max(0, (now - start) / length));
    const s = t * t * (3 - 2 * t);
    this.controls.target.lerpVectors(from.target, to.target, s);
    const a = from.eye.clone().sub(from.target), b = to.eye.clone().sub(to.target);
    const length_now = a.length() * (1 - s) + b.length() * s;
    this.camera.position.copy(this.controls.target).addScaledVector(a.lerp(b, s).normalize(), length_now);
    if (t >= 1) this.flight = null;
    this.controls.update();
  }

  whole(direction, at_once) {
    const sphere = this.box.getBoundingSphere(new Sphere());
    sphere.center.z -= sphere.radius * 0.1; // the tools stand over the lower edge
    sphere.radius *= 0.88 * (1 + 0.9 * this.apart);
    this.look(sphere, direction, at_once);
  }

  turn(right, up) {
    const spot = this.controls.target, arm = this.camera.position.clone().sub(spot);
    const r = arm.length(), polar = Math.min(Math.PI - 0.02, Math.max(0.02, Math.acos(arm.z / r) - up));
    const round = Math.atan2(arm.y, arm.x) + right;
    this.camera.position.set(r * Math.sin(polar) * Math.cos(round), r * Math.sin(polar) * Math.sin(round), r * Math.cos(polar)).add(spot);
    this.controls.update();
    this.draw();
  }

  shift(right, up) {
    const far = this.camera.position.distanceTo(this.controls.target);
    const move = new Vector3(right, up, 0).multiplyScalar(far).applyQuaternion(this.camera.quaternion);
    this.camera.position.add(move);
    this.controls.target.add(move);
    this.controls.update();
    this.draw();
  }

  near(factor) {
    const arm = this.camera.position.clone().sub(this.controls.target).multiplyScalar(factor);
    this.camera.position.copy(this.controls.target).add(arm);
    this.controls.update();
    this.draw();
  }

  // Pixels in the picture of a point of the case; null behind the eye.
  onScreen(point) {
    const p = point.clone().project(this.camera);
    if (p.z > 1) return null;
    const { clientWidth: w, clientHeight: h } = this.canvas;
    return { x: ((p.x + 1) / 2) * w, y: ((1 - p.y) / 2) * h };
  }
}
