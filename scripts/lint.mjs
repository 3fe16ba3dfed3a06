// Lint scripts: node lint.mjs LINTER RULES FILE...; the status is 1 where anything is found.
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { basename, resolve } from "node:path";

const [linterFile, rulesFile, ...files] = process.argv.slice(2).map((file) => resolve(file));
const load = createRequire(import.meta.url);
const { Linter } = load(linterFile), recommended = load(rulesFile);
const linter = new Linter({ configType: "flat" });
const config = [{ ...recommended, files: ["**/*.js"], languageOptions: { ecmaVersion: 2023, sourceType: "module" } },
  { files: ["**/*.js"], rules: { "no-undef": "off" } }]; // the check of types knows what a browser has
let found = 0;
for (const file of files)
  for (const { line, column, message, ruleId } of linter.verify(readFileSync(file, "utf8"), config, { filename: basename(file) })) {
    console.log(`${basename(file)}:${line}:${column}: ${message} (${ruleId ?? "syntax"})`);
    found++;
  }
process.exitCode = found ? 1 : 0;
