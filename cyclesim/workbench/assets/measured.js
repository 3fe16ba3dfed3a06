// @ts-check
// What was measured at the finished plant: readings as they are taken, what explains them, what to read next.

import { html, useEffect, useSignal } from "./vendor/preact.js";
import { Refused, get, ofPlant, post } from "./api.js";
import { answers, ask, cancel, change, fail, keepAnswered, plant, tell } from "./state.js";
import { Picture, Progress, Told } from "./told.js";

const today = () => {
  const now = new Date(), two = (n) => String(n).padStart(2, "0");
  return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
};

/** @param {string} key */
const label = (key) => ({ with: "pumps that run", at: "where", reads: "it reads", of: "of what", give_or_take: "give or take" })[key]
  || key.replaceAll("_", " ");

/** @param {{field: any, value: any, problem: string, tolerance: string, put: (value: any) => void}} given */
function Field({ field, value, problem, tolerance, put }) {
  const id = `reading-${field.key}`, told = `${id}-told`;
  const hint = field.key === "give_or_take" ? `${field.explain} Left out: ${tolerance}.` : field.explain;
  const shared = { id, "aria-describedby": told, "aria-invalid": !!problem, required: field.required };
  const chosen = Array.isArray(value) ? value : [];
  return html`<div class=${`field${problem ? " faulty" : ""}`}>
    ${field.several ? html`<fieldset aria-describedby=${told}><legend>${label(field.key)}</legend>${field.choices.map((one) => html`
        <label class="tick" key=${one}><input type="checkbox" checked=${chosen.includes(one)} onChange=${(e) => put(e.target.checked
          ? [...chosen, one] : chosen.filter((c) => c !== one))}/> ${one}</label>`)}</fieldset>`
      : html`<label for=${id}>${label(field.key)}</label>
        ${field.choices.length ? html`<select ...${shared} onChange=${(e) => put(e.target.value)}>
            <option value="" selected=${!value}>${field.required ? "choose one" : "leave it out"}</option>
            ${field.choices.map((one) => html`<option key=${one} value=${one} selected=${one === value}>${one.replace(/[{}]/g, "").replaceAll("_", " ")}</option>`)}</select>`
          : html`<input ...${shared} value=${value || ""} autocomplete="off" inputmode=${field.key === "jet" ? "numeric" : "text"}
              onChange=${(e) => put(e.target.value)}/>`}`}
    <div id=${told}>${problem && html`<p class="danger" role="alert">${problem}</p>`}<p class="note">${hint}</p></div></div>`;
}

/** @param {{view: any, file: string, taken: (view: any) => void}} given */
function Form({ view, file, taken }) {
  const kind = useSignal(view.kinds[0].kind), values = useSignal(/** @type {Record<string, any>} */ ({}));
  const date = useSignal(today()), title = useSignal(""), problems = useSignal(/** @type {any[]} */ ([]));
  const row = view.kinds.find((one) => one.kind === kind.value) || view.kinds[0];
  const save = async (event) => {
    event.preventDefault();
    const own = row.fields.map((f) => [f.key, values.value[f.key]]).filter(([, v]) => Array.isArray(v) ? v.length : v);
    const reading = { kind: row.kind, ...Object.fromEntries(own) };
    try {
      const said = await post(ofPlant(plant.value.name, "/readings"),
        file ? { file, reading } : { date: date.value, title: title.value, reading });
      problems.value = [];
      const keeps = ["with", "valves"].map((key) => [key, values.value[key]]).filter(([, v]) => v);
      values.value = Object.fromEntries(keeps); // the next reading is mostly taken with the same pumps
      tell(`The reading is kept in ${said.file}.`);
      taken(said);
    } catch (error) {
      if (error instanceof Refused) problems.value = error.body.problems || [{ path: "", error: error.message }];
      else fail(error);
    }
  };
  const problemOf = (key) => problems.value.filter((p) => (p.path || "").split(".")[2] === key).map((p) => p.error).join("; ");
  const keys = row.fields.map((f) => f.key), others = problems.value.filter((p) => !keys.includes((p.path || "").split(".")[2]));
  return html`<form class="reading" onSubmit=${save}>
    ${!file && html`<div class="field"><label for="reading-date">date</label><input id="reading-date" type="date" required value=${date.value}
        onChange=${(e) => { date.value = e.target.value; }}/></div>
      <div class="field"><label for="reading-title">in a few words, if you like</label><input id="reading-title" value=${title.value} maxlength="200"
        onChange=${(e) => { title.value = e.target.value; }}/></div>`}
    <div class="field"><label for="reading-kind">read by</label><select id="reading-kind" onChange=${(e) => { kind.value = e.target.value; problems.value = []; }}>
      ${view.kinds.map((one) => html`<option key=${one.kind} value=${one.kind} selected=${one.kind === kind.value}>${one.label}</option>`)}</select>
      <p class="note">${row.explain} Usually off by ${row.tolerance} (${row.source}).</p></div>
    ${row.fields.map((field) => html`<${Field} key=${`${row.kind} ${field.key}`} field=${field} value=${values.value[field.key]} tolerance=${row.tolerance}
      problem=${problemOf(field.key)} put=${(v) => { values.value = { ...values.value, [field.key]: v }; }}/>`)}
    ${others.map((p) => html`<p class="danger" role="alert">${p.error}</p>`)}
    <button type="submit">keep this reading</button></form>`;
}

