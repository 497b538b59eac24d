// The page while `elbowroom view` serves it: what the server tells is shown, and what is done here is told to it.
//
// Owns the talk with the server, the strip that says how things stand, and the difference before it is written. The
// numbers of a chosen piece are `numbers.js`', the pulling of it `pulling.js`'.

import { merged } from "./merged.js";
import { Numbers } from "./numbers.js";
import { Pulling } from "./pulling.js";
import { button, by, make } from "./dom.js";

const token = location.pathname.split("/")[1];
const RULING = { clash: "collides", fail: "does not work", touch: "touches", tight: "too near", unknown: "unknown", caution: "to look at", clear: "clear", pass: "fine" };

const BEFORE = 20; // characters of a line with a mistake that are shown on either side of it

async function ask(path, told) {
  const request = told === undefined ? {} : {
    method: "POST", body: JSON.stringify(told), headers: { "Content-Type": "application/json", "X-Elbowroom-Token": token },
  };
  const answer = await fetch(path, request);
  const found = await answer.json().catch(() => ({ said: "the answer cannot be read" }));
  if (!answer.ok) throw Object.assign(new Error(found.said ?? "it was refused"), found);
  return found;
}

const status = make("p", { id: "status", role: "status" }), wrong = make("div", { role: "alert" });
const notes = make("ul"), became = make("div", { id: "became" });
const undo = button({ onclick: () => move("undo") }, "Undo"), redo = button({ onclick: () => move("redo") }, "Redo");
const look = button({ onclick: () => difference() }, "Nothing to write");
const steps = make("div", { class: "row" }, undo, redo, look);
by("side").prepend(make("section", { id: "work", "aria-label": "Your changes" }, status, wrong, notes, steps, became));

const sheet = make("dialog", { id: "sheet", "aria-label": "What would be written" });
document.body.append(sheet);

const narrow = matchMedia("(max-width: 760px)");
let page = null, state = null, shown = null, whole = null, taking = Promise.resolve();
const numbers = new Numbers(ask, () => state);
const pulling = new Pulling(numbers);

async function move(how) {
  try {
    take(await ask(how, {}));
  } catch (e) {
    notes.replaceChildren(make("li", {}, e.message));
  }
}

// One state after the other, so that no older model comes after a newer one.
function take(fresh) {
  state = fresh;
  tell();
  taking = taking.then(model).catch((e) => console.warn(`elbowroom: ${e.message}`));
}

async function model() {
  const { number, stage } = state.model;
  if (!number || number === shown) return;
  const sent = await ask(`model/${number}`);
  let data = await globalThis.elbowroom.read(sent.contents, sent.meshes);
  shown = number;
  if (stage === "whole") whole = data;
  else if (whole) data = merged(data, whole);
  if (page) page.show(data);
  else {
    const { begin, read } = globalThis.elbowroom;
    page = begin(data);
    globalThis.elbowroom = Object.assign(page, { begin, read });
    page.onPiece((piece, panel) => numbers.put(piece, panel));
    pulling.on(page);
  }
  document.documentElement.dataset.shown = `${number} ${stage}`;
  numbers.refresh();
}

function tell() {
  const { stage, doing, problems, found, lost } = state;
  const root = document.documentElement;
  Object.assign(root.dataset, { stage, looks: state.n });
  if (found.verdict) {
    root.dataset.verdict = found.verdict; // known before the model of it
    by("sign").textContent = { fits: "✓", fails: "✖", unknown: "?" }[found.verdict];
    for (const name of ["said", "sentence", "first"]) by(name).textContent = found[name];
  }
  const far = doing.total ? `${doing.what}, ${doing.done} of ${doing.total}` : doing.what;
  const words = {
    checking: `Being checked${far ? `: ${far}` : ""}…`,
    first: `Parts, holes and screws are checked (${found.seconds} s); the rest is being checked${far ? `: ${far}` : ""}…`,
    whole: `All is checked (${found.seconds} s).`,
    wrong: `A mistake: nothing is checked. What is shown is the build before it.`,
    lost: `The check did not come to its end: ${lost}. What is shown is the build before it.`,
  };
  status.textContent = words[stage];
  wrong.replaceChildren(
    ...problems.map((p) => {
      const e = make("div", { class: "mistake" });
      const at = p.line ? `Line ${p.line}, column ${p.column}: ` : "";
      e.append(make("p", {}, `${at}${p.path ? `${p.path}: ` : ""}${p.said}`));
      if (p.text) {
        const from = Math.max(0, p.column - 1 - BEFORE), cut = from ? "…" : "";
        e.append(make("pre", {}, `${cut}${p.text.slice(from, from + 2 * BEFORE)}\n${" ".repeat(p.column - 1 - from + cut.length)}^`));
      }
      return e;
    }),
  );
  notes.replaceChildren(...state.notes.map((n) => make("li", {}, n)));
  undo.disabled = !state.undo;
  redo.disabled = !state.redo;
  undo.title = state.undo ?? "";
  redo.title = state.redo ?? "";
  look.disabled = !state.unsaved.length;
  const count = state.unsaved.filter((l, i) => i > 1 && l.startsWith("+")).length;
  look.textContent = count ? `Look at ${count} line${count > 1 ? "s" : ""} to write` : "Nothing to write";
  changes();
  if (sheet.open) fill();
}

