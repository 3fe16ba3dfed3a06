// The timeline on its canvas: rows, curves and the clock. What is shown and said is for timeline.js.

const HEAD = "bold 12px system-ui, sans-serif", SMALL = "11px system-ui, sans-serif";
const CURVES = [["ink", []], ["pump", [6, 3]], ["heat", [2, 3]], ["people", [8, 3, 2, 3]]];

// a text in lines no wider than this, parted between words
function wrapped(c, text, wide) {
  const lines = [""];
  for (const word of text.split(" ")) {
    const longer = `${lines[lines.length - 1]} ${word}`.trim();
    if (c.measureText(longer).width <= wide) lines[lines.length - 1] = longer;
    else lines.push(word);
  }
  return lines.filter(Boolean);
}

class DrawnTimeline {
  // wall clock: seconds since 1970 as if the place had no zone
  wall(second) {
    const offsets = this.data.offsets;
    let k = offsets.length - 1;
    while (k && offsets[k][0] > second) k--;
    return second + offsets[k][1];
  }

  said(second, fine = true) {
    const d = new Date(1000 * Math.floor(this.wall(second)));
    const day = `${DAYS[d.getUTCDay()]} ${d.getUTCDate()} ${MONTHS[d.getUTCMonth()]} ${d.getUTCFullYear()}`;
    const clock = `${two(d.getUTCHours())}:${two(d.getUTCMinutes())}`;
    return `${day} ${clock}${fine ? `:${two(d.getUTCSeconds())}` : ""}`;
  }

  second(x) { return this.from + ((x - this.left) / (this.wide - this.left)) * (this.to - this.from); }
  x(second) { return this.left + ((second - this.from) / (this.to - this.from)) * (this.wide - this.left); }

  draw() {
    if (this.due) return;
    this.due = requestAnimationFrame(() => { this.due = 0; this.drawn(); });
  }

  drawn() {
    const wide = this.scope.clientWidth;
    if (!wide) return;
    const narrow = wide < 640, { asked, ran, ages, noted } = this.data;
    const lane = narrow ? 32 : 19, age = narrow ? 48 : 34, title = 22, warm = 150, more = 15;
    const dots = window.devicePixelRatio || 1, c = this.canvas.getContext("2d");
    c.font = HEAD;
    const [found, asks, runs, degrees, old] = [
      "Findings", "Who asked for a pump: outline = asks, filled = has it, paler = part of the time",
      "What ran: half height = low speed, hatched = waits, runs on or tripped", `Temperatures, ${this.data.unit}`,
      `Oldest water: dashed = the limit of ${this.data.limit} h, crossed out = above it`,
    ].map((text) => wrapped(c, text, wide));
    const key = narrow ? this.key(wide) : [], keyHigh = key.length ? 16 * (1 + key[key.length - 1].row) : 0;
    const tall = (lines) => title + more * (lines.length - 1);
    const high = (noted.length ? tall(found) + 24 : 0) + tall(asks) + tall(runs) + lane * (asked.length + ran.length)
               + tall(degrees) + keyHigh + warm + tall(old) + age * ages.length + 40;
    if (this.canvas.width !== Math.round(wide * dots) || this.canvas.height !== Math.round(high * dots)) {
      this.canvas.width = Math.round(wide * dots);
      this.canvas.height = Math.round(high * dots);
      this.canvas.style.height = `${high}px`;
    }
    c.setTransform(dots, 0, 0, dots, 0, 0);
    const css = getComputedStyle(document.documentElement);
    this.colour = (name) => css.getPropertyValue(`--${name}`).trim();
    this.c = c;
    this.wide = wide;
    this.left = narrow ? 0 : 190;
    this.narrow = narrow;
    this.placed = {};
    c.clearRect(0, 0, wide, high);
    c.fillStyle = this.colour("paper");
    c.fillRect(0, 0, wide, high);
    c.textBaseline = "middle";
    this.ticks(high);
    let y = 0;
    const heads = [];
    const head = (lines) => {
      heads.push([lines, y]);
      y += tall(lines);
    };
    if (noted.length) { head(found); this.pins(y); y += 24; }
    head(asks);
    for (const one of asked) { this.lane(one, y, lane); y += lane; }
    head(runs);
    for (const one of ran) { this.lane(one, y, lane); y += lane; }
    head(degrees);
    this.temperatures(y + keyHigh, warm);
    for (const one of narrow ? key : this.key(0)) this.looks(one, y);
    y += keyHigh + warm;
    head(old);
    for (const one of ages) { this.age(one, y, age); y += age; }
    this.clock(y);
    const at = this.x(this.at);
    c.fillStyle = this.colour("ink");
    c.fillRect(at - 0.5, 0, 1, high - 36);
    c.font = HEAD;
    for (const [lines, top] of heads) {  // last, so that no line crosses them
      c.fillStyle = this.colour("paper");
      lines.forEach((text, k) => c.fillRect(0, top + more * k, c.measureText(text).width + 6, title));
      c.fillStyle = this.colour("ink");
      lines.forEach((text, k) => c.fillText(text, 0, top + more * k + title / 2 + 2));
    }
    if (this.drag) {
      const [a, b] = this.drag.map((s) => this.x(s));
      c.globalAlpha = 0.2;
      c.fillRect(Math.min(a, b), 0, Math.abs(b - a), high - 36);
      c.globalAlpha = 1;
    }
  }

