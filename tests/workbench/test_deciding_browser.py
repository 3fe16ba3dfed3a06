"""Year, orders of events, decisions, readings and hand-over in a real browser, by mouse and by keyboard."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from icalendar import Calendar
from pypdf import PdfReader

from cyclesim.analysis.result import simulate
from cyclesim.decide.comparing.comparison import compare
from cyclesim.decide.sizing.pump_sizing import size_pump
from cyclesim.said.as_done import as_done
from cyclesim.said.run import run_page
from cyclesim.said.size_pump import pump_page
from cyclesim.scenario.reading.load import load, load_text
from cyclesim.scenario.reading.readings import load_readings
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.shown.page import MADE_BY
from cyclesim.verification.verifier import verify
from cyclesim.workbench.views import page_view
from tests.browser import chromium, needs_browser
from tests.workbench.driven import Window, both_ways, served

pytestmark = [needs_browser, pytest.mark.slow, pytest.mark.timeout(400)]

COARSE = (
    starter_text()
    .replace("filter_windows: 2", "filter_windows: 1")
    .replace("time_step: 15 min", "time_step: 2 h")
    .replace("[15 s, 30 s, 60 s]", "[60 s]")
    + "\ntuning: {filter_runs_a_day: 1}\n"
)
"""So few programmes can be keyed in that a search is soon over."""
UNPROVEN = starter_text().replace("  - {block: element, unless: flow proven, for: 5 s}\n", "")
TOO_SHORT = COARSE.replace("[60 s]", "[15 s]").replace("time_step: 2 h", "time_step: 6 h")
"""No flush that can be keyed in reaches the last jet, so no programme holds."""
LOUD = (
    starter_text()
    .replace("start: [07:30, 19:30]", "start: [06:00, 19:30]")
    .replace("start: [03:00, 15:00], lasts: 2 h", "start: [03:00], days: [monday], lasts: 2 h")
)
"""It flushes in quiet hours, and the water is cold when people step in: two findings."""
FEW_DAYS = """
const asked = window.fetch;
window.fetch = (path, options = {}) => {
  if (!String(path).split("?")[0].endsWith("/ask")) return asked(path, options);
  const body = JSON.parse(options.body);
  body.options.days = 2;
  return asked(path, { ...options, body: JSON.stringify(body) });
};
"""
"""Lets every question of the page be one of two days, as a test has no minutes."""
TICK = "return [...document.querySelectorAll('label.tick')].find((l) => l.textContent.includes(arguments[0]))"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Plants for each of the views."""
    folder = tmp_path_factory.mktemp("deciding")
    texts = {"garden": starter_text(), "boiler": starter_text("boiler"), "us": starter_text("us"),
             "coarse": COARSE, "unproven": UNPROVEN, "loud": LOUD, "short": TOO_SHORT}  # fmt: skip
    assert len(set(texts.values())) == len(texts)
    for name, text in texts.items():
        (folder / f"{name}.yaml").write_text(text, encoding="utf-8", newline="\n")
    return folder


@pytest.fixture(scope="module")
def window(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Window]:
    """A window on that folder, whose downloads go to `downloads` in it."""
    with served(folder, tmp_path_factory.mktemp("cache")) as address, chromium() as driver:
        made = Window(driver, address)
        made.screen(1280)
        to = {"behavior": "allow", "downloadPath": str(folder / "downloads")}
        driver.execute_cdp_cmd("Browser.setDownloadBehavior", to)
        yield made
        assert [] == [said for said in made.console() if "400 (Bad Request)" not in said]


def press(window: Window, text: str, within: str = "main") -> None:
    """Use a button by how it begins."""
    script = (
        "const b = [...document.querySelectorAll(arguments[0] + ' button')].find((e) => !e.disabled "
        "&& e.textContent.replace(/\\s+/g, ' ').trim().startsWith(arguments[1]));"
        "b?.scrollIntoView({block: 'center'}); return b"
    )
    window.use(window.until(script, within, text))


