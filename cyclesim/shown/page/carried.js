// What a page carries: constants, and curves and bars as they are summed up and looked up.

const DAYS = ["Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"];
const MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
const LEAST_S = 20, MOST_EVENTS = 80;
const two = (n) => String(n).padStart(2, "0");
const clamp = (x, low, high) => Math.min(Math.max(x, low), high);


async function unpacked(text) {
  const bytes = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
  return new Response(stream).json();
}

function summed(steps, fine = 1) {
  const values = new Float64Array(steps.length);
  let sum = 0;
  for (let k = 0; k < steps.length; k++) values[k] = (sum += steps[k]) / fine;
  return values;
}

function opened(told) {
  const curve = (c) => ({ name: c.name, t: summed(c.t), v: summed(c.v, 100) });
  const lane = (l) => {
    const made = { name: l.name, kind: l.kind, notes: l.notes || [] };
    for (const kind of ["full", "half", "outline", "hatched"]) made[kind] = summed(l[kind] || []);
    return made;
  };
  const kept = told.kept && { t: summed(told.kept.t), low: summed(told.kept.low, 100),
                              high: summed(told.kept.high, 100) };
  return { span: told.span, unit: told.unit, offsets: told.offsets, limit: told.limit, kept,
           asked: told.asked.map(lane), ran: told.ran.map(lane),
           temperatures: [curve(told.tub), ...told.rooms.map(curve)], ages: told.ages.map(curve),
           ready: { t: summed(told.ready[0]), v: summed(told.ready[1], 100) },
           noted: told.noted.map((n) => ({ ...n, at: summed(n.at) })) };
}

/** How many of the rising numbers are at most x. */
function upTo(rising, x) {
  let low = 0, high = rising.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (rising[middle] <= x) low = middle + 1; else high = middle;
  }
  return low;
}

function valueAt(curve, x) {
  const k = upTo(curve.t, x);
  if (!k || !curve.t.length) return curve.t.length ? curve.v[0] : NaN;
  if (k === curve.t.length) return curve.v[k - 1];
  const a = curve.t[k - 1], b = curve.t[k];
  return curve.v[k - 1] + (b > a ? (x - a) / (b - a) : 1) * (curve.v[k] - curve.v[k - 1]);
}

const within = (edges, x) => upTo(edges, x) % 2 === 1;
