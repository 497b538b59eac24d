// The section: a plane across the case, what lies before it cut away, and what it cuts filled, by counting faces in the
// stencil: at a point of the plane one has gone into more closed bodies than out of where there is matter.

import { AlwaysStencilFunc, Color, DecrementWrapStencilOp, Group, IncrementWrapStencilOp, KeepStencilOp, Mesh, NotEqualStencilFunc, PlaneGeometry, Vector3 } from "three";
import { capPaint, countPaint, cut } from "./paint.js";

const AXES = { x: new Vector3(1, 0, 0), y: new Vector3(0, 1, 0), z: new Vector3(0, 0, 1) };

export class Section {
  constructor(stage) {
    this.stage = stage;
    this.axis = null;
    this.flipped = false;
    this.group = new Group();
    stage.scene.add(this.group);
    stage.addEventListener("load", () => (this.size = stage.box.getSize(new Vector3()).length() * 2));
    stage.addEventListener("show", () => this.fill());
    const count = (op, back) => countPaint(back, { stencilWrite: true, stencilFunc: AlwaysStencilFunc, stencilFail: op, stencilZFail: op, stencilZPass: op });
    this.into = count(IncrementWrapStencilOp, true);
    this.outOf = count(DecrementWrapStencilOp, false);
  }

  range(axis) {
    const { min, max } = this.stage.box;
    return [Math.floor(min[axis]), Math.ceil(max[axis])];
  }

  set(axis, place, flipped = this.flipped) {
    const changed = axis !== this.axis || flipped !== this.flipped;
    Object.assign(this, { axis, place, flipped });
    const sign = flipped ? -1 : 1;
    if (axis) cut.value.set(...AXES[axis].clone().multiplyScalar(sign).toArray(), sign * place);
    else cut.value.set(0, 0, 0, 0);
    if (changed) this.fill();
    else this.put();
    this.stage.draw();
  }

  // For each material: its bodies' faces counted, then the plane drawn where something was counted, the count cleared.
  fill() {
    this.group.clear();
    if (!this.axis) return;
    const kinds = new Map();
    const { stage } = this;
    for (const b of stage.bodies)
      if (b.surface.visible && b.kind !== "keep-out" && b.closed && !b.ghost) {
        const key = b.kind === "keep-out" ? "keep-out" : b.material;
        if (!kinds.has(key)) kinds.set(key, []);
        kinds.get(key).push(b);
      }
    if (stage.overlap) kinds.set("overlap", [stage.overlap]);
    let order = 10;
    for (const [, bodies] of kinds) {
      for (const b of bodies)
        for (const material of [this.into, this.outOf]) {
          const mesh = new Mesh(b.surface.geometry, material);
          mesh.matrixAutoUpdate = false;
          mesh.matrix.copy(b.surface.matrix);
          mesh.renderOrder = order;
          mesh.raycast = () => {};
          this.group.add(mesh);
        }
      const [r, g, b] = bodies[0].colour.toArray();
      const cap = new Mesh(new PlaneGeometry(this.size, this.size), capPaint(new Color(r, g, b), 0.5 + order * 0.55, {
        stencilWrite: true, stencilRef: 0, stencilFunc: NotEqualStencilFunc, stencilFail: KeepStencilOp, stencilZFail: KeepStencilOp, stencilZPass: KeepStencilOp,
      }));
      cap.renderOrder = order + 0.5;
      cap.userData.cap = true;
      cap.raycast = () => {};
      cap.onAfterRender = (renderer) => renderer.clearStencil();
      this.group.add(cap);
      order += 1;
    }
    this.put();
  }

  put() {
    for (const o of this.group.children)
      if (o.userData.cap) {
        const way = AXES[this.axis];
        o.position.copy(this.stage.centre);
        o.position[this.axis] = this.place;
        o.lookAt(o.position.clone().add(way));
      }
  }

  // Whether a point is cut away.
  gone(point) {
    return this.axis !== null && point.x * cut.value.x + point.y * cut.value.y + point.z * cut.value.z > cut.value.w + 1e-6;
  }
}
