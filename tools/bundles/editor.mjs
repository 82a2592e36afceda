/* Bundles CodeMirror for the desk into one file, its licences at the head: node editor.mjs TARGET */
import { readFileSync, readdirSync, writeFileSync } from "node:fs";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";
import { build } from "esbuild";

const here = dirname(fileURLToPath(import.meta.url));
const target = process.argv[2];

const { outputFiles, metafile } = await build({
  absWorkingDir: here,
  bundle: true,
  entryPoints: ["codemirror.js"],
  format: "esm",
  legalComments: "none",
  metafile: true,
  minify: true,
  target: ["es2022"],
  write: false,
});

const packages = [...new Set(Object.keys(metafile.inputs)
  .map((path) => path.match(/^node_modules\/((?:@[^/]+\/)?[^/]+)\//))
  .filter(Boolean)
  .map((match) => match[1]))].sort();

const licences = new Map();
for (const name of packages) {
  const folder = join(here, "node_modules", name);
  const { version, license } = JSON.parse(readFileSync(join(folder, "package.json"), "utf8"));
  const file = readdirSync(folder).find((each) => /^licen[cs]e/i.test(each));
  if (license !== "MIT" || !file) throw new Error(`${name} ${version}: is its licence still MIT?`);
  const text = readFileSync(join(folder, file), "utf8").trim();
  licences.set(text, [...(licences.get(text) || []), `${name} ${version}`]);
}
const head = [...licences].map(([text, names]) => `${names.join(", ")}\n\n${text}`).join("\n\n---\n\n");
writeFileSync(target, `/*!\nMade by tools/bundles/editor.mjs; don't edit. It holds:\n\n${head}\n*/\n${outputFiles[0].text}`);
