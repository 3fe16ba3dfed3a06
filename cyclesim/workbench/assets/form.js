// @ts-check
// Fields of the file as a form: text as it was written, default and spread beside it, the fault at the field.

import { html, useEffect, useLayoutEffect, useRef, useSignal } from "./vendor/preact.js";
import { change, plant } from "./state.js";

/** @typedef {{path: string, label: string, kind: string, text: string | null, default: string | null,
 *   spread: string, explain: string, line: number | null, choices: string[], required: boolean}} Field */

/** Kinds of fields that are written as one word or sentence, to be quoted where YAML would read it otherwise. */
const SCALARS = ["quantity", "number", "yes or no", "words", "one of"];

/** Names one after the other, as people write them; none of what a list of the file may have else. */
const SERIES = /^[\w .-]+((,| and )[\w .-]+)+$/;

/** A value as a file has it. @param {Field} field @param {string} value */
export const asText = (field, value) => field.kind === "list" && SERIES.test(value)
  ? `[${value.split(/,| and /).map((one) => one.trim()).filter(Boolean).join(", ")}]` : !SCALARS.includes(field.kind) || /^[\w.%+-][\w .%/²³°º+()-]*$/.test(value)
  ? value : JSON.stringify(value);

/** @param {string} path */
export const idOf = (path) => `field-${path.replaceAll(".", "-")}`;

/** @param {{path?: string}} problem @param {string} path */
const at = (problem, path) => problem.path === path || (problem.path || "").startsWith(`${path}.`);

/** A value that is a list of pairs is edited as a table of points. @param {string | null} text */
function points(text) {
  const inner = text?.trim().match(/^\[\s*(\[[^[\]]*\]\s*,?\s*)+\]$/);
  return inner ? [...inner[0].matchAll(/\[([^[\]]+)\]/g)].map((m) => m[1].split(",").map((s) => s.trim())) : null;
}

/**
 * A field whose text follows the file, but not while somebody is writing in it; Escape takes back what was written.
 * @param {any} given text: what the file has; save: is given what was written; else attributes of the input
 */
function Input({ text, save, ...attributes }) {
  const box = useRef(null), before = useRef(text);
  useLayoutEffect(() => {
    const input = box.current;
    if (input !== document.activeElement || input.value === before.current) input.value = text;
    before.current = text;
  }, [text]);
  const keyed = (event) => { if (event.key === "Escape") box.current.value = text; };
  return html`<input ref=${box} ...${attributes} onKeyDown=${keyed} onChange=${(event) => save(event.target.value)}/>`;
}

/** @param {{field: Field, label?: string, why?: string}} given */
export function FieldRow({ field, label = field.label, why }) {
  const { path, text, kind } = field, id = idOf(path);
  const problems = plant.value.problems.filter((p) => at(p, path));
  const save = (value) => {
    const now = value.trim() || null;
    // what must be given keeps its line, so that its comment stays and the fault is told there
    const written = now !== null ? asText(field, now) : field.required ? '""' : null;
    if (now !== (text || null)) change([{ path, text: written }], `${label} changed`);
  };
  const rows = points(text);
  const about = { id, "aria-invalid": problems.length > 0, "aria-describedby": `${id}-told` };
  const left = field.default ? `left out: ${field.default}` : field.required ? "" : "may be left out";
  const options = kind === "yes or no" || kind === "one of" ? field.choices : [];
  return html`<div class=${`field${problems.length ? " faulty" : ""}`}>
    <label for=${id}>${label}</label>
    ${isClocks(field) ? html`<${ClockTable} about=${about} text=${text} save=${save} label=${label}/>`
      : rows ? html`<${PointTable} about=${about} rows=${rows} save=${save} label=${label}/>`
      : options.length ? html`<select ...${about} onChange=${(event) => save(event.target.value)}>
          ${(text === null || !field.required) && html`<option value="" selected=${text === null}>${left || "choose one"}</option>`}
          ${options.map((one) => html`<option key=${one} value=${one} selected=${one === text}>${one}</option>`)}
          ${text !== null && !options.includes(text) && html`<option value=${text} selected>${text}</option>`}
        </select>`
      : html`<${Input} ...${about} text=${text ?? ""} save=${save} placeholder=${left} spellcheck=${false} autocomplete="off"/>`}
    <div id=${`${id}-told`}>
      ${problems.map((p) => html`<p class="danger">${p.path === path ? "" : `${p.path.slice(path.length + 1)}: `}${p.error}</p>`)}
      ${why && html`<p class="note">${why}</p>`}
      ${field.explain && html`<p class="note explain">${field.explain}</p>`}
    </div></div>`;
}

