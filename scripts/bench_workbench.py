"""How quick the workbench is, in a browser that is driven: from the start, and from a run that is moved.

Run it on an idle machine with Debian's chromium and chromium-driver: `python scripts/bench_workbench.py`. It
is no test; times are printed, not judged, with the bound that each is meant to keep beside it.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from tests.workbench.driven import Window, chromium, served  # noqa: E402 - it lies beside this folder

FILE = ROOT / "schedules" / "walled-garden.yaml"
HANDLE = "[data-run='schedule.line_flushes.0.0'].move"
TIMES = 5

# How long it takes until an answer of so many days stands there that is not an older one.
ANSWERED = """
const [days, over] = arguments, began = performance.now();
const look = () => {
  const told = document.querySelector(".answers:not(.stale) .note")?.textContent ?? "";
  if (told.includes(days)) over(performance.now() - began);
  else requestAnimationFrame(look);
};
requestAnimationFrame(look);
"""
LONGEST = """
window.longest = 0;
new PerformanceObserver((list) => {
  for (const entry of list.getEntries()) window.longest = Math.max(window.longest, entry.duration);
}).observe({type: "longtask"});
"""
WEIGHT = (
    "return performance.getEntriesByType('resource').concat(performance.getEntriesByType('navigation'))"
    ".filter((e) => !e.name.includes('/api/')).reduce((sum, e) => sum + e.encodedBodySize, 0) / 1000"
)


def say(what: str, found: str, beside: str = "") -> None:
    """One line."""
    print(f"{what:<52}{found:>10}  {beside}", flush=True)


def moved(window: Window) -> tuple[float, float, float]:
    """Drag a flush by a quarter of an hour: ms to the fortnight, to the year, and the longest task of it."""
    from selenium.webdriver import ActionChains

    driver = window.driver
    driver.execute_script(LONGEST)
    step = round(window.one(".strip svg").size["width"] / 96)
    chain = ActionChains(driver, duration=20).move_to_element(window.one(HANDLE)).click_and_hold()
    for _ in range(8):
        chain.move_by_offset(step, 0).move_by_offset(-step, 0)
    chain.move_by_offset(step + 2, 0).perform()
    longest = driver.execute_script("return window.longest")
    ActionChains(driver).release().perform()
    first = driver.execute_async_script(ANSWERED, "14 days")
    return first, first + driver.execute_async_script(ANSWERED, "a year"), longest


def main() -> None:
    """Measure and print everything."""
    with tempfile.TemporaryDirectory() as place:
        folder, cache = Path(place, "plants"), Path(place, "cache")
        folder.mkdir()
        shutil.copy(FILE, folder)
        begun = time.perf_counter()
        with served(folder, cache) as address:
            say("the address is printed after", f"{time.perf_counter() - begun:.2f} s")
            with chromium() as driver:
                driver.set_script_timeout(60)
                begun = time.perf_counter()
                window = Window(driver, address)
                window.until("return !!document.querySelector('main h1')")
                say(
                    "the shelf is shown after",
                    f"{time.perf_counter() - begun:.2f} s",
                    "(under 1 with the start)",
                )
                say(
                    "the page without the text editor",
                    f"{driver.execute_script(WEIGHT):.0f} kB",
                    "(at most 400)",
                )
                window.go(FILE.name, "day")
                window.sees("a year", ".answers .note")
                found = [moved(window) for _ in range(TIMES)]
                fortnight, year, longest = (min(one[k] for one in found) for k in range(3))
                say("from a dropped handle to the fortnight", f"{fortnight:.0f} ms", "(within 400)")
                say("from a dropped handle to the year", f"{year:.0f} ms", "(within 1500)")
                say("the longest task while dragging", f"{longest:.0f} ms", "(under 50; 0: none over 50)")


if __name__ == "__main__":
    main()
