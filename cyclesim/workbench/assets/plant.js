// @ts-check
// The plant: its drawing, the form of the part that is picked, the file beside it.

import { html, useEffect, useMemo, useRef, useSignal } from "./vendor/preact.js";
import { get, ofPlant } from "./api.js";
import { Answers } from "./answers.js";
import { Drawing } from "./drawing.js";
import { Fields, Problems } from "./form.js";
import { chainChanges, free, offers, partAt, partsOf, withPart, withoutPart } from "./parts.js";
import { answers, change, fail, keepAnswered, picked, plant } from "./state.js";
import { Writing } from "./writing.js";
import { COLOURINGS, coloured, dutiesOf, jetsAt } from "./colours.js";

/** A part by its kind, as the file says it where it does, and its name. @param {{path: string, name: string, kind: string}} part */
function called({ path, name, kind }) {
  const own = plant.value.fields.find((f) => f.path === `${path}.kind`)?.text;
  const word = path.startsWith("plant.equipment.") && own ? own : kind;
  return !word || word === name ? name : `${word} ${name}`;
}

/** Every part that has a form, to be picked without the drawing. */
function Parts({ parts, part }) {
  const kinds = [...new Set(parts.map((p) => p.kind))];
  return html`<p class="pick"><label for="part">Part</label>
    <select id="part" onChange=${(event) => { picked.value = event.target.value; }}>
      <option value="" selected=${!part}>pick one here or in the drawing</option>
      ${kinds.map((kind) => html`<optgroup key=${kind} label=${kind || "the whole"}>
        ${parts.filter((p) => p.kind === kind).map((p) => html`<option key=${p.path} value=${p.path}
          selected=${p.path === part?.path}>${p.name}</option>`)}</optgroup>`)}
    </select></p>`;
}

/** Put something into the network where the picked part is, or take that out. */
function Place({ part, parts }) {
  const what = useSignal(0), at = useSignal(/** @type {"before" | "after" | "beside" | ""} */ (""));
  const chains = plant.value.network;
  if (!Array.isArray(chains) || !part.path.startsWith("plant.")) return null;
  const zones = parts.filter((p) => p.kind === "zone").map((p) => p.name);
  const all = offers(plant.value.units === "us", zones[0] || "outdoors");
  const steps = part.path.split("."), named = steps.length === 3, inIt = named && JSON.stringify(chains).includes(`"${part.name}"`);
  const jets = plant.value.fields.find((f) => f.path === `${part.path}.manifold.jets`)?.text;
  // jets end in the tub, so that nothing comes after them
  const places = /** @type {("before" | "after" | "beside")[]} */ (jets ? ["before", "beside"] : ["after", "before", "beside"]);
  const how = at.value || places[0];
  const add = () => {
    const offer = all[what.value], name = free(offer.name, parts.map((p) => p.name));
    const sheet = { path: `plant.${offer.kind}.${name}`, text: offer.text };
    if (!parts.some((p) => p.path.startsWith(`plant.${offer.kind}.`))) Object.assign(sheet, { path: `plant.${offer.kind}`, text: `{${name}: ${offer.text}}` });
    const after = chains.map((chain) => withPart(chain, part.name, name, how));
    change([sheet, ...chainChanges(chains, after)], `${offer.what} added ${how} ${part.name}`)
      .then((done) => { if (done) picked.value = name; });
  };
  const takeOut = () => {
    const after = chains.map((chain) => withoutPart(chain, part.name));
    change([...chainChanges(chains, after), { path: part.path, text: null }], `${part.name} taken out`)
      .then((done) => { if (done) picked.value = ""; });
  };
  const jet = (by) => change([{ path: `${part.path}.manifold.jets`, text: String(Number(jets) + by) }],
    by > 0 ? "a jet added" : "a jet taken out");
  const manifold = all[1].text.match(/manifold: (\{.*\})\}$/)?.[1] || "";
  return html`<div class="place">
    ${steps[1] === "legs" && html`<div class="buttons" role="group" aria-label="Jets">
      ${jets ? html`<button type="button" onClick=${() => jet(1)}>one jet more</button>
        <button type="button" disabled=${Number(jets) < 2} onClick=${() => jet(-1)}>one jet fewer</button>`
        : html`<button type="button" onClick=${() => change([{ path: `${part.path}.manifold`, text: manifold }],
          "jets added")}>give it jets</button>`}</div>`}
    ${inIt && html`<fieldset><legend>Add to the water's way</legend>
      <label>what <select onChange=${(e) => { what.value = Number(e.target.value); }}>
        ${all.map((o, k) => html`<option key=${o.what} value=${k} selected=${k === what.value}>${o.what}</option>`)}</select></label>
      <label>where <select onChange=${(e) => { at.value = e.target.value; }}>
        ${places.map((h) => html`<option key=${h} selected=${h === how} value=${h}
          >${h} ${part.name}</option>`)}</select></label>
      <button type="button" onClick=${add}>add it</button>
      <p class="note">It begins with invented numbers: put in those of your drawing or data sheet.</p></fieldset>`}
    ${named && html`<div class="buttons"><button type="button" onClick=${takeOut}>take ${part.name} out</button></div>`}
  </div>`;
}

