// @ts-check
// The shell: which view of which plant is shown, undo and redo, and what everybody must be told.

import { effect, html, render, signal, useEffect, useErrorBoundary, useRef, useSignal } from "./vendor/preact.js";
import { Shelf } from "./shelf.js";
import * as state from "./state.js";
import { VIEWS, address } from "./views.js";

const { answers, conflict, plant, shelf, told, trouble } = state;
const place = signal(read());

/** What the address asks for: nothing is the shelf. */
function read() {
  const [name = "", view = "plant", about = ""] = location.hash.replace(/^#\/?/, "").split("/");
  return { name: decodeURIComponent(name), view, about: decodeURIComponent(about) };
}

/** A workbench that was started for one file begins there. */
const begun = effect(() => {
  if (!shelf.value) return;
  if (!location.hash && shelf.value.opens) location.replace(address(shelf.value.opens));
  queueMicrotask(() => begun());
});

window.addEventListener("hashchange", () => { place.value = read(); });

document.addEventListener("keydown", (event) => {
  const at = /** @type {HTMLElement} */ (event.composedPath()[0]);
  if (!(event.ctrlKey || event.metaKey) || event.altKey || !plant.value) return;
  if (at.matches("input, textarea, select") || at.isContentEditable) return; // there the browser undoes what is being typed
  const key = event.key.toLowerCase();
  if (key === "z") (event.shiftKey ? state.redo : state.undo)();
  else if (key === "y") state.redo();
  else return;
  event.preventDefault();
});

const WORDS = {
  fortnight: "the worst fortnight", year: "a year", verify: "every order of events", tune: "better times",
  compare: "plants side by side", size: "a size", savings: "what would save", measured: "the readings",
  duty: "the duties", mend: "changes that may mend", page: "the page",
};

function Running() {
  const busy = Object.entries(answers.value).filter(([, a]) => a.state === "asked" || a.state === "running");
  return html`<ul class="running" aria-label="Being worked out">${busy.map(([what, a]) => html`
    <li key=${what}><label><span>${WORDS[what] || what}</span>
      <progress max="1" value=${a.share || null}></progress></label>
      ${a.left_s && a.left_s > 1 ? html`<span>${Math.round(a.left_s)} s left</span>` : ""}
      <button type="button" onClick=${() => state.cancel(what)}>stop</button></li>`)}</ul>`;
}

function Conflict() {
  const box = useRef(null);
  const open = conflict.value;
  useEffect(() => { if (open) box.current?.showModal(); }, [open]);
  if (!open) return null;
  return html`<dialog ref=${box} aria-labelledby="conflict-title" onCancel=${() => state.settle(false)}>
    <h2 id="conflict-title">The file was changed outside meanwhile</h2>
    <p>${open.error}</p>
    ${open.differs?.length ? html`<table class="differs"><thead><tr><th scope="col">where</th>
      <th scope="col">in the file now</th><th scope="col">yours</th></tr></thead><tbody>
      ${open.differs.map((d) => html`<tr><th scope="row">${d.path}</th><td>${d.is ?? "nothing"}</td>
        <td>${d.wanted ?? "nothing"}</td></tr>`)}</tbody></table>` : ""}
    <div class="buttons">
      <button type="button" onClick=${() => state.settle(false)}>leave the file as it is now</button>
      <button type="button" onClick=${() => state.settle(true)}>write mine over it</button>
    </div></dialog>`;
}

function Others() {
  const box = useRef(null);
  const open = state.others.value;
  useEffect(() => { if (open) box.current?.showModal(); }, [open]);
  if (!open) return null;
  return html`<dialog ref=${box} aria-labelledby="others-title" onCancel=${() => state.settleOthers(false)}>
    <h2 id="others-title">Another window has changed this plant</h2>
    <p>${open.error}</p>
    <div class="buttons">
      <button type="button" onClick=${() => state.settleOthers(false)}>leave it</button>
      <button type="button" onClick=${() => state.settleOthers(true)}>${open.which} it all the same</button>
    </div></dialog>`;
}

function Header({ name, view }) {
  const open = plant.value, views = useRef(/** @type {HTMLElement | null} */ (null));
  useEffect(() => { // on a phone the row of views is wider than the screen
    const row = views.current, here = /** @type {HTMLElement | null} */ (row?.querySelector("[aria-current]"));
    if (row && here) row.scrollLeft += here.getBoundingClientRect().left - row.getBoundingClientRect().left - row.clientWidth / 3;
  }, [name, view]);
  return html`<header class="bar">
    <a class="home" href="#/" aria-current=${name ? null : "page"}>Shelf</a>
    ${name && html`
      <p class="title" dir="auto">${open ? open.title || open.name : name}</p>
      <nav aria-label="Views of this plant"><ul ref=${views}>${VIEWS.map((v) => html`
        <li key=${v.id}><a href=${address(name, v.id)} aria-current=${v.id === view ? "page" : null}
          >${v.title}</a></li>`)}</ul></nav>
      <div class="buttons" role="group" aria-label="Changes">
        <button type="button" onClick=${state.undo} aria-keyshortcuts="Control+Z"
          disabled=${!open?.can.undo}>undo</button>
        <button type="button" onClick=${state.redo} aria-keyshortcuts="Control+Shift+Z"
          disabled=${!open?.can.redo}>redo</button>
      </div>`}
    <${Running}/>
  </header>`;
}

function Opened({ name, view, about }) {
  const shown = useSignal(/** @type {any} */ (null));
  const row = VIEWS.find((v) => v.id === view) || VIEWS[1];
  useEffect(() => { state.openPlant(name); }, [name]);
  useEffect(() => {
    shown.value = null;
    row.load().then((module) => { shown.value = { id: row.id, View: module.default }; },
      () => { trouble.value = "This view cannot be loaded: load the page again."; });
  }, [row.id]);
  if (!plant.value || plant.value.name !== name || shown.value?.id !== row.id)
    return html`<p class="wait">${trouble.value ? "" : `Opening ${name}.`}</p>`;
  const { View } = shown.value;
  return html`<${View} name=${name} about=${about}/>`;
}

function App() {
  const main = useRef(null);
  const first = useRef(true);
  const { name, view, about } = place.value;
  const [broken, again] = useErrorBoundary();
  const title = name ? plant.value?.title || name : "Shelf";
  useEffect(() => {
    document.title = `${title} - cyclesim workbench`;
  }, [title]);
  useEffect(() => {
    if (!first.current) main.current?.focus();
    first.current = false;
    if (!name) state.closePlant();
  }, [name, view]);
  return html`
    <a class="skip" href="#main" onClick=${(e) => { e.preventDefault(); main.current.focus(); }}
      >To the view</a>
    <${Header} name=${name} view=${view}/>
    ${trouble.value && html`<p class="trouble" role="alert">${trouble.value}</p>`}
    <main id="main" tabindex="-1" ref=${main}>
      ${broken ? html`<div role="alert"><p>This view met a fault of cyclesim: ${broken.message}</p>
          <button type="button" onClick=${again}>show it again</button></div>`
        : name ? html`<${Opened} name=${name} view=${view} about=${about}/>` : html`<${Shelf}/>`}
    </main>
    <footer><p>It advises; it is no safety controller. Local codes and licensed people decide.</p>
      <p class="told" role="status">${told.value}</p></footer>
    <${Conflict}/><${Others}/>`;
}

const root = /** @type {Element} */ (document.getElementById("app"));
root.replaceChildren();
render(html`<${App}/>`, root);
