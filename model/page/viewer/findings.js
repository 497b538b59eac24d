// The list of what was found: filters, those alike under the worst of them, and all that is said of the chosen one.

import { button, by, make, refill } from "./dom.js";

export const GROUPS = [
  ["bad", "In the way", "✖", ["clash", "fail", "touch", "tight"]],
  ["open", "Unknown", "?", ["unknown"]],
  ["look", "Look at it", "!", ["caution"]],
  ["good", "Fine", "✓", ["clear", "pass"]],
];
const ROWS = 150; // at first: more are shown when asked for
const METHODS = {
  exact: "exact shapes", mesh: "meshes of known error", boxes: "boxes only, a lower bound", arithmetic: "declared sizes only", none: "nothing could be measured",
};
const SHOWN_MM = 3; // decimals of a length in full

export const groupOf = (f) => GROUPS.find(([, , , verdicts]) => verdicts.includes(f.verdict));
const number = (x) => (x === null || x === undefined ? null : Number(x.toFixed(SHOWN_MM)));

export class Findings {
  constructor(page) {
    this.page = page;
    this.open = new Set(["bad", "open", "look"]);
    this.rows = ROWS;
    by("narrow").open = !matchMedia("(max-width: 760px), (max-height: 560px)").matches;
    for (const id of ["words", "question", "of-piece"]) by(id).addEventListener("input", () => this.narrowed());
    by("findings-tab").append(make("p", { id: "none", hidden: true }, make("span"), button({ onclick: () => this.wide() }, "Show all")));
  }

  load(told) {
    this.byId = new Map(told.findings.map((f) => [f.id, f]));
    this.groups = told.groups.map((ids) => ids.map((id) => this.byId.get(id)));
    this.leaderOf = new Map();
    for (const group of this.groups)
      for (const f of group) for (const id of [f.id, ...(f.effects ?? [])]) if (!this.leaderOf.has(id)) this.leaderOf.set(id, group[0]);
    const questions = new Set(told.findings.map((f) => f.question));
    const pieces = new Set(told.findings.flatMap((f) => f.parts));
    this.offer("question", "every question", [...questions].map((q) => [q, told.questions[q] ?? q]));
    this.offer("of-piece", "every part", [...pieces].sort((a, b) => a.localeCompare(b)).map((p) => [p, p]));
  }

  offer(id, all, options) {
    const value = by(id).value;
    by(id).replaceChildren(make("option", { value: "" }, all), ...options.map(([v, text]) => make("option", { value: v }, text)));
    by(id).value = options.some(([v]) => v === value) ? value : "";
  }

  wide() {
    for (const id of ["words", "question", "of-piece"]) by(id).value = "";
    this.open = new Set(GROUPS.map(([key]) => key));
    this.narrowed();
  }

  of(piece) {
    this.wide();
    by("of-piece").value = piece;
    by("narrow").open = true;
    this.narrowed();
  }

  narrowed() {
    this.rows = ROWS;
    this.fill();
    this.page.marked();
  }

  // What the filters let through, whatever its verdict.
  passing() {
    const words = by("words").value.toLowerCase().split(/\s+/).filter(Boolean), question = by("question").value, piece = by("of-piece").value;
    const said = (f) => [f.headline, f.text, f.place, f.id, f.parts.join(" ")].join(" ").toLowerCase();
    const fits = (f) => (!question || f.question === question) && (!piece || f.parts.includes(piece)) && words.every((w) => said(f).includes(w));
    return this.groups.filter((group) => group.some((f) => fits(f) || (f.effects ?? []).some((id) => fits(this.byId.get(id)))));
  }

  shown() {
    return this.passing().filter(([f]) => this.open.has(groupOf(f)[0]));
  }

  // The finding so many steps on from the chosen one, round the list.
  step(steps) {
    const list = this.shown().map(([f]) => f);
    if (!list.length) return null;
    const { picked } = this.page;
    const at = picked ? list.indexOf(this.leaderOf.get(picked.id)) : -1;
    return list[(at < 0 ? (steps > 0 ? 0 : list.length - 1) : at + steps + list.length) % list.length];
  }