  name(text, y, high) {
    const c = this.c;
    c.font = "12px system-ui, sans-serif";
    c.fillStyle = this.colour("ink");
    let shown = text;
    while (!this.narrow && c.measureText(shown).width > this.left - 8 && shown.length > 4)
      shown = `${shown.slice(0, -4)}...`;
    c.fillText(shown, 0, this.narrow ? y + 8 : y + high / 2);
  }

  lane(lane, y, high) {
    const c = this.c, top = this.narrow ? y + 16 : y + 3, tall = this.narrow ? 13 : high - 6;
    this.name(lane.name, y, high);
    c.fillStyle = this.colour("grid");
    c.fillRect(this.left, top + tall, this.wide - this.left, 1);
    const colour = this.colour(lane.kind) || this.colour("asked");
    this.bars(lane.outline, (x, w) => {
      c.strokeStyle = colour;
      c.lineWidth = 1;
      c.strokeRect(x + 0.5, top + 0.5, Math.max(0.5, w - 1), tall - 1);
    });
    c.fillStyle = colour;
    this.bars(lane.half, (x, w) => c.fillRect(x, top + tall / 2, w, tall / 2));
    this.bars(lane.full, (x, w) => c.fillRect(x, top, w, tall));
    this.bars(lane.hatched, (x, w) => {
      if (w < 4) { c.fillRect(x, top + tall - 3, w, 3); return; }
      c.save();
      c.beginPath();
      c.rect(x, top, w, tall);
      c.clip();
      c.strokeStyle = colour;
      c.lineWidth = 1;
      c.strokeRect(x, top, w, tall);
      c.beginPath();
      for (let s = Math.floor(x / 6) * 6 - tall; s < x + w; s += 6) { c.moveTo(s, top + tall); c.lineTo(s + tall, top); }
      c.stroke();
      c.restore();
    });
  }

