// The numbers of the chosen piece: what each is, what may stand there, what it rests on, and the field to change it in.

import { button, make } from "./dom.js";

const GROUPS = [["place", "Where it stands"], ["size", "Its sizes"], ["other", "What else is said of it"]];
const key = (n) => JSON.stringify(n.path);

// A text for a number with so much more of it, in the unit it is written in, its ± and its unit kept; null for a word.
export function more(text, value, by) {
  const lead = /^\s*[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?/.exec(text);
  if (!lead) return null;
  const written = Number(lead[0]), scale = written && value ? value / written : 1;
  const sum = Math.round((written + by / scale) * 1000) / 1000;
  return `${sum}${text.slice(lead[0].length)}`;
}

export class Numbers extends EventTarget {
  constructor(ask, state) {
    super();
    this.ask = ask;
    this.state = state;
    this.box = make("div", { id: "numbers" });
    this.rows = new Map(); // by path: { row, field, said, number }
    this.name = null;
    this.found = { numbers: [] };
  }

  // Puts the numbers into the panel of a piece, in place of its rows that cannot be changed.
  put(piece, panel) {
    const held = this.box.contains(document.activeElement) ? document.activeElement : this.held;
    if (this.name !== piece.name) {
      this.name = piece.name;
      this.found = { numbers: [] };
      this.rows.clear();
      this.box.replaceChildren(make("p", {}, "…"));
      this.refresh();
    }
    const heading = panel.querySelector("h2 ~ p.row") ?? panel.querySelector("h2");
    if (heading) heading.after(this.box);
    else panel.prepend(this.box);
    this.panel = panel;
    this.hide();
    if (held && this.box.contains(held)) held.focus();
  }

  hide() {
    const names = new Set(this.found.numbers.map((n) => n.field));
    for (const row of this.panel?.querySelectorAll("[data-field]") ?? []) if (names.has(row.dataset.field)) row.hidden = true;
  }

  // Asks anew what the chosen piece's numbers are; what is being typed stays.
  async refresh() {
    const name = this.name;
    if (!name) return;
    const found = await this.ask(`piece?name=${encodeURIComponent(name)}`).catch(() => null);
    if (!found || found.lost || this.name !== name) return;
    for (const n of found.numbers) n.field = n.group === "size" && !n.label.includes(",") ? n.path.at(-1) : null;
    this.found = found;
    const same = found.numbers.length === this.rows.size && found.numbers.every((n) => this.rows.has(key(n)));
    if (!same) this.build();
    for (const n of found.numbers) this.fill(n);
    this.hide();
    this.dispatchEvent(new Event("numbers"));
  }

  build() {
    const { found } = this;
    this.rows.clear();
    this.box.replaceChildren();
    if (found.whence) this.box.append(make("p", {}, `${found.whence}.`));
    else if (!found.numbers.length) this.box.append(make("p", {}, "Nothing of it is a number in the build file."));
    if (found.with.length) this.box.append(make("p", {}, `One entry of the file: a change counts for ${found.with.join(", ")} as well.`));
    for (const [group, name] of GROUPS) {
      const numbers = found.numbers.filter((n) => n.group === group);
      if (!numbers.length) continue;
      const open = group === "place" || numbers.length <= 6;
      this.box.append(make("details", { open }, make("summary", {}, `${name} (${numbers.length})`), numbers.map((n) => this.row(n))));
    }
  }

  row(n) {
    const id = `n-${key(n)}`, said = make("p", { class: "mistake", role: "alert" });
    const field = n.choices.length
      ? make("select", { id, "data-path": n.path.join(".") }, n.choices.map((c) => make("option", {}, c)))
      : make("input", { type: "text", inputmode: n.value === null ? null : "decimal", autocomplete: "off", spellcheck: "false", id, "data-path": n.path.join(".") });
    const step = (by) => {
      const { number } = this.rows.get(key(n)), text = more(field.value, number.value, by);
      if (text === null) return;
      field.value = text;
      this.change(number, text, true);
    };
    const less = button({ "aria-label": `${n.label}: 1 less`, onclick: () => step(-1) }, "−");
    const plus = button({ "aria-label": `${n.label}: 1 more`, onclick: () => step(1) }, "+");
    field.onchange = () => this.change(this.rows.get(key(n)).number, field.value);
    field.onfocus = () => (this.held = field);
    field.onblur = () => setTimeout(() => (document.activeElement === document.body || (this.held = null)));
    field.onkeydown = (e) => {
      if (e.key === "Escape") field.value = this.rows.get(key(n)).number.text;
      if (n.value === null || (e.key !== "ArrowUp" && e.key !== "ArrowDown")) return;
      e.preventDefault();
      step((e.key === "ArrowUp" ? 1 : -1) * (e.shiftKey ? 10 : e.altKey ? 0.1 : 1));
    };
    const row = make("div", { class: n.value === null ? "number word" : "number" }, make("label", { for: id }, n.label), n.value !== null && less, field, n.value !== null && [make("span", { class: "unit" }), plus], make("small"), said);
    this.rows.set(key(n), { row, field, said, number: n });
    return row;
  }

  fill(n) {
    const held = this.rows.get(key(n));
    const typing = document.activeElement === held.field && held.field.value !== held.number.text;
    held.number = n;
    if (!typing) held.field.value = n.text;
    const unit = held.row.querySelector(".unit");
    if (unit) unit.textContent = n.unit;
    const from = n.least === null ? "" : `${n.least_too ? "from" : "more than"} ${n.least}`;
    const to = n.most === null ? "" : `${n.most_too ? "to" : "less than"} ${n.most}`;
    const range = [from, to].filter(Boolean).join(n.least_too ? " " : ", ");
    held.row.querySelector("small").textContent = [n.meaning, range && `${range} ${n.unit}`, n.rests && `rests on: ${n.rests}${n.assumed ? ", assumed: measure it" : ""}`].filter(Boolean).join(" · ");
    held.row.classList.toggle("assumed", n.assumed);
  }

  async change(number, text, going_on = false) {
    const held = this.rows.get(key(number));
    if (text === held?.number.text) return true;
    try {
      await this.ask("change", { path: number.path, value: text, whole: number.whole, going_on });
      this.tell(held, "");
      return true;
    } catch (e) {
      this.tell(held, e.message);
      return false;
    }
  }

  tell(held, said) {
    if (!held) return;
    held.said.textContent = said;
    held.field.setAttribute("aria-invalid", String(Boolean(said)));
  }
}
