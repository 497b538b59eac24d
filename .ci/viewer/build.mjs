// Bundles model/page/viewer/ and what it uses of three into the one file that every page holds, and what only a served
// page has beside it into another. See DEVELOPERS.md.
import { readFileSync } from "node:fs";
import { build } from "esbuild";

const here = new URL(".", import.meta.url).pathname;
const licence = readFileSync(`${here}node_modules/three/LICENSE`, "utf8").trim();
const page = `${here}../../model/page`;
const bundled = { bundle: true, minify: true, format: "iife", target: "es2022", charset: "ascii", legalComments: "none" };
await build({
  ...bundled,
  entryPoints: [`${page}/viewer/main.js`],
  outfile: `${page}/viewer.min.js`,
  nodePaths: [`${here}node_modules`],
  banner: { js: `/* elbowroom, MIT licence. Holds parts of three, under:\n${licence}\n*/` },
});
await build({ ...bundled, entryPoints: [`${page}/viewer/live.js`], outfile: `${page}/live.min.js` });
