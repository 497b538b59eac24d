// The list of parts, and the panel of the chosen one: its sizes with what they rest on, its place, its findings.

import { button, by, make, refill } from "./dom.js";
import { groupOf } from "./findings.js";

const ORIGIN = { build: "this build" };
const FIRST = 6; // findings of a part that are told with it

export const valued = (v) =>
  v === true ? "yes" : v === false ? "no" : v === null ? "none" : Array.isArray(v) ? v.map(valued).join(", ") || "none"
    : typeof v === "object" ? Object.entries(v).map(([k, x]) => `${k} ${valued(x)}`).join("; ") || "none" : String(v);

export class Parts {
  constructor(page) {
    this.page = page;
    this.hooks = [];
    by("part-words").addEventListener("input", () => this.fill());
    by("all-parts").onclick = () => this.reveal();
  }

  // Everything can be seen again.
  reveal() {
    this.page.stage.hidden.clear();
    this.page.redraw();
  }

  only(name) {
    const { stage, told } = this.page;
    stage.hidden = new Set(told.pieces.map((p) => p.name).filter((n) => n !== name));
    this.page.redraw();
  }

  toggle(names, hide) {
    for (const name of names) hide ? this.page.stage.hidden.add(name) : this.page.stage.hidden.delete(name);
    this.page.redraw();
  }

  fill() {
    const { told, stage, piece } = this.page;
    const words = by("part-words").value.toLowerCase().split(/\s+/).filter(Boolean);
    const passes = (p) => words.every((w) => `${p.name} ${p.family} ${p.assembly}`.toLowerCase().includes(w));
    const shown = told.pieces.filter(passes), large = shown.filter((p) => !p.small), small = shown.filter((p) => p.small);
    const wrong = new Map();
    for (const f of told.findings) if (groupOf(f)[0] === "bad" || f.verdict === "unknown") for (const name of f.parts) wrong.set(name, (wrong.get(name) ?? 0) + 1);
    const row = (p) => {
      const seen = !stage.hidden.has(p.name), n = wrong.get(p.name);
      return make(
        "li", { class: p === piece ? "chosen" : null },
        make("input", { type: "checkbox", "aria-label": `Show ${p.name}`, "data-key": `show ${p.name}`, onchange: (e) => this.toggle([p.name], !e.target.checked), ...(seen ? { checked: true } : {}) }),
        button({ class: "name", "data-key": `name ${p.name}`, "aria-pressed": p === piece, onclick: () => this.page.choosePiece(p === piece ? null : p.name) }, p.name, n ? make("small", { class: "bad" }, `✖ ${n}`) : ""),
        button({ class: "only", "data-key": `only ${p.name}`, "aria-label": `Only ${p.name}`, onclick: () => this.only(p.name) }, "Only"),
      );
    };
    const hiddenSmall = small.filter((p) => stage.hidden.has(p.name)).length;
    refill(
      by("parts"),
      large.map(row),
      small.length > 0 && make(
        "li", { class: "small" },
        make("details", { id: "small-parts", ...(by("small-parts")?.open || words.length || small.includes(piece) ? { open: true } : {}) },
          make("summary", { "data-key": "small" }, `Screws, nuts and washers (${small.length})`),
          button({ "data-key": "all small", onclick: () => this.toggle(small.map((p) => p.name), hiddenSmall < small.length) }, hiddenSmall < small.length ? "Hide all of these" : "Show all of these"),
          make("ul", {}, small.map(row))),
      ),
      shown.length === 0 && make("li", {}, "No part is called that."),
    );
    by("all-parts").hidden = stage.hidden.size === 0;
    by("all-parts").textContent = `Show the ${stage.hidden.size} hidden`;
  }

  panel() {
    const { piece, told, stage } = this.page, e = by("piece");
    e.hidden = !piece;
    if (!piece) return e.replaceChildren();
    const found = told.findings.filter((f) => f.parts.includes(piece.name));
    const ill = this.page.findings.groups.filter((group) => groupOf(group[0])[0] !== "good" && group.some((f) => f.parts.includes(piece.name))).map((group) => group.find((f) => f.parts.includes(piece.name)));
    const hidden = stage.hidden.has(piece.name);
    refill(
      e,
      make("h2", {}, piece.name),
      make("p", {}, [piece.family, piece.assembly !== piece.name && `of ${piece.assembly}`, piece.outside && "stands outside the case"].filter(Boolean).join(", ")),
      piece.spot && make("p", {}, piece.spot, make("small", {}, `its middle, mm from the walls: ${piece.from_walls}`)),
      make("p", { class: "row" },
        button({ "data-key": "only", onclick: () => this.only(piece.name) }, "Only this"),
        button({ "data-key": "hide", onclick: () => this.toggle([piece.name], !hidden) }, hidden ? "Show it" : "Hide it"),
        button({ "data-key": "close", onclick: () => this.page.choosePiece(null) }, "Done with it")),
      make("h3", {}, ill.length ? `What was found of it` : "Nothing found against it"),
      make("ul", { class: "others" }, ill.slice(0, FIRST).map((f) => make("li", {}, button({ "data-key": f.id, onclick: () => this.page.choose(f) },
        make("span", { class: groupOf(f)[0] }, told.signs[f.verdict]), ` ${f.headline}`)))),
      found.length > 0 && button({ "data-key": "all of it", onclick: () => this.page.findingsOf(piece.name) }, `All ${found.length} findings of it`),
      make("h3", {}, "Sizes"),
      this.sizes(piece),
    );
    for (const hook of this.hooks) hook(piece, e);
  }

  sizes(piece) {
    const { told } = this.page;
    const rows = Object.entries(piece.fields).map(([name, f]) => {
      const guess = told.assumed_marks.includes(f.basis);
      const origin = ORIGIN[f.basis] ?? told.marks[f.basis] ?? "";
      return make(
        "tr", { "data-field": name, class: guess ? "guess" : null },
        make("th", { scope: "row" }, name, piece.meaning[name] && make("small", {}, piece.meaning[name])),
        make("td", { class: "value" }, valued(f.value), f.unit ? ` ${f.unit}` : "", f.plus_minus !== undefined ? ` ± ${f.plus_minus}` : ""),
        make("td", { title: f.source ?? null }, guess ? make("b", {}, "assumed") : "", make("small", {}, guess ? `${origin}: ${f.source}` : [origin, f.source].filter(Boolean).join(": "))),
      );
    });
    return make("table", { class: "sizes" }, make("thead", {}, make("tr", {}, ["size", "value", "rests on"].map((h) => make("th", { scope: "col" }, h)))), make("tbody", {}, rows));
  }
}
