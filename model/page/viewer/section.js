// The section: a plane across the case, what lies before it cut away, and what it cuts filled, by counting faces in the
// stencil: at a point of the plane one has gone into more closed bodies than out of where there is matter.

import { AlwaysStencilFunc, DecrementWrapStencilOp, Group, IncrementWrapStencilOp, KeepStencilOp, Mesh, NotEqualStencilFunc, PlaneGeometry, Vector3 } from "three";
import { capPaint, countPaint, cut } from "./paint.js";

const AXES = { x: new Vector3(1, 0, 0), y: new Vector3(0, 1, 0), z: new Vector3(0, 0, 1) };

export class Section {
  constructor(stage) {
    this.stage = stage;
    this.axis = null;
    this.kinds = [];
    this.flipped = false;
    this.group = new Group();
    stage.scene.add(this.group);
    stage.addEventListener("load", () => (this.size = stage.box.getSize(new Vector3()).length() * 2));
    stage.addEventListener("show", () => this.fill());
    stage.before.push(() => this.follow());
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
    for (const o of this.group.children) if (o.userData.cap) o.geometry.dispose();
    this.group.clear();
    this.kinds = [];
    if (!this.axis) return this.put();
    const kinds = new Map();
    const { stage } = this;
    for (const b of stage.bodies)
      if (b.wanted && b.kind !== "keep-out" && b.closed && !b.ghost) {
        if (!kinds.has(b.material)) kinds.set(b.material, []);
        kinds.get(b.material).push(b);
      }
    const shared = [...stage.overlaps.values()].filter((o) => o.surface.visible);
    if (shared.length) kinds.set("overlap", shared);
    let order = 10;
    for (const [, bodies] of kinds) {
      const counted = bodies.map((b) => ({
        body: b,
        meshes: [this.into, this.outOf].map((material) => {
          const mesh = new Mesh(b.surface.geometry, material);
          mesh.matrixAutoUpdate = false;
          mesh.matrix.copy(b.surface.matrix);
          mesh.renderOrder = order;
          this.group.add(mesh);
          return mesh;
        }),
      }));
      const cap = new Mesh(new PlaneGeometry(this.size, this.size), capPaint(bodies[0].colour.clone(), 0.5 + order * 0.55, {
        stencilWrite: true, stencilRef: 0, stencilFunc: NotEqualStencilFunc, stencilFail: KeepStencilOp, stencilZFail: KeepStencilOp, stencilZPass: KeepStencilOp,
      }));
      cap.renderOrder = order + 0.5;
      cap.userData.cap = true;
      cap.onAfterRender = (renderer) => renderer.clearStencil();
      this.group.add(cap);
      this.kinds.push({ counted, cap });
      order += 1;
    }
    this.put();
  }

  // A body that the plane does not go through counts nothing, and one that lies wholly before it is not drawn at all.
  put() {
    const { axis, place, stage } = this;
    const before = (box) => (this.flipped ? box.max[axis] < place : box.min[axis] > place);
    for (const b of stage.bodies) b.gone = axis !== null && before(b.stands);
    for (const { counted, cap } of this.kinds) {
      let any = false;
      for (const c of counted) {
        c.cuts = c.body.stands.min[axis] <= place && c.body.stands.max[axis] >= place;
        any ||= c.cuts;
      }
      cap.visible = any;
      cap.position.copy(stage.centre);
      cap.position[axis] = place;
      cap.lookAt(cap.position.clone().add(AXES[axis]));
    }
  }

  // The counted faces are those that are drawn, fine or coarse; of screws none while it moves slowly.
  follow() {
    const hasty = this.stage.moving && this.stage.thrift > 0;
    for (const { counted } of this.kinds)
      for (const { body, meshes, cuts } of counted)
        for (const m of meshes) {
          m.geometry = body.surface.geometry;
          m.visible = cuts && !(hasty && body.owner?.small);
        }
  }

  // Whether a point is cut away.
  gone(point) {
    return this.axis !== null && point.x * cut.value.x + point.y * cut.value.y + point.z * cut.value.z > cut.value.w + 1e-6;
  }
}