/** The diverter that has a way of this name: drawn are its ways alone. @param {string} way */
const diverterOf = (way) => plant.value.fields.find((f) => /^plant\.diverters\.\w+\.ways$/.test(f.path)
  && (f.text || "").split(/[^\w]+/).includes(way))?.path.split(".")[2] || " ";

/** What a pump's data sheet tells of its water and its current. */
const SHEET = ["curve", "max_head", "max_flow", "power", "current", "starting_current", "low", "high", "npsh_needed"];

/** Pumps to choose from that the file has data sheets of. */
function Swap({ part }) {
  const offered = partsOf(plant.value.fields).filter((p) => p.path.startsWith("candidates.pumps."));
  if (!part.path.startsWith("plant.pumps.") || !offered.length) return null;
  const text = (path) => plant.value.fields.find((f) => f.path === path)?.text ?? null;
  const swap = (other) => {
    const changes = SHEET.map((key) => [`${part.path}.${key}`, text(`${part.path}.${key}`), text(`${other.path}.${key}`)])
      .filter(([path, now, then]) => now !== then && !(then === null && path.endsWith("npsh_needed")))
      .map(([path, , then]) => ({ path, text: then }));
    // what is put in comes first: an emptied block could not be added to
    change(changes.sort((a, b) => Number(a.text === null) - Number(b.text === null)), `${other.name} put in place of ${part.name}`);
  };
  return html`<fieldset><legend>Put in a pump of the file's candidates</legend><div class="buttons">
    ${offered.map((p) => html`<button key=${p.path} type="button" onClick=${() => swap(p)}>${p.name}</button>`)}
    </div></fieldset>`;
}

/** The file with its line numbers; what belongs to the picked part is marked. */
function Text({ part }) {
  const box = useRef(/** @type {HTMLElement | null} */ (null));
  const { text, fields, problems } = plant.value;
  const marked = useMemo(() => new Set(part ? fields.filter((f) => f.line && f.path.startsWith(part.path))
    .map((f) => f.line) : []), [text, part?.path]);
  const faulty = new Set(problems.map((p) => p.line)), writes = useSignal(false);
  useEffect(() => {
    const first = /** @type {HTMLElement} */ (box.current)?.querySelector(".faulty, .marked");
    if (first && box.current) box.current.scrollTop = /** @type {HTMLElement} */ (first).offsetTop - 60;
  }, [text, part?.path]);
  return html`<section class="file" aria-labelledby="file-title"><h2 id="file-title">The file</h2>
    <p class="note">${plant.value.name}: edit it here by the form, or in an editor of yours; each sees what the other changes.</p>
    ${writes.value ? html`<${Writing} line=${Math.min(...faulty, ...marked)} close=${() => { writes.value = false; }}/>`
      : html`<div class="buttons"><button type="button" onClick=${() => { writes.value = true; }}>edit the text</button></div>
    <ol class="lines" ref=${box} tabindex="0" aria-label="The file's text">${text.split(/\r?\n/).map((line, k) => html`<li key=${k}
      class=${faulty.has(k + 1) ? "faulty" : marked.has(k + 1) ? "marked" : ""}><code>${line || " "}</code></li>`)}</ol>`}<${Done}/></section>`;
}

/** What the jets get: at a pump of all legs, at a leg of its own. */
function Jets({ part, duty }) {
  const found = jetsAt(answers.value, duty, plant.value.units === "us");
  const [, kind] = part.path.split(".");
  const rows = (kind === "pumps" ? found?.rows : kind === "legs" ? found?.rows.filter((row) => row.leg === part.name) : []) || [];
  if (!rows.length) return null;
  const old = answers.value.year?.of !== plant.value.version && answers.value.fortnight?.of !== plant.value.version;
  return html`<div class=${`weakest${old ? " stale" : ""}`}><table><caption>The weakest jet of each leg at ${found?.duty}</caption>
    <thead><tr><th scope="col">leg</th><th scope="col" class="n">it gets</th><th scope="col" class="n">it needs</th><td></td></tr></thead>
    <tbody>${rows.map((row) => html`<tr key=${row.leg}><th scope="row">${row.leg}</th><td class="n">${row.weakest}</td>
      <td class="n">${row.needs}</td><td>${row.enough === false ? html`<strong>too weak</strong>` : row.enough ? "enough" : ""}</td></tr>`)}
    </tbody></table></div>`;
}

