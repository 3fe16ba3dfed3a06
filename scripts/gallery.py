"""Make the pictures of the README: `python scripts/gallery.py [NAME ...]`, all of them without a name.

The plant is drawn by cyclesim itself. The page is opened in the Chromium and driver of this machine, and its
timeline zoomed to the days in which a valve stays turned. The paper is drawn by poppler's pdftoppm; the
comparison by the command itself.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from shutil import which
from typing import TYPE_CHECKING

from cyclesim import __version__
from cyclesim.analysis.result import simulate
from cyclesim.cli import cli
from cyclesim.said.drawing import drawing
from cyclesim.said.papers.collected import HandOver
from cyclesim.said.report import report
from cyclesim.scenario.reading.fingerprint import fingerprint
from cyclesim.scenario.reading.load import load
from cyclesim.shown.page import page
from cyclesim.shown.papers.typeset import pdf
from cyclesim.shown.pictures.plant import write_plant

if TYPE_CHECKING:
    from selenium.webdriver.chrome.webdriver import WebDriver

sys.path.insert(0, str(Path(__file__).parent))

from measured_pipe import draw

ROOT = Path(__file__).resolve().parent.parent
GALLERY = ROOT / "schedules" / "gallery"
WIDE, HIGH = 1000, 1180


def plant() -> None:
    """The plant of the shipped pair that has two pumps, with its ages of a year."""
    file = ROOT / "schedules" / "walled-garden-circulator.yaml"
    result = simulate(load(file))
    text = write_plant(drawing(result.plant, result.metrics.legs), f"file {fingerprint([file])}")
    (GALLERY / "plant.svg").write_text(text, encoding="utf-8")


def paper() -> None:
    """The page of commissioning tests in the electrician's paper of the shipped pair's first plant."""
    from PIL import Image

    file = ROOT / "schedules" / "walled-garden.yaml"
    over = HandOver(load(file), fingerprint([file]), (), "2027-03-02", __version__)
    with tempfile.TemporaryDirectory() as folder:
        made, _ = pdf(over.papers(("electrician",)))
        (Path(folder) / "paper.pdf").write_bytes(made)
        subprocess.run(
            ["pdftoppm", "-r", "100", "-f", "2", "-l", "2", "-png", "-singlefile", "paper.pdf", "paper"],
            cwd=folder,
            check=True,
        )
        whole = Image.open(Path(folder) / "paper.png").convert("L")
        part = whole.crop((40, 40, whole.width - 40, round(0.665 * whole.height)))
        part.quantize(16).save(GALLERY / "paper.png", optimize=True)


def _browser(wide: int, high: int) -> WebDriver:
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = which("chromium") or ""
    for word in ("--headless=new", "--no-sandbox", "--disable-dev-shm-usage"):
        options.add_argument(word)
    browser = webdriver.Chrome(options=options, service=Service(which("chromedriver")))
    size = {"width": wide, "height": high, "deviceScaleFactor": 1, "mobile": False}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    return browser


def workbench() -> None:
    """The day of a shipped plant at the workbench, with what a year of it comes to."""
    from PIL import Image

    name = "walled-garden-circulator.yaml"
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / name).write_bytes((ROOT / "schedules" / name).read_bytes())
        words = [sys.executable, "-m", "cyclesim", "workbench", folder, "--no-open"]
        with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as server:
            assert server.stdout is not None
            browser = _browser(1200, 1060)
            try:
                browser.get(server.stdout.readline().strip())
                browser.get(f"{browser.current_url.split('#')[0]}#/{name}/day")
                while "Of a year" not in browser.execute_script("return document.body.innerText"):
                    time.sleep(0.2)
                time.sleep(1.0)
                browser.save_screenshot(str(Path(folder) / "shot.png"))
            finally:
                browser.quit()
                server.terminate()
        whole = Image.open(Path(folder) / "shot.png").convert("RGB")
        whole.quantize(192).save(GALLERY / "workbench.png", optimize=True)


def shown_page() -> None:
    """A page from its top, and its timeline from a week before the valve is turned to a week after."""
    from PIL import Image

    result = simulate(load(ROOT / "schedules" / "harbour-steps.yaml"))
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "page.html"
        file.write_text(page([report(result)]), encoding="utf-8")
        browser = _browser(WIDE, HIGH)
        browser.get(file.as_uri())
        while not browser.execute_script("return !!document.querySelector('.timeline').timeline"):
            time.sleep(0.05)
        begin = result.trace.begin_utc
        span = [(datetime(2027, *day, tzinfo=UTC) - begin).total_seconds() for day in ((6, 26), (7, 27))]
        browser.execute_script(
            "const t = document.querySelector('.timeline').timeline;"
            "t.at = (arguments[0] + arguments[1]) / 2; t.show(arguments[0], arguments[1])",
            *span,
        )
        parts = []
        for place in ("body", "#plant", "#timeline"):
            browser.execute_script(f"document.querySelector('{place}').scrollIntoView()")
            if place == "body":
                browser.execute_script("scrollTo(0, 0)")
            time.sleep(0.3)
            picture = Path(folder) / f"{len(parts)}.png"
            browser.save_screenshot(str(picture))
            parts.append(Image.open(picture).convert("RGB"))
        browser.quit()
    heights, wide = (428, 462, 980), WIDE - 16  # without the browser's bar
    whole = Image.new("RGB", (wide, sum(heights)), "white")
    top = 0
    for part, high in zip(parts, heights, strict=True):
        whole.paste(part.crop((0, 0, wide, high)), (0, top))
        top += high
    whole.quantize(64).save(GALLERY / "page.png", optimize=True)


def measured() -> None:
    """Warm water through a measured pipe, beside what is computed."""
    draw(GALLERY / "measured-pipe.svg")


def comparison() -> None:
    """The shipped pair over 200 futures, as the README's command draws it: some 450 runs of a year.

    They are made on all cores and kept, so that a second drawing takes seconds.
    """
    files = [ROOT / "schedules" / f"walled-garden{name}.yaml" for name in ("", "-circulator")]
    words = ["compare", *map(str, files), "--futures", "200", "--figure", str(GALLERY / "compare.svg")]
    status = cli.main(words, standalone_mode=False)
    if status:
        raise SystemExit(status)


PICTURES: dict[str, Callable[[], None]] = {
    "plant": plant,
    "workbench": workbench,
    "page": shown_page,
    "paper": paper,
    "measured": measured,
    "compare": comparison,
}


def main(words: list[str]) -> int:
    """Make the pictures that *words* name; 2 for a word that names none."""
    if unknown := [word for word in words if word not in PICTURES]:
        print(f"no picture is called {unknown[0]}; there are {', '.join(PICTURES)}", file=sys.stderr)
        return 2
    for name in words or PICTURES:
        PICTURES[name]()
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
