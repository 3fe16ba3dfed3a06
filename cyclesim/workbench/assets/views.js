// @ts-check
// The views of one plant, in the order of their tabs. To add one: a row here, and a module whose default
// export is a component; it is given { name } and takes the rest from state.js.

/** @type {{id: string, title: string, load: () => Promise<any>}[]} */
export const VIEWS = [
  { id: "plant", title: "Plant", load: () => import("./plant.js") },
  { id: "day", title: "Day and week", load: () => import("./day.js") },
];

/** @param {string} name @param {string} [view] @param {string} [about] an element or a path to open at */
export const address = (name, view = "plant", about = "") =>
  `#/${encodeURIComponent(name)}/${view}${about && `/${encodeURIComponent(about)}`}`;
