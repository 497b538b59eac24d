// Layers over the model, each with the same in words: room to keep free, reach, air, assumed sizes.

import { Vector3 } from "three";
import { by, button, make, refill } from "./dom.js";
import { Arrows } from "./marks.js";

const IN = 0x0072b2, OUT = 0xd55e00, STILL = 0x6b6f73; // told apart by those who see no red or no green
const OUTSIDE = 46; // mm that the arrow of an opening stands outside of it
const LAYERS = [
  ["keepOuts", "Room to keep free", "What parts need before plugs, cards and cables; nothing may stand in it."],
  ["reach", "Reach of ports", "Where a hand with a fitting or a tube can get to in front of each port."],
  ["air", "Air", "Which way each fan blows, and what goes in and out at each opening."],
  ["assumed", "Assumed sizes", "Parts with yellow stripes have sizes that nobody has measured: measure them before you cut or drill."],
];

export class Layers {
  constructor(page) {
    this.page = page;
    this.arrows = new Arrows(page.stage);
    this.tables = {};
    by("layers").replaceChildren(...LAYERS.map(([name, title, about]) => {
      const box = make("input", { type: "checkbox", id: `layer-${name}`, onchange: (e) => this.set(name, e.target.checked) });
      this.tables[name] = make("div", { class: "told" });
      return make("section", {}, make("label", { class: "switch" }, box, make("b", {}, title)), make("p", {}, about), this.tables[name]);
    }));
  }

  set(name, on) {
    this.page.stage.layers[name] = on;
    this.page.redraw();
  }

  air() {
    return this.page.told.findings.find((f) => f.question === "air" && f.fans) ?? null;
  }

  // Labels of what the air layer shows.
  pins() {
    if (!this.page.stage.layers.air) return [];
    return this.drawn.filter((a) => a.text).map((a) => ({ at: a.at, text: a.text, cls: `air ${a.cls}` }));
  }

  draw() {
    const { stage, told } = this.page, air = this.air();
    this.drawn = [];
    if (stage.layers.air && air) {
      air.fans.forEach((f, i) => {
        if (stage.hidden.has(f.fan)) return;
        const colour = f.air === "in" ? IN : f.air === "out" ? OUT : STILL;
        this.drawn.push({ at: new Vector3(...air.where[i]).add(stage.offset(f.fan)), way: new Vector3(...f.direction), colour });
      });
      for (const { opening, air: way } of air.openings) {
        const o = told.openings[opening];
        if (!o || !["in", "out"].includes(way)) continue;
        const inward = new Vector3(...o.inward), at = new Vector3(...o.at).addScaledVector(inward, -OUTSIDE);
        this.drawn.push({ at, way: way === "in" ? inward : inward.negate(), colour: way === "in" ? IN : OUT, text: `air ${way}`, cls: way });
      }
    }
    this.arrows.set(this.drawn);
  }

  fill() {
    const { told, stage } = this.page, air = this.air();
    const table = (heads, rows) => make("table", {}, make("thead", {}, make("tr", {}, heads.map((h) => make("th", { scope: "col" }, h)))), make("tbody", {}, rows.map((r) => make("tr", {}, r.map((c) => make("td", {}, c))))));
    const part = (name) => button({ "data-key": name, class: "name", onclick: () => this.page.choosePiece(name) }, name);
    const folded = (key, title, inside) => make("details", { "data-key": key, ...(this.tables[key].querySelector("details")?.open ? { open: true } : {}) }, make("summary", {}, title), inside);
    const rooms = told.bodies.filter((b) => b.kind === "keep-out");
    refill(this.tables.keepOuts, rooms.length ? folded("keepOuts", `${rooms.length} rooms`, table(["part", "kept free for"], rooms.map((b) => [part(b.piece), b.why]))) : make("small", {}, "No part of this build needs any."));
    const ports = Object.entries(told.reach);
    refill(this.tables.reach, ports.length ? folded("reach", `${ports.length} ports`, table(["port", "part"], ports.map(([port, r]) => [port, r.piece ? part(r.piece) : ""]))) : make("small", {}, "No port of this build is asked about."));
    refill(this.tables.air, air
      ? folded("air", air.text, [
        air.fans.length > 0 && table(["fan", "blows", "air", "opening"], air.fans.map((f) => [part(f.fan), f.toward, f.air ?? "inside", f.opening ?? "none"])),
        air.openings.length > 0 && table(["opening", "air"], air.openings.map((o) => [o.opening, o.air === "none" ? "no fan there" : o.air])),
        air.radiators?.length > 0 && table(["radiator", "gets", "by"], air.radiators.map((r) => [part(r.radiator), r.air === "none" ? "no fan's air" : `air of the ${r.air}`, r.fans.join(", ")])),
      ].filter(Boolean))
      : make("small", {}, "This build has no fans."));
    const guessed = [...stage.pieces.values()].filter((p) => p.assumed);
    refill(this.tables.assumed, guessed.length ? folded("assumed", `${guessed.length} parts`, table(["part", "assumed"], guessed.map((p) => [
      part(p.name), Object.entries(p.fields).filter(([, f]) => told.assumed_marks.includes(f.basis)).map(([name]) => name).join(", ")]))) : make("small", {}, "Every size was stated or published."));
    for (const [name] of LAYERS) by(`layer-${name}`).checked = stage.layers[name];
  }
}
