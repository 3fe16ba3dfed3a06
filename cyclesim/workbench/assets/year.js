// @ts-check
// A year: the timeline, findings one after another, where each is in the drawing and in the file, what mends it.

import { html, useEffect, useSignal } from "./vendor/preact.js";
import { Drawing } from "./drawing.js";
import { Mends, inEveryOrder } from "./mends.js";
import { answers, ask, cancel, keepAnswered, plant } from "./state.js";
import { YearLine } from "./timeline.js";
import { Folded, Progress } from "./told.js";
import { address } from "./views.js";

/** The view in which a key is changed. @param {string} key */
const viewOf = (key) => /^schedule\.(line_flushes|filter_runs|bathing)/.test(key) ? "day" : "plant";

/** What was tried against a finding, told alike whoever tried it. @param {any} result @param {any} placed @returns {any[]} */
const triedOf = (result, { rule, subjects }) => result.tried || inEveryOrder(
  result.verdicts.filter((v) => v.rule === rule && subjects.includes(v.subject)).flatMap((verdict) => verdict.mends));

/** @param {{placed: any, version: string}} given */
function Tried({ placed, version }) {
  const what = placed.tries === "run" ? "mend" : "verify", answer = answers.value[what];
  const options = what === "mend" ? { rule: placed.rule, subjects: placed.subjects } : { rule: placed.rule };
  const of = answer?.state === "done" ? answer.options : answer?.asking; // every order of all rules has this one, too
  const ours = of && (what === "mend" ? JSON.stringify(of) === JSON.stringify(options)
    : (of.rule || placed.rule) === placed.rule && !of.any_order);
  const start = () => ask(what, options);
  const result = placed.tries && ours && answer.state !== "failed" ? answer.result : null;
  const busy = ours && (answer.state === "asked" || answer.state === "running");
  const tried = result && !busy ? triedOf(result, placed) : [];
  return html`<div class="tried">
    ${tried.length ? html`<${Mends} mends=${tried} old=${answer.of !== version}/>` : html`<p>Mend, not tried: ${placed.mend}</p>`}
    ${!placed.tries && html`<p class="note">Nothing tries this one: change the file so, and the year is run again.</p>`}
    ${placed.tries && !busy && !result && html`<button type="button" onClick=${start}>${what === "mend"
      ? "try mends on these days" : "try mends in every order of events"}</button>`}
    ${placed.tries && ours && html`<${Progress} answer=${answer} version=${version} stop=${() => cancel(what)} again=${start}/>`}</div>`;
}

/** @param {{placed: any, name: string, version: string}} given */
function Finding({ placed, name, version }) {
  return html`<p class=${placed.severity}>${placed.number}. ${placed.subjects.join(", ")}: ${placed.cause}</p>
    <p>${placed.severity}, ${placed.rule}</p>
    <ul>${placed.subjects.map((one, k) => placed.how_bad[k] && html`<li key=${one}>${one}: ${placed.how_bad[k]}</li>`)}</ul>
    <p class="note">What must hold: ${placed.sentence}</p>
    ${placed.keys.length > 0 && html`<p>Where the file says it: ${placed.keys.map((key, k) => html`${k ? ", " : ""}
      <a key=${key} href=${address(name, viewOf(key), key)}>${key}</a>`)}</p>`}
    <${Tried} key=${`${placed.rule} ${placed.subjects}`} placed=${placed} version=${version}/>`;
}

export default function Year({ name }) {
  const at = useSignal(0), look = useSignal(/** @type {any} */ (null));
  useEffect(() => { keepAnswered(["year"]); }, []);
  const open = plant.value, answer = answers.value.year, result = answer?.result;
  if (!result) return html`<h1 class="unseen">A year of ${open.title || name}</h1>
    ${open.problems.length ? html`<p class="danger">The file has faults: mend them first, in the view of the plant.</p>` : ""}
    <${Progress} answer=${answer} version=${open.version} stop=${() => cancel("year")}/>`;
  const findings = result.placed, k = Math.min(at.value, findings.length - 1), placed = findings[k];
  const go = (to) => {
    at.value = (to + findings.length) % findings.length;
    look.value = { number: findings[at.value].number };
  };
  const marked = Object.fromEntries((placed?.about || []).map((one) => [one, { band: "found", text: `finding ${placed.number}` }]));
  return html`<h1 class="unseen">A year of ${open.title || name}</h1>
    <${Progress} answer=${answer} version=${open.version} stop=${() => cancel("year")}/>
    <p class=${`verdict ${result.answer.tone}`}>${result.answer.verdict}</p>
    <div class="bench year"><section aria-labelledby="timeline-title"><h2 id="timeline-title">What happened when</h2>
      <${YearLine} key=${answer.of} packed=${result.timeline} look=${look.value}/>
    </section>
    <section class="side" aria-labelledby="findings-title"><h2 id="findings-title">${findings.length
      ? `Finding ${k + 1} of ${findings.length}` : "No findings"}</h2>
      ${findings.length > 0 && html`<div class="buttons" role="group" aria-label="Findings">
        ${findings.length > 1 && html`<button type="button" onClick=${() => go(k - 1)}>previous finding</button>
          <button type="button" onClick=${() => go(k + 1)}>next finding</button>`}
        ${placed.first.length > 0 && html`<button type="button" onClick=${() => go(k)}>show it in the timeline</button>`}</div>
        <div aria-live="polite"><${Finding} placed=${placed} name=${name} version=${open.version}/></div>`}
    </section>
    <section aria-labelledby="where-title"><h2 id="where-title">Where it is</h2>
      <${Drawing} svg=${result.drawing.svg} picked="" pick=${(one) => { location.hash = address(name, "plant", one); }}
        coloured=${marked}/>
    </section></div>
    <${Folded} blocks=${result.page} title="The whole report"/>`;
}
