// The eye: where it stands, flights to what is chosen, and how keys move it. Mouse and touch are OrbitControls'.

import { PerspectiveCamera, Sphere, Vector3 } from "three";
import { OrbitControls } from "three/addons/controls/OrbitControls.js";

const FLIGHT = 450; // ms
const STEEP = 0.02; // rad from straight above or below that keys stop at

export class Eye {
  constructor(stage) {
    this.stage = stage;
    this.camera = new PerspectiveCamera(32, 1, 1, 20000);
    this.camera.up.set(0, 0, 1);
    this.controls = new OrbitControls(this.camera, stage.canvas);
    this.controls.zoomToCursor = true;
    this.controls.addEventListener("change", () => stage.draw());
    this.held = false; // by a hand on the mouse or the glass
    this.controls.addEventListener("start", () => {
      this.flight = null;
      this.held = true;
      stage.moves();
    });
    this.controls.addEventListener("end", () => {
      this.held = false;
      stage.moves();
    });
    this.calm = matchMedia("(prefers-reduced-motion: reduce)").matches;
    this.flight = null;
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
    this.stage.moves();
    this.stage.draw();
  }

  fly(now) {
    const { from, to, start, length } = this.flight;
    const t = Math.min(1, Math.max(0, (now - start) / length));
    const s = t * t * (3 - 2 * t);
    this.controls.target.lerpVectors(from.target, to.target, s);
    const a = from.eye.clone().sub(from.target), b = to.eye.clone().sub(to.target);
    const far = a.length() * (1 - s) + b.length() * s;
    this.camera.position.copy(this.controls.target).addScaledVector(a.lerp(b, s).normalize(), far);
    if (t >= 1) this.flight = null;
    this.controls.update();
  }

  whole(direction, at_once) {
    const sphere = this.stage.box.getBoundingSphere(new Sphere());
    sphere.radius *= 0.84 * (1 + 0.9 * this.stage.apart); // a case is a box: its ball is larger than its picture
    this.look(sphere, direction, at_once);
  }

  turn(right, up) {
    const spot = this.controls.target, arm = this.camera.position.clone().sub(spot);
    const r = arm.length(), polar = Math.min(Math.PI - STEEP, Math.max(STEEP, Math.acos(arm.z / r) - up));
    const round = Math.atan2(arm.y, arm.x) + right;
    this.camera.position.set(r * Math.sin(polar) * Math.cos(round), r * Math.sin(polar) * Math.sin(round), r * Math.cos(polar)).add(spot);
    this.moved();
  }

  shift(right, up) {
    const far = this.camera.position.distanceTo(this.controls.target);
    const move = new Vector3(right, up, 0).multiplyScalar(far).applyQuaternion(this.camera.quaternion);
    this.camera.position.add(move);
    this.controls.target.add(move);
    this.moved();
  }

  near(factor) {
    const arm = this.camera.position.clone().sub(this.controls.target).multiplyScalar(factor);
    this.camera.position.copy(this.controls.target).add(arm);
    this.moved();
  }

  moved() {
    this.flight = null;
    this.stage.moves();
    this.controls.update();
    this.stage.draw();
  }

  // mm that a point of the picture covers, at so many mm from the eye.
  grain(far) {
    return (2 * far * Math.tan((this.camera.fov * Math.PI) / 360)) / this.stage.canvas.clientHeight;
  }

  // Pixels in the picture of a point of the case; null behind the eye.
  onScreen(point) {
    const p = point.clone().project(this.camera);
    if (p.z > 1) return null;
    const { clientWidth: w, clientHeight: h } = this.stage.canvas;
    return { x: ((p.x + 1) / 2) * w, y: ((1 - p.y) / 2) * h };
  }
}
