// @ts-check
// Numbers as people read them, in the reader's units; three significant digits and no more.

/** By unit: what it is in US units, and how many of those one is (exact, as units.py defines them). */
const US = {
  "L/min": ["gpm", 1 / 3.785411784], "m/s": ["ft/s", 1 / 0.3048], m: ["ft", 1 / 0.3048], L: ["gal", 1 / 3.785411784],
};

/** @param {number} value */
export function number(value) {
  if (value === 0) return "0";
  if (Math.abs(value) < 0.05) return value < 0 ? "\u22120.0" : "<0.1";
  const text = Math.abs(value) >= 1000 ? Math.round(value).toLocaleString("en") : String(Number(value.toPrecision(3)));
  return text.replace("-", "\u2212");
}

/** Hours and temperatures, in tenths as reports tell them. @param {number} value */
export const tenths = (value) => number(Math.round(10 * value) / 10);

/** In tenths that stand one below the other. @param {number} value */
export const even = (value) => value !== 0 && Math.abs(value) < 0.05 ? number(value)
  : value.toLocaleString("en", { minimumFractionDigits: 1, maximumFractionDigits: 1 }).replace("-", "\u2212");

/** @param {number} value @param {string} unit as the server's values have it @param {boolean} us */
export function shown(value, unit, us) {
  const [theirs, times] = us && US[unit] || [unit, 1];
  return `${number(value * times)} ${theirs}`;
}
