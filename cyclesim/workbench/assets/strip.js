// @ts-check
// The strip of 24 hours: a row a demand, its runs as bars that are moved and stretched by mouse, finger and keys.

import { html, useEffect, useLayoutEffect, useRef, useSignal } from "./vendor/preact.js";
import { DAY_S, DAYS, clockOf, lengthOf, parts, secondsOf } from "./clock.js";
import { called, isLoud, nextLength, snapped, snappedLength, stepsOf } from "./runs.js";

const HEAD = 34, ROW = 58, BAR = 28, TITLE = 18, LINE = 12, LETTER = 7, MARK = 16;
const SETTLES_MS = 700; // how long keys may go on before what they moved is written

/** @typedef {{path: string, k: number, mode: "move" | "stretch", start: number, lasts: number}} Held */

/**
 * @param {object} given
 * @param {any} given.schedule as the server tells it
 * @param {any} given.ghost the schedule that was kept
 * @param {string} given.day a day of the week, or "" for all
 * @param {{path: string, k: number} | null} given.selected
 * @param {(run: {path: string, k: number}) => void} given.select
 * @param {(held: Held) => Promise<unknown>} given.drop writes where a run was put
 * @param {(path: string) => string | null} given.written what the file has at a path
 * @param {{value: Held | null}} given.held the run that is being moved
 * @param {(what: "copy" | "delete", path: string, k: number) => void} given.act
 */