def cells(window: Window, css: str) -> list[str]:
    """The text of every cell of the tables that stand there, blanks made one."""
    script = "return [...document.querySelectorAll(arguments[0])].map((c) => c.textContent.trim())"
    return list(window.driver.execute_script(script, f"{css} :is(td, th)"))


def of_page(blocks: list[dict[str, Any]]) -> list[str]:
    """The text of every cell of a page's tables, in order."""
    made = []
    for block in blocks:
        if block["kind"] == "table":
            made += [text.strip() for text, _ in block["heads"]]
            made += [text.strip() for _, row in block["rows"] for text, _ in row]
    return made


# -- any screen ----------------------------------------------------------------------------------------------

VIEWS = {
    "year": ("loud.yaml", "year"), "orders": ("unproven.yaml", "orders"), "tune": ("garden.yaml", "decide"),
    "compare": ("garden.yaml", "decide", "compare"), "size": ("garden.yaml", "decide", "size"),
    "savings": ("garden.yaml", "decide", "savings"), "measured": ("garden.yaml", "measured"),
    "hand over": ("garden.yaml", "handover"),
}  # fmt: skip


@pytest.mark.parametrize("view", VIEWS)
def test_people_with_any_handicap_can_use_a_view(window: Window, view: str) -> None:
    """axe-core finds nothing serious on any screen, light and dark; nothing is wider than it."""
    window.console(), window.asked()
    window.screen(1280)
    window.go(*VIEWS[view])
    window.until("return !document.querySelector('.wait') && !document.querySelector('progress')")
    window.is_well_everywhere()


# -- the year ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["garden", "us"])
def test_the_report_shows_the_numbers_of_the_command(window: Window, folder: Path, name: str) -> None:
    """Cell by cell what is printed of the same file, in its own units; held to --json by tests of `said`."""
    window.go(f"{name}.yaml", "year")
    window.until("return !!document.querySelector('.timeline')?.timeline")
    scenario = load(folder / f"{name}.yaml")
    assert (name == "us") == scenario.in_us_units
    result = simulate(scenario, left=True)
    expected = of_page(page_view(run_page(result, everything=True), scenario.in_us_units))
    assert len(expected) > 100
    assert expected == cells(window, ".said")


@both_ways(0)
def test_findings_lead_to_their_place(hand: Window) -> None:
    """From one to the next, to its moment in the timeline, and to the field that mends it."""
    hand.go("loud.yaml", "year")
    hand.until("return !!document.querySelector('.timeline')?.timeline")
    span = "const t = document.querySelector('.timeline').timeline; return [t.from, t.to]"
    first = hand.text("#findings-title")
    assert re.fullmatch(r"Finding 1 of \d+", first)
    press(hand, "next finding")
    hand.sees("Finding 2 of", "#findings-title")
    press(hand, "previous finding")
    hand.sees(first, "#findings-title")
    press(hand, "show it in the timeline")
    start, end = hand.driver.execute_script(span)
    assert end - start == 6 * 3600
    link = hand.one(".side p a")
    key = link.text
    hand.use(link)
    hand.until("return location.hash.includes(encodeURIComponent(arguments[0]))", key)


