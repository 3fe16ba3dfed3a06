// @ts-check
// Every order of events: the rules, what holds under each fault, and each story played on the drawing.

import { html, useEffect, useRef, useSignal } from "./vendor/preact.js";
import { Drawing } from "./drawing.js";
import { Mends, inEveryOrder } from "./mends.js";
import { answers, ask, cancel, keepAnswered, plant } from "./state.js";
import { Folded, Progress } from "./told.js";

const STEP_MS = 2500;
const FAULTS = ["none", "one at a time", "up to two"];

/** Every story, with what it is of. @param {any[]} verdicts @returns {any[]} */
function storiesOf(verdicts) {
  return verdicts.flatMap((v) => {
    const own = v.story ? [{ v, story: v.story, faults: [], why: v.why, mends: v.mends }] : [];
    const cells = v.cells.filter((c) => c.story).map((c) => ({ v, story: c.story, faults: c.faults, why: c.why, mends: c.mends }));
    return [...own, ...cells];
  });
}

/** @param {any} one */
const titleOf = (one) => `${one.v.rule} (${one.v.subject})${one.faults.length ? `: ${one.faults.join(" and ")}` : ""}`;

/** What is to be seen after a step, as the drawing colours it. @param {any} scene */
function sceneOn(scene) {
  const moves = scene.moves.map((name) => [name, { band: "moves", text: "water moves through it" }]);
  const on = Object.entries(scene.on).map(([name, how]) => [name, { band: "on", text: how === "on" ? "is on" : `runs on ${how}` }]);
  return Object.fromEntries([...moves, ...on]);
}

/** @param {any} scene */
function inWords(scene) {
  const on = Object.entries(scene.on).map(([name, how]) => how === "on" ? name : `${name} ${how}`);
  const turned = Object.entries(scene.turned).map(([name, at]) => `${name} ${at}`);
  return [["On", on.join(", ") || "nothing"], ["Water moves through", scene.moves.filter((m) => !m.includes(",")).join(", ") || "nothing"],
    ["Turned", turned.join(", ") || "nothing"], ["In the water", scene.people ? "people" : "nobody"]];
}

/** @param {{one: any, svg: string}} given */
function Story({ one, svg }) {
  const at = useSignal(0), plays = useSignal(false), line = useRef(/** @type {any} */ (null));
  const { steps, scenes, at_s: seconds } = one.story, last = steps.length - 1, k = Math.min(at.value, last);
  useEffect(() => {
    if (!plays.value) return;
    const timer = setInterval(() => { if (at.value < last) at.value += 1; else plays.value = false; }, STEP_MS);
    return () => clearInterval(timer);
  }, [plays.value]);
  useEffect(() => { line.current?.querySelector("[aria-current]")?.scrollIntoView({ block: "nearest" }); }, [k]);
  const play = () => { if (k === last) at.value = 0; plays.value = !plays.value; };
  const go = (to) => { plays.value = false; at.value = Math.max(0, Math.min(last, to)); };
  const scene = scenes[k];
  return html`<div class="bench"><section aria-labelledby="story-title">
      <h2 id="story-title" tabindex="-1">How ${titleOf(one)} comes about</h2>
      <div class="buttons" role="group" aria-label="The story">
        <button type="button" onClick=${() => go(0)} disabled=${k === 0}>first step</button>
        <button type="button" onClick=${() => go(k - 1)} disabled=${k === 0}>step back</button>
        <button type="button" onClick=${play} aria-pressed=${plays.value}>${plays.value ? "hold" : "play"}</button>
        <button type="button" onClick=${() => go(k + 1)} disabled=${k === last}>step on</button></div>
      <div class="now" aria-live="polite"><p class="strong">Step ${k + 1} of ${steps.length}${seconds.length
        ? `, after ${seconds[k]} s` : ""}</p>
        ${scene.came.length > 0 && html`<p>What comes: ${scene.came.join("; ")}.</p>`}
        ${scene.did.length > 0 && html`<p>What follows: ${scene.did.join("; ")}.</p>`}
        <dl class="scene">${inWords(scene).map(([what, said]) => html`<div key=${what}><dt>${what}</dt><dd>${said}</dd></div>`)}</dl></div>
      <${Drawing} svg=${svg} picked="" pick=${() => {}} coloured=${sceneOn(scene)}/>
    </section>
    <section class="side" aria-label="Steps and mends"><ol class="steps" ref=${line}>${steps.map((step, n) => html`<li key=${n}
        aria-current=${n === k ? "step" : null}><button type="button" onClick=${() => go(n)}>${seconds.length
        ? html`<strong>after ${seconds[n]} s:</strong> ` : ""}${step}</button></li>`)}</ol>
      <p class="note">${answers.value.verify.result.replayed[one.story.replayed]}</p>
      ${one.mends.length > 0 && html`<h3>What was tried against it</h3><${Tried} mends=${one.mends}/>`}
    </section></div>`;
}

/** @param {{mends: any[]}} given */
function Tried({ mends }) {
  const old = answers.value.verify.of !== plant.value.version;
  return html`<${Mends} old=${old} mends=${inEveryOrder(mends)}/>`;
}

