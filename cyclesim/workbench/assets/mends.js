// @ts-check
// Changes that were tried against a finding, each with a button that makes it in the file.

import { html } from "./vendor/preact.js";
import { change } from "./state.js";

/** @typedef {{said: string, edits: [(string | number)[], string | null, boolean][]}} Mend */

/** @param {Mend} mend */
export const apply = (mend) => change(
  mend.edits.map(([path, text, adds]) => ({ path: path.join("."), text, adds })), mend.said);

/**
 * @param {object} given
 * @param {(Mend & {outcome: string, good: boolean})[]} given.mends
 * @param {boolean} given.old whether the file has changed since they were tried
 */
export function Mends({ mends, old }) {
  return html`<ul class="mends">${mends.map((mend) => html`<li key=${mend.said} class=${mend.good ? "" : "not"}>
    <p>${mend.said}<br/><span class=${mend.good ? "good" : "note"}>${mend.outcome}</span></p>
    ${mend.good && (mend.edits.length
      ? html`<button type="button" disabled=${old} onClick=${() => apply(mend)}>apply: ${mend.said}</button>`
      : html`<p class="note">This one is to be made by hand.</p>`)}</li>`)}</ul>`;
}