def test_a_finding_is_marked_where_it_is_and_mended_in_every_order(window: Window, folder: Path) -> None:
    """A rule of an instant: its part is marked and leads to its form; its mend, applied, takes it along.

    Which finding and what mends it are those of a run and of a verification without a browser.
    """
    file = folder / "unproven.yaml"
    file.write_text(UNPROVEN, encoding="utf-8", newline="\n")
    window.go(file.name, "year")
    [(number, found)] = [
        (k, one) for k, one in enumerate(simulate(load(file)).findings, 1) if one.rule == "heat-before-proof"
    ]
    for _ in range(number - 1):
        press(window, "next finding")
    window.sees(f"{number}. {found.subject}: {found.cause}", ".side")
    marked = f"#plant-{found.subject}.bandfound"
    assert [window.one(marked)] == window.all(".bandfound")
    assert window.one(f"{marked} title").get_attribute("textContent").endswith(f"finding {number}")
    press(window, "try mends in every order of events")
    verdict = next(v for v in verify(load(file), rule=found.rule).verdicts if v.subject == found.subject)
    said = as_done(next(one for one in verdict.mends if one.holds).said)
    window.sees(f"Tried: {said}", ".mends")
    window.sees("Then no modelled order of events breaks it", ".mends .good")
    press(window, f"apply: {said}")
    window.sees_no(found.cause, ".side")
    window.until("return !document.querySelector('.bandfound')")
    assert found.rule not in {one.rule for one in simulate(load(file)).findings}
    press(window, "undo", "header")
    window.one(marked).click()
    window.sees(found.subject, "#part-title")
    assert UNPROVEN == file.read_text(encoding="utf-8")


# -- every order of events -----------------------------------------------------------------------------------


@both_ways(1)
def test_a_broken_rule_is_followed_step_by_step_and_mended(hand: Window, folder: Path) -> None:
    """The story as the verification tells it; what is on is marked; the mend makes the rule hold."""
    file = folder / "unproven.yaml"
    file.write_text(UNPROVEN, encoding="utf-8", newline="\n")
    hand.go(file.name, "orders")
    found = verify(load(file))
    verdict = next(v for v in found.verdicts if v.story is not None)
    assert verdict.story is not None
    hand.sees(f"How {verdict.rule} ({verdict.subject}) comes about")
    assert len(verdict.story.steps) == len(hand.all(".steps li"))
    for scene in verdict.story.scenes[1:]:
        press(hand, "step on")
        for said in (*scene.came, *scene.did):
            hand.sees(said, ".now")
        marks = (
            "[...document.querySelectorAll('.bandon')].map((g) => g.id.replace('plant-', '')).sort().join()"
        )
        hand.until(f"return {marks} === arguments[0]", ",".join(sorted(scene.on)))
    assert not hand.driver.execute_script(
        "return document.querySelector('.steps li:last-child[aria-current]') === null"
    )
    press(hand, "apply: wire a block on element until its flow has been proven")
    hand.sees("The file has changed since")
    again = {(v.rule, v.subject): v for v in verify(load(file)).verdicts}
    assert not again[verdict.rule, verdict.subject].broken
    press(hand, "undo", "header")
    hand.sees("Undone")
    assert UNPROVEN == file.read_text(encoding="utf-8")


def test_a_verdict_stands_for_what_it_looked_at_alone(window: Window) -> None:
    """A fault that is only chosen is not looked at yet, and the verdict without it says so."""
    window.go("garden.yaml", "orders")
    window.sees("Looked at: things going wrong: none; demands by the calendar.")
    assert window.all(".verdict.good")
    window.one(".asking select").send_keys("one")
    window.sees("What is chosen above is not looked at yet.")
    assert window.all(".verdict.old")
    assert not window.all(".verdict.good")
    press(window, "look at every order")
    window.sees("Looked at: things going wrong: one at a time; demands by the calendar.")
    assert not window.all("main .mind")
    window.driver.execute_script("location.hash = location.hash.replace('orders', 'day')")
    window.sees("The programme of a day")
    window.driver.execute_script("location.hash = location.hash.replace('day', 'orders')")
    window.sees("Looked at: things going wrong: one at a time")
    assert window.one(".asking select").get_attribute("value") == "1"


# -- deciding ------------------------------------------------------------------------------------------------


