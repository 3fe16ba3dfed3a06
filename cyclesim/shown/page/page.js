"use strict";
(() => {
  const DAYS = ["Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"];
  const MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
  const LEAST_S = 20, MOST_EVENTS = 80;
  const two = (n) => String(n).padStart(2, "0");
  const clamp = (x, low, high) => Math.min(Math.max(x, low), high);

  // -- what the page carries ----------------------------------------------------------------------------

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
    return { span: told.span, offsets: told.offsets, limit: told.limit, kept,
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

  // -- the timeline -------------------------------------------------------------------------------------

  class Timeline {
    constructor(root, data) {
      Object.assign(this, { root, data, from: data.span[0], to: data.span[1], at: data.span[0], drag: null });
      this.scope = root.querySelector(".scope");
      this.canvas = this.scope.querySelector("canvas");
      this.readout = root.querySelector(".readout");
      this.list = root.querySelector(".events ol");
      this.pointers = new Map();
      this.listen();
      this.rows();
      this.show(this.from, this.to);
      new ResizeObserver(() => this.draw()).observe(this.scope);
      matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.draw());
    }

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

    show(from, to) {
      const [first, last] = this.data.span;
      const wide = clamp(to - from, Math.min(LEAST_S, last - first), last - first);
      this.from = clamp((from + to - wide) / 2, first, last - wide);
      this.to = this.from + wide;
      this.move(clamp(this.at, this.from, this.to));
      for (const b of this.root.querySelectorAll("[data-show]")) {
        const due = b.dataset.show === "all" ? last - first : Number(b.dataset.show);
        b.setAttribute("aria-pressed", String(Math.abs(due - wide) < 1));
      }
      this.events();
    }

    zoom(factor, about = this.at) {
      this.show(about - (about - this.from) * factor, about + (this.to - about) * factor);
    }

    move(second) {
      this.at = clamp(second, ...this.data.span);
      const wide = this.to - this.from;
      if (this.at < this.from || this.at > this.to) {
        this.from = clamp(this.at - wide / 2, this.data.span[0], this.data.span[1] - wide);
        this.to = this.from + wide;
        this.events();
      }
      this.tell();
      this.draw();
    }

    start(direction) {
      const starts = [];
      for (const lane of this.data.ran.filter((l) => l.kind === "pump"))
        for (const edges of [lane.full, lane.half])
          for (let k = 0; k < edges.length; k += 2) starts.push(edges[k]);
      const there = direction > 0 ? Math.min(...starts.filter((s) => s > this.at + 0.5))
                                  : Math.max(...starts.filter((s) => s < this.at - 0.5));
      if (!Number.isFinite(there)) return;
      const wide = Math.min(this.to - this.from, 3600);
      this.at = there;
      this.show(there - wide / 4, there + (3 * wide) / 4);
    }

    listen() {
      this.root.addEventListener("click", (event) => {
        const button = event.target.closest("button");
        if (!button) return;
        const { show, go, noted } = button.dataset, wide = this.to - this.from;
        if (show === "all") this.show(...this.data.span);
        else if (show) this.show(this.at - show / 2, this.at + show / 2);
        else if (go === "next" || go === "previous") this.start(go === "next" ? 1 : -1);
        else if (go) this.pan((go === "on" ? 0.5 : -0.5) * wide);
        else if (noted) {
          this.at = this.data.noted[noted].at[0];
          this.show(this.at - 10800, this.at + 10800);
          this.scope.focus();
        }
      });
      this.scope.addEventListener("keydown", (event) => {
        const step = (this.to - this.from) / (event.shiftKey ? 10 : 100);
        const does = {
          ArrowLeft: () => this.move(this.at - step), ArrowDown: () => this.move(this.at - step),
          ArrowRight: () => this.move(this.at + step), ArrowUp: () => this.move(this.at + step),
          PageUp: () => this.pan(-(this.to - this.from) / 2), PageDown: () => this.pan((this.to - this.from) / 2),
          Home: () => this.move(this.data.span[0]), End: () => this.move(this.data.span[1]),
          "+": () => this.zoom(0.5), "=": () => this.zoom(0.5), "-": () => this.zoom(2),
        }[event.key];
        if (!does || event.ctrlKey || event.metaKey || event.altKey) return;
        event.preventDefault();
        does();
      });
      const second = (x) => this.second(x - this.canvas.getBoundingClientRect().left);
      this.scope.addEventListener("pointerdown", (event) => {
        this.pointers.set(event.pointerId, event.clientX);
        this.scope.setPointerCapture(event.pointerId);
        if (event.pointerType === "mouse") this.drag = [second(event.clientX), second(event.clientX)];
        else this.move(second(event.clientX));
      });
      this.scope.addEventListener("pointermove", (event) => {
        if (event.pointerType === "mouse") {
          if (this.drag) this.drag[1] = second(event.clientX);
          this.move(clamp(second(event.clientX), this.from, this.to));
          return;
        }
        if (!this.pointers.has(event.pointerId)) return;
        const before = [...this.pointers.values()];
        this.pointers.set(event.pointerId, event.clientX);
        const now = [...this.pointers.values()];
        if (now.length === 2) {
          const apart = (pair) => Math.max(20, Math.abs(pair[0] - pair[1]));
          this.zoom(apart(before) / apart(now), second((now[0] + now[1]) / 2));
        } else this.move(second(event.clientX));
      });
      const up = (event) => {
        this.pointers.delete(event.pointerId);
        if (!this.drag) return;
        const [a, b] = this.drag;
        this.drag = null;
        if (Math.abs(b - a) > 0.01 * (this.to - this.from)) this.show(Math.min(a, b), Math.max(a, b));
        else this.draw();
      };
      this.scope.addEventListener("pointerup", up);
      this.scope.addEventListener("pointercancel", up);
      this.scope.addEventListener("dblclick", () => this.zoom(4));
      this.scope.addEventListener("wheel", (event) => {
        if (!event.ctrlKey && !event.metaKey) return; // a plain wheel scrolls the page
        event.preventDefault();
        this.zoom(event.deltaY > 0 ? 1.25 : 0.8, second(event.clientX));
      }, { passive: false });
      this.root.querySelector(".events").addEventListener("toggle", () => this.events());
    }

    pan(by) {
      const wide = this.to - this.from, off = this.at - this.from;
      this.from = clamp(this.from + by, this.data.span[0], this.data.span[1] - wide);
      this.at = this.from + off;
      this.show(this.from, this.from + wide);
    }

    // -- in words -----------------------------------------------------------------------------------------

    rows() {
      const { asked, ran, temperatures, ages } = this.data;
      this.told = [
        ...asked.map((l) => [`${l.name}, asked`, () => this.askedAt(l)]),
        ...ran.map((l) => [l.name, () => this.ranAt(l)]),
        ...temperatures.map((c) => [c.name === "tub" ? "tub water" : c.name,
                                    () => `${valueAt(c, this.at).toFixed(1)} °C`]),
        ...ages.map((c) => [`oldest water, ${c.name}`, () => `${valueAt(c, this.at).toFixed(1)} h`,
                            () => valueAt(c, this.at) > this.data.limit]),
      ];
      const moment = document.createElement("div");
      moment.className = "moment";
      this.moment = moment.appendChild(document.createElement("dt"));
      moment.appendChild(document.createElement("dd"));
      this.readout.replaceChildren(moment);
      for (const row of this.told) {
        const div = this.readout.appendChild(document.createElement("div"));
        div.appendChild(document.createElement("dt")).textContent = row[0];
        row.push(div.appendChild(document.createElement("dd")));
      }
    }

    askedAt(lane) {
      return within(lane.full, this.at) ? "has its pump" : within(lane.outline, this.at) ? "asks" : "no";
    }

    ranAt(lane) {
      if (within(lane.hatched, this.at)) return "waits, runs on or tripped";
      if (within(lane.half, this.at)) return "low";
      return within(lane.full, this.at) ? (lane.half.length ? "high" : "on") : "off";
    }

    tell() {
      this.moment.textContent = this.said(this.at);
      const spoken = [this.said(this.at)];
      for (const row of this.told) {
        const text = row[1](), over = row.length > 3 && row[2](), cell = row[row.length - 1];
        cell.textContent = over ? `${text} !` : text;
        cell.className = over ? "over" : "";
        if (text !== "off" && text !== "no") spoken.push(`${row[0]}: ${text}`);
      }
      const [first, last] = this.data.span;
      this.scope.setAttribute("aria-valuemin", first);
      this.scope.setAttribute("aria-valuemax", last);
      this.scope.setAttribute("aria-valuenow", Math.round(this.at));
      this.scope.setAttribute("aria-valuetext", spoken.join("; "));
    }

    events() {
      if (!this.root.querySelector(".events").open) return;
      const found = [];
      for (const lane of this.data.ran)
        for (const [kind, word] of [["full", lane.half.length ? "high" : "on"], ["half", "low"],
                                    ["hatched", "waits, runs on or tripped"]]) {
          const edges = lane[kind];
          for (let k = 2 * Math.floor(upTo(edges, this.from) / 2); k < edges.length && edges[k] < this.to; k += 2)
            found.push([edges[k], `${this.said(edges[k])} to ${this.said(edges[k + 1])}: ${lane.name} ${word}`]);
        }
      for (const one of this.data.noted)
        for (const at of one.at)
          if (at >= this.from && at < this.to) found.push([at, `${this.said(at)}: ${one.text}`]);
      found.sort((a, b) => a[0] - b[0]);
      const items = found.slice(0, MOST_EVENTS).map((one) => one[1]);
      if (found.length > MOST_EVENTS) items.push(`and ${found.length - MOST_EVENTS} more: zoom in to see them`);
      if (!items.length) items.push("nothing ran");
      this.list.replaceChildren(...items.map((text) => {
        const item = document.createElement("li");
        item.textContent = text;
        return item;
      }));
    }

    // -- drawn ---------------------------------------------------------------------------------------------

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
      const lane = narrow ? 32 : 19, age = narrow ? 48 : 34, title = 22, warm = 150;
      const high = (noted.length ? title + 24 : 0) + 2 * title + lane * (asked.length + ran.length)
                 + title + warm + title + age * ages.length + 40;
      const dots = window.devicePixelRatio || 1, c = this.canvas.getContext("2d");
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
      const head = (text) => {
        c.font = "bold 12px system-ui, sans-serif";
        const shown = this.narrow ? text.split(":")[0] : text;
        c.fillStyle = this.colour("paper");
        c.fillRect(0, y, c.measureText(shown).width + 6, title);
        c.fillStyle = this.colour("ink");
        c.fillText(shown, 0, y + title / 2 + 2);
        y += title;
      };
      if (noted.length) { head("Findings"); this.pins(y); y += 24; }
      head("Who asked for a pump: outline = asks, filled = has it, paler = part of the time");
      for (const one of asked) { this.lane(one, y, lane); y += lane; }
      head("What ran: half height = low speed, hatched = waits, runs on or tripped");
      for (const one of ran) { this.lane(one, y, lane); y += lane; }
      head("Temperatures, °C");
      this.temperatures(y, warm);
      y += warm;
      head(`Oldest water: dashed = the limit of ${this.data.limit} h, crossed out = above it`);
      for (const one of ages) { this.age(one, y, age); y += age; }
      this.clock(y);
      const at = this.x(this.at);
      c.fillStyle = this.colour("ink");
      c.fillRect(at - 0.5, 0, 1, high - 36);
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
      c.font = "11px system-ui, sans-serif";
      for (let v = low; v <= top; v += step) {
        c.fillStyle = this.colour("grid");
        c.fillRect(this.left, place(v), this.wide - this.left, 1);
        c.fillStyle = this.colour("faint");
        c.textAlign = this.narrow ? "left" : "right";
        c.fillText(String(v), this.narrow ? 2 : this.left - 6, place(v) - (this.narrow ? 6 : 0));
        c.textAlign = "left";
      }
      const looks = [["ink", []], ["pump", [6, 3]], ["heat", [2, 3]], ["people", [8, 3, 2, 3]]];
      this.clipped(y, high, () => {
        if (kept) {
          c.fillStyle = this.colour("band");
          for (let k = 0; k + 1 < kept.t.length; k++) {
            const a = this.x(kept.t[k]), b = this.x(kept.t[k + 1]);
            if (b >= this.left && a <= this.wide) c.fillRect(a, place(kept.high[k]), b - a, place(kept.low[k]) - place(kept.high[k]));
          }
        }
        drawn.forEach((points, k) => {
          const [colour, dash] = looks[Math.min(k, looks.length - 1)];
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
      temperatures.forEach((curve, k) => {
        const [colour, dash] = looks[Math.min(k, looks.length - 1)];
        const words = k ? curve.name : kept ? "tub; grey: to keep" : "tub";
        const x = this.narrow ? 30 + 140 * k : 0, at = this.narrow ? y + 2 : y + 16 + 18 * k;
        c.strokeStyle = this.colour(colour);
        c.setLineDash(dash);
        c.beginPath();
        c.moveTo(x, at);
        c.lineTo(x + 22, at);
        c.stroke();
        c.setLineDash([]);
        c.fillStyle = this.colour("ink");
        c.font = "11px system-ui, sans-serif";
        c.fillText(words.slice(0, this.narrow ? 17 : 22), x + 26, at);
      });
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
      let free = -Infinity;
      const pins = this.data.noted.flatMap((one) => [...one.at].map((at) => [at, one]));
      pins.sort((a, b) => a[0] - b[0]);
      for (const [at, one] of pins) {
        const x = this.x(at);
        if (x < this.left || x > this.wide || x < free) continue;
        free = x + 18;
        const serious = one.severity === "danger" || one.severity === "hygiene";
        c.fillStyle = this.colour(serious ? one.severity : "faint");
        c.fillRect(x - 8, y + 2, 16, 16);
        c.fillRect(x - 0.5, y + 18, 1, 6);
        c.fillStyle = this.colour("paper");
        c.font = "bold 11px system-ui, sans-serif";
        c.textAlign = "center";
        c.fillText(String(one.number), x, y + 10);
        c.textAlign = "left";
      }
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

  // -- weeks, details and print ----------------------------------------------------------------------------

  for (const box of document.querySelectorAll(".weeks-of")) {
    const told = box.nextElementSibling, cells = [...box.querySelectorAll(".week")];
    const rows = 1 + Math.max(-1, ...cells.map((c) => Number(c.dataset.row)));
    const columns = 1 + Math.max(-1, ...cells.map((c) => Number(c.dataset.column)));
    let at = null;
    const go = (cell) => {
      if (!cell) return;
      if (at) at.classList.remove("at");
      at = cell;
      at.classList.add("at");
      told.textContent = at.dataset.told;
    };
    box.addEventListener("click", (event) => go(event.target.closest(".week")));
    box.addEventListener("pointermove", (event) => {
      if (event.pointerType === "mouse") go(event.target.closest(".week"));
    });
    box.addEventListener("keydown", (event) => {
      const by = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowUp: [-1, 0], ArrowDown: [1, 0] }[event.key];
      if (!by || !cells.length) return;
      event.preventDefault();
      const row = at ? clamp(Number(at.dataset.row) + by[0], 0, rows - 1) : 0;
      const column = at ? clamp(Number(at.dataset.column) + by[1], 0, columns - 1) : 0;
      go(cells[row * columns + column]);
      at.scrollIntoView({ block: "nearest", inline: "nearest" });
    });
  }

  const shut = new Set();
  const redrawn = () => {
    for (const root of document.querySelectorAll(".timeline")) if (root.timeline) root.timeline.drawn();
  };
  addEventListener("beforeprint", () => {
    for (const d of document.querySelectorAll("details:not([open]):not(.screen)")) { shut.add(d); d.open = true; }
    document.documentElement.classList.add("printed"); // light, whatever the screen is
    redrawn();
  });
  addEventListener("afterprint", () => {
    document.documentElement.classList.remove("printed");
    redrawn();
    for (const d of shut) d.open = false;
    shut.clear();
  });

  for (const root of document.querySelectorAll(".timeline")) {
    const packed = document.getElementById(root.dataset.from).textContent;
    unpacked(packed).then((told) => { root.timeline = new Timeline(root, opened(told)); }).catch(() => {
      root.querySelector(".scope").replaceWith("The timeline needs a newer browser. All else can be read.");
    });
  }
})();