  fill() {
    const passing = this.passing();
    const shown = passing.filter(([f]) => this.open.has(groupOf(f)[0]));
    refill(
      by("verdicts"),
      GROUPS.map(([key, name, sign, verdicts]) => {
        const count = passing.filter(([f]) => verdicts.includes(f.verdict)).reduce((n, group) => n + group.length, 0);
        const toggle = () => {
          this.open.has(key) ? this.open.delete(key) : this.open.add(key);
          this.narrowed();
        };
        return button({ "data-key": key, class: key, "aria-pressed": this.open.has(key), onclick: toggle }, make("span", { "aria-hidden": true }, `${sign} `), make("span", { class: "said" }, `${name} `), String(count));
      }),
    );
    const none = GROUPS.filter(([, , , verdicts]) => !this.groups.some(([f]) => verdicts.includes(f.verdict))).map(([key]) => key);
    for (const b of by("verdicts").children) b.hidden = none.includes(b.dataset.key);
    const { picked } = this.page, leader = picked && this.leaderOf.get(picked.id);
    const rows = shown.slice(0, Math.max(this.rows, shown.findIndex(([f]) => f === leader) + 1));
    refill(
      by("findings"),
      rows.map((group) => this.row(group, group[0] === leader)),
      rows.length < shown.length && make("li", {}, button({ "data-key": "more", class: "wide", onclick: () => this.more() }, `Show ${shown.length - rows.length} more`)),
    );
    const asked = ["words", "question", "of-piece"].some((id) => by(id).value), fine = this.groups.every(([f]) => groupOf(f)[0] === "good");
    by("none").hidden = shown.length > 0;
    by("none").firstChild.textContent = fine && !asked ? "Nothing is in the way, and nothing has to be looked at. " : "Nothing found is like that. ";
  }

  more() {
    this.rows += 4 * ROWS;
    this.fill();
  }

  row(group, open) {
    const [f] = group, { told } = this.page, [cls, , sign] = groupOf(f);
    const effects = group.flatMap((x) => x.effects ?? []).length;
    const small = [told.words[f.verdict], f.place, group.length > 1 && `${group.length} alike`, effects && `${effects} more follow`].filter(Boolean).join(" · ");
    const choose = () => this.page.choose(open && this.page.picked === f ? null : f);
    const n = told.numbers[f.id];
    return make(
      "li", { class: open ? "open" : null },
      button({ "data-key": f.id, "data-id": f.id, "aria-expanded": open, onclick: choose },
        make("span", { class: `mark ${cls}` }, make("span", { class: "sign", "aria-hidden": true }, told.signs[f.verdict] ?? sign), n ? ` ${n}` : ""),
        make("span", {}, f.headline, make("small", {}, small))),
      open && this.told(group),
    );
  }

  // All that is said of the chosen one, and those alike and those that follow, each to be chosen.
  told(group) {
    const { picked, told } = this.page;
    const others = (title, list) =>
      list.length > 0 &&
      make("details", { open: list.length < 9 || list.includes(picked) }, make("summary", {}, title), make("ul", { class: "others" }, list.map((f) =>
        make("li", {}, button({ "data-key": `other ${f.id}`, "aria-pressed": f === picked, onclick: () => this.page.choose(f) }, told.numbers[f.id] ? `${told.numbers[f.id]}  ` : "", f.headline)))));
    const effects = group.flatMap((f) => f.effects ?? []).map((id) => this.byId.get(id)).filter(Boolean);
    return make("div", { class: "more" }, this.detail(picked, picked !== group[0]), others(`${group.length} alike`, group.length > 1 ? group : []), others(`${effects.length} more follow from it`, effects));
  }

  detail(f, named) {
    const { told } = this.page, p = (...text) => make("p", {}, ...text);
    const span = f.measured === null ? null : [
      `${number(f.measured)} ${f.unit}`, f.low !== null && f.high !== null && f.low !== f.high && ` (between ${number(f.low)} and ${number(f.high)})`, f.required !== null && `, wanted ${number(f.required)}`,
    ];
    const assumed = Object.entries(f.basis.assumed);
    return [
      named && make("h3", {}, f.headline),
      p(f.text),
      f.remedies.length > 0 && make("div", { class: "mend" }, make("h3", {}, "What would help"), make("ul", {}, f.remedies.map((r) => make("li", {}, r)))),
      (f.take_care ?? []).map((c) => make("p", { class: "care" }, make("b", {}, "Take care: "), c)),
      make("dl", {},
        f.place && [make("dt", {}, "Where"), make("dd", {}, f.place, f.from_walls && make("small", {}, `mm from the walls: ${f.from_walls}`))],
        span && [make("dt", {}, "Number"), make("dd", {}, span)],
        make("dt", {}, "Found by"), make("dd", {}, METHODS[f.basis.method] ?? f.basis.method, f.basis.bound ? `, off by at most ${number(f.basis.bound)} mm` : ""),
        make("dt", {}, "Parts"), make("dd", { class: "names" }, f.parts.map((name) => button({ "data-key": `part ${name}`, onclick: () => this.page.choosePiece(name) }, name)))),
      assumed.length > 0 && make("details", {}, make("summary", {}, "Rests on assumed sizes: measure these"), make("ul", {}, assumed.map(([name, fields]) => make("li", {}, `${name}: ${fields.join(", ")}`)))),
      f.cause && this.byId.has(f.cause) && p("It follows from: ", button({ "data-key": "cause", onclick: () => this.page.choose(this.byId.get(f.cause)) }, this.byId.get(f.cause).headline)),
      make("small", { class: "id" }, f.id),
      told.overlaps[f.id] && make("small", {}, "The solid that both take up is drawn over the model."),
    ].flat().filter(Boolean);
  }
}
