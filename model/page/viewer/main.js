// Starts the page with the data that its file holds. `page.js` says what can be done with what `begin` gives, which the
// browser's console finds under `elbowroom`.

import { read } from "./data.js";
import { begin } from "./page.js";

const text = (id) => document.getElementById(id).textContent;

read(text("contents"), text("meshes")).then((data) => (globalThis.elbowroom = begin(data)));
