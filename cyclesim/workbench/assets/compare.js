// @ts-check
// Two plants or more of the shelf side by side, for a year and through futures.

import { html, useEffect, useSignal } from "./vendor/preact.js";
import { shared } from "./cluster.js";
import { answers, ask, cancel, openShelf, plant, shelf } from "./state.js";
import { Picture, Progress, Told } from "./told.js";

const MOST = 5;

/** @param {{name: string}} given */
export function Compare({ name }) {
  const chosen = useSignal(/** @type {string[]} */ ([])), futures = useSignal(0), tuned = useSignal(false);
  useEffect(() => { if (!shelf.value) openShelf(); }, []);
  const answer = answers.value.compare, result = answer?.result;
  const others = (shelf.value?.plants || []).filter((one) => one.name !== name && !one.problem);
  const twice = (title) => (shelf.value?.plants || []).filter((one) => one.title === title).length > 1;
  const start = () => ask("compare", { ...shared(), with: chosen.value, futures: futures.value, tuned: tuned.value });
  const toggle = (one, on) => { chosen.value = on ? [...chosen.value, one].slice(0, MOST) : chosen.value.filter((c) => c !== one); };
  const busy = answer?.state === "asked" || answer?.state === "running";
  if (shelf.value && !others.length) return html`<p>There is no second plant in this folder that can be run: begin one on the shelf.</p>`;
  return html`<form class="asking" onSubmit=${(event) => { event.preventDefault(); start(); }}>
      <fieldset><legend>Set beside ${plant.value.title || name}</legend>${others.map((one) => html`
        <label class="tick" key=${one.name}><input type="checkbox" checked=${chosen.value.includes(one.name)}
          onChange=${(e) => toggle(one.name, e.target.checked)}/> <span dir="auto">${one.title || one.name}${
          twice(one.title) && ` (${one.name})`}</span></label>`)}</fieldset>
      <label>Futures to try <select onChange=${(e) => { futures.value = Number(e.target.value); }}>
        ${[0, 20, 50, 200].map((n) => html`<option key=${n} value=${n} selected=${n === futures.value}>${n || "none"}</option>`)}</select></label>
      <label class="tick"><input type="checkbox" checked=${tuned.value} onChange=${(e) => { tuned.value = e.target.checked; }}/>
        each with its best programme</label>
      <p class="note">A future is other weather, bathers, prices and ratings, the same for all plants: each takes a run of every plant.</p>
      <button type="submit" disabled=${busy || !chosen.value.length}>compare them</button></form>
    <${Progress} answer=${answer} version=${plant.value.version} stop=${() => cancel("compare")} again=${start}/>
    ${result && html`<${Picture} src=${result.figure} words="What each costs and how old its water gets; all of it stands in the tables below"/>
      <${Told} blocks=${result.page}/>`}`;
}
