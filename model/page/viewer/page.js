// The page: what is chosen, and what that does to the lists and the picture.
//
// What others may use of it: `show(data)` puts other data in place of what is shown, and keeps the eye, the choice, the
// layers, the section and what is hidden as far as they still mean something; `onPiece(hook)` has `hook(piece, panel)`
// called each time the panel of a chosen piece has been made (the piece as in the data, the panel an element that rows
// named [data-field] stand in); `choosePiece(name)` and `chooseFinding(id)` choose, null chooses nothing; "show" and
// "choice" are its events; `stage` is the model.

import { Box3, Sphere, Vector3 } from "three";
import { by, button, make, refill } from "./dom.js";
import { Findings, groupOf } from "./findings.js";
import { keys } from "./keys.js";
import { Layers } from "./layers.js";
import { Line } from "./marks.js";
import { Measure } from "./measure.js";
import { Parts } from "./parts.js";
import { Picking } from "./picking.js";
import { Pins } from "./pins.js";
import { Section } from "./section.js";
import { Stage } from "./stage.js";
import { Tabs } from "./tabs.js";
import { START, Tools } from "./tools.js";

const NEAREST = 70; // mm: radius of what is flown to at least
const PINS = 24; // numbers over the picture at once: more say nothing

class Page extends EventTarget {
  constructor() {
    super();
    this.picked = this.piece = null;
    this.stage = new Stage(by("canvas"));
    this.section = new Section(this.stage);
    this.pins = new Pins(this.stage, this.section);
    this.picking = new Picking(this);
    this.gap = new Line(this.stage, 0xd4420f);
    this.measure = new Measure(this);
    this.layers = new Layers(this);
    this.findings = new Findings(this);
    this.parts = new Parts(this);
    this.tools = new Tools(this);
    this.tabs = new Tabs();
    keys(this);
  }

  show(data) {
    const first = !this.told, { told } = data, { stage } = this;
    this.told = told;
    this.findings.load(told);
    this.picked = this.picked && (told.findings.find((f) => f.id === this.picked.id) ?? null);
    this.piece = this.piece && (told.pieces.find((p) => p.name === this.piece.name) ?? null);
    for (const name of stage.hidden) if (!told.pieces.some((p) => p.name === name)) stage.hidden.delete(name);
    document.documentElement.dataset.verdict = told.verdict;
    document.title = `${told.build}: ${told.said}`;
    by("sign").textContent = told.whole_signs[told.verdict];
    by("said").textContent = told.said;
    by("build").textContent = told.build;
    by("sentence").textContent = told.sentence;
    by("first").textContent = told.first;
    by("care").hidden = !told.care.length;
    by("care-list").replaceChildren(...told.care.map((c) => make("li", {}, c)));
    by("tab-findings").textContent = `Found ${told.findings.filter((f) => !f.cause && groupOf(f)[0] !== "good").length}`;
    by("tab-parts").textContent = `Parts ${told.pieces.length}`;
    const { chosen, alarms } = this.emphasis();
    Object.assign(stage, { chosen, alarms });
    stage.load(data);
    this.measure.turn(this.measure.on);
    this.tools.load();
    if (first) {
      stage.resize();
      stage.eye.whole(START, true);
      requestAnimationFrame(() => requestAnimationFrame(() => (document.documentElement.dataset.ready = "yes")));
    }
    this.told_of();
    this.dispatchEvent(new Event("show"));
  }

  onPiece(hook) {
    this.parts.hooks.push(hook);
    if (this.told) this.parts.panel();
  }

  chooseFinding(id) {
    this.choose(this.findings.byId.get(id) ?? null);
  }

  choosePiece(name) {
    const p = this.told.pieces.find((x) => x.name === name) ?? null;
    [this.picked, this.piece] = [null, p];
    if (p) {
      this.stage.hidden.delete(p.name);
      this.tabs.open("parts");
    }
    this.chosen();
    const box = p && this.stage.pieces.get(p.name).box;
    if (box && !box.isEmpty()) {
      const sphere = box.clone().translate(this.stage.offset(p.name)).getBoundingSphere(new Sphere());
      sphere.radius = Math.max(NEAREST, sphere.radius * 1.15);
      this.stage.eye.look(sphere);
      by("parts-tab").scrollTop = 0;
    } else this.stage.eye.whole();
  }

  choose(f) {
    [this.picked, this.piece] = [f, null];
    if (f) {
      for (const name of f.parts) this.stage.hidden.delete(name);
      this.tabs.open("findings");
    }
    this.chosen();
    if (!f) return this.stage.eye.whole();
    const sphere = this.around(f);
    if (sphere) this.stage.eye.look(sphere);
    document.querySelector("#findings li.open")?.scrollIntoView({ block: "nearest" });
  }

  // Steps through the findings of the list.
  step(steps) {
    const f = this.findings.step(steps);
    if (f) this.choose(f);
  }

  findingsOf(piece) {
    this.findings.of(piece);
    this.tabs.open("findings");
  }

  // Where a finding is to be looked at: its points, else its parts.
  around(f) {
    const { stage } = this, box = new Box3();
    if (f.where.length) for (const p of this.ends(f)) box.expandByPoint(p);
    else for (const name of f.parts) if (stage.pieces.has(name) && !stage.pieces.get(name).encloses) box.union(stage.pieces.get(name).box);
    if (box.isEmpty()) box.copy(stage.box);
    const sphere = box.getBoundingSphere(new Sphere());
    sphere.radius = Math.max(NEAREST, sphere.radius * (f.where.length ? 2.5 : 1.1));
    return sphere;
  }

