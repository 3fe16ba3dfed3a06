// @ts-check
// What moving, stretching, copying and deleting a run means in the file: changes of the schedule's entries.

import { DAY_S, DAYS, clockOf, lengthLike, lengthOf, meet, parts, secondsOf } from "./clock.js";

/** @typedef {{path: string, kind: string, name: string | null, pump: string | null, pumps: string[], runs: string | null, starts: string[],
 *   lasts_s: number, days: string[], repeats: string | null, after?: string | null, drawn?: any}} Demand */
/** @typedef {{path: string, text: string | null, adds?: boolean}} Change */

const quoted = (clocks) => `[${clocks.map((clock) => `"${clock}"`).join(", ")}]`;

/** Whether a text of the file is a list. @param {string | null} text */
const isList = (text) => !!text && /^\s*(\[|-)/.test(text);

/** @param {Demand} demand */
export const called = (demand) => `${demand.kind.replaceAll("_", " ")}${demand.pump ? `, ${demand.pump}` : ""}${demand.name
  ? ` (${demand.name})` : ""}`;

/**
 * Steps in which a controller takes times, and lengths of a kind of run; finer: as the file may have them.
 * @param {any} controller @param {Demand} demand @param {boolean} fine
 */
export function stepsOf(controller, demand, fine) {
  const start = fine ? 60 : controller.time_step_s || 300;
  if (demand.kind === "line_flush")
    return { start, lengths: fine ? [] : controller.flush_lengths_s, length: fine ? 1 : 15 };
  return { start, lengths: [], length: fine ? 60 : start };
}

/** @param {number} value @param {number} step */
export const snapped = (value, step) => Math.round(value / step) * step;

/** The length nearest to what is wanted. @param {number} seconds @param {{lengths: number[], length: number}} steps */
export function snappedLength(seconds, { lengths, length }) {
  if (lengths.length) return lengths.reduce((a, b) => Math.abs(b - seconds) < Math.abs(a - seconds) ? b : a);
  return Math.min(DAY_S, Math.max(length, snapped(seconds, length)));
}

/** The next longer or shorter length. @param {number} seconds @param {number} by steps @param {{lengths: number[], length: number}} steps */
export function nextLength(seconds, by, { lengths, length }) {
  if (!lengths.length) return Math.min(DAY_S, Math.max(length, snapped(seconds, length) + by * length));
  const sorted = [...lengths].sort((a, b) => a - b), near = snappedLength(seconds, { lengths, length });
  return sorted[Math.min(sorted.length - 1, Math.max(0, sorted.indexOf(near) + by))];
}

/**
 * The run begins at another time of day. Null where the entry has that start already.
 * @param {Demand} demand @param {number} k @param {number} seconds @param {string | null} written text of its starts
 * @returns {Change[] | null}
 */
export function moved(demand, k, seconds, written) {
  const clock = clockOf(seconds);
  if (demand.starts.some((other, at) => at !== k && other === clock)) return null;
  return [{ path: isList(written) ? `${demand.path}.start.${k}` : `${demand.path}.start`, text: `"${clock}"` }];
}

/** @param {Demand} demand @param {number} seconds @param {string | null} written @returns {Change[]} */
export const stretched = (demand, seconds, written) =>
  [{ path: `${demand.path}.lasts`, text: lengthLike(written, seconds) }];

/**
 * One more start of the same run: an hour later, or the next hour that is free.
 * @param {Demand} demand @param {number} k @returns {{changes: Change[], clock: string} | null}
 */
export function copied(demand, k) {
  const apart = Math.max(3600, Math.ceil(demand.lasts_s / 3600) * 3600);
  for (let at = secondsOf(demand.starts[k]) + apart, tried = 0; tried < 24; at += 3600, tried++) {
    const clock = clockOf(at);
    if (!demand.starts.includes(clock))
      return { changes: [{ path: `${demand.path}.start`, text: quoted([...demand.starts, clock]) }], clock };
  }
  return null;
}

/** @param {Demand} demand @param {number} k @param {Demand[]} all @returns {Change[]} */
export function deleted(demand, k, all) {
  if (demand.starts.length > 1)
    return [{ path: `${demand.path}.start`, text: quoted(demand.starts.filter((_, at) => at !== k)) }];
  const list = demand.path.replace(/\.\d+$/, "");
  const alone = all.filter((other) => other.path.startsWith(`${list}.`)).length === 1;
  return [{ path: alone ? list : demand.path, text: alone ? "[]" : null }];
}

/**
 * A run that was not there.
 * @param {string} key of the schedule, e.g. line_flushes @param {string} runs as written, e.g. pump: main low @param {number} lasts_s
 * @param {boolean} listed whether the file has that list @returns {Change[]}
 */
export const added = (key, runs, lasts_s, listed) => {
  const text = `{${runs}, start: ["12:00"], lasts: ${lengthOf(lasts_s)}}`;
  return [listed ? { path: `schedule.${key}`, text, adds: true } : { path: `schedule.${key}`, text: `[${text}]` }];
};

/** @param {Demand} demand @param {string[]} days @param {string | null} written @returns {Change[]} */
export function onDays(demand, days, written) {
  const all = days.length === DAYS.length;
  if (all && written === null) return [];
  return [{ path: `${demand.path}.days`, text: all ? null : `[${DAYS.filter((d) => days.includes(d)).join(", ")}]` }];
}

/**
 * Whether a run is loud while neighbours sleep; a pump's name alone means each of its speeds.
 * @param {any} quiet @param {Demand} demand @param {number} start @param {number} lasts
 */
export const isLoud = (quiet, demand, start, lasts) => !!quiet
  && demand.pumps.some((pump) => quiet.applies_to.some((one) => one === pump || one === pump.split(" ")[0]))
  && meet(parts(start, start + lasts), parts(secondsOf(quiet.from), secondsOf(quiet.to)));

/**
 * For each leg the longest time between two runs of the clock that move its water, in seconds; Infinity where none does.
 * @param {Demand[]} demands @param {Record<string, string[]>} moves the legs that each run's pumps move
 * @param {{path: string, k: number, start: number, lasts: number} | null} held a run that is being moved, and where to
 */
export function longestGaps(demands, moves, held) {
  const week = DAYS.length * DAY_S, of = /** @type {Record<string, [number, number][]>} */ ({});
  for (const leg of new Set(Object.values(moves).flat())) of[leg] = [];
  for (const demand of demands)
    for (const leg of moves[demand.pump || ""] || [])
      for (const day of demand.days)
        demand.starts.forEach((clock, k) => {
          const isHeld = held?.path === demand.path && held.k === k;
          const start = DAYS.indexOf(day) * DAY_S + (isHeld ? held.start : secondsOf(clock));
          of[leg].push([start, start + (isHeld ? held.lasts : demand.lasts_s)]);
        });
  return Object.entries(of).map(([leg, runs]) => {
    runs.sort(([a], [b]) => a - b);
    let longest = runs.length ? 0 : Infinity, end = Math.max(...runs.map(([, b]) => b - week));
    for (const [a, b] of runs) { longest = Math.max(longest, a - end); end = Math.max(end, b); }
    return { leg, longest };
  }).sort((a, b) => b.longest - a.longest);
}