/** @param {{file: any, taken: (view: any) => void}} given */
function Readings({ file, taken }) {
  const sure = useSignal(-1);
  const remove = async (place) => {
    try {
      taken(await post(ofPlant(plant.value.name, "/readings"), { file: file.file, place, reading: null }));
      tell("The reading is taken out.");
      sure.value = -1;
    } catch (error) { fail(error); }
  };
  return html`${file.problems.length > 0 && html`<p class="danger">This file does not fit the plant: ${file.problems[0].error}</p>`}
    <ul class="taken">${file.readings.map((one, k) => html`<li key=${one.text}><span>${one.words || "reading"}<br/>
      <code>${one.text.replace(/^\{|\}$/g, "")}</code></span>
      <button type="button" aria-label=${`${sure.value === k ? "take out for good" : "take out"}: ${one.words || one.text}`}
        onClick=${() => { if (sure.value === k) remove(k); else sure.value = k; }}>${sure.value === k ? "for good?" : "take out"}</button></li>`)}</ul>`;
}

/** What the readings come to. @param {{file: string, others: string[]}} given others: of other days at this plant */
function Explained({ file, others }) {
  const drift = useSignal(false), files = drift.value ? [...others, file] : [file];
  const answer = answers.value.measured, result = answer?.result, { version } = plant.value;
  const start = () => ask("measured", { readings: files });
  const busy = answer?.state === "asked" || answer?.state === "running";
  const corrected = Object.entries(result?.values.corrected || {});
  const use = () => change(corrected.map(([path, text]) => ({ path, text })), `as measured ${result.values.date}`);
  return html`${others.length > 0 && html`<label class="tick"><input type="checkbox" checked=${drift.value}
      onChange=${(e) => { drift.value = e.target.checked; }}/> with the readings of other days, to see how the plant changes</label>`}
    <p><button type="button" disabled=${busy} onClick=${start}>say what explains them</button></p>
    <${Progress} answer=${answer} version=${version} stop=${() => cancel("measured")} again=${start}/>
    ${result && html`<${Picture} src=${result.figure} words="Each reading beside what the file predicts; all of it stands in the table below"/>
      <${Told} blocks=${result.page}/>
      ${corrected.length > 0 && html`<p class="buttons"><button type="button" disabled=${answer.of !== version} onClick=${use}>put the
        likeliest cause into the file: ${corrected.map(([path, text]) => `${path}: ${text}`).join("; ")}</button></p>`}`}`;
}

export default function Measured({ name }) {
  const view = useSignal(/** @type {any} */ (null)), chosen = useSignal(""), open = plant.value;
  const load = (first) => get(ofPlant(name, "/readings")).then((said) => {
    view.value = said;
    if (first) chosen.value = said.files.find((f) => !f.problems.length)?.file || "";
  }).catch(fail);
  useEffect(() => { keepAnswered([]); if (!open.problems.length) load(!view.value); }, [open.version]);
  if (open.problems.length) return html`<h1 class="unseen">Measured: ${open.title || name}</h1>
    <p class="danger">The file has faults: mend them first, in the view of the plant.</p>`;
  if (!view.value) return html`<p class="wait">Reading what was measured.</p>`;
  const taken = (said) => { view.value = said; if (said.file) chosen.value = said.file; };
  const file = view.value.files.find((f) => f.file === chosen.value);
  const others = view.value.files.filter((f) => f !== file && !f.problems.length).map((f) => f.file);
  return html`<h1 class="unseen">Measured: ${open.title || name}</h1>
    <div class="measuring"><section aria-labelledby="readings-title"><h2 id="readings-title">Readings</h2>
      <p class="pick"><label for="readings-file">kept in</label><select id="readings-file" onChange=${(e) => { chosen.value = e.target.value; }}>
        <option value="" selected=${!file}>a new file</option>${view.value.files.map((f) => html`<option key=${f.file} value=${f.file}
          selected=${f.file === chosen.value}>${f.file}${f.title ? `: ${f.title}` : ""}${f.problems.length ? " (of another plant?)" : ""}</option>`)}</select></p>
      ${file && html`<${Readings} file=${file} taken=${taken}/>`}
      <p class="note">A data logger's CSV is named in the file of readings: logs: [{file: may.csv}].</p>
      <h3>${file ? "One more reading" : "The first reading"}</h3>
      <${Form} key=${chosen.value} view=${view.value} file=${chosen.value} taken=${taken}/>
    </section>
    <section aria-labelledby="explained-title"><h2 id="explained-title">What the readings say</h2>
      ${file ? html`<${Explained} key=${file.file} file=${file.file} others=${others}/>` : html`<p>Take a reading first.</p>`}
    </section></div>`;
}
