// @ts-check
// Clock times and lengths of time as the file has them, in seconds and back.

export const DAY_S = 86_400;
export const DAYS = ["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"];

/** @param {string} clock e.g. 07:30 */
export const secondsOf = (clock) => 3600 * Number(clock.slice(0, 2)) + 60 * Number(clock.slice(3, 5));

/** @param {number} seconds of any day */
export function clockOf(seconds) {
  const minutes = Math.round((((seconds % DAY_S) + DAY_S) % DAY_S) / 60) % 1440;
  return `${String(Math.floor(minutes / 60)).padStart(2, "0")}:${String(minutes % 60).padStart(2, "0")}`;
}

const SIZES = { s: 1, min: 60, h: 3600 };

/** A length as people say it, in the largest unit in which it is whole. @param {number} seconds */
export const lengthOf = (seconds) => {
  const unit = seconds && seconds % 3600 === 0 ? "h" : seconds % 60 === 0 && seconds > 60 ? "min" : "s";
  return `${seconds / SIZES[unit]} ${unit}`;
};

/**
 * A length in the unit that another was written in, if it is whole in it, else in the one that fits.
 * @param {string | null} written @param {number} seconds
 */
export function lengthLike(written, seconds) {
  const found = (written || "").match(/^\s*[\d.]+( ?)(s|min|h)\s*$/);
  if (found && seconds % SIZES[found[2]] === 0) return `${seconds / SIZES[found[2]]}${found[1]}${found[2]}`;
  return lengthOf(seconds);
}

/** The parts of a day that a window covers: one, or two where it passes midnight. @param {number} from @param {number} to */
export const parts = (from, to) => to > from ? [[from, Math.min(to, DAY_S)], ...(to > DAY_S ? [[0, to - DAY_S]] : [])]
  : [[from, DAY_S], [0, to]];

/** Whether two windows of a day share more than an edge. @param {number[][]} some @param {number[][]} others */
export const meet = (some, others) => some.some(([a, b]) => others.some(([c, d]) => a < d && c < b));
