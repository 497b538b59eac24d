// What lies under a point of the picture.

import { Raycaster, Vector2, Vector3 } from "three";

const CLICK = 6; // pixels that a click or tap may stray
const LONG = 600; // ms: longer is no click

export class Picking {
  constructor(page) {
    this.page = page;
    this.ray = new Raycaster();
    const { canvas } = page.stage;
    let down = null;
    canvas.addEventListener("pointerdown", (e) => (down = down ? { more: true } : { x: e.clientX, y: e.clientY, t: e.timeStamp }));
    canvas.addEventListener("pointercancel", () => (down = null));
    canvas.addEventListener("pointerup", (e) => {
      const was = down;
      down = null;
      if (!was || was.more || e.button > 0 || e.timeStamp - was.t > LONG || Math.hypot(e.clientX - was.x, e.clientY - was.y) > CLICK) return;
      const box = canvas.getBoundingClientRect();
      page.picked_at(e.clientX - box.left, e.clientY - box.top);
    });
  }

  // The nearest visible body: { body, point, f, mesh }, point in case coordinates, f a triangle of the fine mesh.
  at(x, y) {
    const { stage, section } = this.page, { canvas, eye } = stage;
    this.ray.setFromCamera(new Vector2((x / canvas.clientWidth) * 2 - 1, 1 - (y / canvas.clientHeight) * 2), eye.camera);
    let best = null;
    const inside = new Vector3();
    for (const body of stage.bodies) {
      if (!body.surface.visible || body.ghost || body.aside || (body.kind === "keep-out" && !stage.layers.keepOuts)) continue;
      if (!this.ray.ray.intersectSphere(body.sphere, inside) && !body.sphere.containsPoint(this.ray.ray.origin)) continue;
      const drawn = body.surface.geometry;
      body.surface.geometry = stage.shape(body.fine).surface;
      for (const hit of this.ray.intersectObject(body.surface, false))
        if (!section.gone(hit.point)) {
          if (!best || hit.distance < best.distance) best = { body, point: hit.point, f: hit.faceIndex, mesh: stage.meshes[body.fine], distance: hit.distance };
          break;
        }
      body.surface.geometry = drawn;
    }
    return best;
  }
}