/** Start times of a run. @param {Field} field */
const isClocks = ({ path, text }) => /^schedule\..*\.start$/.test(path) && text !== null && !/[^\d:,"'[\]\s-]/.test(text);

/** Clock times, a field each; the last, empty one adds one. */
function ClockTable({ about, text, save, label }) {
  const clocks = [...(text || "").matchAll(/\d\d:\d\d/g)].map((found) => found[0]);
  const put = (k, value) => {
    const all = [...clocks];
    all[k] = value;
    save(`[${all.filter(Boolean).map((clock) => `"${clock}"`).join(", ")}]`);
  };
  return html`<div class="clocks">${[...clocks, ""].map((clock, k) => html`<${Input} key=${k} type="time" ...${k ? {} : about}
    text=${clock} aria-label=${clock ? `${label} ${k + 1}` : `one more ${label}`}
    save=${(value) => { if (value || clocks.length > 1) put(k, value); }}/>`)}</div>`;
}

/** Points of a curve, a row each; the last, empty row adds one. */
function PointTable({ about, rows, save, label }) {
  const written = (all) => save(`[${all.filter((r) => r.some(Boolean)).map((r) => `[${r.join(", ")}]`).join(", ")}]`);
  const put = (k, c, value) => {
    const all = [...rows.map((r) => [...r])];
    if (k === all.length) all.push(rows[0].map(() => ""));
    all[k][c] = value.trim();
    if (all[k].every((cell) => cell === "")) all.splice(k, 1);
    if (all.every((r) => r.every(Boolean))) written(all);
    else draft.value = { of: rows.length, row: all[k] };
  };
  const draft = useSignal(/** @type {any} */ (null));
  const last = draft.value?.of === rows.length ? draft.value.row : rows[0].map(() => "");
  return html`<table class="points" aria-label=${label}><tbody>${[...rows, last].map((row, k) => html`<tr key=${k}>
    ${row.map((cell, c) => html`<td><${Input} ...${k || c ? {} : about} text=${cell} size="9"
      aria-label=${`${label}, point ${k + 1}, ${c ? "second" : "first"} value`}
      placeholder=${k === rows.length ? "one more" : ""}
      save=${(value) => put(k, c, value)}/></td>`)}
    <td>${k < rows.length && rows.length > 1 && html`<button type="button" aria-label=${`take out point ${k + 1} of ${label}`}
      onClick=${() => written(rows.filter((_, other) => other !== k))}>take out</button>`}</td></tr>`)}</tbody></table>`;
}

/** Blocks have keys of their own, which follow them. @param {Field} field */
const isBlock = (field) => ["block", "blocks", "entries"].includes(field.kind);

/**
 * All fields of one part: what the file says, under the headings of its blocks; then what it may say.
 * @param {{prefix: string, except?: string[]}} given path of the part, e.g. plant.legs.left_bench; keys shown elsewhere
 */
export function Fields({ prefix, except = [] }) {
  const all = /** @type {Field[]} */ (plant.value.fields)
    .filter((f) => f.path.startsWith(`${prefix}.`) && !except.includes(f.path.slice(prefix.length + 1)));
  const said = all.filter((f) => f.text !== null), unsaid = all.filter((f) => f.text === null);
  const faulty = unsaid.some((f) => plant.value.problems.some((p) => at(p, f.path)));
  const name = (f) => f.path.slice(prefix.length + 1).replaceAll("_", " ").replaceAll(".", ", ");
  return html`<div class="fields">
    ${said.map((f) => isBlock(f) ? html`<h3 key=${f.path}>${name(f)}</h3>`
      : html`<${FieldRow} key=${f.path} field=${f} label=${name(f)}/>`)}
    ${unsaid.length > 0 && html`<details open=${faulty || undefined}><summary>${unsaid.length} more that it may say</summary>
      ${unsaid.map((f) => html`<${FieldRow} key=${f.path} field=${f} label=${name(f)}/>`)}</details>`}</div>`;
}

/** The field at which a fault is told, where it is on the page. @param {string} path @returns {HTMLElement | null} */
function shownAt(path) {
  for (let steps = path.split("."); steps.length; steps = steps.slice(0, -1)) {
    const field = document.getElementById(idOf(steps.join(".")));
    if (field) return field;
  }
  return null;
}

/** What is wrong with the file, each with the way to its field where that is on the page. */
export function Problems() {
  const { problems } = plant.value, here = useSignal("");
  useEffect(() => { here.value = problems.map((p) => p.path && shownAt(p.path) ? "y" : "n").join(""); });
  if (!problems.length) return null;
  const go = (path) => {
    const field = shownAt(path);
    field?.closest("details")?.setAttribute("open", "");
    field?.focus();
  };
  return html`<div class="problems" role="group" aria-label="Faults of the file">
    <p class="danger">The file has ${problems.length === 1 ? "a fault" : `${problems.length} faults`}, so it is not run.</p>
    <ul>${problems.map((p, k) => html`<li>${p.line ? `Line ${p.line}: ` : ""}${p.path ? `${p.path}: ` : ""}${p.error}
      ${here.value[k] === "y" && html`${" "}<button type="button" aria-label=${`go to it: ${p.path}`} onClick=${() => go(p.path)}>go to it</button>`}</li>`)}</ul>
  </div>`;
}
