// @ts-check
// The views of one plant, in the order of their tabs. To add one: a row here, and a module whose default
// export is a component; it is given { name } and takes the rest from state.js.

/** @type {{id: string, title: string, load: () => Promise<any>}[]} */
export const VIEWS = [
  { id: "start", title: "Questions", load: () => import("./start.js") },
  { id: "plant", title: "Plant", load: () => import("./plant.js") },
  { id: "day", title: "Day and week", load: () => import("./day.js") },
  { id: "year", title: "Year", load: () => import("./year.js") },
  { id: "orders", title: "Every order of events", load: () => import("./orders.js") },
  { id: "decide", title: "Decide", load: () => import("./decide.js") },
  { id: "measured", title: "Measured", load: () => import("./measured.js") },
  { id: "handover", title: "Hand over", load: () => import("./handover.js") },
];

/** @param {string} name @param {string} [view] @param {string} [about] an element or a path to open at */
export const address = (name, view = "plant", about = "") =>
  `#/${encodeURIComponent(name)}/${view}${about && `/${encodeURIComponent(about)}`}`;