/** @param {{result: any, stories: any[], pick: (k: number) => void}} given */
function Matrix({ result, stories, pick }) {
  const { columns, rows } = result.matrix;
  if (!rows.length) return null;
  const storyOf = (column, faults) => stories.findIndex((one) => one.v.rule === column.rule && one.v.subject === column.subject
    && one.faults.join() === faults.join());
  return html`<h2 id="matrix-title">What holds under each fault</h2>
    <div class="wide" tabindex="0" role="group" aria-labelledby="matrix-title"><table class="matrix"><thead><tr>
      <th scope="col">fault</th>${columns.map((c) => html`<th scope="col" key=${`${c.rule} ${c.subject}`}>${c.rule}<br/>${c.subject}</th>`)}</tr></thead>
      <tbody>${rows.map((row) => html`<tr key=${row.faults.join()}><th scope="row">${row.faults.join(" and ")}</th>
        ${row.marks.map((mark, k) => {
          const story = storyOf(columns[k], row.faults), cell = mark === "BROKEN" ? html`<strong>${mark}</strong>` : mark;
          return html`<td key=${k} class=${mark === "BROKEN" ? "broken" : mark === "open" ? "open" : ""}>${story >= 0
            ? html`<button type="button" aria-label=${`${mark}: play the story of ${columns[k].rule}, ${columns[k].subject}, ${row.faults.join(" and ")}`}
                onClick=${() => pick(story)}>${cell}</button>` : cell}</td>`;
        })}</tr>`)}</tbody></table></div>
    <p class="note">interlock: one of the controller's holds; own switch: the device's own flow switch holds; limit: an independent
      limit ends it; kept: not broken, whatever may hold it; BROKEN: nothing holds; open: not decided; -: nothing had to be held, or
      the rule cannot see the fault.</p>`;
}

/** What an answer looked at. @param {{faults: number, any_order: boolean}} of */
const lookedAt = (of) => `things going wrong: ${FAULTS[of.faults]}; demands ${of.any_order ? "in any order" : "by the calendar"}`;

export default function Orders({ name }) {
  const chosen = useSignal(/** @type {any} */ ({})), picked = useSignal(0);
  const open = plant.value, answer = answers.value.verify, result = answer?.result;
  // until somebody chooses, the form says what the answer below it is of
  const of = { faults: 0, any_order: false, ...result && answer.options }, now = { ...of, ...chosen.value };
  const other = now.faults !== of.faults || now.any_order !== of.any_order;
  const choose = (part) => { chosen.value = { ...chosen.value, ...part }; };
  const start = () => { picked.value = 0; ask("verify", { faults: now.faults, any_order: now.any_order }); };
  const whole = answer && answer.of === open.version && !answer.options?.rule;
  useEffect(() => { keepAnswered([]); if (!whole && !open.problems.length) start(); }, []);
  const stories = result ? storiesOf(result.verdicts) : [];
  const svg = open.drawing?.svg;
  const pick = (k) => { picked.value = k; requestAnimationFrame(() => document.getElementById("story-title")?.focus()); };
  const busy = answer?.state === "asked" || answer?.state === "running";
  return html`<h1 class="unseen">Every order of events: ${open.title || name}</h1>
    <form class="asking" onSubmit=${(event) => { event.preventDefault(); start(); }}>
      <label>Things that may go wrong at once <select onChange=${(e) => choose({ faults: Number(e.target.value) })}>
        ${FAULTS.map((text, k) => html`<option key=${k} value=${k} selected=${k === now.faults}>${text}</option>`)}
        </select></label>
      <label class="tick"><input type="checkbox" checked=${now.any_order} onChange=${(e) => choose({ any_order: e.target.checked })}/>
        demands in any order, not by the calendar</label>
      <button type="submit" disabled=${busy || open.problems.length > 0}>look at every order</button></form>
    <${Progress} answer=${answer} version=${open.version} stop=${() => cancel("verify")} again=${start}/>
    ${result && html`${other && html`<p class="mind" role="status">${busy ? "What is chosen above is being looked at."
        : "What is chosen above is not looked at yet."} Until then this is the answer for what was looked at before.</p>`}
      <p class=${`verdict ${other ? "old" : result.values.broken ? "danger" : stories.length ? "hygiene" : "good"}`}>${result.verdict}</p>
      <p class="note">Looked at: ${lookedAt(of)}.</p>
      ${answer.options?.rule && html`<p class="note">This looked at ${answer.options.rule} alone.</p>`}
      <${Matrix} result=${result} stories=${stories} pick=${pick}/>
      ${stories.length > 0 && html`<p><label>Story <select onChange=${(e) => pick(Number(e.target.value))}>${stories.map((one, k) => html`
        <option key=${k} value=${k} selected=${k === picked.value}>${titleOf(one)}</option>`)}</select></label></p>
        <${Story} key=${`${answer.job} ${picked.value}`} one=${stories[Math.min(picked.value, stories.length - 1)]} svg=${svg}/>`}
      <${Folded} blocks=${result.page} title="All of it in words"/>`}`;
}