  /** Each bar in view by its place and width; where many share a column of dots, paler by their share. */
  bars(edges, draw) {
    const first = 2 * Math.floor(upTo(edges, this.from) / 2), c = this.c;
    const end = upTo(edges, this.to), per = (this.to - this.from) / (this.wide - this.left);
    if ((end - first) / 2 < (this.wide - this.left) / 3) {
      for (let k = first; k < edges.length && edges[k] < this.to; k += 2) {
        const x0 = Math.max(this.left, this.x(edges[k]));
        draw(x0, Math.max(1, Math.min(this.wide, this.x(edges[k + 1])) - x0));
      }
      return;
    }
    const dots = 3;
    for (let x = this.left, k = first; x < this.wide; x += dots) {
      const from = this.second(x), to = from + dots * per;
      let covered = 0;
      while (k < edges.length && edges[k + 1] <= from) k += 2;
      for (let i = k; i < edges.length && edges[i] < to; i += 2)
        covered += Math.max(0, Math.min(to, edges[i + 1]) - Math.max(from, edges[i]));
      if (!covered) continue;
      c.globalAlpha = 0.2 + 0.8 * (covered / (to - from));
      draw(x, Math.min(dots, this.wide - x));
      c.globalAlpha = 1;
    }
  }

  /** The points of a curve in view; of many in one column of dots the lowest and the highest. */
  points(curve) {
    const { t, v } = curve, points = [];
    let k = Math.max(0, upTo(t, this.from) - 1);
    const end = Math.min(t.length, upTo(t, this.to) + 1);
    if (end - k < 3 * (this.wide - this.left)) {
      for (; k < end; k++) points.push([this.x(t[k]), v[k]]);
      return points;
    }
    while (k < end) {
      const x = Math.floor(this.x(t[k]));
      const first = v[k];
      let low = first, high = first;
      for (; k < end && Math.floor(this.x(t[k])) === x; k++) {
        if (v[k] < low) low = v[k];
        if (v[k] > high) high = v[k];
      }
      points.push([x, first], [x, low], [x, high], [x, v[k - 1]]);
    }
    return points;
  }

  clipped(y, high, draw) {
    const c = this.c;
    c.save();
    c.beginPath();
    c.rect(this.left, y, this.wide - this.left, high);
    c.clip();
    draw();
    c.restore();
  }

  temperatures(y, high) {
    const { temperatures, kept, ready } = this.data, c = this.c;
    const drawn = temperatures.map((curve) => this.points(curve));
    let low = Infinity, top = -Infinity;
    for (const points of drawn) for (const [, v] of points) { if (v < low) low = v; if (v > top) top = v; }
    if (!Number.isFinite(low)) return;
    const step = [1, 2, 5, 10, 20].find((s) => (top - low) / s <= 6) || 50;
    low = Math.floor(low / step - 0.1) * step;
    top = Math.ceil(top / step + 0.1) * step;
    const place = (v) => y + 6 + (high - 12) * (1 - (v - low) / (top - low));
    c.fillStyle = this.colour("grid");
    for (let v = low; v <= top; v += step) c.fillRect(this.left, place(v), this.wide - this.left, 1);
    this.clipped(y, high, () => {
      if (kept) {
        c.fillStyle = this.colour("band");
        for (let k = 0; k + 1 < kept.t.length; k++) {
          const a = this.x(kept.t[k]), b = this.x(kept.t[k + 1]);
          if (b >= this.left && a <= this.wide) c.fillRect(a, place(kept.high[k]), b - a, place(kept.low[k]) - place(kept.high[k]));
        }
      }
      drawn.forEach((points, k) => {
        const [colour, dash] = CURVES[Math.min(k, CURVES.length - 1)];
        c.strokeStyle = this.colour(colour);
        c.lineWidth = k ? 1 : 1.6;
        c.setLineDash(dash);
        c.beginPath();
        points.forEach(([x, v], i) => (i ? c.lineTo(x, place(v)) : c.moveTo(x, place(v))));
        c.stroke();
      });
      c.setLineDash([]);
      c.fillStyle = this.colour("ink");
      ready.t.forEach((t, k) => {
        const x = this.x(t), at = place(ready.v[k]);
        c.beginPath();
        c.moveTo(x - 4, at - 7);
        c.lineTo(x + 4, at - 7);
        c.lineTo(x, at);
        c.fill();
      });
    });
    c.font = "11px system-ui, sans-serif";
    c.textAlign = this.narrow ? "left" : "right";
    for (let v = low; v <= top; v += step) {  // last: on a narrow page they stand among the curves
      const at = place(v) - (this.narrow ? 6 : 0);
      c.fillStyle = this.colour("paper");
      if (this.narrow) c.fillRect(0, at - 6, c.measureText(String(v)).width + 4, 11);
      c.fillStyle = this.colour("faint");
      c.fillText(String(v), this.narrow ? 2 : this.left - 6, at);
    }
    c.textAlign = "left";
  }

