// @ts-check
// Beneath the strip, by the same scale: how the water ages, how warm the tub is and what is loud on one day of the run.

import { html, useEffect, useLayoutEffect, useRef, useSignal } from "./vendor/preact.js";
// @ts-ignore: the server puts the page's script together
import { opened, unpacked, valueAt } from "../timeline.js";
import { DAY_S, clockOf } from "./clock.js";
import { number, tenths } from "./numbers.js";

const MOST_LEGS = 3, EVERY_S = 300, AGES = 92, WARM = 60, LOUD = 18, TITLE = 18;
const DATE = new Intl.DateTimeFormat("en-GB", { weekday: "short", day: "numeric", month: "short", year: "numeric", timeZone: "UTC" });

/** Seconds since 1970 as the clock on the wall has them. @param {any} data @param {number} second of the run */
function wall(data, second) {
  let k = data.offsets.length - 1;
  while (k && data.offsets[k][0] > second) k--;
  return second + data.offsets[k][1];
}

/** The midnight on the wall that is nearest. @param {any} data @param {number} second */
function midnight(data, second) {
  const past = ((wall(data, second) % DAY_S) + DAY_S) % DAY_S;
  return past < DAY_S / 2 ? second - past : second - past + DAY_S;
}

/** The day on the wall, of 23 to 25 hours, in which a second of the run lies. @param {any} data @param {number} second */
function dayOf(data, second) {
  const start = midnight(data, second - (((wall(data, second) % DAY_S) + DAY_S) % DAY_S));
  return [Math.max(start, data.span[0]), Math.min(midnight(data, start + DAY_S), data.span[1])];
}

/** When any water is oldest. @param {any} data */
function worstAt(data) {
  let at = data.span[0], most = -1;
  for (const { t, v } of data.ages) for (let k = 0; k < v.length; k++) if (v[k] > most) { most = v[k]; at = t[k]; }
  return at;
}

/** @param {{packed: string, loud: any}} given the timeline of a run, and when it was loud */
export function Under({ packed, loud }) {
  const box = useRef(null), wide = useSignal(0);
  const data = useSignal(/** @type {any} */ (null)), at = useSignal(0);
  useLayoutEffect(() => {
    const look = new ResizeObserver(() => { wide.value = box.current.clientWidth; });
    look.observe(box.current);
    return () => look.disconnect();
  }, []);
  useEffect(() => {
    let gone = false;
    unpacked(packed).then((told) => {
      if (gone) return;
      const now = opened(told);
      at.value = Math.max(now.span[0], worstAt(now) - 1);
      data.value = now;
    });
    return () => { gone = true; };
  }, [packed]);
  return html`<div class="under" ref=${box}>${data.value && wide.value > 0 && html`<${Drawn} data=${data.value} loud=${loud} at=${at} wide=${wide.value}/>`}</div>`;
}