export function Strip({ schedule, ghost, day, selected, select, drop, act, written, held }) {
  const box = useRef(/** @type {HTMLElement | null} */ (null));
  const wide = useSignal(0);
  const timer = useRef(0), drag = useRef(/** @type {any} */ (null));
  useLayoutEffect(() => {
    const host = /** @type {HTMLElement} */ (box.current);
    const look = new ResizeObserver(() => { wide.value = host.clientWidth; });
    look.observe(host);
    return () => look.disconnect();
  }, []);
  useEffect(() => () => clearTimeout(timer.current), []);

  const px = (seconds) => (wide.value * seconds) / DAY_S;
  const put = () => {
    clearTimeout(timer.current);
    const last = held.value;
    drag.current = null;
    if (last) drop(last).then(() => { if (held.value === last) held.value = null; });
  };
  const shownOf = (demand, k) => {
    const h = held.value;
    return h && h.path === demand.path && h.k === k ? h
      : { start: secondsOf(demand.starts[k]), lasts: demand.lasts_s };
  };

  /** What stands below a run, and from where on it fits. */
  const label = (demand, k) => {
    const { start, lasts } = shownOf(demand, k), loud = isLoud(schedule.quiet_hours, demand, start, lasts);
    const spoken = `${clockOf(start)} for ${lengthOf(lasts)}${loud ? ", in quiet hours" : ""}`;
    const only = demand.days.length < 7 ? `, ${demand.days.map((d) => d.slice(0, 3)).join(" ")}` : "";
    const isHeld = held.value?.path === demand.path && held.value?.k === k;
    const text = isHeld || loud ? `${spoken}${only}` : `${clockOf(start)}${only}`;
    return { spoken, only, loud, isHeld, text, left: Math.max(2, Math.min(px(start), wide.value - LETTER * text.length)) };
  };
  /** The labels of a row, each on the first line on which it covers no other. */
  const labelled = (demand) => {
    const ends = [], labels = demand.starts.map((_, k) => ({ ...label(demand, k), line: 0 }));
    for (const one of [...labels].sort((a, b) => a.left - b.left)) {
      const free = ends.findIndex((end) => end <= one.left);
      one.line = free < 0 ? ends.length : free;
      ends[one.line] = one.left + LETTER * one.text.length;
    }
    return { labels, lines: Math.max(1, ends.length) };
  };
  let below = HEAD;
  const rows = schedule.demands.map((demand) => {
    const today = !day || demand.days.includes(day), y = below, { labels, lines } = labelled(demand);
    below += ROW + (today ? LINE * (lines - 1) : 0);
    return { demand, today, y, labels };
  });
  const high = below + 44 + (schedule.plan.length ? 44 : 0);

  const down = (demand, k, mode) => (event) => {
    if (event.button) return;
    event.currentTarget.setPointerCapture(event.pointerId);
    const { start, lasts } = shownOf(demand, k);
    drag.current = { x: event.clientX, start, lasts, demand, k, mode, moved: false };
    select({ path: demand.path, k });
  };
  const move = (event) => {
    const d = drag.current;
    if (!d || !wide.value) return;
    if (!d.moved && Math.abs(event.clientX - d.x) < 3) return;
    d.moved = true;
    const by = ((event.clientX - d.x) * DAY_S) / wide.value, steps = stepsOf(schedule.controller, d.demand, event.altKey);
    held.value = {
      path: d.demand.path, k: d.k, mode: d.mode,
      start: d.mode === "move" ? (snapped(d.start + by, steps.start) + DAY_S) % DAY_S : d.start,
      lasts: d.mode === "stretch" ? snappedLength(d.lasts + by, steps) : d.lasts,
    };
  };
  const up = () => {
    const d = drag.current;
    drag.current = null;
    if (d?.moved) put();
  };
  const escape = () => { drag.current = null; held.value = null; clearTimeout(timer.current); };

  const keyed = (demand, k, mode) => (event) => {
    const { key } = event, steps = stepsOf(schedule.controller, demand, event.shiftKey), at = shownOf(demand, k);
    const sign = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, PageUp: 60, PageDown: -60 }[key];
    if (key === "Escape") escape();
    else if (key === "Enter") put();
    else if (mode === "move" && (key === "Delete" || key === "Backspace")) act("delete", demand.path, k);
    else if (mode === "move" && key.toLowerCase() === "c" && !event.ctrlKey && !event.metaKey) act("copy", demand.path, k);
    else if (sign || key === "Home" || key === "End") {
      let { start, lasts } = at;
      if (mode === "move") start = key === "Home" ? 0 : key === "End" ? DAY_S - steps.start
        : (start + (Math.abs(sign) === 60 ? 60 * sign : sign * steps.start) + DAY_S) % DAY_S;
      else if (key === "Home" || key === "End") lasts = nextLength(lasts, key === "Home" ? -1e6 : 1e6, steps);
      else lasts = nextLength(lasts, Math.abs(sign) === 60 ? Math.sign(sign) * 4 : sign, steps);
      held.value = { path: demand.path, k, mode, start, lasts };
      clearTimeout(timer.current);
      timer.current = setTimeout(put, SETTLES_MS);
    } else return;
    event.preventDefault();
  };

  const bars = (start, lasts, y, look) => parts(start, start + lasts).filter(([a, b]) => b > a).map(([a, b]) => html`
    <rect class=${look} x=${px(a)} y=${y} width=${Math.max(4, px(b - a))} height=${BAR} rx="2"/>`);

  /** Whether the mark at the end of a run has room before the next of its row. */
  const hasRoom = (demand, k) => {
    const { start, lasts } = shownOf(demand, k), end = px(start) + Math.max(4, px(lasts));
    return !demand.starts.some((_, other) => px(shownOf(demand, other).start) > px(start) && px(shownOf(demand, other).start) < end + MARK);
  };

  const run = (demand, k, y, { spoken, only, loud, isHeld, text, left, line }) => {
    const { start, lasts } = shownOf(demand, k);
    const x = px(start), w = Math.max(4, px(lasts)), isPicked = selected?.path === demand.path && selected?.k === k;
    const slider = (mode) => ({
      role: "slider", tabindex: "0", "aria-valuetext": spoken, "data-run": `${demand.path}.${k}`,
      "aria-valuemin": mode === "move" ? 0 : 1, "aria-valuemax": mode === "move" ? 1440 : DAY_S,
      "aria-valuenow": mode === "move" ? Math.round(start / 60) : lasts,
      "aria-label": `${called(demand)}${only}: ${mode === "move" ? "start" : "length"}`,
      onPointerDown: down(demand, k, mode), onPointerMove: move, onPointerUp: up, onPointerCancel: escape,
      onKeyDown: keyed(demand, k, mode), onFocus: () => select({ path: demand.path, k }),
      onBlur: () => { if (held.value && !drag.current) put(); },
    });
    const end = Math.min(wide.value - 14, x + w);
    return html`<g key=${`${demand.path}.${k}`} class=${`run ${demand.kind}${isPicked ? " picked" : ""}${isHeld ? " held" : ""}${loud ? " loud" : ""}`}>
      ${bars(start, lasts, y + TITLE, "bar")}
      <text x=${left} y=${y + TITLE + BAR + 11 + LINE * line}>${text}</text>
      <rect class="grip move" ...${slider("move")} x=${Math.min(x - (w < 16 ? 12 : 0), wide.value - 30)} y=${y + TITLE - 2}
        width=${Math.max(16, w)} height=${BAR + 4}/>
      <g class="grip stretch" ...${slider("stretch")}><rect class="hit" x=${end} y=${y + TITLE - 2} width="20" height=${BAR + 4}/>
        ${(isPicked || hasRoom(demand, k)) && html`<path d=${`M${end + 4} ${y + TITLE + 4}V${y + TITLE + BAR - 4}M${end + 8} ${y + TITLE + 4}V${y + TITLE + BAR - 4}`}/>`}</g>
    </g>`;
  };

  const row = ({ demand, today, y, labels }) => {
    const was = ghost?.demands.find((other) => other.path === demand.path);
    const rule = demand.repeats ? `, by ${demand.repeats}` : !demand.after ? "" : `${demand.name === "after bathing" ? "" : ", after bathing"}, for ${lengthOf(demand.lasts_s)}`;
    return html`<g key=${demand.path}>
      <path class="row" d=${`M0 ${y}H${wide.value}`}/>
      <text class="title" x="2" y=${y + 13}>${called(demand)}${rule}${demand.drawn
        ? `, drawn by chance: ${demand.drawn.per_week} a week` : today ? "" : `: not on ${day}`}</text>
      ${demand.drawn && parts(secondsOf(demand.drawn.between[0]), secondsOf(demand.drawn.between[1])).map(([a, b]) => html`<rect class="chance" x=${px(a)}
        y=${y + TITLE} width=${px(b - a)} height=${BAR}/>`)}
      ${today && was && was.starts.flatMap((clock) => demand.starts.includes(clock) && was.lasts_s === demand.lasts_s ? []
        : bars(secondsOf(clock), was.lasts_s, y + TITLE, "ghost"))}
      ${today && demand.starts.map((_, k) => run(demand, k, y, labels[k]))}</g>`;
  };

  const quiet = schedule.quiet_hours;
  const onDay = (one) => !day || one.days.includes(day);
  const hours = Array.from({ length: wide.value < 560 ? 5 : 9 }, (_, k) => (wide.value < 560 ? 6 : 3) * k);
  return html`<div class="strip" ref=${box}>
    ${wide.value > 0 && html`<svg width=${wide.value} height=${high} role="group" aria-label="The day: each run has a handle for its start and one for its length">
      ${quiet && onDay(quiet) && parts(secondsOf(quiet.from), secondsOf(quiet.to)).map(([a, b]) => html`<rect class="quiet" x=${px(a)} y=${HEAD}
        width=${px(b - a)} height=${below - HEAD}/>`)}
      ${quiet && onDay(quiet) && html`<text class="note" x=${2} y=${12}>quiet hours ${quiet.from} to ${quiet.to}: ${quiet.applies_to.join(", ")}</text>`}
      ${hours.map((h) => html`<path class="hour" d=${`M${px(3600 * h)} ${HEAD - 4}V${high}`}/>
        <text class="hours" x=${Math.min(Math.max(px(3600 * h), 10), wide.value - 10)} y=${HEAD - 8}>${h}</text>`)}
      ${rows.map(row)}
      <path class="row" d=${`M0 ${below}H${wide.value}`}/>
      <text class="title" x="2" y=${below + 13}>price of electricity${schedule.otherwise
        ? `, otherwise ${schedule.otherwise.price} ${schedule.otherwise.currency}/kWh` : ""}</text>
      ${schedule.prices.filter(onDay).map((p) => parts(secondsOf(p.from), secondsOf(p.to)).map(([a, b], k) => html`<rect class="price" x=${px(a)}
        y=${below + TITLE} width=${px(b - a)} height="20"/>${k === 0 && html`<text x=${px(a) + 4} y=${below + TITLE + 14}>${p.price}</text>`}`))}
      ${schedule.plan.length > 0 && html`<path class="row" d=${`M0 ${below + 44}H${wide.value}`}/>
        <text class="title" x="2" y=${below + 57}>heating plan</text>
        ${schedule.plan.filter(onDay).map((p) => parts(secondsOf(p.from || p.ready_by), secondsOf(p.until)).map(([a, b]) => html`<rect class="bar heating" x=${px(a)}
          y=${below + 62} width=${px(b - a)} height="20"/>`))}
        ${schedule.plan.filter(onDay).map((p) => html`<text class="on" x=${px(secondsOf(p.from || p.ready_by)) + 4} y=${below + 76}
          >${written(`${p.path}.keep_at`)}${p.ready_by ? ` by ${p.ready_by}` : ""}</text>`)}`}
    </svg>`}</div>`;
}

/** Seven days below each other, small, each with the button that shows it alone. */
export function Week({ schedule, day, choose }) {
  return html`<table class="week"><caption>The week</caption><tbody>${["", ...DAYS].map((one) => html`<tr key=${one}>
    <th scope="row"><button type="button" aria-pressed=${day === one} onClick=${() => choose(one)}>${one ? one.slice(0, 3) : "all days"}</button></th>
    <td>${one && html`<svg viewBox="0 0 1440 20" preserveAspectRatio="none" aria-hidden="true">
      ${schedule.demands.filter((d) => d.days.includes(one)).sort((a, b) => b.lasts_s - a.lasts_s).flatMap((d) => d.starts.flatMap((clock) =>
        parts(secondsOf(clock), secondsOf(clock) + d.lasts_s).map(([a, b]) => html`<rect class=${d.kind} x=${a / 60} y="2" width=${Math.max(6, (b - a) / 60)} height="16"/>`)))}
    </svg>`}</td></tr>`)}</tbody></table>`;
}
