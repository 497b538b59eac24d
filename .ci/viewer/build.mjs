// Bundles model/page/viewer/ and what it uses of three into the one file that the package ships. See DEVELOPERS.md.
import { readFileSync } from "node:fs";
import { build } from "esbuild";

const here = new URL(".", import.meta.url).pathname;
const licence = readFileSync(`${here}node_modules/three/LICENSE`, "utf8").trim();
await build({
  entryPoints: [`${here}../../model/page/viewer/main.js`],
  outfile: `${here}../../model/page/viewer.min.js`,
  bundle: true, minify: true, format: "iife", target: "es2022", charset: "ascii", legalComments: "none",
  nodePaths: [`${here}node_modules`],
  banner: { js: `/* elbowroom, MIT licence. Holds parts of three, under:\n${licence}\n*/` },
});
