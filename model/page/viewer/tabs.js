// The leaves beside the picture, one shown at a time.

import { by } from "./dom.js";

const NAMES = ["findings", "parts", "layers"];

export class Tabs {
  constructor() {
    NAMES.forEach((name, i) => {
      const tab = by(`tab-${name}`);
      tab.onclick = () => this.open(name);
      tab.onkeydown = (e) => {
        const step = { ArrowLeft: -1, ArrowRight: 1 }[e.key];
        if (!step) return;
        e.preventDefault();
        const next = NAMES[(i + step + NAMES.length) % NAMES.length];
        this.open(next);
        by(`tab-${next}`).focus();
      };
    });
    this.open("findings");
  }

  open(name) {
    for (const n of NAMES) {
      const tab = by(`tab-${n}`);
      tab.setAttribute("aria-selected", String(n === name));
      tab.tabIndex = n === name ? 0 : -1;
      by(`${n}-tab`).hidden = n !== name;
    }
  }
}
