// Labels over the picture, pulled off each other: each stands at its place where that is free, else beside it, tied to it
// by a line. The list says the same, so that screen readers are not told it twice.

import { by, make } from "./dom.js";

const APART = 4; // pixels between labels
const RINGS = [0, 26, 44, 64, 88, 116, 148]; // pixels from the place
const TURNS = 12; // directions tried on each ring, upward first

export class Pins {
  constructor(stage, section) {
    this.stage = stage;
    this.section = section;
    this.pins = [];
    this.svg = by("ties");
    this.box = by("pins");
    stage.after.push(() => this.place());
  }

  // at: the place (Vector3); text; cls; choose: called when it is clicked or tapped; beside: what it tells of is to be seen, and it itself even where
  // a section takes that away.
  set(list) {
    this.pins = list.map((p) => ({ ...p, e: make("span", { class: p.cls }, p.text), tie: document.createElementNS("http://www.w3.org/2000/svg", "line"), slot: null }));
    this.box.replaceChildren(...this.pins.map((p) => p.e));
    this.svg.replaceChildren(...this.pins.map((p) => p.tie));
    for (const p of this.pins) [p.w, p.h] = [p.e.offsetWidth, p.e.offsetHeight];
    this.stage.draw();
  }

  place() {
    const { clientWidth: width, clientHeight: height } = this.stage.canvas;
    const taken = [];
    const free = (x, y, p) =>
      x - p.w / 2 >= 2 && x + p.w / 2 <= width - 2 && y - p.h / 2 >= 2 && y + p.h / 2 <= height - 2 &&
      taken.every((t) => Math.abs(t.x - x) * 2 >= t.w + p.w + 2 * APART || Math.abs(t.y - y) * 2 >= t.h + p.h + 2 * APART);
    for (const p of this.pins) {
      const spot = this.stage.eye.onScreen(p.at);
      const inside = spot && (p.beside || !this.section.gone(p.at)) && spot.x > -20 && spot.y > -20 && spot.x < width + 20 && spot.y < height + 20;
      let found = null;
      if (inside) found = p.slot && free(spot.x + p.slot[0], spot.y + p.slot[1], p) ? p.slot : this.spot(spot, p, free);
      p.slot = found;
      p.e.hidden = !found;
      p.tie.style.display = found && (found[0] || found[1]) ? "" : "none";
      if (!found) continue;
      Object.assign(p, { x: spot.x + found[0], y: spot.y + found[1] });
      taken.push({ x: p.x, y: p.y, w: p.w, h: p.h });
      p.e.style.transform = `translate(${Math.round(p.x)}px, ${Math.round(p.y)}px) translate(-50%, -50%)`;
      for (const [name, value] of Object.entries({ x1: spot.x, y1: spot.y, x2: p.x, y2: p.y })) p.tie.setAttribute(name, value.toFixed(1));
    }
  }

  spot(at, p, free) {
    for (const ring of p.beside ? RINGS.slice(2) : RINGS)
      for (let i = 0; i < (ring ? TURNS : 1); i++) {
        const turn = ((i % 2 ? -1 : 1) * Math.ceil(i / 2) * 2 * Math.PI) / TURNS - Math.PI / 2;
        const slot = ring ? [Math.cos(turn) * (ring + (Math.abs(Math.cos(turn)) * p.w) / 2), Math.sin(turn) * ring] : [0, 0];
        if (free(at.x + slot[0], at.y + slot[1], p)) return slot;
      }
    return null;
  }

  // The label under a point of the picture.
  under(x, y) {
    return this.pins.find((p) => p.choose && !p.e.hidden && Math.abs(p.x - x) <= p.w / 2 + 5 && Math.abs(p.y - y) <= p.h / 2 + 7);
  }
}
