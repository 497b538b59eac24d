// Starts the page with the data that its file holds; where it holds none, whoever brings them begins. `page.js` says
// what can be done with what `begin` gives, which the browser's console finds under `elbowroom`.

import { read } from "./data.js";
import { begin } from "./page.js";

const text = (id) => document.getElementById(id).textContent;

if (text("contents")) {
  const data = read(text("contents"), text("meshes"));
  globalThis.elbowroom = begin();
  data.then((d) => globalThis.elbowroom.show(d));
} else globalThis.elbowroom = { begin, read };
