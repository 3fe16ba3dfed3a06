"""Shelf, questions, plant and day in a real browser: on any screen, and nothing leaves the machine."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from itertools import product
from pathlib import Path

import pytest

from cyclesim.scenario.reading.edit import Edit, edited
from cyclesim.scenario.reading.load import load
from cyclesim.scenario.reading.starter import starter_text
from tests.browser import chromium, needs_browser
from tests.workbench.driven import Window, served

pytestmark = needs_browser


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with one plant that can be run and one that cannot."""
    folder = tmp_path_factory.mktemp("bench")
    (folder / "garden.yaml").write_text(starter_text(), encoding="utf-8")
    (folder / "half.yaml").write_text("format: 1\ntitle: Half a tub\nplant: {}\n", encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def window(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Window]:
    """A window on that folder."""
    with served(folder, tmp_path_factory.mktemp("cache")) as address, chromium() as driver:
        yield Window(driver, address)


VIEWS = {"shelf": (), "questions": ("garden.yaml", "start"), "plant": ("garden.yaml", "plant", "main"),
         "day": ("garden.yaml", "day"), "faults": ("half.yaml", "plant")}  # fmt: skip
SETTLED = "return !document.querySelector('.wait') && !document.querySelector('progress')"


@pytest.mark.slow
@pytest.mark.parametrize("view", VIEWS)
def test_people_with_any_handicap_can_use_a_view(window: Window, view: str) -> None:
    """axe-core finds nothing serious on any screen, light and dark; nothing is wider than it."""
    window.console(), window.asked()
    window.screen(1280)
    window.go(*VIEWS[view])
    window.until(SETTLED)
    window.is_well_everywhere()


def test_nothing_is_asked_of_anybody_else(window: Window) -> None:
    """Every request of every view goes to the workbench's own address."""
    window.asked()
    for place in VIEWS.values():
        window.go(*place)
    assert {window.host} == window.asked()


def test_the_keyboard_goes_through_the_drawing_and_opens_a_form(window: Window) -> None:
    """Arrow keys lead from part to part, Enter opens the form of the one that has the focus."""
    from selenium.webdriver.common.keys import Keys

    window.go("garden.yaml", "plant")
    window.until("return document.querySelector('g.part[tabindex=\"0\"]')")
    window.driver.execute_script("document.querySelector('g.part[tabindex=\"0\"]').focus()")
    window.press(Keys.ARROW_RIGHT, Keys.ARROW_DOWN)
    name = window.driver.execute_script("return document.activeElement.id").removeprefix("plant-")
    window.press(Keys.ENTER)
    window.sees(name, "#part-title")
    assert window.all(".side .field")


def test_the_views_are_small_enough_to_be_there_at_once() -> None:
    """All that the page loads is less than 400 kB; the editor of text is loaded when it is asked for."""
    assets = Path(__file__).resolve().parents[2] / "cyclesim" / "workbench" / "assets"
    loaded = [f for f in assets.rglob("*") if f.suffix in (".js", ".css", ".html") and f.name != "editor.js"]
    assert len(loaded) > 10
    assert sum(f.stat().st_size for f in loaded) < 400_000


def script(window: Window, module: str, does: str) -> object:
    """What a module of the page gives back, without any view."""
    window.go()
    asked = f"import('./assets/{module}').then((m) => arguments[0]({does}), (e) => arguments[0](String(e)))"
    return window.driver.execute_async_script(asked)


def test_a_part_is_put_into_a_network_and_taken_out_without_a_trace(window: Window) -> None:
    """By hand: behind, before, beside a branch and a part of the chain; taken out, the chain is as it was."""
    chain = ["tub", {"parallel": ["left", "right"]}, "main", {"parallel": [["a", "b"], "c"]}, "tub"]
    told = script(
        window,
        "parts.js",
        f"""(() => {{ const chain = {chain};
        return ['left', 'main', 'a', 'c'].flatMap((at) => ['before', 'after', 'beside'].map((how) => {{
            const put = m.withPart(chain, at, 'new', how);
            return [at, how, m.written(put), m.written(m.withoutPart(put, 'new')) === m.written(chain)];
        }})) }})()""",
    )
    assert isinstance(told, list)
    by_place = {(at, how): text for at, how, text, _ in told}
    rest = "main, {parallel: [[a, b], c]}, tub]"
    assert by_place["left", "before"] == f"[tub, {{parallel: [[new, left], right]}}, {rest}"
    assert by_place["left", "beside"] == f"[tub, {{parallel: [left, new, right]}}, {rest}"
    begun = "[tub, {parallel: [left, right]}, "
    assert by_place["main", "after"] == f"{begun}main, new, {{parallel: [[a, b], c]}}, tub]"
    assert by_place["main", "beside"] == f"{begun}{{parallel: [main, new]}}, {{parallel: [[a, b], c]}}, tub]"
    assert by_place["a", "after"] == f"{begun}main, {{parallel: [[a, new, b], c]}}, tub]"
    assert by_place["c", "after"] == f"{begun}main, {{parallel: [[a, b], [c, new]]}}, tub]"
    assert all(same for *_, same in told)


@pytest.mark.parametrize("px", [400, 1280])
def test_labels_of_the_strip_cover_no_other_and_are_whole(window: Window, folder: Path, px: int) -> None:
    """Five flushes, three within 90 minutes and one at either end of the day, and one in quiet hours.

    No mark at a run's end lies on another run or its mark.
    """
    name = f"close-{px}.yaml"
    starts = '["00:00", "07:30", "08:10", "09:00", "23:40"]'
    text = re.sub(r"start: \[07:30, 19:30\]", f"start: {starts}", starter_text())
    assert text != starter_text()
    (folder / name).write_text(text, encoding="utf-8")
    window.screen(px)
    window.go(name, "day")
    window.sees("09:00", ".strip")
    boxes = window.until(
        "return [...document.querySelectorAll('.strip svg, .strip svg text')].map((e) => "
        "{ const r = e.getBoundingClientRect(); return [e.textContent, r.left, r.right, r.top, r.bottom]; })"
    )
    (_, first, last, *_), *labels = boxes
    assert len([label for label, *_ in labels if re.match(r"\d\d:\d\d", label)]) >= 5
    for k, (label, left, right, top, bottom) in enumerate(labels):
        assert first - 0.5 <= left, label
        assert right <= last + 0.5, label
        for other, left_, right_, top_, bottom_ in labels[k + 1 :]:
            apart = left >= right_ - 1 or left_ >= right - 1 or top >= bottom_ - 2 or top_ >= bottom - 2
            assert apart, (label, other)
    runs = window.until(
        "const box = (e) => { const r = e.getBoundingClientRect(); return [r.left, r.right, r.top]; };"
        "return [...document.querySelectorAll('.strip .run')].map((run) => "
        "['.stretch path', '.bar'].map((of) => [...run.querySelectorAll(of)].map(box)))"
    )
    assert any(marks for marks, _ in runs)
    for k, (marks, _) in enumerate(runs):
        others = [box for j, (more, bars) in enumerate(runs) if j != k for box in (*more, *bars)]
        for (left, right, top), (left_, right_, top_) in product(marks, others):
            assert left >= right_ or left_ >= right or abs(top - top_) > 20
    window.screen(1280)


def test_findings_that_say_the_same_stand_together(window: Window, folder: Path) -> None:
    """With a limit of 3 h four legs are too old for one cause: one entry that leads to each."""
    text = starter_text().replace("water_age: 24 h", "water_age: 3 h")
    (folder / "stale.yaml").write_text(text, encoding="utf-8")
    window.screen(1280)
    window.go("stale.yaml", "day")
    window.sees("stale-water", ".findings")
    [said] = [entry.text for entry in window.all(".findings li") if "stale-water" in entry.text]
    legs = ["suction_left", "suction_right", "left_bench", "right_bench"]
    assert said.startswith(f"{', '.join(legs[:3])} and {legs[3]}: only bathing")
    assert re.search(r"hygiene, stale-water; [\d,]+ times, worst [\d.]+ h old each", said), said
    told = {link.text for link in window.all(".findings li a")}
    assert {*legs} <= told


def test_runs_are_snapped_to_what_can_be_keyed_in(window: Window) -> None:
    """By hand, for a controller of 15 minutes with flushes of 15, 30 and 60 s; finer with a modifier."""
    told = script(
        window,
        "runs.js",
        """(() => {
        const controller = {time_step_s: 900, flush_lengths_s: [15, 30, 60]};
        const path = 'schedule.line_flushes.0';
        const flush = {kind: 'line_flush', path, starts: ['23:30'], lasts_s: 30, days: []};
        const run = {...flush, kind: 'filter_run', lasts_s: 7200, starts: ['03:00', '04:00']};
        const coarse = m.stepsOf(controller, flush, false), fine = m.stepsOf(controller, flush, true);
        const near = (s, steps) => m.snappedLength(s, steps), next = (s, by) => m.nextLength(s, by, coarse);
        const quiet = (who) => ({from: '22:00', to: '07:00', applies_to: [who]});
        const text = (demand, s, like) => m.stretched(demand, s, like)[0].text;
        return {
            near: near(44, coarse), over: near(500, coarse), fine: near(44, fine),
            longer: next(30, 1), longest: next(60, 1), shortest: next(15, -1),
            hour: m.nextLength(7200, 4, m.stepsOf(controller, run, false)),
            start: m.snapped(27_500, coarse.start), twice: m.moved(run, 0, 14_400, '[03:00, 04:00]'),
            scalar: m.moved(flush, 0, 0, '23:30'),
            copy: m.copied(flush, 0).clock, run: m.copied(run, 0).clock,
            last: m.deleted(flush, 0, [flush]), one: m.deleted(run, 1, [run]),
            loud: [[82_800, 30], [25_199, 2], [25_200, 60], [79_140, 60], [79_141, 60]].map(
                ([at, lasts]) => m.isLoud(quiet('main'), {...flush, pumps: ['main high']}, at, lasts)),
            others: m.isLoud(quiet('main high'), {...flush, pumps: ['main low']}, 0, 60),
            second: m.isLoud(quiet('right'), {...flush, pumps: ['left', 'right high']}, 0, 60),
            added: m.added('line_flushes', 'pumps: [left, right], in_turn: true', 60, true)[0].text,
            unit: [text(run, 9000, '2 h'), text(run, 10_800, '2 h'), text(flush, 60, '30 s')],
        } })()""",
    )
    assert told == {
        "near": 30, "over": 60, "fine": 44, "longer": 60, "longest": 60, "shortest": 15,
        "hour": 10_800,
        "start": 27_900,  # 07:45 is nearer to 07:38:20 than 07:30 is
        "twice": None,  # it starts at 04:00 already
        "scalar": [{"path": "schedule.line_flushes.0.start", "text": '"00:00"'}],
        "copy": "00:30",
        "run": "05:00",  # at least its own two hours later
        "last": [{"path": "schedule.line_flushes", "text": "[]"}],
        "one": [{"path": "schedule.line_flushes.0.start", "text": '["03:00"]'}],
        "loud": [True, True, False, False, True],  # 23:00, 06:59:59, 07:00, 21:59 and a second on
        "others": False,
        "second": True,
        "added": '{pumps: [left, right], in_turn: true, start: ["12:00"], lasts: 60 s}',
        "unit": ["150 min", "3 h", "60 s"],
    }  # fmt: skip


def test_a_list_is_written_as_people_write_it(window: Window) -> None:
    """Names one after the other need no brackets; what has signs of the file's own is left as it is."""
    told = script(
        window,
        "form.js",
        """['friday, sunday', 'friday and sunday', 'friday,', 'sunday', '[friday, sunday]',
        '["18:00", "21:00"]', 'main high, jets', '{elbow: 5, exit: 1}', '[0 L/min, 15 m], [250 L/min, 13 m]',
        ].map((text) => m.asText({kind: 'list'}, text))""",
    )
    assert told == [
        "[friday, sunday]", "[friday, sunday]", "friday,", "sunday", "[friday, sunday]", '["18:00", "21:00"]',
        "[main high, jets]", "{elbow: 5, exit: 1}", "[0 L/min, 15 m], [250 L/min, 13 m]",
    ]  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize(
    "title",
    ["</script><script>window.taken=1</script>", "<img src=x onerror=window.taken=1>",
     "# $x$ {{ 7*7 }} ${1}", "\u05d0\u05d1\u05d2 right to left \"'&amp;", "W" * 200],
    ids=["script", "image", "signs", "rtl", "long"],
)  # fmt: skip
def test_a_hostile_title_is_text(window: Window, folder: Path, title: str) -> None:
    """It reads as it was written, runs nothing, makes no page wider than a phone, and can be edited."""
    file = folder / "it's & 100 %.yaml"
    file.write_text(starter_text().replace("title: Mill", f"title: {json.dumps(title)} #"), encoding="utf-8")
    window.screen(390)
    window.go("it's & 100 %25.yaml".replace(" ", "%20"), "start")
    assert title == window.driver.execute_script("return document.querySelector('.bar .title').textContent")
    assert title == window.one("#field-title").get_property("value")
    assert window.driver.execute_script("return window.taken === undefined")
    assert window.driver.execute_script("return document.documentElement.scrollWidth") <= 390
    window.write("title", "")
    window.sees("title", ".faulty")
    assert not re.search("title: .*W", file.read_text(encoding="utf-8"))
    window.write("title", title)
    window.until("return !document.querySelector('.faulty')")
    window.screen(1280)
    written = file.read_text(encoding="utf-8")
    file.unlink()
    assert f"title: {json.dumps(title, ensure_ascii=False)} # pond" in written


@pytest.mark.parametrize("like", [None, "us"])
def test_all_that_can_be_added_makes_a_plant_that_can_be_run(
    window: Window, like: str | None, tmp_path: Path
) -> None:
    """Each offer, put before the filter of a starter as the page does it, gives a file without a fault."""
    offers = script(window, "parts.js", f"m.offers({'true' if like else 'false'}, 'pump_room')")
    assert isinstance(offers, list)
    assert {"legs", "pumps", "valves", "equipment", "heat_sources"} == {offer["kind"] for offer in offers}
    text = starter_text(like)
    for offer in offers:
        name, kind = f"new_{offer['name']}", offer["kind"]
        there = f"\n  {kind}:" in text
        sheet = Edit(("plant", kind, name), offer["text"])
        if not there:
            sheet = Edit(("plant", kind), f"{{{name}: {offer['text']}}}")
        made = edited(text, [sheet])
        before, after = ("filter", f"{name}, filter")
        if "manifold" in offer["text"]:  # its jets end in the tub
            before, after = ("[left_bench, right_bench]", f"[left_bench, {name}, right_bench]")
        above, chains = made.split("  network:")
        made = f"{above}  network:{chains.replace(before, after, 1)}"
        assert name in made.split("network:")[1]
        file = tmp_path / f"{name}.yaml"
        file.write_text(made, encoding="utf-8")
        assert load(file).title
