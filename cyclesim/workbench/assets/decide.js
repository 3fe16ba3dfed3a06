// @ts-check
// Decide with numbers: better times, plants side by side, sizes, what would save most.

import { html, useEffect, useSignal } from "./vendor/preact.js";
import { Cluster, shared } from "./cluster.js";
import { Compare } from "./compare.js";
import { even, number } from "./numbers.js";
import { answers, ask, cancel, keepAnswered, plant, put } from "./state.js";
import { Folded, Picture, Progress, Told } from "./told.js";
import { address } from "./views.js";

/** @param {number} hour */
const clock = (hour) => `${String(Math.floor(hour)).padStart(2, "0")}:${String(Math.round(60 * (hour % 1))).padStart(2, "0")}`;

/** One programme as it lies on a day. @param {{strip: any, all: any}} given */
function Day({ strip, all }) {
  const bars = strip.filters_h.flatMap(([start, end]) => end > 24 ? [[start, 24], [0, end - 24]] : [[start, end]]);
  return html`<svg class="daystrip" viewBox="0 0 480 26" preserveAspectRatio="none" aria-hidden="true">
    ${all.quiet_h.map(([a, b]) => html`<rect class="quiet" x=${20 * a} width=${20 * (b - a)} height="26"/>`)}
    ${all.bathed_h.map(([a, b]) => html`<rect class="bathed" x=${20 * a} width=${20 * (b - a)} height="26"/>`)}
    ${bars.map(([a, b]) => html`<rect class="filters" x=${20 * a} y="8" width=${20 * (b - a)} height="10"/>`)}
    ${strip.flushes_h.map((h) => html`<path class="flushes" d=${`M${20 * h - 6} 3H${20 * h + 6}L${20 * h} 15Z`}/>`)}
    <path class="base" d="M0 25H480"/></svg>`;
}

/** @param {any} strip */
const inWords = (strip) => [
  strip.filters_h.length ? `filters ${strip.filters_h.map(([a, b]) => `${clock(a)} to ${clock(b % 24)}`).join(", ")}` : "",
  strip.flushes_h.length ? `flushes ${strip.flushes_h.map(clock).join(", ")}` : "",
].filter(Boolean).join("; ");

/** The trade-offs to pick from. @param {{result: any, of: string}} given */
function Programmes({ result, of }) {
  const { strips: all, texts } = result;
  const advised = all.strips.findIndex((s) => s.is_advised), none = advised < 0;
  const picked = useSignal(none ? all.best : advised);
  const old = plant.value.version !== of, k = picked.value, strip = all.strips[k];
  const heads = [`${all.currency} a year`, "pumps, h a day", "starts a day", "loud, min a day", "oldest water, h"];
  const use = () => put(texts[k], of, `tuned: ${strip.name}`);
  const why = old ? "The file has changed since: search again." : k === all.best ? "This is what the file says now."
    : texts[k] === null ? "The file has no place for these times: write them by hand." : "";
  return html`${none && html`<p class="danger">No programme can do it: none that can be keyed in keeps every rule. Why, and what would
      help, stands under “All of it in words”.</p>`}<h2 id="programmes-title">Programmes to pick from</h2>
    <div class="wide" tabindex="0" role="group" aria-labelledby="programmes-title"><table class="programmes"><thead><tr>
      <th scope="col">programme</th><th scope="col">its day, 00:00 to 24:00</th>${heads.map((h) => html`<th key=${h} scope="col" class="n">${h}</th>`)}
      <th scope="col">breaks or lacks</th></tr></thead>
      <tbody>${all.strips.map((s, n) => html`<tr key=${n} class=${n === k ? "picked" : ""} onClick=${() => { picked.value = n; }}>
        <th scope="row"><label><input type="radio" name="programme" checked=${n === k} onChange=${() => { picked.value = n; }}/>
          <span>${s.name}${s.is_advised && html` <strong>advised</strong>`}</span></label></th>
        <td class="day"><${Day} strip=${s} all=${all}/><span class="unseen">${inWords(s)}</span></td>
        ${s.numbers.map((v, c) => html`<td key=${c} class="n">${v === null ? "never" : c ? even(v) : number(Math.round(v))}</td>`)}<td class="short">${[s.breaks, s.lacks].filter(Boolean).join("; ") || "-"}</td></tr>`)}</tbody></table></div>
    <ul class="key"><li class="filters">bar: filter run</li><li class="flushes">triangle: line flush</li>
      ${all.quiet_h.length > 0 && html`<li>grey: quiet hours</li>`}${all.bathed_h.length > 0 && html`<li>green: people may be in the water</li>`}</ul>
    <p class="strong">${strip.name}: ${inWords(strip) || "nothing runs by the clock"}.</p>
    <p class="buttons"><button type="button" disabled=${!!why} onClick=${use}>put these times into the file</button>
      <a href=${address(plant.value.name, "day")}>see the day</a></p>
    ${why && html`<p class="note">${why}</p>`}
    ${strip.breaks && html`<p class="danger">It breaks ${strip.breaks}.</p>`}
    ${strip.lacks && html`<p class="mind">It lacks something of what is asked for: ${strip.lacks}.</p>`}`;
}

