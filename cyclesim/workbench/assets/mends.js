// @ts-check
// Changes that were tried against a finding, each with a button that makes it in the file.

import { html } from "./vendor/preact.js";
import { change } from "./state.js";

/** @typedef {{said: string, holds: boolean, edits: [(string | number)[], string | null, boolean][]}} Mend */

/** @param {Mend} mend */
export const apply = (mend) => change(
  mend.edits.map(([path, text, adds]) => ({ path: path.join("."), text, adds })), mend.said);

/** Mends as the verification tried them, told like those of a run. @param {any[]} mends */
export const inEveryOrder = (mends) => mends.map((one) => ({
  ...one, head: "Tried", then: `${one.comes_to[0].toUpperCase()}${one.comes_to.slice(1)}.`,
}));

/**
 * @param {object} given
 * @param {(Mend & {head: string, then: string})[]} given.mends
 * @param {boolean} given.old whether the file has changed since they were tried
 */
export function Mends({ mends, old }) {
  return html`<ul class="mends">${mends.map((mend) => html`<li key=${`${mend.head} ${mend.said}`} class=${mend.holds ? "" : "not"}>
    <p>${mend.head}: ${mend.said}${mend.then && html`<br/><span class=${mend.holds ? "good" : "note"}>${mend.then}</span>`}</p>
    ${mend.holds && (mend.edits.length
      ? html`<button type="button" disabled=${old} onClick=${() => apply(mend)}>apply: ${mend.said}</button>`
      : html`<p class="note">This one is to be made by hand.</p>`)}</li>`)}</ul>`;
}
