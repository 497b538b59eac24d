// The page: the lists beside the model, what a choice does to both, and the keys.
//
// What others may use of it: `show(data)` puts other data in place of what is shown, and keeps the eye, the choice, the
// layers, the section and what is hidden as far as they still mean something; `onPiece(hook)` has `hook(piece, panel)`
// called each time the panel of a chosen piece has been made (the piece as in the data, the panel an element that rows
// named [data-field] stand in); `choosePiece(name)` and `chooseFinding(id)` choose, null chooses nothing; "show" and
// "choice" are its events; `stage` is the model.

import { BufferGeometry, Color, Line, Sphere, Vector3 } from "three";
import { linePaint } from "./paint.js";
import { Section } from "./section.js";
import { Stage } from "./stage.js";

const GROUPS = [
  ["bad", "In the way", "✖", ["clash", "fail", "touch", "tight"]],
  ["open", "Unknown", "?", ["unknown"]],
  ["look", "Look at it", "!", ["caution"]],
  ["good", "Fine", "✓", ["clear", "pass"]],
];
const START = new Vector3(-0.35, -1, 0.38); // from the open side, a little from the rear and above
const NEAREST = 45; // mm: radius of what is flown to at least
const PINS = 12;
const by = (id) => document.getElementById(id);
const make = (tag, text, cls) => {
  const e = document.createElement(tag);
  if (text !== undefined) e.textContent = text;
  if (cls) e.className = cls;
  return e;
};
const groupOf = (f) => GROUPS.find(([, , , verdicts]) => verdicts.includes(f.verdict));

const SIGNS = { fits: "✓", fails: "✖", unknown: "?" };

