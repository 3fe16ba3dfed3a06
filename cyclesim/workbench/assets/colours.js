// @ts-check
// What the drawing may be coloured by: each with the numbers that the server gave, in five bands of their size.

import { shown } from "./numbers.js";

/** @typedef {{name: string, value: number, text: string, band: number}} Coloured */

const run = (answers) => (answers.year?.result || answers.fortnight?.result)?.values;
/** Every duty of the last run. @param {any} answers @returns {any[]} */
export const dutiesOf = (answers) => run(answers)?.duties || [];
const legs = (answers) => run(answers)?.legs || {};

/** A duty by its name, else the one that moves most. @param {any} answers @param {string} name @returns {any} */
export function dutyOf(answers, name) {
  const flow = (duty) => Object.values(duty.pumps).reduce((sum, pump) => sum + Math.abs(pump.flow_l_min), 0);
  const all = dutiesOf(answers);
  return all.find((duty) => duty.name === name) || all.reduce((most, duty) => !most || flow(duty) > flow(most) ? duty : most, null);
}

/**
 * What each leg's jets get at a duty, the weakest leg first.
 * @param {any} answers @param {string} name of the duty @param {boolean} us
 */
export function jetsAt(answers, name, us) {
  const duty = dutyOf(answers, name);
  if (!duty) return null;
  const rows = Object.entries(duty.jets).map(([leg, jets]) => ({
    leg, weakest: Math.min(jets.first_l_min, jets.last_l_min), needs: jets.needs_l_min, enough: jets.enough,
  })).sort((a, b) => a.weakest - b.weakest);
  const told = (value) => value === null ? "not said" : shown(value, "L/min", us);
  return { duty: duty.name, rows: rows.map((row) => ({ ...row, weakest: told(row.weakest), needs: told(row.needs) })) };
}

/** @param {string} what @param {string} key @param {string} unit */
const ofDuty = (what, key, unit) => (answers, name) => {
  const duty = dutyOf(answers, name);
  return duty && { title: `${what} at ${duty.name}`, unit, values: ["legs", "pumps", "equipment", "heat_sources"].flatMap((kind) =>
    Object.entries(duty[kind]).filter(([, one]) => typeof one[key] === "number").map(([part, one]) => [part, one[key]])) };
};

/**
 * @param {string} title @param {(leg: any) => number | null} of @param {string} unit
 * @param {(values: any) => number} [full] what the darkest band begins at; four fifths of the largest without it
 */
const ofRun = (title, of, unit, full) => (answers) => {
  const values = Object.entries(legs(answers)).filter(([name]) => !name.includes(", "))
    .map(([name, leg]) => [name, of(leg)]).filter(([, value]) => typeof value === "number");
  return values.length ? { title, unit, values, most: full && 1.25 * full(run(answers)) } : null;
};

/** @type {{id: string, title: string, duty?: boolean, of: ((answers: any, duty: string) => any) | null}[]} */
export const COLOURINGS = [
  { id: "", title: "young or old", of: null },
  { id: "age", title: "oldest water", of: ofRun("Oldest water; the strongest colour is at or over the limit", (leg) => leg.oldest_water_h, "h", (values) => values.promises.water_age_limit_h) },
  { id: "heat", title: "heat lost", of: ofRun("Heat lost", (leg) => leg.heat_lost_flowing_kwh + leg.heat_lost_standing_kwh, "kWh") },
  { id: "flow", title: "flow", duty: true, of: ofDuty("Flow", "flow_l_min", "L/min") },
  { id: "speed", title: "speed", duty: true, of: ofDuty("Speed", "velocity_m_s", "m/s") },
  { id: "head", title: "pressure", duty: true, of: ofDuty("Pump head", "head_m", "m") },
];

/**
 * @param {string} by a colouring's id @param {any} answers @param {boolean} us @param {string} duty
 * @returns {{title: string, told: string, rows: Coloured[], by: Record<string, Coloured>}}
 */
export function coloured(by, answers, us, duty) {
  const row = COLOURINGS.find((one) => one.id === by);
  const none = { title: "", told: "", rows: [], by: {} };
  if (!row?.of) return none;
  const found = row.of(answers, duty);
  if (!found) return { ...none, told: "The numbers for this are being worked out." };
  const most = found.most || Math.max(...found.values.map(([, value]) => Math.abs(value)), 1e-9);
  const rows = found.values.map(([name, value]) => ({
    name, value, text: shown(value, found.unit, us), band: Math.min(4, Math.floor((5 * Math.abs(value)) / most)),
  })).sort((a, b) => Math.abs(b.value) - Math.abs(a.value));
  return { ...none, title: found.title, rows, by: Object.fromEntries(rows.map((one) => [one.name, one])) };
}
