// Weeks by keys, everything unfolded and light in print, and the timelines brought to life.

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
