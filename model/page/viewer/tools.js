// The tools under the picture: one drawer open at a time. Section, pulling apart, where one looks from, measuring.

import { Vector3 } from "three";
import { by, button } from "./dom.js";

export const START = new Vector3(-0.35, -1, 0.38); // from the open side, a little from the rear and above
const FROM = [
  ["Open side", [-0.001, -1, 0.001]], ["Tray", [0.001, 1, 0.001]], ["Rear", [-1, -0.001, 0.001]], ["Front", [1, -0.001, 0.001]],
  ["Roof", [0, -0.02, 1]], ["Floor", [0, -0.02, -1]], ["A corner", START.toArray()],
];

export class Tools {
  constructor(page) {
    this.page = page;
    for (const tool of document.querySelectorAll("#bar [data-drawer]")) tool.onclick = () => this.open(tool.getAttribute("aria-expanded") === "true" ? null : tool.dataset.drawer);
    by("drawer-from").replaceChildren(...FROM.map(([name, way]) => button({ onclick: () => page.stage.eye.whole(new Vector3(...way)) }, name)));
    by("whole").onclick = () => {
      page.choose(null);
      page.stage.eye.whole(START);
    };
    by("axis").onchange = () => this.cut(true);
    for (const id of ["place", "placed"])
      by(id).oninput = () => {
        if (!Number.isFinite(by(id).valueAsNumber)) return;
        by(id === "place" ? "placed" : "place").value = by(id).value;
        this.cut(false);
      };
    by("flip").onclick = () => {
      by("flip").setAttribute("aria-pressed", String(by("flip").getAttribute("aria-pressed") !== "true"));
      this.cut(false);
    };
    by("apart").oninput = () => {
      page.stage.apart = Number(by("apart").value);
      page.redraw();
    };
    by("together").onclick = () => {
      by("apart").value = page.stage.apart = 0;
      page.redraw();
    };
  }

  open(name) {
    for (const tool of document.querySelectorAll("#bar [data-drawer]")) {
      const on = tool.dataset.drawer === name;
      tool.setAttribute("aria-expanded", String(on));
      by(`drawer-${tool.dataset.drawer}`).hidden = !on;
    }
    this.page.measure.turn(name === "measure");
    if (name === "cut" && !by("axis").value) {
      by("axis").value = "y";
      this.cut(true);
    }
  }

  cut(fresh) {
    const { section } = this.page, axis = by("axis").value || null;
    for (const id of ["place", "placed", "flip"]) by(id).hidden = !axis;
    if (axis && fresh) {
      const [min, max] = section.range(axis);
      for (const id of ["place", "placed"]) Object.assign(by(id), { min, max, value: Math.round((min + max) / 2) });
    }
    const flipped = by("flip").getAttribute("aria-pressed") === "true";
    // What lies before the plane as seen from where one first looks is cut away: the open side, the front, the roof.
    section.set(axis, Number(by("place").value), (axis === "y") !== flipped);
  }

  // After other data has come: the section stays where it is, the ends of its slider follow the case.
  load() {
    const axis = by("axis").value;
    if (!axis) return;
    const [min, max] = this.page.section.range(axis);
    for (const id of ["place", "placed"]) Object.assign(by(id), { min, max });
  }
}
