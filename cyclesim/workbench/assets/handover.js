// @ts-check
// What is handed over: papers, page, calendar and drawing as files to keep.

import { html, useEffect, useSignal } from "./vendor/preact.js";
import { ofPlant } from "./api.js";
import { answers, ask, cancel, fail, keepAnswered, plant, tell } from "./state.js";
import { Progress } from "./told.js";

const PAPERS = [
  ["client", "for the client: a page, and the plant drawn"], ["electrician", "for the electrician: circuits, interlocks, commissioning tests"],
  ["plumber", "for the plumber: pipes, flows, gauge pressures"], ["owner", "for the owner: what runs when, signs and causes"],
  ["all", "all of them in one file"],
];

/** Let the browser keep a file. @param {Blob} data @param {string} name */
function keep(data, name) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(data);
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
}

/** @param {{path: string, children: any}} given a file that the server makes when it is asked for */
function Download({ path, children }) {
  const busy = useSignal(false);
  const load = async () => {
    busy.value = true;
    try {
      const answer = await fetch(ofPlant(plant.value.name, `/handover/${path}`), { credentials: "same-origin" });
      if (!answer.ok) throw new Error((await answer.json()).error);
      const named = /filename="([^"]+)"/.exec(answer.headers.get("content-disposition") || "");
      const name = named ? named[1] : path.split("/").pop() || path;
      keep(await answer.blob(), name);
      tell(`${name} is in your downloads.`);
    } catch (error) {
      fail(error instanceof TypeError ? new Error("The workbench does not answer.") : error);
    }
    busy.value = false;
  };
  return html`<button type="button" disabled=${busy.value} onClick=${load}>${busy.value ? "being made" : children}</button>`;
}

export default function HandOver({ name }) {
  const digits = useSignal("");
  useEffect(() => {
    keepAnswered([]);
    fetch(ofPlant(name, "/handover/fingerprint"), { credentials: "same-origin" }).then((answer) => answer.ok ? answer.text() : "")
      .then((text) => { digits.value = text.trim(); }, fail);
  }, [plant.value.version]);
  const open = plant.value, answer = answers.value.page, stem = name.replace(/\.ya?ml$/, "");
  const busy = answer?.state === "asked" || answer?.state === "running";
  const make = async () => {
    await ask("page");
    const made = answers.value.page;
    if (made.state === "done") {
      keep(new Blob([made.result.html], { type: "text/html" }), `${stem}.html`);
      tell(`${stem}.html is in your downloads.`);
    }
  };
  if (open.problems.length) return html`<h1 class="unseen">Hand over: ${open.title || name}</h1>
    <p class="danger">The file has faults: mend them first, in the view of the plant.</p>`;
  return html`<h1 class="unseen">Hand over: ${open.title || name}</h1>
    ${digits.value && html`<p>Fingerprint of the file as it is now: <strong>${digits.value}</strong>. Papers carry it, so that one can see
      whether they belong to this file.</p>`}
    <h2>Papers, as PDF</h2>
    <p class="note">The engine runs every commissioning test on the plant as drawn and with its barrier missing: that takes a while.</p>
    <ul class="downloads">${PAPERS.map(([id, text]) => html`<li key=${id}><${Download} path=${`papers/${id}.pdf`}>${text}</${Download}></li>`)}</ul>
    <h2>One page for a browser</h2>
    <p class="note">A year to zoom into, every single fault, what would save most, every input. It needs no network and no workbench.</p>
    <p><button type="button" disabled=${busy} onClick=${make}>make the page</button></p>
    <${Progress} answer=${answer} version=${open.version} stop=${() => cancel("page")} again=${make}/>
    <h2>Calendar and pictures</h2>
    <ul class="downloads"><li><${Download} path="calendar.ics">runs and chores as a calendar</${Download}></li>
      <li><${Download} path="drawing.svg">the plant drawn, as SVG</${Download}></li>
      <li><${Download} path="week.svg">the week with the worst finding, or the first, as SVG</${Download}></li></ul>
    <p class="note">Papers are advice: work on circuits is for a licensed electrician, suction covers and mains for a licensed plumber, by
      the code of the place.</p>`;
}
