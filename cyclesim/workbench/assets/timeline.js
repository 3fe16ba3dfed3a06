// @ts-check
// The page's zooming timeline in a view: its frame here, what it does in the page's own script.

import { html, useEffect, useRef } from "./vendor/preact.js";
// @ts-ignore: the server puts the page's script together
import { Timeline, opened, unpacked } from "../timeline.js";

const SPANS = [["all", "all"], ["30 days", 2592000], ["7 days", 604800], ["1 day", 86400], ["1 h", 3600], ["5 min", 300]];
const MOVES = [["back", "earlier"], ["on", "later"], ["previous", "previous start"], ["next", "next start"]];

/**
 * @param {object} given
 * @param {string} given.packed
 * @param {{number: number} | null} given.look the finding that is to be looked at
 */
export function YearLine({ packed, look }) {
  const box = useRef(/** @type {any} */ (null));
  useEffect(() => {
    let gone = false;
    unpacked(packed).then((told) => {
      if (!gone && box.current) box.current.timeline = new Timeline(box.current, opened(told));
    }).catch(() => { if (box.current) box.current.querySelector(".scope").textContent = "The timeline needs a newer browser."; });
    return () => { gone = true; };
  }, [packed]);
  useEffect(() => {
    const line = box.current?.timeline;
    if (!look || !line) return;
    const noted = line.data.noted.find((one) => one.number === look.number);
    if (!noted?.at.length) return;
    line.at = noted.at[0];
    line.show(line.at - 10800, line.at + 10800);
  }, [look]);
  return html`<div class="timeline" ref=${box}>
    <p class="note">Drag over a part of it to see that alone. By keyboard: left and right move the moment, + and - zoom,
      page up and page down go on. With two fingers: zoom and move.</p>
    <div class="buttons" role="group" aria-label="How much is shown">${SPANS.map(([text, seconds]) => html`
      <button key=${text} type="button" data-show=${seconds}>${text}</button>`)}</div>
    <div class="buttons" role="group" aria-label="Where to look">${MOVES.map(([go, text]) => html`
      <button key=${go} type="button" data-go=${go}>${text}</button>`)}</div>
    <div class="scope" role="slider" tabindex="0" aria-label="Moment in the run" aria-valuemin="0" aria-valuemax="100"
      aria-valuenow="0" aria-valuetext="the start"><canvas aria-hidden="true"></canvas></div>
    <dl class="readout"></dl>
    <details class="events"><summary>What is shown, in words</summary><ol></ol></details>
  </div>`;
}
