// @ts-check
// A year: the timeline, findings one after another, where each is in the drawing and in the file, what mends it.

import { html, useEffect, useSignal } from "./vendor/preact.js";
import { Drawing } from "./drawing.js";
import { Mends } from "./mends.js";
import { number } from "./numbers.js";
import { answers, ask, cancel, keepAnswered, plant } from "./state.js";
import { YearLine } from "./timeline.js";
import { Folded, Progress } from "./told.js";
import { address } from "./views.js";

/** The view in which a key is changed. @param {string} key */
const viewOf = (key) => /^schedule\.(line_flushes|filter_runs|bathing)/.test(key) ? "day" : "plant";

/** What was tried against a finding, told alike whoever tried it. @param {any} found @param {string} currency */
function triedOf(found, currency) {
  const { schedule, verified } = found;
  if (schedule) return schedule.tried.map((one) => ({
    ...one, good: one.gone && !one.instead.length,
    outcome: one.instead.length ? `then it breaks ${one.instead.join(", ")}`
      : !one.gone ? "not enough"
      : `then it is gone; oldest water ${number(one.oldest_water_h)} h, ${number(one.cost_more)} ${currency} a year more`,
  }));
  return (verified?.verdicts || []).flatMap((verdict) => verdict.mends.map((one) => ({
    ...one, good: one.holds,
    outcome: one.holds ? "then no modelled order of events breaks it" : one.never_on ? "then it never comes on" : "not enough",
  })));
}

/** @param {{placed: any, currency: string, version: string}} given */
function Tried({ placed, currency, version }) {
  const what = placed.tries === "schedule" ? "mend" : "verify", answer = answers.value[what];
  const options = what === "mend" ? { rule: placed.rule, subjects: placed.subjects, cause: placed.cause } : { rule: placed.rule };
  const ours = answer?.options?.rule === placed.rule
    && (what === "verify" || JSON.stringify(answer.options.subjects) === JSON.stringify(placed.subjects));
  const start = () => ask(what, options);
  const result = ours && answer.state !== "failed" ? answer.result : null;
  const tried = result ? triedOf(what === "mend" ? { schedule: result } : { verified: result }, currency) : [];
  const busy = ours && (answer.state === "asked" || answer.state === "running");
  return html`<div class="tried">
    ${!busy && !result && html`<button type="button" onClick=${start}>${what === "mend"
      ? "try changes of the schedule" : "try mends in every order of events"}</button>`}
    ${ours && html`<${Progress} answer=${answer} version=${version} stop=${() => cancel(what)} again=${start}/>`}
    ${result && !busy && (tried.length ? html`<${Mends} mends=${tried} old=${answer.of !== version}/>`
      : html`<p>No change is known that could mend this alone: see what the finding says.</p>`)}</div>`;
}

/** @param {{placed: any, name: string, currency: string, version: string}} given */
function Finding({ placed, name, currency, version }) {
  return html`<p class=${placed.severity}>${placed.number}. ${placed.subjects.join(", ")}: ${placed.cause}</p>
    <p>${placed.severity}, ${placed.rule}</p>
    <ul>${placed.subjects.map((one, k) => placed.how_bad[k] && html`<li key=${one}>${one}: ${placed.how_bad[k]}</li>`)}</ul>
    <p>Mend: ${placed.mend}</p>
    <p class="note">What must hold: ${placed.sentence}</p>
    ${placed.keys.length > 0 && html`<p>Where the file says it: ${placed.keys.map((key, k) => html`${k ? ", " : ""}
      <a key=${key} href=${address(name, viewOf(key), key)}>${key}</a>`)}</p>`}
    ${placed.tries && html`<${Tried} key=${`${placed.rule} ${placed.subjects}`} placed=${placed} currency=${currency} version=${version}/>`}`;
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
        <div aria-live="polite"><${Finding} placed=${placed} name=${name} currency=${result.values.energy.currency}
          version=${open.version}/></div>`}
    </section>
    <section aria-labelledby="where-title"><h2 id="where-title">Where it is</h2>
      <${Drawing} svg=${result.drawing.svg} picked="" pick=${(one) => { location.hash = address(name, "plant", one); }}
        coloured=${marked}/>
    </section></div>
    <${Folded} blocks=${result.page} title="The whole report"/>`;
}
