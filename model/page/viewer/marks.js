// What is drawn among the bodies to point something out: the line of a gap, arrows of air, what is measured.

import { BufferGeometry, Color, ConeGeometry, CylinderGeometry, Float32BufferAttribute, Group, LinearSRGBColorSpace, Mesh, Quaternion, SphereGeometry, Vector3 } from "three";
import { surfacePaint } from "./paint.js";

const UP = new Vector3(0, 1, 0);
const THICK = 2.4; // points of the picture: half the width of a line
const KNOB = 5; // points: of the ball at its ends
const ROUND = 12;

const painted = (shape, colour, over) => {
  const mesh = new Mesh(shape, surfacePaint(new Color().setHex(colour, LinearSRGBColorSpace), 1));
  if (over) Object.assign(mesh.material, { depthTest: false, depthWrite: false, transparent: true });
  mesh.material.uniforms.cut = { value: [0, 0, 0, 0] }; // a section does not cut what points at something
  mesh.renderOrder = over ? 90 : 1;
  return mesh;
};

// A tube between two points with a ball at each end, as thick as so many points of the picture from wherever it is seen.
export class Line {
  constructor(stage, colour) {
    this.stage = stage;
    this.group = new Group();
    this.rod = painted(new CylinderGeometry(1, 1, 1, ROUND, 1, true), colour, true);
    this.ends = [0, 1].map(() => painted(new SphereGeometry(1, ROUND, 8), colour, true));
    this.group.add(this.rod, ...this.ends);
    stage.scene.add(this.group);
    this.group.visible = false;
    stage.before.push(() => this.fit());
  }

  set(a, b) {
    this.a = a;
    this.b = b;
    this.group.visible = Boolean(a);
    this.stage.draw();
  }

  fit() {
    if (!this.group.visible) return;
    const { a, b } = this, eye = this.stage.eye;
    const grain = (p) => eye.grain(eye.camera.position.distanceTo(p));
    const middle = a.clone().lerp(b, 0.5), along = b.clone().sub(a), length = along.length();
    const thick = THICK * grain(middle);
    this.rod.visible = length > 1e-6;
    this.rod.position.copy(middle);
    if (length > 1e-6) this.rod.quaternion.copy(new Quaternion().setFromUnitVectors(UP, along.divideScalar(length)));
    this.rod.scale.set(thick, length, thick);
    this.ends[0].position.copy(a);
    this.ends[1].position.copy(b);
    for (const e of this.ends) e.scale.setScalar(KNOB * grain(e.position));
  }
}

const LENGTH = 78; // mm of an arrow: seen between the parts of a tower, shorter than a fan is wide

function arrow() {
  const shaft = new CylinderGeometry(5, 5, LENGTH * 0.6, ROUND), head = new ConeGeometry(15, LENGTH * 0.4, ROUND);
  shaft.translate(0, -LENGTH * 0.2, 0);
  head.translate(0, LENGTH * 0.3, 0);
  const both = new BufferGeometry();
  const take = (name) => [shaft, head].flatMap((g) => [...g.toNonIndexed().getAttribute(name).array]);
  for (const name of ["position", "normal"]) both.setAttribute(name, new Float32BufferAttribute(take(name), 3));
  return both;
}

// Arrows: `at` their middle, `way` a unit vector, `colour` as 0xrrggbb.
export class Arrows {
  constructor(stage) {
    this.stage = stage;
    this.shape = arrow();
    this.group = new Group();
    stage.scene.add(this.group);
  }

  set(list) {
    this.group.clear();
    for (const { at, way, colour } of list) {
      const mesh = painted(this.shape, colour, true);
      mesh.position.copy(at);
      mesh.quaternion.setFromUnitVectors(UP, way);
      this.group.add(mesh);
    }
    this.stage.draw();
  }
}