@both_ways(2)
def test_two_plants_are_set_side_by_side(hand: Window, folder: Path) -> None:
    """The second is picked from the shelf; what differs is told as the command tells it."""
    hand.go("garden.yaml", "decide", "compare")
    title = load(folder / "boiler.yaml").title
    label = hand.until(TICK, title)
    hand.use(label.find_element("css selector", "input"), " ")
    press(hand, "compare them")
    hand.sees("What to take from it", ".said")
    files = [folder / "garden.yaml", folder / "boiler.yaml"]
    dear, cheap = sorted((side.outcome.cost for side in compare(tuple(map(load, files))).sides), reverse=True)
    assert re.search(rf"costs less to run: {cheap:,.0f} EUR a year, [AB] {dear:,.0f}", hand.text(".said"))
    assert hand.one(".figure img").get_attribute("naturalWidth") != "0"


@both_ways(0)
def test_a_better_programme_is_picked_and_put_into_the_file(hand: Window, folder: Path) -> None:
    """The advised one is picked at first; its times are then in the file, and undone as one edit."""
    file = folder / "coarse.yaml"
    file.write_text(COARSE, encoding="utf-8", newline="\n")
    hand.go(file.name, "decide")
    hand.driver.execute_script(FEW_DAYS)
    press(hand, "search better times")
    end = time.monotonic() + 300
    while not hand.all(".programmes"):
        assert time.monotonic() < end
        time.sleep(0.5)
    rows = hand.all(".programmes tbody tr")
    assert len(rows) > 3
    picked = next(k for k, row in enumerate(rows) if "advised" in row.text)
    other = next(k for k, row in enumerate(rows) if k != picked and "as in the file" not in row.text)
    if hand.by == "keys":  # one of a group has the tabulator, arrows lead to the others
        hand.reach(hand.one(".programmes input:checked"))
        hand.press(*("\ue015" if other > picked else "\ue013") * abs(other - picked))
    else:
        hand.use(rows[other].find_element("css selector", "input"))
    hand.is_well()
    said = hand.text(".programmes + * ~ .strong") or hand.text("p.strong")
    starts = re.search(r"flushes ([\d:, ]+)", said)
    press(hand, "put these times into the file")
    hand.sees("tuned:", "footer")
    now = load(file)
    clocks = sorted(f"{c:%H:%M}" for run in now.schedule.line_flushes for c in run.start or ())
    assert clocks == sorted(starts[1].split(", ") if starts else [])
    assert COARSE != file.read_text(encoding="utf-8")
    press(hand, "undo", "header")
    hand.sees("Undone")
    assert COARSE == file.read_text(encoding="utf-8")


def test_where_no_programme_holds_the_files_own_is_picked(window: Window) -> None:
    """It says so, and takes no other row for what the file says; tenths stand one below the other."""
    window.go("short.yaml", "decide")
    window.driver.execute_script(FEW_DAYS)
    press(window, "search better times")
    window.sees("No programme can do it", "p.danger")
    assert "as in the file" in window.text(".programmes tr.picked")
    window.sees("This is what the file says now.", "p.note")
    below = (
        "return [...document.querySelectorAll('.programmes td.n:nth-of-type(n+3)')].map((e) => e.innerText)"
    )
    assert all(re.fullmatch(r"[\d,]+\.\d|<0\.1|never", text) for text in window.driver.execute_script(below))
    none = next(row for row in window.all(".programmes tbody tr") if "no flush at all" in row.text)
    assert "no line flushes a day, 1 wished" in none.text
    window.use(none.find_element("css selector", "input"))
    window.sees("It lacks something of what is asked for: no line flushes a day, 1 wished", "p.mind")
    window.screen(700)
    window.is_well()
    window.screen(1280)


def test_bars_have_the_colours_of_the_drawing(window: Window) -> None:
    """Brown is older than half of the limit beside the drawing as in it; money is called a cost."""
    window.go("loud.yaml", "plant")
    window.sees("Cost of energy for a year", ".answers")
    rows = "return [...document.querySelectorAll('.bars tr')].map((r) => [r.querySelector('td').innerText, "
    rows += "r.querySelector('rect').getAttribute('class')])"
    found = window.driver.execute_script(rows)
    limit_h = load_text(LOUD, "loud.yaml").limits.water_age_s / 3600
    expected = ["older" if float(text.split()[0]) > limit_h / 2 else None for text, _ in found]
    assert "older" in expected
    assert expected == [look for _, look in found]


