// The keys: of the picture while it has the focus, and the one that lets go of what is chosen.

import { by } from "./dom.js";

const TURN = 0.12; // rad a press
const SHIFT = 0.05; // of the distance a press
const AIM = 12; // points of the picture a press

export function keys(page) {
  const { stage } = page, canvas = by("canvas"), cross = by("cross");
  const aim = { x: 0, y: 0 }; // of the cross, from the middle
  const move = (x, y) => {
    const w = canvas.clientWidth / 2 - 1, h = canvas.clientHeight / 2 - 1;
    aim.x = Math.max(-w, Math.min(w, aim.x + x * AIM));
    aim.y = Math.max(-h, Math.min(h, aim.y + y * AIM));
    cross.style.transform = `translate(${aim.x}px, ${aim.y}px)`;
  };
  const arrow = (x, y) => (e) => {
    if (page.measure.on && !e.shiftKey) move(x, y);
    else if (e.shiftKey) stage.eye.shift(x * SHIFT, -y * SHIFT);
    else stage.eye.turn(x * TURN, -y * TURN);
  };
  const by_key = {
    ArrowLeft: arrow(-1, 0), ArrowRight: arrow(1, 0), ArrowUp: arrow(0, -1), ArrowDown: arrow(0, 1),
    "+": () => stage.eye.near(0.87), "=": () => stage.eye.near(0.87), "-": () => stage.eye.near(1.15), 0: () => page.choose(null),
    "<": () => page.step(-1), ">": () => page.step(1), ",": () => page.step(-1), ".": () => page.step(1),
    Enter: () => page.picked_at(canvas.clientWidth / 2 + aim.x, canvas.clientHeight / 2 + aim.y),
  };
  canvas.addEventListener("keydown", (e) => {
    if (e.ctrlKey || e.metaKey || e.altKey || !by_key[e.key]) return;
    e.preventDefault();
    by_key[e.key](e);
    if (document.activeElement !== canvas) canvas.focus();
  });
  addEventListener("keydown", (e) => {
    if (e.key !== "Escape" || by("keys").open) return;
    if (page.measure.on) page.tools.open(null);
    else if (page.picked || page.piece) page.choose(null);
  });
}
