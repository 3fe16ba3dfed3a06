// What of the timeline is shown, by buttons, keys, mouse and fingers, and what it says in words.

class Timeline extends DrawnTimeline {
  constructor(root, data) {
    super();
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
                                  () => `${valueAt(c, this.at).toFixed(1)} ${this.data.unit}`]),
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
}