@both_ways(1)
def test_a_pump_is_sized_and_every_size_is_told(hand: Window, folder: Path) -> None:
    """Another machine than the first is chosen; cell by cell what the command prints of the same file."""
    hand.go("garden.yaml", "decide", "size")
    hand.choose(hand.one(".asking select"), "pump")
    press(hand, "size it")
    hand.until("return !!document.querySelector('.said table') && !document.querySelector('progress')")
    expected = of_page(page_view(pump_page(size_pump(load(folder / "garden.yaml"), None)), False))
    assert len(expected) > 10
    assert expected == cells(hand, ".said")


# -- readings ------------------------------------------------------------------------------------------------


@both_ways(1)
def test_readings_are_taken_and_explained(hand: Window, folder: Path) -> None:
    """A wrong unit is told at its field and nothing kept; then the reading is, and is explained."""
    for kept in folder.glob("garden-readings-*"):
        kept.unlink()
    hand.go("garden.yaml", "measured")
    day = hand.one("#reading-date").get_attribute("value")
    hand.fill(hand.one("#reading-title"), "weak jets")
    choice = hand.until(TICK, "main high")
    hand.use(choice.find_element("css selector", "input"), " ")
    hand.choose(hand.one("#reading-at"), "after main")
    hand.fill(hand.one("#reading-reads"), "0.9 baar")
    press(hand, "keep this reading")
    hand.sees("bar", "#reading-reads-told .danger")
    file = folder / f"garden-readings-{day}.yaml"
    assert not file.exists()
    hand.fill(hand.one("#reading-reads"), "1.4 bar")
    press(hand, "keep this reading")
    hand.sees("gauge after main, main high", ".taken")
    (taken,) = load_readings(file, load(folder / "garden.yaml")).readings
    assert 1.4e5 / 9806.65 == pytest.approx(taken.value)  # metres of water, conventional
    hand.driver.execute_script(FEW_DAYS)
    press(hand, "say what explains them")
    hand.sees("What explains them", ".said")
    hand.sees("What to measure next", ".said")


# -- the hand-over -------------------------------------------------------------------------------------------


def downloaded(folder: Path, name: str) -> Path:
    """A file as soon as it is whole."""
    path, end = folder / "downloads" / name, time.monotonic() + 200
    while not path.exists():
        assert time.monotonic() < end, name
        time.sleep(0.1)
    return path


@both_ways(2)
def test_all_that_is_handed_over_opens(hand: Window, folder: Path) -> None:
    """Papers, calendar, drawing and page as files of their own, each read by a library of its kind."""
    for old in (folder / "downloads").glob("*"):
        old.unlink()
    hand.go("boiler.yaml", "handover")
    digits = hand.one("main p strong").text
    hand.driver.execute_script(FEW_DAYS)
    for paper in ("the client", "the electrician", "the plumber", "the owner"):
        press(hand, f"for {paper}")
        reader = PdfReader(downloaded(folder, f"boiler-{paper.split()[1]}.pdf"))
        text = "".join(page.extract_text() for page in reader.pages)
        assert digits.replace(" ", "") in text.replace(" ", ""), paper
    press(hand, "runs and chores as a calendar")
    assert Calendar.from_ical(downloaded(folder, "boiler.ics").read_bytes()).walk("VEVENT")
    press(hand, "the plant drawn")
    assert ElementTree.parse(downloaded(folder, "boiler.svg")).getroot().tag.endswith("svg")
    press(hand, "the week with")
    assert ElementTree.parse(downloaded(folder, "boiler-week.svg")).getroot().tag.endswith("svg")
    press(hand, "make the page")
    assert MADE_BY in downloaded(folder, "boiler.html").read_text(encoding="utf-8")