  // The points of a finding where its parts now stand, each with its part.
  points(f) {
    return f.where.map((p, i) => [new Vector3(...p).add(this.stage.offset(f.parts[Math.min(i, f.parts.length - 1)])), f.parts[i]]);
  }

  // The place of a finding, or both ends of what it measures: two points that lie elsewhere are no line of its number.
  ends(f) {
    const [[a], [b] = []] = this.points(f), far = b && f.where.length === 2 ? Math.hypot(...f.where[0].map((c, i) => c - f.where[1][i])) : null;
    const meant = far !== null && f.measured !== null && (f.question === "screw" || Math.abs(far - Math.abs(f.measured)) < 0.05 + 0.01 * far);
    return meant || f.verdict === "touch" ? [a, b].filter(Boolean) : [a];
  }

  // All but what is chosen become ghosts; what is shared is seen through all else.
  emphasis() {
    const { picked: f, piece, told } = this;
    if (f) {
      const after = (f.effects ?? []).map((id) => this.findings.byId.get(id)).filter(Boolean);
      const alarms = new Set([f.id, ...after.map((x) => x.id)].filter((id) => told.overlaps[id]));
      const named = [...f.bodies, f.obstacle, ...(f.blockers ?? []), ...(f.also ?? []).map((o) => o.obstacle)].filter(Boolean);
      const owners = told.bodies.filter((b) => named.includes(b.id)).map((b) => b.piece);
      const pieces = new Set([...f.parts, ...after.flatMap((x) => x.parts), ...owners]);
      return { chosen: { pieces, bodies: new Set(named), ports: new Set(f.port ? [f.port] : (f.ports ?? [])), glassy: alarms.size > 0 }, alarms };
    }
    if (piece) return { chosen: { pieces: new Set([piece.name]), bodies: new Set(), ports: new Set(), plain: true }, alarms: new Set() };
    return { chosen: null, alarms: new Set(Object.keys(told.overlaps)) };
  }

  chosen() {
    const { chosen, alarms } = this.emphasis();
    this.stage.choose(chosen, alarms);
    this.told_of();
    by("heard").textContent = this.picked ? this.picked.headline : this.piece ? this.piece.name : "Nothing chosen";
    this.dispatchEvent(new Event("choice"));
  }

  // What the lists, the caption and the labels say.
  told_of() {
    this.findings.fill();
    this.parts.fill();
    this.parts.panel();
    this.layers.fill();
    this.caption();
    this.marked();
  }

  redraw() {
    this.stage.show();
    this.parts.fill();
    this.parts.panel();
    this.marked();
  }

  // Labels and lines over the picture.
  marked() {
    if (!this.told) return;
    this.layers.draw();
    const list = [...this.measure.pins()], f = this.picked;
    if (f?.where.length) {
      const [a, b = a] = this.ends(f);
      list.push({ at: a.clone().lerp(b, 0.5), text: f.label || "here", cls: `gap ${groupOf(f)[0]}`, beside: true });
      this.gap.set(a, b);
    } else this.gap.set(null);
    if (!f && !this.piece) list.push(...this.numbers());
    this.pins.set([...list, ...this.layers.pins()]);
  }

  numbers() {
    const { numbers } = this.told;
    const shown = this.findings.shown().filter(([f]) => f.where.length && numbers[f.id] && f.parts.some((p) => !this.stage.hidden.has(p)));
    const wrong = shown.filter(([f]) => groupOf(f)[0] !== "look"); // what is only to be looked at is not to hide what is wrong
    return (wrong.length ? wrong : shown).slice(0, PINS).map(([f]) => {
      const [cls, , sign] = groupOf(f);
      return { at: this.points(f)[0][0], text: cls === "bad" ? String(numbers[f.id]) : `${sign} ${numbers[f.id]}`, cls, choose: () => this.choose(f) };
    });
  }

  caption() {
    const { picked: f, piece, told } = this, e = by("choice");
    e.hidden = !f && !piece;
    if (e.hidden) return refill(e);
    const list = this.findings.shown().map(([x]) => x), at = f ? list.indexOf(this.findings.leaderOf.get(f.id)) : -1;
    const step = (n, sign, words) => button({ "data-key": words, "aria-label": words, onclick: () => this.step(n) }, make("span", { "aria-hidden": true }, sign));
    refill(
      e,
      f && [step(-1, "←", "The finding before"), make("span", { class: "count" }, at < 0 ? "" : `${at + 1} of ${list.length}`), step(1, "→", "The next finding")],
      make("span", { class: "words" }, f ? f.headline : piece.name),
      piece && button({ "data-key": "alone", onclick: () => this.parts.only(piece.name) }, "Only this"),
      button({ "data-key": "let go", "aria-label": "Show the whole build again", onclick: () => this.choose(null) }, make("span", { "aria-hidden": true }, "×")),
    );
  }

  // A click or tap on the picture: a label, a point to measure from, or a part.
  picked_at(x, y) {
    if (this.measure.take(x, y)) return;
    const pin = this.pins.under(x, y);
    if (pin) return pin.choose();
    const hit = this.picking.at(x, y);
    if (hit) this.choosePiece(hit.body.piece);
  }
}

// Without data it waits for `show`: what draws gets ready while they are unpacked.
export function begin(data) {
  const root = document.documentElement;
  root.dataset.theme = matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light";
  const page = new Page();
  by("theme").onclick = () => {
    root.dataset.theme = root.dataset.theme === "dark" ? "light" : "dark";
    page.stage.show();
  };
  by("help").onclick = () => by("keys").showModal();
  if (data) page.show(data);
  return page;
}
