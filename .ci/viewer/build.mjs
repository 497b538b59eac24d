// Bundles model/page/viewer/ and what it uses of three into the one file that every page holds, and what only a served
// page has beside it into another; each begins with the digest of what it was made of. See DEVELOPERS.md.
// node build.mjs [FOLDER]: where the two files go; beside viewer/ where it is left out.
import { createHash } from "node:crypto";
import { readdirSync, readFileSync } from "node:fs";
import { build } from "esbuild";

const here = new URL(".", import.meta.url).pathname;
const page = `${here}../../model/page`;
const out = process.argv[2] ?? page;
const sources = [...readdirSync(`${page}/viewer`).filter((n) => n.endsWith(".js")).sort().map((n) => `${page}/viewer/${n}`), `${here}build.mjs`, `${here}package-lock.json`];
const digest = createHash("sha256");
for (const path of sources) digest.update(readFileSync(path));
const stamp = `elbowroom, MIT licence. Made of ${digest.digest("hex")}.`;
const licence = readFileSync(`${here}node_modules/three/LICENSE`, "utf8").trim();
const bundled = { bundle: true, minify: true, format: "iife", target: "es2022", charset: "ascii", legalComments: "none" };
await build({
  ...bundled,
  entryPoints: [`${page}/viewer/main.js`],
  outfile: `${out}/viewer.min.js`,
  nodePaths: [`${here}node_modules`],
  banner: { js: `/* ${stamp} Holds parts of three, under:\n${licence}\n*/` },
});
await build({ ...bundled, entryPoints: [`${page}/viewer/live.js`], outfile: `${out}/live.min.js`, banner: { js: `/* ${stamp} */` } });
