// @ts-check
// The parts of a plant by their places in the file, and how one is put into its network or taken out of it.

/** Kinds of named parts by their key under plant, each as people call one of them. */
export const KINDS = {
  legs: "leg", pumps: "pump", equipment: "filter or strainer", heat_sources: "heat source", valves: "valve",
  diverters: "diverter", check_valves: "check valve", treatment: "treatment device", air: "blower",
  circulators: "circulator", trenches: "trench",
};

/** Parts that stand once, with the words for them. */
const ONCE = {
  "plant.tub": "the tub", "plant.pump_room": "the pump room", place: "place and weather", supply: "supply and prices",
  controller: "the controller", schedule: "the programme", water_care: "water care", interlocks: "interlocks",
  limits: "limits", money: "money", about: "about the work",
};

/**
 * Every part that has fields, by its path.
 * @param {{path: string}[]} fields
 * @returns {{path: string, name: string, kind: string}[]}
 */
export function partsOf(fields) {
  const found = new Map();
  for (const { path } of fields) {
    const steps = path.split(".");
    if (steps[0] === "plant" && steps[1] in KINDS && steps.length > 3)
      found.set(steps.slice(0, 3).join("."), { name: steps[2], kind: KINDS[steps[1]] });
    else if (/^(place\.zones|candidates\.\w+)\./.test(path) && steps.length > 3)
      found.set(steps.slice(0, 3).join("."), { name: steps[2], kind: steps[0] === "place" ? "zone" : "candidate" });
    else {
      const once = Object.keys(ONCE).find((key) => path.startsWith(`${key}.`));
      if (once) found.set(once, { name: ONCE[once], kind: "" });
    }
  }
  return [...found].map(([path, part]) => ({ path, ...part }));
}

/** @param {{path: string, name: string, kind: string}[]} parts @param {string} picked name of an element, or a path */
export const partAt = (parts, picked) => parts.find((p) => p.path === picked)
  || parts.find((p) => p.path === `plant.${picked}`)
  || parts.find((p) => p.name === picked && p.path.startsWith("plant."))
  || parts.filter((p) => picked.startsWith(`${p.path}.`)).sort((a, b) => b.path.length - a.path.length)[0]
  || parts.find((p) => picked && p.path.startsWith(`${picked}.`));

/** A part of a network as a file has it. @param {any} run @returns {string} */
export function written(run) {
  if (Array.isArray(run)) return `[${run.map(written).join(", ")}]`;
  return typeof run === "object" ? `{parallel: ${written(run.parallel)}}` : String(run);
}

/**
 * A run with a name put in beside, before or after another one; itself where that is not in it.
 * @param {any} run @param {string} at @param {string} name @param {"before" | "after" | "beside"} how
 * @returns {any}
 */
export function withPart(run, at, name, how) {
  if (Array.isArray(run)) return run.flatMap((item) => {
    if (item !== at) return [withPart(item, at, name, how)];
    return how === "before" ? [name, item] : how === "after" ? [item, name] : [{ parallel: [item, name] }];
  });
  if (typeof run !== "object") return run;
  const branches = run.parallel.flatMap((branch) => {
    if (branch !== at) return [withPart(branch, at, name, how)];
    return how === "before" ? [[name, branch]] : how === "after" ? [[branch, name]] : [branch, name];
  });
  return { parallel: branches };
}

/** A run without a name; undefined where nothing is left of it. @param {any} run @param {string} name @returns {any} */
export function withoutPart(run, name) {
  if (run === name) return undefined;
  if (Array.isArray(run)) {
    const left = run.flatMap((item) => {
      const inner = withoutPart(item, name);
      return inner === undefined ? [] : Array.isArray(inner) && !Array.isArray(item) ? inner : [inner];
    });
    return left.length ? left : undefined;
  }
  if (typeof run !== "object") return run;
  const branches = run.parallel.map((branch) => withoutPart(branch, name)).filter((b) => b !== undefined)
    .map((b) => Array.isArray(b) && b.length === 1 ? b[0] : b);
  return branches.length > 1 ? { parallel: branches } : branches[0];
}

/** @param {any[]} before @param {any[]} after @returns {{path: string, text: string | null}[]} */
export const chainChanges = (before, after) => after.flatMap((chain, k) =>
  written(chain) === written(before[k]) ? [] : [{ path: `plant.network.${k}`, text: written(chain) }]);

/**
 * What can be added: invented numbers to be changed to those of a drawing or data sheet.
 * @param {boolean} us @param {string} zone
 */
export function offers(us, zone) {
  const leg = us ? `pipe: 2 in Sch 40, length: 16 ft, fittings: {elbow: 4}, zone: ${zone}`
    : `pipe: 63 PN10, length: 5 m, fittings: {elbow: 4}, zone: ${zone}`;
  const jets = us ? "manifold: {jets: 4, spacing: 16 in, each: 10 gpm at 20 ft}"
    : "manifold: {jets: 4, spacing: 400 mm, each: 38 L/min at 6 m}";
  const at = (m, ft, lpm, gpm) => us ? `${ft} ft at ${gpm} gpm` : `${m} m at ${lpm} L/min`;
  const litres = (l, gal) => us ? `${gal} gal` : `${l} L`;
  return [
    { what: "a leg", kind: "legs", name: "leg", text: `{${leg}}` },
    { what: "a leg with jets", kind: "legs", name: "bench", text: `{${leg}, ${jets}}` },
    { what: "a pump", kind: "pumps", name: "pump", text: us
      ? "{max_head: 36 ft, max_flow: 120 gpm, power: 1 hp}" : "{max_head: 11 m, max_flow: 450 L/min, power: 750 W}" },
    { what: "a valve", kind: "valves", name: "valve", text: `{drop: ${at(0.1, 0.3, 300, 80)}, usual: open, may_be: [shut]}` },
    { what: "a filter", kind: "equipment", name: "filter",
      text: `{kind: filter, drop: ${at(1, 3, 400, 105)}, volume: ${litres(14, 3.7)}, zone: ${zone}}` },
    { what: "an electric heat source", kind: "heat_sources", name: "element",
      text: `{kind: electric, output: 3 kW, drop: ${at(0.3, 1, 400, 105)}, volume: ${litres(2, 0.5)}, needs_flow: ${us
        ? "16 gpm" : "60 L/min"}, proof: {by: flow_switch}, high_limit: ${us
        ? "122 degF" : "50 degC"}, limit_sensor: own, zone: ${zone}}` },
  ];
}

/** A name that no part has yet. @param {string} name @param {string[]} taken */
export function free(name, taken) {
  let k = 2, made = name;
  while (taken.includes(made)) made = `${name}_${k++}`;
  return made;
}
