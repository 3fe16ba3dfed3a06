// @ts-check
// The plants of the folder as cards, and how a new one begins.

import { html, signal, useEffect, useRef, useSignal } from "./vendor/preact.js";
import { get, leave, listen, ofPlant, post, windowed } from "./api.js";
import { inline } from "./drawing.js";
import { fail, openShelf, shelf, tell } from "./state.js";
import { address } from "./views.js";

/** Cards by the plant's name, as they come. */
const cards = signal(/** @type {Record<string, any>} */ ({}));

/** @param {string} name @param {any} card */
const put = (name, card) => { cards.value = { ...cards.value, [name]: card }; };

/**
 * Ask for one card after another, so that a plant that is opened meanwhile does not wait for them.
 * @param {string[]} names
 * @returns {() => void} asks for no more
 */
function ask(names) {
  let stopped = false, stop = () => {};
  const one = async (name) => {
    try {
      const said = await get(windowed(ofPlant(name, "/card")));
      put(name, said);
      if (!said.job) return;
      await new Promise((over) => {
        const end = listen(`api/jobs/${said.job}/events`, {
          progress: ({ done, of }) => put(name, { ...said, done, of }),
        result: (result) => { put(name, result); stop(); },
          problem: ({ error }) => { put(name, { verdict: error, tone: "danger" }); stop(); },
          cancelled: () => stop(),
        });
        stop = () => { end(); over(undefined); stop = () => {}; };
      });
      if (stopped && !cards.value[name].verdict) leave(said.job).catch(fail);
    } catch (error) {
      put(name, { verdict: error instanceof Error ? error.message : "", tone: "danger" });
    }
  };
  (async () => { for (const name of names) if (!stopped) await one(name); })();
  return () => { stopped = true; stop(); };
}

/** What a plant waits for. @param {any} said */
const waiting = ({ job, done, of }) => !job ? "It waits for its turn."
  : of ? `A year is being worked out: day ${done} of ${of}.` : "A year is being worked out.";

function Card({ plant }) {
  const box = useRef(null);
  const said = cards.value[plant.name] || {};
  useEffect(() => { box.current?.replaceChildren(...inline(said.drawing?.svg)); }, [said.drawing?.svg]);
  return html`<li class="card">
    <a href=${address(plant.name)}><span class="name" dir="auto">${plant.title || plant.name}</span></a>
    <p class="note">${plant.name}</p>
    <div class="picture" aria-hidden="true" ref=${box}></div>
    ${plant.problem ? html`<p class="danger">It cannot be run yet: ${plant.problem}</p>` : html`
      <p class=${`verdict ${said.tone || "wear"}`}>${said.verdict || waiting(said)}</p>
      ${said.oldest_water && html`<p>Oldest water: ${said.oldest_water}</p>`}
      ${said.money && html`<p>Money: ${said.money}</p>`}`}
  </li>`;
}

/** What the kinds of starters are, in words. */
const LIKE = {
  boiler: "a gas boiler heats it", "heat-pump": "a heat pump heats it", solar: "solar collectors help",
  "two-pumps": "a circulator and a pump for the jets", us: "all in US units and pipe sizes",
};

/** A dialog with a form; what it is given back is posted, then the new plant is opened. */
function New({ box }) {
  const problem = useSignal("");
  const { plants, like } = shelf.value;
  const make = async (event) => {
    event.preventDefault();
    const said = new FormData(event.target), [how, what] = String(said.get("from")).split("=");
    try {
      const { name } = await post("api/shelf/new", { name: said.get("name"), from: how ? { [how]: what } : {} });
      box.current.close();
      tell(`${name} is a new file in this folder.`);
      location.hash = address(name, "start");
    } catch (error) {
      if (!(error instanceof Error)) throw error;
      problem.value = error.message;
    }
  };
  return html`<dialog ref=${box} aria-labelledby="new-title"><form onSubmit=${make}>
    <h2 id="new-title">A new plant</h2>
    <p><label for="new-name">Its name: it becomes a file of this folder</label>
      <input id="new-name" name="name" required maxlength="60" autocomplete="off" placeholder="garden-tub"
        aria-invalid=${!!problem.value} aria-describedby="new-problem"/></p>
    <p id="new-problem" class="danger" role="alert">${problem.value}</p>
    <p><label for="new-from">What it begins as</label>
      <select id="new-from" name="from">
        <optgroup label="An invented plant">
          <option value="">one two-speed pump, electric heat</option>
          ${like.map((one) => html`<option key=${one} value=${`like=${one}`}>${LIKE[one] || one}</option>`)}
        </optgroup>
        ${plants.length > 0 && html`<optgroup label="A copy of a plant of this folder">
          ${plants.map((one) => html`<option key=${one.name} value=${`copy=${one.name}`}>${one.title}</option>`)}</optgroup>`}
      </select></p>
    <div class="buttons"><button type="submit">make it, then ask me about it</button>
      <button type="button" onClick=${() => box.current.close()}>not now</button></div>
  </form></dialog>`;
}

export function Shelf() {
  const box = useRef(null);
  useEffect(() => { openShelf(); }, []);
  const left = shelf.value?.left || 0;
  const runnable = left ? [] : (shelf.value?.plants || []).filter((one) => !one.problem).map((one) => one.name);
  useEffect(() => ask(runnable), [runnable.join("/")]);
  if (!shelf.value) return html`<p class="wait">Reading the folder.</p>`;
  const { folder, plants } = shelf.value, ran = runnable.filter((name) => cards.value[name]?.verdict).length;
  const far = left ? `Checked ${plants.length} of ${plants.length + left} files.`
    : ran < runnable.length ? `Run through a year: ${ran} of ${runnable.length} plants.` : "";
  return html`
    <h1>Plants of ${folder}</h1>
    <div class="buttons"><button type="button" onClick=${() => box.current.showModal()}>a new plant</button></div>
    <p class="note" role="status">${far}</p>
    ${plants.length ? html`<ul class="cards">${plants.map((one) => html`<${Card} key=${one.name} plant=${one}/>`)}</ul>`
      : html`<p>There is no plant in this folder yet. Begin with a new one.</p>`}
    <${New} box=${box}/>`;
}
