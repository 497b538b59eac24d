// Pulling the chosen piece along the ways its numbers move it: a handle a way, which goes along that line alone, so that
// what is pulled is the number and nothing else. A way that points at the eye has none: its millimetres cannot be seen.

import { button, by, make } from "./dom.js";
import { more } from "./numbers.js";

const SEEN = 0.12; // pixels a millimetre: less is not pulled, as a pixel would be more than 8 mm
const STEP = 0.5; // mm that a pull goes by; with Shift held a tenth
const APART = 40, FAR = 95; // pixels from the piece's middle to a handle at least, and at most
const EDGE = 160; // pixels from the edge of the picture: a piece that leaves it can still be pulled

export class Pulling {
  constructor(numbers) {
    this.numbers = numbers;
    this.layer = make("div", { id: "pulls" });
    this.handles = [];
    numbers.addEventListener("numbers", () => this.make());
  }

  on(page) {
    this.page = page;
    by("picture").append(this.layer);
    page.stage.after.push(() => this.place());
    page.addEventListener("choice", () => this.make());
    page.addEventListener("show", () => this.make());
  }

  piece() {
    const { stage } = this.page, chosen = stage.chosen?.pieces;
    const piece = chosen?.size === 1 ? stage.pieces.get([...chosen][0]) : null;
    return piece && piece.name === this.numbers.name && !piece.box.isEmpty() ? piece : null;
  }

  make() {
    if (!this.page || this.pulled) return;
    const piece = this.piece();
    const ways = piece ? this.numbers.found.numbers.filter((n) => n.way) : [];
    this.handles = ways.map((n) => {
      const words = { title: `${n.label}: pull, or arrow keys`, "aria-label": `Pull ${piece.name}: ${n.label}, ${n.text} ${n.unit}` };
      const e = button(words, "⟷");
      const handle = { n, e };
      e.onpointerdown = (down) => this.pull(handle, down);
      e.onkeydown = (k) => {
        const by = { ArrowUp: 1, ArrowRight: 1, ArrowDown: -1, ArrowLeft: -1 }[k.key];
        if (!by) return;
        k.preventDefault();
        const text = more(n.text, n.value, by * (k.shiftKey ? 0.1 : 1));
        if (text !== null) this.numbers.change(n, text, true);
      };
      return handle;
    });
    this.layer.replaceChildren(...this.handles.map((h) => h.e));
    this.place();
  }

  // Where the piece's middle is seen, and how many pixels a millimetre along the way is there.
  line(piece, way) {
    const Vector = piece.box.min.constructor, { stage } = this.page;
    const middle = piece.box.getCenter(new Vector()), along = new Vector(...way);
    const here = stage.onScreen(middle), there = stage.onScreen(middle.clone().add(along));
    return here && there ? { here, x: there.x - here.x, y: there.y - here.y, size: piece.box.getSize(new Vector()).dot(new Vector(...way.map(Math.abs))) } : null;
  }

  place() {
    const piece = this.page && this.piece();
    const { clientWidth: wide, clientHeight: high } = this.layer;
    const within = (c, most) => Math.min(Math.max(c, EDGE), most - EDGE);
    for (const { n, e } of this.handles) {
      const line = piece && this.line(piece, n.way);
      const seen = line ? Math.hypot(line.x, line.y) : 0;
      e.hidden = seen < SEEN;
      if (e.hidden) continue;
      const far = Math.min(Math.max(APART, (line.size / 2) * seen + 14), FAR) / seen;
      const x = within(line.here.x, wide) + line.x * far, y = within(line.here.y, high) + line.y * far;
      e.style.transform = `translate(${x}px, ${y}px) translate(-50%, -50%) rotate(${Math.atan2(line.y, line.x)}rad)`;
    }
  }

  pull(handle, down) {
    const piece = this.piece(), { n, e } = handle;
    const line = piece && this.line(piece, n.way);
    if (!line) return;
    down.preventDefault();
    e.setPointerCapture(down.pointerId);
    const { stage } = this.page, square = line.x ** 2 + line.y ** 2;
    const names = new Set([piece.name, ...this.numbers.found.with]);
    const bodies = stage.bodies.filter((b) => names.has(b.piece)).map((b) => ({ b, home: b.home.clone() }));
    const tell = make("output");
    this.layer.append(tell);
    this.pulled = true;
    let text = n.text;
    const shift = (mm) => {
      for (const { b, home } of bodies) {
        b.home.copy(home);
        for (let i = 0; i < 3; i++) b.home.elements[12 + i] += n.way[i] * mm;
        stage.move(b);
      }
      stage.draw();
    };
    const move = (m) => {
      const step = m.shiftKey ? STEP / 5 : STEP;
      const mm = Math.round((((m.clientX - down.clientX) * line.x + (m.clientY - down.clientY) * line.y) / square) / step) * step;
      text = more(n.text, n.value, mm) ?? n.text;
      tell.textContent = `${n.label}: ${text} ${/[a-z"]/i.test(text) ? "" : n.unit}`;
      tell.style.transform = `translate(${m.clientX - by("picture").getBoundingClientRect().left + 16}px, ${m.clientY - by("picture").getBoundingClientRect().top - 34}px)`;
      shift(mm);
    };
    const done = async (kept) => {
      e.onpointermove = e.onpointerup = e.onpointercancel = e.onlostpointercapture = null;
      tell.remove();
      this.pulled = false;
      if (!kept || !(await this.numbers.change(n, text))) shift(0);
    };
    e.onpointermove = move;
    e.onpointerup = () => done(true);
    e.onpointercancel = e.onlostpointercapture = () => done(false);
  }
}
