// @ts-check
// What all views share: the shelf, the open plant, its answers, and what is kept to compare with.
// A view reads these signals; it changes the file by change(), undo() and redo() alone.

import { batch, signal } from "./vendor/preact.js";
import { Gone, Refused, get, leave, leaveAtOnce, listen, ofPlant, post, windowed } from "./api.js";

/**
 * @typedef {object} Answer what was asked of the plant, by the word that asks for it
 * @property {"asked" | "running" | "done" | "failed"} state
 * @property {string} [does] what is being done
 * @property {number} [share] how far it is, of 1
 * @property {number} [left_s] how long it will take yet
 * @property {any} [result] the last result; of an older version while a newer one is awaited
 * @property {string} [of] the version that the result is of
 * @property {string} [problem]
 * @property {string} [job]
 * @property {any} [options] what was asked along with the result
 * @property {any} [asking] what is asked along with what is awaited
 */

export const shelf = signal(/** @type {any} */ (null));
export const plant = signal(/** @type {any} */ (null));
export const answers = signal(/** @type {Record<string, Answer>} */ ({}));
/** What the plant was when it was opened or last kept: its schedule and its answers. */
export const kept = signal(/** @type {any} */ (null));
/** Changes that met others made outside meanwhile: nothing is written until somebody decides. */
export const conflict = signal(/** @type {any} */ (null));
/** What another window has done since this one opened the plant, and would be turned back by this one. */
export const others = signal(/** @type {{which: "undo" | "redo", error: string} | null} */ (null));
/** A sentence for everybody, also for who listens. */
export const told = signal("");
/** A sentence that stays until it is no longer true. */
export const trouble = signal("");
/** The element that is picked in the drawing. */
export const picked = signal("");

/** @param {string} sentence */
export function tell(sentence) {
  told.value = told.value === sentence ? `${sentence}\u00a0` : sentence;
}

/** @param {unknown} error */
export function fail(error) {
  if (error instanceof Gone) trouble.value = error.message;
  else if (error instanceof Error) tell(error.message);
  else throw error;
}

// -- the shelf and the open plant ---------------------------------------------------------------------------

/** Read the folder part by part; a shelf that was whole stays in sight until it is read again. */
export async function openShelf() {
  try {
    let plants = [], left = 1;
    while (left > 0) {
      const part = await get(`api/shelf?after=${encodeURIComponent(plants.at(-1)?.name || "")}`);
      plants = [...plants, ...part.plants];
      left = part.left;
      if (!left || !shelf.value || shelf.value.left) shelf.value = { ...part, plants };
    }
  } catch (error) { fail(error); }
}

let unwatch = () => {};
let opening = "";
/** When the last thing was done to the plant as it was opened: what others do later is not taken back unasked. */
let since = "";
/** @type {string[]} */
let wanted = [];

/** @param {string} name */
export async function openPlant(name) {
  opening = name;
  if (plant.value && plant.value.name === name) return;
  closePlant();
  try {
    const now = await get(ofPlant(name));
    if (opening !== name) return; // another one was opened meanwhile
    since = now.last;
    take(now);
    watch();
  } catch (error) { fail(error); }
}

/** Follow what others do to the file; a window that nobody sees does not, as a browser keeps few connections. */
function watch() {
  unwatch();
  unwatch = () => {};
  if (!plant.value || document.hidden) return;
  unwatch = listen(ofPlant(plant.value.name, "/watch"), {
    version: ({ version }) => writing.then(() => { if (plant.value && plant.value.version !== version) reread(); }),
    gone: ({ error }) => { trouble.value = error; },
  }, (there) => { trouble.value = there ? "" : new Gone().message; });
}
document.addEventListener("visibilitychange", watch);

export function closePlant() {
  unwatch();
  unwatch = () => {};
  worst = "";
  for (const what of Object.keys(answers.value)) cancel(what);
  batch(() => {
    plant.value = null;
    answers.value = {};
    kept.value = null;
    picked.value = "";
    conflict.value = null;
    others.value = null;
    told.value = "";
  });
}

async function reread() {
  const before = plant.value;
  if (!before) return;
  try {
    const now = await get(ofPlant(before.name));
    if (plant.value && plant.value.name === now.name && plant.value.version !== now.version) {
      take(now);
      tell("The file was changed outside the workbench: what you see is its new text.");
    }
  } catch (error) { fail(error); }
}

/** @param {any} now */
function take(now) {
  batch(() => {
    plant.value = now;
    trouble.value = "";
  });
  askWanted();
}

// -- changes ------------------------------------------------------------------------------------------------

let writing = Promise.resolve();

/**
 * Write new texts at paths of the file, one request after another.
 * @param {{path: string, text: string | null}[]} changes text as the file has it; null takes the key out
 * @param {string} why a few words for the journal
 */
export const change = (changes, why) => queued(() => send(changes, why));

/** One request that writes after another. @template T @param {() => Promise<T>} does @returns {Promise<T>} */
function queued(does) {
  const next = writing.then(does);
  writing = next.then(() => {}, () => {});
  return next;
}

/** @param {{path: string, text: string | null}[]} changes @param {string} why */
async function send(changes, why) {
  const { name, version } = plant.value;
  try {
    take(await post(windowed(ofPlant(name, "/edit")), { version, changes, why }));
    tell(plant.value.problems.length ? `${why}: see what is told at the field.` : `${why}.`);
    return true;
  } catch (error) {
    if (error instanceof Refused && error.status === 409) conflict.value = { changes, why, ...error.body };
    else fail(error);
    return false;
  }
}

