// Measuring between two picked points, each snapped to a corner, an edge, a face or the axis of a round face.

import { Vector3 } from "three";
import { button, by, make, refill } from "./dom.js";
import { snap } from "./features.js";
import { Line } from "./marks.js";

const REACH = { mouse: 9, touch: 20 }; // points of the picture within which corners and edges hold
const PARALLEL = 0.9998; // cosine: 1.1 degrees
const KINDS = { corner: "a corner", edge: "an edge", face: "a flat face", axis: "the axis of a round face", point: "a point of a curved face" };
const mm = (x) => (Math.abs(x) < 0.0005 ? 0 : x).toFixed(2);

export class Measure {
  constructor(page) {
    this.page = page;
    this.on = false;
    this.ends = [];
    this.line = new Line(page.stage, 0x0072b2);
    this.coarse = matchMedia("(pointer: coarse)").matches;
    this.fill();
  }

  // Takes the point of the picture; whether it was taken.
  take(x, y) {
    if (!this.on) return false;
    const hit = this.page.picking.at(x, y);
    if (!hit) return true;
    const { body, point, f, mesh } = hit, { eye } = this.page.stage;
    const back = body.surface.matrix.clone().invert();
    const near = (p) => {
      const s = eye.onScreen(p.clone().applyMatrix4(body.surface.matrix));
      return s ? Math.hypot(s.x - x, s.y - y) : Infinity;
    };
    const found = snap(mesh, f, point.clone().applyMatrix4(back), near, this.coarse ? REACH.touch : REACH.mouse);
    if (this.ends.length === 2) this.ends = [];
    this.ends.push({
      ...found, body, point: found.point.clone().applyMatrix4(body.surface.matrix),
      way: found.way?.clone().transformDirection(body.surface.matrix), apart: this.page.stage.apart,
    });
    this.changed();
    return true;
  }

  turn(on) {
    this.on = on;
    this.ends = [];
    by("cross").classList.toggle("on", on);
    this.changed();
  }

  changed() {
    const [a, b] = this.ends;
    if (a) this.line.set(a.point, (b ?? a).point);
    else this.line.set(null);
    this.fill();
    this.page.marked();
  }

  // What lies between: the points' distance and its parts along the axes; of parallel faces and lines their own too.
  result() {
    const [a, b] = this.ends;
    if (!b) return null;
    const off = b.point.clone().sub(a.point);
    const told = { distance: off.length(), dx: off.x, dy: off.y, dz: off.z, tolerance: a.body.bound + b.body.bound + 1 / this.page.told.steps };
    if (a.way && b.way && Math.abs(a.way.dot(b.way)) > PARALLEL && a.kind === "face" && b.kind === "face") told.square = ["between the faces", Math.abs(off.dot(a.way))];
    else if (a.kind === "face" || b.kind === "face") {
      const face = a.kind === "face" ? a : b;
      told.square = ["square to the face", Math.abs(off.dot(face.way))];
    } else if (a.way && b.way && Math.abs(a.way.dot(b.way)) > PARALLEL) told.square = ["between the two lines", off.clone().addScaledVector(a.way, -off.dot(a.way)).length()];
    return told;
  }

  pins() {
    const told = this.result();
    if (!told) return [];
    return [{ at: this.ends[0].point.clone().lerp(this.ends[1].point, 0.5), text: `${mm(told.distance)} mm`, cls: "measured", beside: true }];
  }

  fill() {
    const told = this.result(), [a] = this.ends;
    const name = (e) => `${KINDS[e.kind]} of ${e.body.id}${e.radius ? ` (⌀ ${mm(2 * e.radius)})` : ""}`;
    refill(
      by("measured"),
      !a && make("span", {}, this.coarse ? "Tap two places of the model." : "Click two places of the model, or aim the cross with the arrow keys and press Enter."),
      a && !told && make("span", {}, `From ${name(a)}. Now the second place.`),
      told && make("span", {}, make("b", {}, `${mm(told.distance)} mm`), ` ± ${mm(told.tolerance)}; dx ${mm(told.dx)}, dy ${mm(told.dy)}, dz ${mm(told.dz)}`, told.square && told.square[1] < told.distance - 0.005 ? make("b", {}, told.square[1] < 0.005 ? `; 0 ${told.square[0]}: they lie on one` : `; ${mm(told.square[1])} mm ${told.square[0]}`) : ""),
      told && make("small", {}, `From ${name(this.ends[0])} to ${name(this.ends[1])}. Measured on the drawn meshes: ± is what these may be off from the true shapes.`),
      a && button({ "data-key": "again", onclick: () => this.turn(true) }, "Again"),
    );
  }
}
