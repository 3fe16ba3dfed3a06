// @ts-check
// A dozen questions about a plant that has just been begun: each is a field of its file, with a default and why.

import { html, useEffect } from "./vendor/preact.js";
import { Answers } from "./answers.js";
import { FieldRow, Problems } from "./form.js";
import { change, keepAnswered, plant } from "./state.js";
import { address } from "./views.js";

/**
 * What is asked, about which fields.
 * @type {{ask: string, why: string, fields: RegExp}[]}
 */
const QUESTIONS = [
  { ask: "What is the plant called?", why: "It stands on every paper that is handed over.", fields: /^title$/ },
  { ask: "Whose clock is on its wall?", why: "Clock changes and prices follow it.", fields: /^place\.time_zone$/ },
  { ask: "How warm is the place?", why: "Pipes and tub lose heat to it; any climate table of the town will do.",
    fields: /^place\.weather\.(mean|seasonal_swing|daily_swing)$/ },
  { ask: "How large is the tub?", why: "Its water is what the filter must pass.",
    fields: /^plant\.tub\.(water|dimensions\.\w+|surface)$/ },
  { ask: "How far is it from the pump room, along each pipe?", why: "Long pipes hold water that ages and cools.",
    fields: /^plant\.legs\.\w+\.length$/ },
  { ask: "How many jets does each leg feed?", why: "They share what the pump gives.", fields: /^plant\.legs\.\w+\.manifold\.jets$/ },
  { ask: "Which pump is it?", why: "Its curve says what the jets get. Without a diagram the two numbers of its plate will do.",
    fields: /^plant\.pumps\.\w+\.((low|high)\.)?(curve|max_head|max_flow|power)$/ },
  { ask: "What heats the water?", why: "Its output says how long the tub takes to warm up, and what the breaker must carry.",
    fields: /^plant\.heat_sources\.\w+\.output$/ },
  { ask: "How warm is the water kept?", why: "Each degree costs all year.", fields: /^schedule\.heating\.keep_at$/ },
  { ask: "What feeds it?", why: "Pump and heat together must stay below the breaker.", fields: /^supply\.(voltage|breaker)$/ },
  { ask: "What does electricity cost?", why: "Off the bill.", fields: /^supply\.tariff(\.otherwise|\.windows\.\d+\.(from|to|price))?$/ },
  { ask: "When do neighbours sleep?", why: "Loud runs in these hours become findings.", fields: /^schedule\.quiet_hours\.(from|to)$/ },
  { ask: "When do people bathe?", why: "Jets run then, and the cover is off.", fields: /^schedule\.bathing\.\d+\.(days|start|lasts)$/ },
];

/** Beside a curve: the two ways of giving a pump. */
function ByPlate({ path }) {
  const fields = plant.value.fields, at = (key) => fields.find((f) => f.path === `${path}.${key}`)?.text ?? null;
  const us = plant.value.units === "us";
  const plate = () => {
    const points = [...(at("curve") || "").matchAll(/\[\s*([^[\],]+?)\s*,\s*([^[\],]+?)\s*\]/g)];
    change([
      { path: `${path}.max_head`, text: points[0]?.[2] || (us ? "36 ft" : "11 m") },
      { path: `${path}.max_flow`, text: points.at(-1)?.[1] || (us ? "120 gpm" : "450 L/min") },
      { path: `${path}.curve`, text: null }], "pump given by its plate");
  };
  const curve = () => change([
    { path: `${path}.curve`, text: us ? "[[0 gpm, 36 ft], [60 gpm, 28 ft], [120 gpm, 8 ft]]"
      : "[[0 L/min, 11 m], [230 L/min, 8.5 m], [450 L/min, 2.5 m]]" },
    { path: `${path}.max_head`, text: null }, { path: `${path}.max_flow`, text: null }], "pump given by points");
  const called = path.split(".").slice(2).join(" ");
  return html`<div class="buttons">${at("curve") !== null
    ? html`<button type="button" onClick=${plate}>I have only the plate of ${called}</button>`
    : html`<button type="button" onClick=${curve}>I have the curve of ${called}</button>
      <p class="note">Write what the plate of ${called} says: its head at no flow, and its flow at no head. Until then
      the two ends of the old curve stand here, and the pump may be told weaker than it is.</p>`}</div>`;
}

function Question({ question, k }) {
  const { ask, why } = question;
  const found = plant.value.fields.filter((f) => question.fields.test(f.path) && f.text !== null
    && !["block", "blocks", "entries"].includes(f.kind));
  if (!found.length) return null;
  const id = `question-${k}`;
  const label = (f) => found.length > 1 ? f.path.split(".").slice(1).filter((step) => !/^\d+$/.test(step))
    .slice(-3).join(", ").replaceAll("_", " ") : f.label;
  const pumps = [...new Set(found.filter((f) => /\.(curve|max_head)$/.test(f.path)).map((f) => f.path.replace(/\.\w+$/, "")))];
  return html`<section class="question" aria-labelledby=${id}><h2 id=${id}>${ask}</h2><p class="note">${why}</p>
    ${found.map((f) => html`<${FieldRow} key=${f.path} field=${f} label=${label(f)}/>`)}
    ${pumps.map((path) => html`<${ByPlate} key=${path} path=${path}/>`)}</section>`;
}

export default function Start({ name }) {
  useEffect(() => { keepAnswered(["fortnight", "year"]); }, []);
  return html`<h1>Questions about ${plant.value.title || name}</h1>
    <p>Each begins with an invented answer that runs. Change what is otherwise with you; all else can be changed later
      in <a href=${address(name, "plant")}>Plant</a> and <a href=${address(name, "day")}>Day and week</a>.</p>
    <div class="bench"><div>${QUESTIONS.map((question, k) => html`<${Question} key=${k} question=${question} k=${k}/>`)}</div>
    <section class="side" aria-labelledby="first-title"><h2 id="first-title">What it comes to</h2><${Problems}/><${Answers}/></section></div>`;
}