/**
 * Put another text into the file, as something that was found for a version of it has it.
 * @param {string} text @param {string} version @param {string} why
 */
export const put = (text, version, why) => queued(async () => {
  try {
    take(await post(windowed(ofPlant(plant.value.name, "/put")), { version, text, why }));
    tell(`${why}.`);
    return true;
  } catch (error) {
    fail(error);
    return false;
  }
});

/** @param {boolean} mine whether my changes are put over what the file has now */
export async function settle(mine) {
  const { changes, why } = conflict.value;
  conflict.value = null;
  try {
    take(await get(ofPlant(plant.value.name)));
    if (mine) await change(changes, why);
  } catch (error) { fail(error); }
}

/** @param {"undo" | "redo"} which @param {boolean} [anyway] also what another window did meanwhile */
async function step(which, anyway = false) {
  const { name, version } = plant.value;
  try {
    take(await post(windowed(ofPlant(name, `/${which}`)), anyway ? { version } : { version, since }));
    tell(which === "undo" ? "Undone." : "Done again.");
  } catch (error) {
    if (error instanceof Refused && error.body.others) others.value = { which, error: error.message };
    else fail(error);
  }
}
/** @param {boolean} anyway whether what another window did is turned back */
export const settleOthers = (anyway) => {
  const asked = others.value;
  others.value = null;
  if (asked && anyway) queued(() => step(asked.which, true));
};
export const undo = () => queued(() => step("undo"));
export const redo = () => queued(() => step("redo"));

// -- answers ------------------------------------------------------------------------------------------------

/** First day of the fortnight with the worst finding, as the last year's run told it. */
let worst = "";
/** Which round of questions is the current one. */
let round = 0;

/**
 * Say what is to be answered anew whenever the file changes, in this order; ask now for what is not there.
 * @param {string[]} whats
 */
export function keepAnswered(whats) {
  wanted = whats;
  if (plant.value) askWanted();
}

/** Ask for one after the other, so that the quick answer comes first. */
async function askWanted() {
  const mine = ++round;
  // a year's run tells which fortnight is the worst
  const order = worst || !wanted.includes("year") ? wanted : ["year", ...wanted.filter((what) => what !== "year")];
  for (const what of order) {
    const there = answers.value[what];
    if (there?.state === "done" && there.of === plant.value?.version) continue;
    await ask(what, what === "fortnight" && worst ? { from: worst } : {});
    if (mine !== round || !plant.value) return;
  }
}

/** @type {Record<string, () => void>} */
const listening = {};

/** @param {string} what @param {Partial<Answer>} parts */
function note(what, parts) {
  answers.value = { ...answers.value, [what]: { ...answers.value[what], ...parts } };
}

/**
 * Ask for a run or a search; a newer question of a kind ends the older one of this window. Resolves when it is over.
 * @param {string} what
 * @param {object} [options]
 */
export async function ask(what, options = {}) {
  const { name, version, problems } = plant.value;
  listening[what]?.();
  if (problems.length) return note(what, { state: "failed", problem: "The file has faults: mend them first." });
  note(what, { state: "asked", share: undefined, left_s: undefined, problem: undefined, job: undefined, asking: options });
  try {
    const { job } = await post(windowed(ofPlant(name, "/ask")), { version, what, options });
    if (plant.value?.name !== name) return;
    note(what, { job });
    await new Promise((over) => {
      const end = listen(`api/jobs/${job}/events`, {
        progress: ({ does, done, of, left_s }) =>
          note(what, { state: "running", does, share: of ? done / of : undefined, left_s }),
        result: (result) => { note(what, { state: "done", result, of: version, options }); ended(); },
        problem: ({ error }) => { note(what, { state: "failed", problem: error }); ended(); },
        cancelled: () => { note(what, { state: "failed", problem: "Stopped." }); ended(); },
      });
      const ended = () => { end(); delete listening[what]; over(undefined); };
      listening[what] = () => { end(); delete listening[what]; over(undefined); };
    });
    if (answers.value[what]?.of !== version) return;
    if (what === "year") worst = answers.value.year.result.worst_from || worst;
    remember(what);
  } catch (error) {
    if (error instanceof Refused && error.status === 409) return reread(); // asked of an older text
    note(what, { state: "failed", problem: error instanceof Error ? error.message : "" });
    fail(error);
  }
}

/** @param {string} what */
export async function cancel(what) {
  listening[what]?.();
  delete listening[what];
  const { job, state } = answers.value[what] || {};
  if (!job || (state !== "asked" && state !== "running")) return;
  note(what, { state: "failed", problem: "Stopped." });
  try {
    await leave(job);
  } catch (error) { fail(error); }
}

addEventListener("pagehide", () => {
  for (const { job, state } of Object.values(answers.value))
    if (job && (state === "asked" || state === "running")) leaveAtOnce(job);
});

// -- what is kept to compare with -----------------------------------------------------------------------------

/** @param {string} what the first answer of its kind is what later ones are compared with */
function remember(what) {
  const before = kept.value;
  if (before && before.results[what]) return;
  const { result, of } = answers.value[what];
  if (before && before.version !== of) return;
  const { schedule } = before || plant.value;
  kept.value = { version: of, schedule, results: { ...before?.results, [what]: result } };
}

/** Compare with the plant as it is now from here on. */
export function keep() {
  const { version, schedule } = plant.value;
  const done = Object.entries(answers.value).filter(([, answer]) => answer.of === version && answer.result);
  kept.value = { version, schedule, results: Object.fromEntries(done.map(([what, a]) => [what, a.result])) };
  tell("Kept: what you change from here on is compared with this.");
}