  // where the words for each temperature stand: in rows of this width above them, else below each other beside them
  key(wide) {
    const { temperatures, kept } = this.data, c = this.c || this.canvas.getContext("2d");
    c.font = SMALL;
    let x = 0, row = 0;
    return temperatures.map((curve, k) => {
      const words = (k ? curve.name : kept ? "tub; grey: to keep" : "tub").slice(0, wide ? 40 : 22);
      if (!wide) return { k, words, x: 0, at: 16 + 18 * k, row: k };
      const long = 26 + c.measureText(words).width + 14;
      if (x && x + long - 14 > wide) { x = 0; row++; }
      x += long;
      return { k, words, x: x - long, at: 8 + 16 * row, row };
    });
  }

  looks({ k, words, x, at }, y) {
    const c = this.c, [colour, dash] = CURVES[Math.min(k, CURVES.length - 1)];
    c.strokeStyle = this.colour(colour);
    c.lineWidth = 1.6;
    c.setLineDash(dash);
    c.beginPath();
    c.moveTo(x, y + at);
    c.lineTo(x + 22, y + at);
    c.stroke();
    c.setLineDash([]);
    c.fillStyle = this.colour("ink");
    c.font = SMALL;
    c.fillText(words, x + 26, y + at);
  }

  age(curve, y, high) {
    const c = this.c, limit = this.data.limit;
    this.name(curve.name, y, high);
    const points = this.points(curve);
    let top = 1.1 * limit;
    for (const [, v] of points) if (v > top) top = v;
    top = Math.min(top, 2.5 * limit);
    const base = y + high - 3, tall = this.narrow ? high - 20 : high - 6;
    const place = (v) => base - (tall * v) / top; // what is above the row is cut off, not squeezed into it
    this.placed[curve.name] = place;
    const area = () => {
      c.beginPath();
      c.moveTo(points[0][0], base);
      for (const [x, v] of points) c.lineTo(x, place(v));
      c.lineTo(points[points.length - 1][0], base);
      c.closePath();
    };
    if (points.length) this.clipped(base - tall, tall, () => {
      area();
      c.fillStyle = this.colour("young");
      c.globalAlpha = 0.45;
      c.fill();
      c.globalAlpha = 1;
      c.save();
      area();
      c.clip();
      c.beginPath();
      c.rect(this.left, y, this.wide - this.left, Math.max(0, place(limit) - y));
      c.clip();
      c.fillStyle = this.colour("over");
      c.fillRect(this.left, y, this.wide - this.left, high);
      c.strokeStyle = this.colour("paper");
      c.lineWidth = 1;
      c.beginPath();
      for (let x = this.left - high; x < this.wide; x += 8) { c.moveTo(x, y + high); c.lineTo(x + high, y); c.moveTo(x, y); c.lineTo(x + high, y + high); }
      c.stroke();
      c.restore();
    });
    c.strokeStyle = this.colour("ink");
    c.lineWidth = 1;
    c.setLineDash([4, 3]);
    c.beginPath();
    c.moveTo(this.left, Math.round(place(limit)) + 0.5);
    c.lineTo(this.wide, Math.round(place(limit)) + 0.5);
    c.stroke();
    c.setLineDash([]);
    c.fillStyle = this.colour("grid");
    c.fillRect(this.left, base, this.wide - this.left, 1);
  }

