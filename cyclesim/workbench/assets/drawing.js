// @ts-check
// The plant's drawing as the server made it, with its elements to be picked by mouse, finger and keys.

import { html, useEffect, useRef } from "./vendor/preact.js";

const SVG = "http://www.w3.org/2000/svg";

/**
 * The elements of an SVG text, to be put into a page; nothing in it runs.
 * @param {string | undefined} text
 * @returns {Element[]}
 */
export function inline(text) {
  if (!text) return [];
  const read = new DOMParser().parseFromString(text.includes("xmlns=") ? text
    : text.replace("<svg ", `<svg xmlns="${SVG}" `), "image/svg+xml").documentElement;
  if (read.localName !== "svg") return [];
  for (const bad of read.querySelectorAll("script, foreignObject, style")) bad.remove();
  return [/** @type {Element} */ (document.importNode(read, true))];
}

/** @param {Element} group */
const nameOf = (group) => group.id.replace(/^[a-z]*-?plant-/, "");

/**
 * @param {object} given
 * @param {string} given.svg
 * @param {string} given.picked name of the element that is picked
 * @param {(name: string) => void} given.pick
 * @param {Record<string, {band: number | string, text: string}>} [given.coloured] by name: a band of five or a
 *   word for how it looks, and what is said of it
 * @param {string} [given.stale] why the drawing is of an older text
 */
export function Drawing({ svg, picked, pick, coloured = {}, stale = "" }) {
  const box = useRef(/** @type {HTMLElement | null} */ (null));
  useEffect(() => {
    const host = /** @type {HTMLElement} */ (box.current);
    const held = host.contains(document.activeElement) ? document.activeElement?.id : "";
    host.replaceChildren(...inline(svg));
    const drawn = host.querySelector("svg");
    if (!drawn) return;
    drawn.style.minWidth = `${0.8 * Number(drawn.getAttribute("width"))}px`; // smaller letters nobody reads
    drawn.setAttribute("role", "group");
    drawn.setAttribute("aria-label", "The plant: arrow keys go from part to part, Enter picks one");
    drawn.removeAttribute("aria-labelledby");
    for (const group of groups(host)) {
      group.setAttribute("role", "button");
      group.setAttribute("tabindex", "-1");
      group.setAttribute("class", "part");
      for (const path of group.querySelectorAll(":scope > path:not(.mark)")) {
        const wide = /** @type {Element} */ (path.cloneNode());
        wide.setAttribute("class", "hit");
        group.append(wide);
      }
    }
    if (held) /** @type {HTMLElement | null} */ (host.querySelector(`#${CSS.escape(held)}`))?.focus();
  }, [svg]);
  useEffect(() => {
    const all = groups(/** @type {HTMLElement} */ (box.current));
    const held = all.indexOf(/** @type {Element} */ (document.activeElement));
    const at = held >= 0 ? held : Math.max(0, all.findIndex((g) => nameOf(g) === picked));
    all.forEach((group, k) => {
      const name = nameOf(group), colour = coloured[name];
      const title = group.querySelector("title"); // which names the part for who listens, too
      if (title) {
        title.dataset.told ??= title.textContent || name;
        title.textContent = colour ? `${title.dataset.told} ${colour.text}` : title.dataset.told;
      }
      group.setAttribute("tabindex", k === at ? "0" : "-1");
      group.setAttribute("aria-pressed", String(name === picked));
      group.setAttribute("class", `part${name === picked ? " picked" : ""}${colour ? ` band${colour.band}` : ""}`);
    });
  }, [svg, picked, coloured]);
  useEffect(() => { // what is picked stands in sight on a screen that is narrower than the drawing
    const host = /** @type {HTMLElement} */ (box.current), part = groups(host).find((g) => nameOf(g) === picked);
    if (!part || host.scrollWidth <= host.clientWidth) return;
    const at = part.getBoundingClientRect(), seen = host.getBoundingClientRect();
    if (at.left < seen.left || at.right > seen.right) host.scrollLeft += (at.left + at.right - seen.left - seen.right) / 2;
  }, [svg, picked]);
  /** @param {Event} event */
  const clicked = (event) => {
    const group = /** @type {Element} */ (event.target).closest("g.part");
    if (group) pick(nameOf(group));
  };
  /** @param {KeyboardEvent} event */
  const keyed = (event) => {
    const group = /** @type {Element} */ (event.target).closest("g.part");
    if (!group) return;
    const all = groups(/** @type {HTMLElement} */ (box.current)), at = all.indexOf(group);
    const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
    if (step) {
      const next = all[(at + step + all.length) % all.length];
      group.setAttribute("tabindex", "-1");
      next.setAttribute("tabindex", "0");
      /** @type {SVGElement} */ (next).focus();
    } else if (event.key === "Enter" || event.key === " ") pick(nameOf(group));
    else return;
    event.preventDefault();
  };
  return html`<div class="drawn">
    ${stale && html`<p class="note">${stale}</p>`}
    <div class=${`wide${stale ? " stale" : ""}`} ref=${box} onClick=${clicked} onKeyDown=${keyed}></div></div>`;
}

/** @param {HTMLElement} host @returns {Element[]} */
const groups = (host) => [...host.querySelectorAll("svg > g[id]")];