export function begin(data) {
  const page = new EventTarget();
  const root = document.documentElement;
  root.dataset.theme ??= matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light";
  const stage = new Stage(by("canvas"));
  const section = new Section(stage);
  const open = new Set(["bad", "open", "look"]);
  const hooks = [];
  let told, leading, numbered, picked = null, piece = null, gap = null, pins = [];

  page.stage = stage;
  page.onPiece = (hook) => {
    hooks.push(hook);
    panel();
  };
  page.chooseFinding = (id) => choose(told.findings.find((f) => f.id === id) ?? null);
  page.choosePiece = (name) => choosePiece(told.pieces.find((p) => p.name === name) ?? null);
  page.show = (fresh) => {
    const first = !told;
    told = fresh.told;
    page.told = told;
    leading = told.findings.filter((f) => !f.cause);
    numbered = leading.filter((f) => groupOf(f)[0] === "bad" || f.verdict === "unknown");
    picked = picked && (told.findings.find((f) => f.id === picked.id) ?? null);
    piece = piece && (told.pieces.find((p) => p.name === piece.name) ?? null);
    for (const name of stage.hidden) if (!told.pieces.some((p) => p.name === name)) stage.hidden.delete(name);
    root.dataset.verdict = told.verdict;
    document.title = `${told.build}: ${told.said}`;
    by("sign").textContent = SIGNS[told.verdict];
    by("said").textContent = told.said;
    by("build").textContent = told.build;
    by("sentence").textContent = told.sentence;
    stage.load(fresh);
    mark();
    emphasise();
    list();
    parts();
    panel();
    if (first) {
      stage.resize();
      stage.whole(START, true);
    }
    page.dispatchEvent(new Event("show"));
  };

  function place() {
    for (const { at, e } of pins) {
      const p = stage.onScreen(at);
      e.hidden = !p;
      if (p) e.style.transform = `translate(${Math.round(p.x)}px, ${Math.round(p.y)}px) translate(-50%, -50%)`;
    }
  }
  stage.after.push(place);

  function mark() {
    by("pins").replaceChildren();
    if (gap) stage.scene.remove(gap);
    gap = null;
    const pin = (point, text, cls) => {
      const e = make("span", text, cls);
      by("pins").append(e);
      return { at: new Vector3(...point), e };
    };
    if (!picked) pins = numbered.flatMap((f, i) => (f.where.length && i < PINS ? [pin(f.where[0], String(i + 1))] : []));
    else if (picked.where.length) {
      const [a, b = a] = picked.where;
      const middle = a.map((c, i) => (c + b[i]) / 2);
      pins = [pin(middle, picked.measured === null ? "here" : `${picked.measured} ${picked.unit}`, "gap")];
      gap = new Line(new BufferGeometry().setFromPoints([new Vector3(...a), new Vector3(...b)]), linePaint(new Color(0xd4420f), 1));
      gap.material.depthTest = false;
      gap.renderOrder = 9;
      stage.scene.add(gap);
    } else pins = [];
  }

  // Shows all but what is chosen as ghosts.
  function emphasise() {
    const f = picked;
    if (f) {
      const overlap = told.overlaps[f.id];
      stage.choose({ pieces: new Set(f.parts), bodies: new Set(f.bodies), ports: new Set(f.port ? [f.port] : f.ports ?? []), glassy: overlap !== undefined }, overlap);
    } else if (piece) stage.choose({ pieces: new Set([piece.name]), bodies: new Set(), ports: new Set() });
    else stage.choose(null);
  }

  function chosen() {
    mark();
    emphasise();
    list();
    panel();
    page.dispatchEvent(new Event("choice"));
  }

  function choose(f) {
    picked = f;
    piece = null;
    chosen();
    if (!f) return stage.whole();
    const points = f.where.map((p) => new Vector3(...p));
    const sphere = new Sphere();
    if (points.length) sphere.setFromPoints(points);
    else stage.box.getBoundingSphere(sphere);
    sphere.radius = Math.max(NEAREST, sphere.radius * 2.5);
    stage.look(sphere);
  }

  function choosePiece(p) {
    picked = null;
    piece = p;
    chosen();
    if (!p) return stage.whole();
    const sphere = stage.pieces.get(p.name).box.getBoundingSphere(new Sphere());
    if (sphere.radius > 0) stage.look(sphere);
  }

  // The chosen piece: a row a field with its value, unit and what it rests on.
  function panel() {
    const e = by("piece");
    e.hidden = !piece;
    if (!piece) return e.replaceChildren();
    const rows = Object.entries(piece.fields).map(([name, f]) => {
      const row = make("div");
      row.dataset.field = name;
      row.append(make("span", name), make("span", `${JSON.stringify(f.value)} ${f.unit ?? ""}`), make("small", f.source ?? f.basis ?? ""));
      return row;
    });
    e.replaceChildren(make("h2", piece.name), ...rows);
    for (const hook of hooks) hook(piece, e);
  }

  function list() {
    by("filters").replaceChildren(
      ...GROUPS.map(([key, name, sign, verdicts]) => {
        const count = leading.filter((f) => verdicts.includes(f.verdict)).length;
        const b = make("button", `${sign} ${name} ${count}`);
        b.type = "button";
        b.setAttribute("aria-pressed", String(open.has(key)));
        b.onclick = () => {
          open.has(key) ? open.delete(key) : open.add(key);
          list();
          [...by("filters").children].find((e) => e.textContent === b.textContent)?.focus();
        };
        return b;
      }),
    );
    by("findings").replaceChildren(
      ...leading.filter((f) => open.has(groupOf(f)[0])).map((f) => {
        const li = make("li"), b = make("button"), words = make("span", f.headline);
        const [cls, , sign] = groupOf(f), n = numbered.indexOf(f);
        b.type = "button";
        b.dataset.id = f.id;
        b.setAttribute("aria-expanded", String(f === picked));
        words.append(make("br"), make("small", [told.words[f.verdict], f.place].filter(Boolean).join(", ")));
        b.append(make("span", n < 0 ? sign : `${sign} ${n + 1}`, `mark ${cls}`), words);
        b.onclick = () => {
          choose(f === picked ? null : f);
          document.querySelector(`[data-id="${CSS.escape(f.id)}"]`)?.focus();
        };
        li.append(b);
        if (f === picked) {
          const more = make("div", undefined, "more");
          more.append(make("p", f.text));
          if (f.from_walls) more.append(make("p", `mm from the walls: ${f.from_walls}`));
          if (f.measured !== null) more.append(make("p", `measured ${f.measured} ${f.unit}${f.required === null ? "" : `, wanted ${f.required}`}`));
          for (const r of f.remedies) more.append(make("p", `→ ${r}`));
          const assumed = Object.entries(f.basis.assumed).map(([name, fields]) => `${name} (${fields.join(", ")})`);
          if (assumed.length) more.append(make("p", `rests on assumed sizes: ${assumed.join("; ")}`));
          if (f.effects) more.append(make("p", `${f.effects.length} more follow from it`));
          li.append(more);
        }
        return li;
      }),
    );
  }

  const parts = () => by("parts").replaceChildren(
    ...told.pieces.map((p, i) => {
      const li = make("li"), box = make("input"), label = make("label"), only = make("button", "Only this");
      Object.assign(box, { type: "checkbox", checked: !stage.hidden.has(p.name), id: `part-${i}` });
      label.append(box, ` ${p.name}`);
      box.onchange = () => {
        box.checked ? stage.hidden.delete(p.name) : stage.hidden.add(p.name);
        stage.show();
      };
      only.type = "button";
      only.setAttribute("aria-label", `Only ${p.name}`);
      only.onclick = () => choosePiece(p);
      li.append(label, only);
      return li;
    }),
  );

  const cutAway = (fresh) => {
    const axis = by("axis").value || null, slider = by("place");
    by("placing").hidden = !axis;
    if (axis && fresh) {
      [slider.min, slider.max] = section.range(axis);
      slider.value = (Number(slider.min) + Number(slider.max)) / 2;
    }
    by("placed").textContent = axis ? `${slider.value} mm` : "";
    section.set(axis, Number(slider.value), axis !== "z");
  };
  by("axis").onchange = () => cutAway(true);
  by("place").oninput = () => cutAway(false);
  by("apart").oninput = () => {
    stage.apart = Number(by("apart").value);
    stage.show();
  };
  for (const name of ["keepOuts", "reach", "assumed"])
    by(name).onchange = () => {
      stage.layers[name] = by(name).checked;
      stage.show();
    };
  by("all").onclick = () => choose(null);
  by("theme").onclick = () => {
    root.dataset.theme = root.dataset.theme === "dark" ? "light" : "dark";
    stage.show();
  };
  const keys = {
    ArrowLeft: (s) => (s ? stage.shift(-0.05, 0) : stage.turn(-0.12, 0)), ArrowRight: (s) => (s ? stage.shift(0.05, 0) : stage.turn(0.12, 0)),
    ArrowUp: (s) => (s ? stage.shift(0, 0.05) : stage.turn(0, 0.12)), ArrowDown: (s) => (s ? stage.shift(0, -0.05) : stage.turn(0, -0.12)),
    "+": () => stage.near(0.87), "=": () => stage.near(0.87), "-": () => stage.near(1.15), 0: () => choose(null),
  };
  by("canvas").addEventListener("keydown", (e) => {
    if (e.ctrlKey || e.metaKey || e.altKey || !keys[e.key]) return;
    e.preventDefault();
    keys[e.key](e.shiftKey);
  });
  addEventListener("keydown", (e) => e.key === "Escape" && choose(null));
  page.show(data);
  root.dataset.ready = "yes";
  return page;
}