  pins(y) {
    const c = this.c;
    c.font = "bold 11px system-ui, sans-serif";
    c.textAlign = "center";
    for (const { x, middle, one } of this.pinned()) {
      const serious = one.severity === "danger" || one.severity === "hygiene";
      c.fillStyle = this.colour(serious ? one.severity : "faint");
      c.fillRect(clamp(x - 0.5, this.left, this.wide - 1), y + 18, 1, 6);
      if (middle === null) continue;
      c.fillRect(middle - 8, y + 2, 16, 16);
      c.fillStyle = this.colour("paper");
      c.fillText(String(one.number), middle, y + 10);
    }
    c.textAlign = "left";
  }

  /** Where the findings in view have their pins: each its first one, the worst before all, then as many as fit. */
  pinned() {
    const seen = this.data.noted.map((one) => [...one.at].filter((at) => at >= this.from && at <= this.to));
    const pins = this.data.noted.flatMap((one, k) => seen[k].map((at, n) => ({ x: this.x(at), one, again: n > 0 })));
    pins.sort((a, b) => a.again - b.again || (a.again ? a.x - b.x : a.one.number - b.one.number));
    const taken = [];
    return pins.map(({ x, one }) => {
      let middle = clamp(x, this.left + 8, this.wide - 8);  // whole at either end
      if (taken.some((other) => Math.abs(other - middle) < 18)) middle = null;
      else taken.push(middle);
      return { x, middle, one };
    });
  }

  // -- the clock -----------------------------------------------------------------------------------------

  *marks() {
    const per = (this.to - this.from) / Math.max(1, (this.wide - this.left) / 70);
    const steps = [1, 2, 5, 10, 30, 60, 120, 300, 600, 1800, 3600, 7200, 10800, 21600, 43200, 86400, 172800, 604800];
    const step = steps.find((s) => s >= per);
    const first = this.wall(this.from), away = first - this.from;
    if (step === undefined) {
      const d = new Date(1000 * first);
      let year = d.getUTCFullYear(), month = d.getUTCMonth();
      const every = per > 2 * 2592000 ? 3 : per > 2592000 ? 2 : 1;
      for (let k = 0; k < 200; k++) {
        const wall = Date.UTC(year, month + k, 1) / 1000, at = this.second_of(wall, away);
        if (at > this.to) return;
        if (at >= this.from && new Date(1000 * wall).getUTCMonth() % every === 0)
          yield [at, MONTHS[new Date(1000 * wall).getUTCMonth()], true];
      }
      return;
    }
    for (let wall = Math.ceil(first / step) * step, k = 0; k < 200; wall += step, k++) {
      const at = this.second_of(wall, away);
      if (at > this.to) return;
      const d = new Date(1000 * wall), midnight = wall % 86400 === 0;
      const clock = `${two(d.getUTCHours())}:${two(d.getUTCMinutes())}${step < 60 ? `:${two(d.getUTCSeconds())}` : ""}`;
      yield [at, midnight ? `${d.getUTCDate()} ${MONTHS[d.getUTCMonth()]}` : clock, midnight];
    }
  }

  second_of(wall, away) {
    let at = wall - away;
    at -= this.wall(at) - wall; // the clock may have changed on the way
    return at;
  }

  ticks(high) {
    const c = this.c;
    c.fillStyle = this.colour("grid");
    for (const [at] of this.marks()) c.fillRect(this.x(at), 0, 1, high - 36);
  }

  clock(y) {
    const c = this.c;
    c.font = "11px system-ui, sans-serif";
    c.fillStyle = this.colour("ink");
    c.textAlign = "center";
    for (const [at, text, bold] of this.marks()) {
      c.font = `${bold ? "bold " : ""}11px system-ui, sans-serif`;
      c.fillText(text, clamp(this.x(at), this.left + 18, this.wide - 18), y + 10);
    }
    c.textAlign = "left";
    c.font = "11px system-ui, sans-serif";
    c.fillStyle = this.colour("faint");
    c.fillText(`${this.said(this.from, false)} to ${this.said(this.to, false)}`, this.left, y + 28);
  }
}
