// @ts-check
// What is said, as the terminal prints it: headings, lines, lists and tables in their order.

import { html } from "./vendor/preact.js";

/**
 * @typedef {object} Block
 * @property {"heading" | "line" | "list" | "table"} kind
 * @property {string} text
 * @property {string} tone
 * @property {number} indent
 * @property {string[]} items of a list, or the notes of a table
 * @property {[string, string][]} heads text, and n where numbers stand below, d where dates do
 * @property {[number, [string, string][]][]} rows level, and cells as the heads
 */

/** @param {{block: Block}} given */
function Table({ block }) {
  const head = ([text, look]) => text ? html`<th scope="col" class=${look || null}>${text}</th>`
    : html`<td class=${look || null}></td>`;
  const cell = ([text, look], first, level) => first && text
    ? html`<th scope="row" class=${level ? "below" : look || null}>${text}</th>`
    : html`<td class=${look || null}>${text === "BROKEN" ? html`<strong>${text}</strong>` : text}</td>`;
  return html`<div class="wide" tabindex="0" role="group" aria-label=${block.text || "table"}>
    <table class=${block.heads.length ? null : "list"}>
      ${block.text && html`<caption>${block.text}</caption>`}
      ${block.heads.length > 0 && html`<thead><tr>${block.heads.map(head)}</tr></thead>`}
      <tbody>${block.rows.map(([level, cells]) => html`<tr>${cells.map((c, k) => cell(c, !k, level))}</tr>`)}</tbody>
    </table></div>
    ${block.items.map((note) => html`<p class="note">${note}</p>`)}`;
}

/** @param {{block: Block}} given */
function One({ block }) {
  if (block.kind === "heading") return html`<h3>${block.text}</h3>`;
  if (block.kind === "list") return html`<ul>${block.items.map((item) => html`<li>${item}</li>`)}</ul>`;
  if (block.kind === "table") return html`<${Table} block=${block}/>`;
  return html`<p class=${`${block.tone}${block.indent ? ` in${block.indent}` : ""}`}>${block.text}</p>`;
}

/** A page that the server said. @param {{blocks: Block[]}} given */
export function Told({ blocks }) {
  return html`<div class="said">${blocks.map((block) => html`<${One} block=${block}/>`)}</div>`;
}

/** The same behind a heading that opens it. @param {{blocks: Block[], title: string}} given */
export const Folded = ({ blocks, title }) =>
  html`<details><summary>${title}</summary><${Told} blocks=${blocks}/></details>`;

/**
 * What is being worked out, how far it is, and what kept it from being answered.
 * @param {{answer: import("./state.js").Answer | undefined, version: string, stop: () => void, again?: () => void}} given
 */
export function Progress({ answer, version, stop, again }) {
  if (!answer) return null;
  if (answer.state === "asked" || answer.state === "running")
    return html`<div class="progress" role="status"><p>${answer.does ? `${answer.does}.` : "It has begun."}
      ${(answer.left_s || 0) > 1 ? ` About ${Math.round(answer.left_s || 0)} s left.` : ""}</p>
      <progress aria-label="How far it is" max="1" value=${answer.share || null}></progress>
      <button type="button" onClick=${stop}>stop</button></div>`;
  const problem = answer.state === "failed" && html`<p class="danger" role="alert">${answer.problem}</p>`;
  const old = answer.state === "done" && answer.of !== version && html`<p class="mind">The file has changed since:
    this is the answer for what it said before.${again && html` <button type="button" onClick=${again}>ask again</button>`}</p>`;
  return html`${problem}${old}`;
}

/** A picture that is whole in its address, with the words that stand for it. @param {{src: string, words: string}} given */
export const Picture = ({ src, words }) => html`<div class="wide figure" tabindex="0" role="group" aria-label=${words}>
  <img src=${src} alt=${words}/></div>`;
