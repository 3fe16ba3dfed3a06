"""The page in a real browser: nothing leaves it, it reads, zooms and prints; its numbers are the JSON's."""

from __future__ import annotations

import base64
import json
import re
import time
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from io import BytesIO
from itertools import pairwise
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from cyclesim.analysis.result import Result, simulate
from cyclesim.said.drawing import drawing
from cyclesim.said.inputs import inputs
from cyclesim.said.report import report
from cyclesim.said.side_by_side import side_by_side
from cyclesim.said.values import result_values
from cyclesim.scenario.reading.load import load, written
from cyclesim.shown.page import page
from cyclesim.shown.pictures.plant import write_plant
from cyclesim.simulation.assembly import Assembly
from cyclesim.verification.verifier import verify
from tests.browser import AXE, chromium, needs_browser

SCHEDULES = Path(__file__).resolve().parents[2] / "schedules"
HARBOUR = SCHEDULES / "harbour-steps.yaml"
FIRST, DAYS = date(2027, 6, 28), 14  # the diverter is turned on 3 July

pytestmark = needs_browser


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """A headless browser that finds no host."""
    with chromium() as driver:
        yield driver


@pytest.fixture(scope="module")
def result() -> Result:
    """Two weeks of a shipped plant, in which somebody turns a valve."""
    return simulate(load(HARBOUR), days=DAYS, start=FIRST)