const WHEN = new Intl.DateTimeFormat("en-GB", { dateStyle: "medium", timeStyle: "short" });
const DOES = { edit: "", undo: "undone: ", redo: "done again: ", outside: "changed outside the workbench" };

/** What was done to the file, the last first; it is asked for when somebody looks. */
function Done() {
  const open = useSignal(false), done = useSignal(/** @type {any[]} */ ([])), { name, version } = plant.value;
  useEffect(() => {
    if (open.value) get(ofPlant(name, "/journal")).then(({ entries }) => { done.value = entries; }, fail);
  }, [name, version, open.value]);
  return html`<details onToggle=${(event) => { open.value = event.target.open; }}><summary>What was done to it</summary>
    ${done.value.length ? html`<ol class="done">${done.value.map((one, k) => html`<li key=${k}>
      <span class="note">${WHEN.format(new Date(one.when))}</span> ${DOES[one.does]}${one.why}</li>`)}</ol>`
      : html`<p class="note">Nothing yet.</p>`}</details>`;
}

export default function Plant({ about }) {
  const by = useSignal(""), duty = useSignal("");
  const last = useRef("");
  const open = plant.value, parts = partsOf(open.fields);
  useEffect(() => { keepAnswered(["year"]); }, []);
  useEffect(() => { if (about) picked.value = about; }, [about]);
  const part = picked.value ? partAt(parts, picked.value) || partAt(parts, diverterOf(picked.value)) : undefined;
  const within = part && open.fields.find((f) => f.path === `${part.path}.zone`)?.text;
  const zone = parts.find((p) => p.path === `place.zones.${within}`);
  const run = answers.value.year;
  const svg = (run?.of === open.version && run.result.drawing.svg) || open.drawing?.svg;
  if (svg) last.current = svg;
  const colours = coloured(by.value, answers.value, open.units === "us", duty.value);
  const duties = dutiesOf(answers.value);
  return html`<h1 class="unseen">Plant: ${open.title || open.name}</h1><div class="bench">
    <section aria-labelledby="drawing-title"><h2 id="drawing-title">The plant</h2>
      <div class="buttons" role="group" aria-label="Colour by">${COLOURINGS.map((c) => html`<button key=${c.id} type="button"
        aria-pressed=${by.value === c.id} onClick=${() => { by.value = c.id; }}>${c.title}</button>`)}
        ${duties.length > 1 && html`<label>at <select onChange=${(event) => { duty.value = event.target.value; }}>
          <option value="" selected=${!duty.value}>what moves most</option>
          ${duties.map((d) => html`<option key=${d.name} value=${d.name} selected=${d.name === duty.value}>${d.name}</option>`)}</select></label>`}</div>
      <${Drawing} svg=${svg || last.current} picked=${part?.path.startsWith("plant.diverters.") ? picked.value : part?.path.startsWith("plant.") ? part.path.split(".").pop() : ""}
        pick=${(name) => { picked.value = name; }} coloured=${colours.by}
        stale=${svg ? "" : "The file has faults: this is the plant as it was before."}/>
      ${colours.told && html`<p class="note">${colours.told}</p>`}
      ${colours.rows.length > 0 && html`<table class="list"><caption>${colours.title}</caption><tbody>${colours.rows.map((row) => html`
        <tr key=${row.name}><th scope="row"><svg class="swatch" viewBox="0 0 12 12" width="12" height="12" aria-hidden="true"><rect width="12" height="12" class=${`band${row.band}`}/></svg>
          ${row.name}</th><td class="n">${row.text}</td></tr>`)}</tbody></table>`}
    </section>
    <section class="side" aria-labelledby="part-title"><h2 id="part-title">${part ? called(part) : "What it comes to"}</h2>
      <${Parts} parts=${parts} part=${part}/>
      <${Problems}/>
      ${zone && html`<p>Around it: <button type="button" onClick=${() => { picked.value = zone.path; }}>the zone ${zone.name}</button></p>`}
      ${part && html`<${Jets} part=${part} duty=${duty.value}/><${Swap} part=${part}/><${Fields} key=${part.path} prefix=${part.path}/>
        <${Place} key=${`${part.path} place`} part=${part} parts=${parts}/>`}
      ${!part && html`<${Answers}/>`}
    </section>
    <${Text} part=${part}/></div>`;
}