function Tune() {
  const answer = answers.value.tune, result = answer?.result, { version } = plant.value;
  const start = () => ask("tune", shared());
  const busy = answer?.state === "asked" || answer?.state === "running";
  return html`<p>It places filter runs and flushes within what the controller lets you key in, runs each candidate for a year, and shows
      the best trade-offs. That takes a minute or more; runs that are done are kept.</p>
    <p><button type="button" disabled=${busy} onClick=${start}>search better times</button></p>
    <${Progress} answer=${answer} version=${version} stop=${() => cancel("tune")} again=${start}/>
    ${result && html`<${Programmes} key=${answer.job} result=${result} of=${answer.of}/>
      <${Folded} blocks=${result.page} title="All of it in words"/>`}`;
}

const MACHINES = {
  heater: { title: "heat source", fields: [["sizes", "sizes to try", "3 kW, 4.5 kW"], ["from", "warm up from", "30 degC"], ["within", "within", "8 h"]] },
  pump: { title: "pump", fields: [] },
  blower: { title: "blower", fields: [["flow", "air that is wanted", "600 L/min"]] },
};

function Size() {
  const machine = useSignal("heater"), options = useSignal(/** @type {Record<string, string>} */ ({}));
  const answer = answers.value.size, result = answer?.result, { fields } = MACHINES[machine.value];
  const start = () => ask("size", { ...shared(), machine: machine.value,
    ...Object.fromEntries(fields.map(([key]) => [key, options.value[key]]).filter(([, text]) => text)) });
  const busy = answer?.state === "asked" || answer?.state === "running";
  return html`<form class="asking" onSubmit=${(event) => { event.preventDefault(); start(); }}>
      <label>Size the <select onChange=${(e) => { machine.value = e.target.value; }}>${Object.entries(MACHINES).map(([id, m]) => html`
        <option key=${id} value=${id} selected=${id === machine.value}>${m.title}</option>`)}</select></label>
      ${fields.map(([key, label, example]) => html`<label key=${key}>${label} <input size="10" placeholder=${`e.g. ${example}`}
        value=${options.value[key] || ""} onChange=${(e) => { options.value = { ...options.value, [key]: e.target.value.trim() }; }}/></label>`)}
      <button type="submit" disabled=${busy}>size it</button></form>
    <${Progress} answer=${answer} version=${plant.value.version} stop=${() => cancel("size")} again=${start}/>
    ${result && html`<${Picture} src=${result.figure} words="Sizes beside each other; all of it stands in the tables below"/>
      <${Told} blocks=${result.page}/>`}`;
}

function Savings() {
  const answer = answers.value.savings, result = answer?.result;
  const start = () => ask("savings", shared());
  const busy = answer?.state === "asked" || answer?.state === "running";
  return html`<p>Insulation of pipes, cover and shell, frost threshold, set points, dear hours: each is run through a year alone, and the
      best together.</p>
    <p><button type="button" disabled=${busy} onClick=${start}>run what may save</button></p>
    <${Progress} answer=${answer} version=${plant.value.version} stop=${() => cancel("savings")} again=${start}/>
    ${result && html`<${Told} blocks=${result.page}/>`}`;
}

const PARTS = [
  { id: "tune", title: "Better times", View: Tune },
  { id: "compare", title: "Side by side", View: Compare },
  { id: "size", title: "How large", View: Size },
  { id: "savings", title: "What would save", View: Savings },
];

export default function Decide({ name, about }) {
  useEffect(() => { keepAnswered([]); }, []);
  const open = plant.value, part = PARTS.find((one) => one.id === about) || PARTS[0], { View } = part;
  return html`<h1 class="unseen">Decide: ${open.title || name}</h1>
    <nav class="parts" aria-label="What to decide"><ul>${PARTS.map((one) => html`<li key=${one.id}><a
      href=${address(name, "decide", one.id)} aria-current=${one === part ? "page" : null}>${one.title}</a></li>`)}</ul></nav>
    ${open.problems.length > 0 ? html`<p class="danger">The file has faults: mend them first, in the view of the plant.</p>`
      : html`<h2 class="unseen">${part.title}</h2><${View} name=${name}/><${Cluster}/>`}`;
}
