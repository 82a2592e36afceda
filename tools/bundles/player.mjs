/* Makes the class page's scripts and styles small, each file for itself: node player.mjs PAGE_FOLDER TARGET_FOLDER
   A file's first line says what it was made of; the page leaves that line out, and says once for all that scripts are strict. */
import { createHash } from "node:crypto";
import { mkdirSync, readFileSync, readdirSync, rmSync, writeFileSync } from "node:fs";
import { dirname, join } from "node:path";
import { transform } from "esbuild";

const [source, target] = process.argv.slice(2);
const sent = (name) => /\.(js|css)$/.test(name) && name !== "offline.js";
const within = (folder) => readdirSync(join(source, folder)).map((name) => `${folder}/${name}`);
const names = [...readdirSync(source), ...within("player"), ...within("hearing")].filter(sent);

/* The table of short names is itself a script, which comes first. */
const table = readFileSync(join(source, "player/0-names.js"), "utf8").matchAll(/^const (\$\w) = ([\w.]+?)(?:\.bind\(document\))?;$/gm);
const short = Object.fromEntries([...table].map(([, name, whole]) => [whole, name]));

rmSync(target, { recursive: true, force: true });
for (const name of names) {
  const text = readFileSync(join(source, name), "utf8").replaceAll("\r\n", "\n");
  const { code } = await transform(text, {
    charset: "utf8",
    define: name.startsWith("player/") && name !== "player/0-names.js" ? short : {},
    legalComments: "none",
    loader: name.endsWith(".css") ? "css" : "js",
    minify: true,
    target: ["es2022"],
  });
  const digest = createHash("sha256").update(text).digest("hex");
  mkdirSync(dirname(join(target, name)), { recursive: true });
  writeFileSync(join(target, name), `/* Made by make player, don't edit. Source: sha256 ${digest} */\n${code.replace('"use strict";', "")}`);
}