@pytest.fixture(scope="module")
def file(result: Result, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Its page, with faults."""
    told = report(
        result, tuple(inputs(written(HARBOUR))), verify(result.scenario, faults=1, rule="dry-running")
    )
    path = tmp_path_factory.mktemp("page") / "harbour.html"
    path.write_text(page([told]), encoding="utf-8")
    return path


def wide(browser: Any, px: int, dark: bool = False) -> None:
    """A screen of that width, light or dark."""
    size = {"width": px, "height": 900, "deviceScaleFactor": 1, "mobile": px < 600}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [scheme]})


def opened(browser: Any, path: Path, px: int = 1280) -> None:
    """Open a page and wait for its timeline."""
    wide(browser, px)
    browser.get(path.as_uri())
    until(browser, "return !!document.querySelector('.timeline').timeline")


def until(browser: Any, script: str, seconds: float = 5.0) -> Any:
    """What *script* returns as soon as that is true."""
    end = time.monotonic() + seconds
    while not (found := browser.execute_script(script)):
        assert time.monotonic() < end, script
        time.sleep(0.02)
    return found


@pytest.fixture(scope="module")
def two_pumps(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page of the shipped plant with the longest names and the most legs of the pair."""
    path = tmp_path_factory.mktemp("page") / "circulator.html"
    told = report(simulate(load(SCHEDULES / "walled-garden-circulator.yaml"), days=14))
    path.write_text(page([told]), encoding="utf-8")
    return path


def test_no_table_scrolls_sideways_on_a_laptop_and_no_drawing_on_a_tablet(
    browser: Any, two_pumps: Path
) -> None:
    """At 1,280 px everything has room; at 500 px the drawing shrinks, and its words stay above 8 px."""
    scrolls = (
        "return [...document.querySelectorAll('.wide')].filter(e => e.scrollWidth > e.clientWidth + 1).length"
    )
    opened(browser, two_pumps)
    assert 0 == browser.execute_script(scrolls)
    wide(browser, 500)
    drawn = "const e = document.querySelector('#plant .wide'), s = e.querySelector('svg'); "
    assert browser.execute_script(f"{drawn} return e.scrollWidth <= e.clientWidth + 1")
    assert browser.execute_script(f"{drawn} return s.clientWidth / s.viewBox.baseVal.width") > 8 / 12


def test_no_line_of_the_timeline_crosses_its_headings(browser: Any, two_pumps: Path) -> None:
    """With the moment at the left edge of the bars, the words of the first headings lie on bare paper."""
    opened(browser, two_pumps)
    browser.execute_script("const t = document.querySelector('.timeline').timeline; t.at = t.from; t.drawn()")
    column = browser.execute_script(
        "const t = document.querySelector('.timeline').timeline, c = t.canvas, x = Math.round(t.x(t.at));"
        "const d = window.devicePixelRatio || 1;"
        "const row = y => c.getContext('2d').getImageData((x - 3) * d, y * d, 7 * d, 1).data;"
        "return [...Array(22).keys()].map(y => [...row(y)].filter((_, k) => k % 4 == 0).join(','))"
    )
    whole = [row for row in column if len(set(row.split(","))) == 1]
    assert len(whole) >= 8, (
        "the rows above and below the letters are of one colour, without the moment's line"
    )


def test_no_curve_crosses_the_numbers_of_the_temperatures(browser: Any, two_pumps: Path) -> None:
    """On a phone they stand among the curves: each on bare paper, and nothing is drawn after the first."""
    opened(browser, two_pumps, 400)
    done = browser.execute_script(
        "const t = document.querySelector('.timeline').timeline, c = t.canvas.getContext('2d'), done = [];"
        "const own = t.temperatures.bind(t), does = ['stroke', 'fill', 'fillRect', 'fillText'];"
        "t.temperatures = (...at) => {"
        "  for (const what of does) c[what] = (...how) => {"
        "    done.push(what); CanvasRenderingContext2D.prototype[what].apply(c, how) };"
        "  own(...at); for (const what of does) delete c[what]; };"
        "t.drawn(); delete t.temperatures; return done"
    )
    first = done.index("fillText") - 1
    assert "stroke" in done[:first]
    assert done[first:] == ["fillRect", "fillText"] * (len(done[first:]) // 2)


@pytest.mark.parametrize("px", [390, 1280])
def test_no_word_of_the_timeline_is_cut(browser: Any, two_pumps: Path, px: int) -> None:
    """What its shades and lines mean is told whole on a phone too, each word within the canvas."""
    opened(browser, two_pumps, px)
    told = browser.execute_script(
        "const t = document.querySelector('.timeline').timeline, c = t.canvas.getContext('2d'), told = [];"
        "c.fillText = (text, x) =>"
        "  told.push([text, x + (c.textAlign === 'left') * c.measureText(text).width]);"
        "t.drawn(); delete c.fillText; return [told, t.wide]"
    )
    words, ends = " ".join(text for text, _ in told[0]), [end for _, end in told[0]]
    for meaning in (
        "paler = part of the time",
        "hatched = waits, runs on or tripped",
        "crossed out = above it",
    ):
        assert meaning in words
    assert max(ends) <= told[1] + 1
    assert min(ends) >= 0


def test_nothing_leaves_the_page_and_nothing_is_wrong(browser: Any, file: Path) -> None:
    """No word on the console, and no request but the file itself and its empty icon."""
    browser.get_log("performance")
    browser.get_log("browser")
    opened(browser, file)
    assert [] == browser.get_log("browser")
    messages = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    asked = [m["params"]["request"]["url"] for m in messages if m["method"] == "Network.requestWillBeSent"]
    assert {file.as_uri()} == {url for url in asked if not url.startswith(("data:", "blob:"))}
    assert "default-src 'none'" in browser.execute_script(
        "return document.querySelector('meta[http-equiv]').content"
    )


@pytest.mark.parametrize(("px", "dark"), [(1280, False), (1280, True), (390, False)])
def test_people_with_any_handicap_can_read_it(browser: Any, file: Path, px: int, dark: bool) -> None:
    """axe-core finds nothing serious, everything unfolded; and nothing is wider than the screen."""
    opened(browser, file, px)
    wide(browser, px, dark)
    browser.execute_script("for (const d of document.querySelectorAll('details')) d.open = true;")
    assert browser.execute_script("return document.documentElement.scrollWidth") <= px
    browser.execute_script(AXE.read_text(encoding="utf-8"))
    only = "{runOnly: ['color-contrast']}" if dark else "{}"
    found = browser.execute_async_script(f"axe.run({only}).then(arguments[0])")
    bad = [
        (v["id"], v["impact"], v["nodes"][0]["html"][:120])
        for v in found["violations"]
        if v["impact"] in ("serious", "critical", "moderate")
    ]
    assert [] == bad
    assert len(found["passes"]) >= (1 if dark else 20)


def view(browser: Any) -> tuple[float, float, float]:
    """From when to when is shown, and the moment."""
    shown = "const t = document.querySelector('.timeline').timeline; return [t.from, t.to, t.at]"
    return tuple(browser.execute_script(shown))


def test_it_zooms_by_keys_from_everything_to_one_flush(browser: Any, file: Path, result: Result) -> None:
    """Plus halves what is shown, minus doubles it; the next start is that of a pump in the trace."""
    from selenium.webdriver.common.keys import Keys

    opened(browser, file)
    scope = browser.find_element("css selector", ".scope")
    browser.execute_script("arguments[0].focus()", scope)
    assert (0, result.trace.span_s, 0) == view(browser)
    scope.send_keys(Keys.ARROW_RIGHT)
    assert pytest.approx(result.trace.span_s / 100) == view(browser)[2]
    scope.send_keys("++")
    start, end, _ = view(browser)
    assert pytest.approx(result.trace.span_s / 4) == end - start
    scope.send_keys("-")
    start, end, _ = view(browser)
    assert pytest.approx(result.trace.span_s / 2) == end - start
    scope.send_keys(Keys.END)
    assert result.trace.span_s == view(browser)[2]
    scope.send_keys(Keys.HOME)
    main = result.trace.pumps["main"]
    starts = sorted(a for state in ("low", "high") for a, _ in main.spans(state) if a > 0)
    button = browser.find_element("css selector", "[data-go=next]")
    for second in starts[:3]:
        button.click()
        assert second == view(browser)[2]
    there = result.trace.local(starts[2])
    spoken = scope.get_attribute("aria-valuetext")
    assert spoken.startswith(f"{there:%a} {there.day} {there:%b %Y %H:%M:%S}")
    browser.find_element("css selector", "[data-show='300']").click()
    start, end, at = view(browser)
    assert (300, True) == (round(end - start), start <= at <= end)
    browser.find_element("css selector", "[data-go=on]").click()
    assert pytest.approx(start + 150) == view(browser)[0]
    scope.send_keys(Keys.END)  # beyond what is shown, which then follows
    start, end, at = view(browser)
    assert (300, result.trace.span_s, result.trace.span_s) == (round(end - start), round(end), at)


def test_what_is_shown_is_told_in_words(browser: Any, file: Path, result: Result) -> None:
    """The hour round a line flush: each stay of the pump in it, from when to when, and nothing else of it."""
    opened(browser, file)
    trace = result.trace
    flush = trace.pumps["main"].spans("high")[0][0]
    script = "const t = document.querySelector('.timeline').timeline; t.show(arguments[0], arguments[1])"
    browser.execute_script(script, flush - 1800, flush + 1800)
    browser.execute_script("document.querySelector('.events').open = true")
    until(browser, "return document.querySelectorAll('.events li').length > 0")
    told = browser.execute_script(
        "return [...document.querySelectorAll('.events li')].map((li) => li.textContent)"
    )

    def said(second: int) -> str:
        local = trace.local(second)
        return f"{local:%a} {local.day} {local:%b %Y %H:%M:%S}"

    due = [
        f"{said(stay.start_s)} to {said(stay.end_s)}: main {stay.state}"
        for stay in trace.pumps["main"]
        if stay.state in ("low", "high") and stay.start_s < flush + 1800 and stay.end_s > flush - 1800
    ]
    assert due
    assert due == [text for text in told if ": main " in text]


def test_a_mouse_drags_over_what_it_wants_to_see(browser: Any, file: Path, result: Result) -> None:
    """From a half to three quarters of the drawn width: a quarter of the run."""
    from selenium.webdriver import ActionChains

    opened(browser, file)
    scope = browser.find_element("css selector", ".scope")
    browser.execute_script("arguments[0].scrollIntoView()", scope)
    until(browser, "return document.querySelector('.timeline').timeline.wide > 0")
    width = scope.size["width"]
    left = browser.execute_script("return document.querySelector('.timeline').timeline.left")
    drawn = width - left
    begin = round(left + drawn / 2 - width / 2)
    chain = ActionChains(browser, duration=50).move_to_element_with_offset(scope, begin, 0).click_and_hold()
    chain.move_by_offset(round(drawn / 4), 0).release().perform()
    start, end, _ = view(browser)
    assert pytest.approx(0.50 * result.trace.span_s, rel=0.01) == start
    assert pytest.approx(0.75 * result.trace.span_s, rel=0.01) == end


def test_a_finger_taps_where_it_wants_to_read(browser: Any, file: Path, result: Result) -> None:
    """On a phone the timeline fills the width; a tap at three quarters is three quarters of the run."""
    opened(browser, file, 390)
    browser.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": True})
    scope = browser.find_element("css selector", ".scope")
    browser.execute_script("arguments[0].scrollIntoView()", scope)
    box = browser.execute_script(
        "const b = arguments[0].getBoundingClientRect(); return [b.x, b.y, b.width]", scope
    )
    point = {"x": box[0] + 0.75 * box[2], "y": box[1] + 100}
    browser.execute_cdp_cmd("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [point]})
    browser.execute_cdp_cmd("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    browser.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": False})
    assert pytest.approx(0.75 * result.trace.span_s, rel=0.01) == view(browser)[2]


@pytest.mark.parametrize("px", [400, 1280])
def test_pins_of_findings_stand_whole_and_apart(browser: Any, file: Path, px: int) -> None:
    """At either end of the run too; each finding has one before another has its second, the worst first."""
    opened(browser, file, px)
    script = """
        const t = document.querySelector('.timeline').timeline, [first, last] = t.data.span;
        const every = Float64Array.from({length: 200}, (_, k) => first + k * (last - first) / 199);
        const one = (number, at) => ({number, severity: 'danger', text: `${number}`, at});
        t.data.noted = [one(1, every), one(2, [first]), one(3, [last]), one(4, [(first + last) / 2])];
        t.draw();
        return [t.left, t.wide, t.pinned().map((p) => [p.one.number, p.x, p.middle])]"""
    left, wide, pins = browser.execute_script(script)
    assert len(pins) == 203
    told = [(number, middle) for number, _, middle in pins if middle is not None]
    assert all(left + 8 <= middle <= wide - 8 for _, middle in told)
    at = sorted(middle for _, middle in told)
    assert all(b - a >= 18 for a, b in pairwise(at))
    assert [1, 3, 4] == [number for number, _ in told[:3]], "the second begins where the first does"
    assert (px - 200) / 40 < len(told) < px / 18


def test_the_moment_is_read_off_the_trace(browser: Any, file: Path, result: Result) -> None:
    """Tub water, the pump and the cut-off leg at a moment of each day, by the trace and by hand."""
    opened(browser, file)
    trace = result.trace
    turned = (
        datetime(2027, 7, 3, 21, 30, tzinfo=ZoneInfo("Europe/Athens")) - trace.begin_utc
    ).total_seconds()
    states = set[str]()
    for day in range(1, DAYS):
        second = 86_400 * day + 3_600 * (5 * day % 24)
        browser.execute_script("document.querySelector('.timeline').timeline.move(arguments[0])", second)
        script = (
            "return Object.fromEntries([...document.querySelectorAll('.readout div')]"
            ".map((d) => [d.firstChild.textContent, d.lastChild.textContent]))"
        )
        told = browser.execute_script(script)
        water = float(np.interp(second, trace.tub.start_s, trace.tub.water_c))
        assert pytest.approx(water, abs=0.06) == float(told["tub water"].split()[0])
        state = next(x.state for x in trace.pumps["main"] if x.start_s <= second < x.end_s)
        assert {"high": "high", "low": "low"}.get(state, "off") == told["main"]
        states.add(told["main"])
        if second > turned + 3600:  # nothing moves the right bench from then on
            age = float(told["oldest water, right_bench"].split()[0])
            assert age >= (second - turned) / 3600 - 0.05
            assert told["oldest water, right_bench"].endswith("!") == (age > 24)
    assert {"low", "off"} <= states


def test_what_is_above_the_limit_is_drawn_so_from_the_hour_on(browser: Any, file: Path) -> None:
    """Water that stands from 3 July 21:30 is 24 h old a day later: just above the limit's line the row is
    blank 12 h after the start, and not 30 h after, though the curve goes straight to hundreds of hours."""
    opened(browser, file)
    until(browser, "return !!document.querySelector('.timeline').timeline.placed")
    look = """
        const t = document.querySelector('.timeline').timeline, c = t.canvas.getContext('2d');
        const y = Math.round(t.placed['right_bench'](t.data.limit)) - 3, x = Math.round(t.x(arguments[0]));
        const dots = c.getImageData(x - 4, y - 4, 8, 4).data, reds = [];
        for (let k = 0; k < dots.length; k += 4) reds.push(dots[k] - dots[k + 2]);
        return Math.max(...reds)"""
    stands_s = 5 * 86_400 + 21.5 * 3600
    assert browser.execute_script(look, stands_s + 12 * 3600) < 20
    assert browser.execute_script(look, stands_s + 30 * 3600) > 80


def test_numbers_are_those_of_the_json(browser: Any, file: Path, result: Result) -> None:
    """Pumps, sources, legs, months: each number of a table within its last digit of the JSON's."""
    opened(browser, file)
    values = result_values(result)
    script = (
        "return [...document.querySelectorAll('table')].map((t) => [t.caption ? t.caption.textContent : '',"
        " [...t.rows].map((r) => [...r.cells].map((c) => c.textContent))])"
    )
    tables = dict(browser.execute_script(script))

    def close(text: str, value: float) -> bool:
        digits = len(text.partition(".")[2])
        return abs(float(text.replace(",", "")) - value) <= 0.5 * 10.0**-digits + 1e-9

    checked = 0
    pumps = next(rows for title, rows in tables.items() if title.startswith("Pumps"))
    assert close(pumps[1][1], values["pumps"]["main"]["running_h"])
    assert close(pumps[1][-1], values["pumps"]["main"]["cost"])
    months = next(rows for title, rows in tables.items() if title.startswith("Money by month and device"))
    for row, month in zip(months[1:], values["energy"]["by_month"], strict=True):
        for text, device in zip(row[1:], month["by_device"].values(), strict=True):
            assert close(text, device["cost"])
            checked += 1
    weeks = next(rows for title, rows in tables.items() if title.startswith("Oldest water in each week"))
    for k, heading in enumerate(weeks[0][1:], start=1):
        oldest = values["legs"][heading.removesuffix(" h")]["oldest_water_h"]
        assert close(max((row[k] for row in weeks[1:]), key=float), oldest)
        checked += 1
    bars = tables["What each device cost"]
    for row in bars:
        assert close(row[1].split()[0], values["energy"]["by_device"][row[0]]["cost"])
        checked += 1
    assert checked > 8


def test_the_weeks_are_told_by_keys(browser: Any, file: Path) -> None:
    """Down and right lead to the next leg and week, whose number is then said."""
    from selenium.webdriver.common.keys import Keys

    opened(browser, file)
    box = browser.find_element("css selector", ".weeks-of")
    box.send_keys(Keys.ARROW_DOWN, Keys.ARROW_DOWN, Keys.ARROW_RIGHT)
    said = browser.find_element("css selector", ".told").text
    assert re.fullmatch(r"left_bench, week from 5 Jul 2027: oldest water [\d.]+ h", said)


def test_it_prints_with_everything_unfolded_and_light(browser: Any, file: Path) -> None:
    """Verdict, input and assumption are text of the PDF; the canvas is light, also from a dark screen."""
    from pypdf import PdfReader

    opened(browser, file)
    wide(browser, 1280, dark=True)
    printed = browser.execute_cdp_cmd("Page.printToPDF", {"paperWidth": 8.27, "paperHeight": 11.69})
    pages = PdfReader(BytesIO(base64.b64decode(printed["data"]))).pages
    assert "3 rules broken: 3 hygiene." in " ".join(pages[0].extract_text().split())
    assert "conductivity of concrete" in " ".join(pages[-1].extract_text().split()) + " ".join(
        pages[-2].extract_text().split()
    )
    dark = browser.execute_script(
        "const t = document.querySelector('.timeline').timeline;"
        "dispatchEvent(new Event('beforeprint'));"
        "const p = t.canvas.getContext('2d').getImageData(2, t.canvas.height - 3, 1, 1).data;"
        "dispatchEvent(new Event('afterprint')); return p[0] < 128"
    )
    assert not dark


@pytest.mark.parametrize(
    "title",
    ["</script><script>window.taken=1</script>", "</title><img src=x onerror=window.taken=1>",
     "# $x$ {{ 7*7 }}", "\u05d0\u05d1\u05d2 right to left \"'&amp;", "W" * 200],
    ids=["script", "image", "signs", "rtl", "long"],
)  # fmt: skip
def test_a_hostile_title_is_text(browser: Any, title: str, result: Result, tmp_path: Path) -> None:
    """It reads as it was written, runs nothing and makes no page wider than a phone."""
    from dataclasses import replace

    told = report(replace(result, about=replace(result.about, title=title)))
    path = tmp_path / "title.html"
    path.write_text(page([told]), encoding="utf-8")
    opened(browser, path, 390)
    assert title == browser.execute_script("return document.querySelector('h1').textContent")
    assert title == browser.title
    assert browser.execute_script("return window.taken === undefined")
    assert browser.execute_script("return document.documentElement.scrollWidth") <= 390


def test_no_letter_of_a_drawing_leaves_the_box_that_was_kept_for_it(browser: Any, tmp_path: Path) -> None:
    """Texts as the browser lays them out, within the widths by which the drawing was laid out."""
    for path in sorted(SCHEDULES.glob("*.yaml")):
        plant = Assembly(load(path))
        sheet = drawing(plant, us=path.stem == "cedar-yard")
        (tmp_path / "plant.svg").write_text(write_plant(sheet), encoding="utf-8")
        browser.get((tmp_path / "plant.svg").as_uri())
        boxes = browser.execute_script(
            "return [...document.querySelectorAll('text')].map((t) => "
            "{ const b = t.getBBox(); return [t.textContent, b.width]; })"
        )
        widths = {line: label.box.x1 - label.box.x0 for label in sheet.labels for line in label.lines}
        assert widths.keys() <= {text for text, _ in boxes}
        for text, width in boxes:
            assert width <= widths.get(text, width), (path.name, text)


def test_two_plants_read_as_well_as_one(browser: Any, result: Result, tmp_path: Path) -> None:
    """Both timelines are live, nothing serious is found, and neither screen is too narrow."""
    told = report(result)
    path = tmp_path / "two.html"
    path.write_text(page([told, told], side_by_side(result, result)), encoding="utf-8")
    opened(browser, path)
    until(browser, "return [...document.querySelectorAll('.timeline')].every((t) => t.timeline)")
    browser.execute_script(AXE.read_text(encoding="utf-8"))
    found = browser.execute_async_script("axe.run({runOnly: ['wcag2a', 'wcag2aa']}).then(arguments[0])")
    assert [] == [(v["id"], v["nodes"][0]["html"][:120]) for v in found["violations"]]
    for px in (390, 1280, 1700):
        wide(browser, px)
        assert browser.execute_script("return document.documentElement.scrollWidth") <= px


@pytest.mark.slow
def test_a_year_opens_within_a_second(browser: Any, tmp_path: Path) -> None:
    """From asking for it until the timeline is drawn; a generous machine-free bound of five."""
    told = report(simulate(load(SCHEDULES / "long-table.yaml")))
    path = tmp_path / "year.html"
    path.write_text(page([told]), encoding="utf-8")
    begun = time.monotonic()
    opened(browser, path)
    until(browser, "return document.querySelector('canvas').height > 200")
    assert timedelta(seconds=time.monotonic() - begun) < timedelta(seconds=5)