// What became of the findings, the worse first.
function changes() {
  const told = state.changes.told ?? [];
  const kept = became.querySelector("details")?.open ?? !narrow.matches;
  const rows = told.filter((c) => !c.follows && !(c.better === null && c.what === "number")); // a number that is no worse than it was
  const order = (c) => (c.better === false ? 0 : c.better === null ? 1 : 2);
  rows.sort((a, b) => order(a) - order(b));
  if (!rows.length) return became.replaceChildren();
  const sums = [["worse", rows.filter((c) => c.better === false)], ["better", rows.filter((c) => c.better)], ["otherwise", rows.filter((c) => c.better === null)]];
  const list = rows.map((c) => {
    const far = c.by ? ` by ${Math.abs(Math.round(c.by * 100) / 100)} ${c.unit}` : "";
    const sign = c.better === false ? `▼ worse${far}` : c.better ? `▲ better${far}` : "• other";
    const cls = c.better === false ? "bad" : c.better ? "good" : "";
    return make("li", {}, button({ disabled: !c.now, onclick: () => page?.chooseFinding(c.id) }, make("b", { class: cls }, `${sign}: ${became_of(c)}. `), c.headline));
  });
  const summary = `Since the ${state.changes.stage === "first" ? "look" : "whole check"} before: ${sums.filter(([, c]) => c.length).map(([w, c]) => `${c.length} ${w}`).join(", ")}`;
  became.replaceChildren(make("details", { open: kept }, make("summary", {}, summary), make("ol", {}, list)));
}

function became_of(c) {
  const number = (f) => (f.measured === null ? "" : ` ${Math.round(f.measured * 100) / 100} ${c.unit}`);
  if (!c.was) return `new, ${RULING[c.now.verdict]}${number(c.now)}`;
  if (!c.now) return `gone, it was: ${RULING[c.was.verdict]}${number(c.was)}`;
  const same = number(c.was) === number(c.now);
  if (c.was.verdict !== c.now.verdict) return `${RULING[c.was.verdict]}${same ? "" : number(c.was)} → ${RULING[c.now.verdict]}${number(c.now)}`;
  return `${RULING[c.now.verdict]},${number(c.was)} →${number(c.now)}`;
}

function difference() {
  fill();
  if (!sheet.open) sheet.showModal();
}

function fill(said = "") {
  const digest = state.digest, lines = state.unsaved.slice(2);
  const text = make("pre", {}, lines.map((line) => make("span", { class: { "+": "put", "-": "taken" }[line[0]] }, `${line}\n`)));
  const write = button({ disabled: !lines.length, onclick: async () => {
    write.disabled = true;
    try {
      take(await ask("write", { shown: digest }));
      sheet.close();
    } catch (e) {
      fill(e.message);
    }
  } }, `Write it into ${state.file}`);
  const later = button({ onclick: () => sheet.close() }, "Not yet");
  const drop = button({ onclick: () => move("drop").then(() => sheet.close()) }, "Give all these changes up");
  const told = make("p", { class: "mistake", role: "alert" }, said);
  sheet.replaceChildren(make("h2", {}, `What would be written into ${state.file}`), text, told, make("div", { class: "row" }, write, later, drop));
}

addEventListener("keydown", (e) => {
  const typing = e.target.matches?.("input[type=text], textarea");
  if (!(e.ctrlKey || e.metaKey) || e.altKey) return;
  const key = e.key.toLowerCase();
  if (key === "s") e.preventDefault(), state?.unsaved.length && difference();
  else if (typing) return;
  else if (key === "z") e.preventDefault(), move(e.shiftKey ? "redo" : "undo");
  else if (key === "y") e.preventDefault(), move("redo");
});

const events = new EventSource("events");
events.onmessage = (e) => take(JSON.parse(e.data));
events.onerror = () => (status.textContent = "elbowroom has ended, or is busy: what is shown is its last answer.");
