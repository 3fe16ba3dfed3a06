// @ts-check
// Who asks for what in a day and a week, and what a change of it does.

import { html, useEffect, useRef, useSignal } from "./vendor/preact.js";
import { Answers, best } from "./answers.js";
import { DAYS } from "./clock.js";
import { Fields, Problems } from "./form.js";
import { added, called, copied, deleted, longestGaps, moved, onDays, stretched } from "./runs.js";
import { tenths } from "./numbers.js";
import { change, keep, keepAnswered, kept, plant, tell } from "./state.js";
import { Strip, Week } from "./strip.js";
import { Under } from "./under.js";

/** @param {string} path @returns {string | null} */
const textAt = (path) => plant.value.fields.find((f) => f.path === path)?.text ?? null;

/** What can be added, each with its key in the file and how long it lasts at first. */
const KINDS = [
  { word: "a filter run", key: "filter_runs", lasts_s: 7200, fast: false },
  { word: "a line flush", key: "line_flushes", lasts_s: 60, fast: true },
  { word: "bathing", key: "bathing", lasts_s: 3600, fast: true },
];

function Chosen({ demand, k, act }) {
  const toggle = (day, on) => change(
    onDays(demand, on ? [...demand.days, day] : demand.days.filter((other) => other !== day), textAt(`${demand.path}.days`)),
    `${called(demand)}: days changed`);
  const alike = plant.value.schedule?.controller.tells_weekdays === false;
  return html`<section class="chosen" aria-labelledby="chosen-title"><h2 id="chosen-title">${called(demand)}${demand.starts.length > 1
      ? `, start ${demand.starts[k]}` : ""}</h2>
    <div class="buttons"><button type="button" onClick=${() => act("copy", demand.path, k)}>copy this run</button>
      <button type="button" onClick=${() => act("delete", demand.path, k)}>delete this run</button></div>
    ${demand.repeats ? html`<p class="note">Its days follow the rule ${demand.repeats}.</p>` : html`<fieldset><legend>On these days</legend>
      ${alike && html`<p class="note">The controller runs every day alike.</p>`}
      ${DAYS.map((day) => html`<label key=${day}><input type="checkbox" checked=${demand.days.includes(day)}
        disabled=${demand.days.length === 1 && demand.days[0] === day}
        onChange=${(event) => toggle(day, event.target.checked)}/> ${day.slice(0, 3)}</label> `)}</fieldset>`}
    <${Fields} key=${demand.path} prefix=${demand.path} except=${["days"]}/></section>`;
}

/** Oldest water by the clock alone, while a run is being moved. @param {{schedule: any, held: any}} given */
function Estimate({ schedule, held }) {
  if (!held.value) return null;
  const gaps = longestGaps(schedule.demands, plant.value.moves, held.value).slice(0, 3);
  return html`<p class="note estimate">Estimate, from the longest wait between runs of the clock (heating and people may move the water sooner):
    ${gaps.map(({ leg, longest }) => `${leg} ${Number.isFinite(longest) ? `${tenths(longest / 3600)} h` : "never moved"}`).join(", ")}.
    The run answers once you let go.</p>`;
}

export default function Day() {
  const held = useSignal(/** @type {any} */ (null));
  const day = useSignal(""), selected = useSignal(/** @type {any} */ (null)), last = useRef(/** @type {any} */ (null));
  useEffect(() => { keepAnswered(["fortnight", "year"]); }, []);
  const open = plant.value;
  if (open.schedule) last.current = open.schedule;
  const schedule = last.current;
  if (!schedule) return html`<h1>Day and week</h1><${Problems}/>`;
  const answer = best(), find = (path) => schedule.demands.find((one) => one.path === path);
  const demand = selected.value && find(selected.value.path);
  const k = demand ? Math.min(selected.value.k, demand.starts.length - 1) : 0;

  const drop = async ({ path, k: at, mode, start, lasts }) => {
    const one = find(path);
    if (!one) return;
    const changes = mode === "stretch" ? stretched(one, lasts, textAt(`${path}.lasts`)) : moved(one, at, start, textAt(`${path}.start`));
    if (!changes) tell("This run has another start at that time: nothing is changed.");
    else if (mode === "stretch" ? lasts !== one.lasts_s : changes[0].text !== `"${one.starts[at]}"`)
      await change(changes, `${called(one)} ${mode === "stretch" ? "made longer or shorter" : "moved"}`);
  };
  const act = (what, path, at) => {
    const one = find(path);
    if (what === "delete") {
      change(deleted(one, at, schedule.demands), `${called(one)} at ${one.starts[at]} deleted`).then(() => {
        // what had the focus is gone: the next run of its kind has it, else the strip's first
        /** @type {HTMLElement | null} */ (document.querySelector(`.${one.kind} .move`) || document.querySelector(".strip .move"))?.focus();
      });
      selected.value = null;
    } else {
      const made = copied(one, at);
      if (made) change(made.changes, `${called(one)} copied to ${made.clock}`)
        .then(() => { selected.value = { path, k: one.starts.length }; });
    }
  };
  const pumps = (plant.value.fields.find((f) => f.path === "schedule.heating.pump") || plant.value.fields.find((f) => f.path.endsWith(".pump")))?.choices || [];
  const add = ({ key, lasts_s, fast, word }) => {
    const like = schedule.demands.find((one) => one.path.startsWith(`schedule.${key}.`))?.runs;
    const pump = pumps.find((one) => one.endsWith(fast ? " high" : " low")) || pumps[0];
    if (!like && !pump) return tell("The file has no pump to run.");
    change(added(key, like || `pump: ${pump}`, lasts_s, textAt(`schedule.${key}`) !== null), `${word} added at 12:00`);
  };

  return html`<h1 class="unseen">Day and week: ${open.title || open.name}</h1><div class="bench">
    <section aria-labelledby="day-title"><h2 id="day-title">${day.value ? `The programme on ${day.value}` : "The programme of a day"}</h2>
      ${!open.schedule && html`<p class="note">The file has faults: this is the programme as it was before.</p>`}
      <p class="note">Drag a run or the mark at its end. By keyboard: arrow keys move by a step, page keys by an hour, with Shift finer;
        C copies a run, Delete takes it out.</p>
      <${Strip} schedule=${schedule} ghost=${kept.value?.version !== open.version ? kept.value?.schedule : null} day=${day.value}
        selected=${demand ? { path: demand.path, k } : null} select=${(run) => { selected.value = run; }} drop=${drop} act=${act} written=${textAt} held=${held}/>
      <${Estimate} schedule=${schedule} held=${held}/>
      <div class="buttons" role="group" aria-label="Add">${KINDS.map((kind) => html`<button key=${kind.key} type="button"
        onClick=${() => add(kind)}>add ${kind.word}</button>`)}</div>
      ${answer && html`<div class=${answer.old ? "stale" : ""}><${Under} packed=${answer.result.timeline} loud=${answer.result.loud}/></div>`}
    </section>
    <section class="side" aria-labelledby="does-title"><h2 id="does-title">What it does</h2>
      <div class="buttons"><button type="button" onClick=${keep}>keep this to compare with</button></div>
      <${Problems}/><${Answers}/>
    </section>
    <div>${demand && html`<${Chosen} demand=${demand} k=${k} act=${act}/>`}
      <${Week} schedule=${schedule} day=${day.value} choose=${(one) => { day.value = one; }}/></div></div>`;
}