function Drawn({ data, loud, at, wide }) {
  const [start, end] = dayOf(data, at.value), clock = (second) => wall(data, second) - wall(data, start);
  const seconds = [];
  for (let s = start; s <= end; s += EVERY_S) seconds.push(s);
  const peak = (curve) => seconds.reduce((most, s) => valueAt(curve, s) > valueAt(curve, most) ? s : most, start);
  const legs = data.ages.filter((curve) => !curve.name.includes(", ")).map((curve) => ({ curve, when: peak(curve) })).map((leg) => ({ ...leg, most: valueAt(leg.curve, leg.when) }))
    .sort((a, b) => b.most - a.most).slice(0, MOST_LEGS);
  const top = Math.max(1.15 * data.limit, Math.min(4 * data.limit, legs[0]?.most || 0));
  const x = (s) => (wide * clock(s)) / DAY_S;
  // where the clock is changed a line begins anew: an hour that is there twice would draw it backwards
  const changed = seconds.filter((s) => s > start && clock(s) - clock(s - EVERY_S) !== EVERY_S);
  const line = (curve, y) => seconds.map((s) => `${s === start || changed.includes(s) ? "M" : "L"}${x(s).toFixed(1)} ${y(valueAt(curve, s)).toFixed(1)}`).join("");
  const change = changed.length && (clock(changed[0]) < clock(changed[0] - EVERY_S) ? "back: the hour before it is drawn twice" : "forward: an hour is left out");
  const age = (hours) => TITLE + AGES * (1 - Math.min(hours, top) / top);
  const tub = data.temperatures[0], values = seconds.map((s) => valueAt(tub, s));
  const low = Math.min(...values), high = Math.max(...values), room = Math.max(1, high - low);
  const base = TITLE + AGES + 12 + TITLE, warm = (c) => base + 4 + (WARM - 8) * (1 - (c - (low + high - room) / 2) / room);
  const heard = ["ran", "in_quiet_hours"].map((which) => (loud?.[which] || []).filter(([a, b]) => b > start && a < end)
    .map(([a, b]) => [Math.max(a, start), Math.min(b, end)]));
  const [ran, inQuiet] = heard.map((spans) => spans.reduce((sum, [a, b]) => sum + b - a, 0) / 60);
  const noise = `loud: ${number(ran)} min, ${number(inQuiet)} min of them in quiet hours`;
  const heardAt = base + WARM + TITLE;
  const move = (by) => { at.value = Math.min(data.span[1] - 1, Math.max(data.span[0], start + by * DAY_S + DAY_S / 2)); };
  const said = legs.map((leg) => `${leg.curve.name} ${tenths(leg.most)} h at ${clockOf(clock(leg.when))}`).join(", ");
  return html`<p class="day-of"><strong>${DATE.format(1000 * wall(data, start))}</strong>
      <button type="button" onClick=${() => move(-1)} disabled=${start <= data.span[0]}>a day earlier</button>
      <button type="button" onClick=${() => move(1)} disabled=${end >= data.span[1]}>a day later</button>
      <button type="button" onClick=${() => { at.value = worstAt(data) - 1; }}>the day with the oldest water</button></p>
    <p class="note">The legs with the oldest water: ${legs.map((leg, k) => `${leg.curve.name} ${["solid", "dashed", "dotted"][k]}`).join(", ")}.${change
      ? ` The clock goes ${change}.` : ""}</p>
    <svg width=${wide} height=${base + WARM + (loud ? TITLE + LOUD : 0)} role="img" aria-label=${`Oldest water of the day: ${said}. Tub ${tenths(low)} to ${tenths(high)} ${data.unit}.${loud ? ` Of the day ${noise}.` : ""}`}>
      <text class="title" x="2" y="12">oldest water</text>
      <path class="limit" d=${`M0 ${age(data.limit)}H${wide}`}/><text x="2" y=${age(data.limit) - 3}>limit ${tenths(data.limit)} h</text>
      ${legs.map((leg, k) => html`<path class=${`age leg${k}${leg.most > data.limit ? " over" : ""}`} d=${line(leg.curve, age)}/>`)}
      ${legs[0] && html`<text class="end" x=${wide - 2} y=${Math.max(TITLE + 10, age(legs[0].most) - 4)}>at most ${tenths(legs[0].most)} h</text>`}
      <path class="row" d=${`M0 ${TITLE + AGES}H${wide}M0 ${base + WARM - 1}H${wide}`}/>
      <text class="title" x="2" y=${base - 5}>tub water: ${low.toFixed(1)} to ${high.toFixed(1)} ${data.unit}</text>
      <path class="warm" d=${line(tub, warm)}/>
      ${loud && html`<text class="title" x="2" y=${heardAt - 5}>${noise}</text>
        ${heard.map((spans, k) => spans.map(([a, b]) => html`<rect class=${k ? "loud over" : "loud"} x=${x(a)} y=${heardAt}
          width=${Math.max(2, x(b) - x(a))} height=${LOUD - 4}/>`))}`}
    </svg>`;
}
