"""What a builder comes to do, from end to end in a real browser: by mouse, and by the keyboard alone."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from cyclesim.analysis.result import simulate
from cyclesim.said.answer import answer
from cyclesim.said.duties import duties
from cyclesim.said.values import result_values
from cyclesim.scenario.reading.load import load
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.simulation.assembly import Assembly
from tests.browser import needs_browser
from tests.workbench.driven import LOUD, Window, both_ways

pytestmark = [needs_browser, pytest.mark.slow]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder for what is changed here."""
    return tmp_path_factory.mktemp("tasks")


def findings(file: Path) -> set[tuple[str, str]]:
    """Rule and subject of each finding of a year, by the engine itself."""
    return {(f.rule, f.subject) for f in simulate(load(file)).findings}


@both_ways(0)
def test_a_flush_moved_out_of_quiet_hours_takes_its_finding_along(hand: Window, garden: Path) -> None:
    """06:00 to 07:30 is six steps of the controller's 15 minutes; nothing else of the file is changed."""
    from selenium.webdriver import ActionChains
    from selenium.webdriver.common.keys import Keys

    assert any(rule == "quiet-hours" for rule, _ in findings(garden))
    hand.go(garden.name, "day")
    hand.sees("quiet-hours", ".findings")
    handle = hand.one("[data-run='schedule.line_flushes.0.0'].move")
    assert "06:00 for 60 s, in quiet hours" == handle.get_attribute("aria-valuetext")
    if hand.by == "keys":
        hand.reach(handle)
        hand.press(*[Keys.ARROW_RIGHT] * 2, Keys.PAGE_UP, Keys.ENTER)
    else:
        hand.sees("Of a year", ".answers")  # whose coming moves what stands below, on a narrow screen
        width = hand.one(".strip svg").size["width"]
        chain = ActionChains(hand.driver, duration=50).move_to_element(handle).click_and_hold()
        chain.move_by_offset(round(1.5 * width / 24), 0).release().perform()
    hand.sees("gone", ".findings")
    moved = LOUD.replace("start: [06:00, 19:30]", 'start: ["07:30", 19:30]')
    assert moved == garden.read_text(encoding="utf-8")
    assert not any(rule == "quiet-hours" for rule, _ in findings(garden))


@both_ways(1)
def test_a_new_plant_is_begun_by_questions(hand: Window, folder: Path) -> None:
    """From the shelf to the first verdict, which is the engine's own of the file that was made."""
    hand.go()
    hand.use(hand.button("a new plant"))
    hand.fill(hand.one("#new-name"), f"by {hand.by}")
    hand.use(hand.button("make it, then ask me about it"))
    hand.sees("Questions about", "h1")
    hand.write("plant.tub.dimensions.diameter", "1.9 m")
    hand.write("plant.legs.suction_left.length", "12 m")
    file = folder / f"by {hand.by}.yaml"
    hand.until("return document.querySelector('.answers') && !document.querySelector('.answers.stale')")
    written = starter_text().replace("diameter: 1.7 m", "diameter: 1.9 m")
    written = re.sub("title: .*", f'title: "by {hand.by}"', written, count=1)
    longer = re.sub(r"(suction_left:\s+\{pipe: 63 PN10, length:) \d+ m", r"\1 12 m", written)
    assert longer == file.read_text(encoding="utf-8")
    hand.sees(answer(simulate(load(file))).verdict, ".verdict")


@both_ways(2)
def test_another_pump_is_put_in_and_the_weakest_jet_told(hand: Window, garden: Path) -> None:
    """The smaller pump of the file's candidates: its curve, and what its jets get by the engine itself."""
    sheet = "max_head: 6 m, max_flow: 250 L/min, power: 400 W"
    one_speed = "{max_head: 15 m, max_flow: 700 L/min, power: 1.6 kW, rest: 75 s, zone: pump_room}"
    text = re.sub(r"    main:\n(      .*\n)+", f"    main: {one_speed}\n", LOUD)
    text = text.replace("main low", "main").replace("main high", "main")
    text = (
        re.sub(r".*while: main,.*\n", "", text)
        + f"candidates:\n  pumps:\n    small: {{{sheet}, price: 300 EUR}}\n"
    )
    garden.write_text(text, encoding="utf-8", newline="\n")
    hand.go(garden.name, "plant", "main")
    hand.sees("enough", ".weakest")
    hand.use(hand.button("small"))
    hand.sees("too weak", ".weakest")
    after = garden.read_text(encoding="utf-8")
    assert f"    main: {{{sheet}, rest: 75 s, zone: pump_room}}\n" in after
    plant = Assembly(load(garden))
    duty = next(d for d in duties(plant) if d["name"] == "main on" or d["pumps"]["main"]["flow_l_min"])
    weakest = min(jets["last_l_min"] for jets in duty["jets"].values())
    hand.until("return !document.querySelector('.weakest.stale')")
    assert f"{float(f'{weakest:.3g}'):g} L/min" in hand.text(".weakest tbody tr:first-child")
    hand.use(hand.button("undo"))
    hand.sees("enough", ".weakest")
    assert text == garden.read_text(encoding="utf-8")


def test_oldest_water_is_estimated_while_a_run_is_moved(window: Window, garden: Path) -> None:
    """By hand: filtered from 03:00 and 15:00 for 2 h; the flush ends at 06:16, 8.73 h before 15:00."""
    from selenium.webdriver.common.keys import Keys

    window.go(garden.name, "day")
    window.one("[data-run='schedule.line_flushes.0.0'].move").send_keys(Keys.ARROW_RIGHT)
    window.sees("left_bench 8.7 h", ".estimate")
    window.press(Keys.ESCAPE)
    window.until("return !document.querySelector('.estimate')")
    assert LOUD == garden.read_text(encoding="utf-8")


def test_what_is_loud_lies_beneath_the_day(window: Window, garden: Path) -> None:
    """The flush at 06:00 for 60 s is the one minute in quiet hours, a quarter of the way along the day.

    The day with the oldest water may be the one on which the pump rests at 06:00: not so the one before it.
    """
    window.go(garden.name, "day")
    window.sees("Of a year from")
    window.until("return document.querySelector('.under svg .loud')")
    window.button("a day earlier").click()
    box = "e.getBoundingClientRect()"
    wide, told, *bars = window.until(
        "const e = document.querySelector('.under svg'); if (!e?.querySelector('.loud.over')) return null;"
        f"return [{box}.width, e.getAttribute('aria-label'),"
        f" ...[...e.querySelectorAll('.loud.over')].map((bar) => bar.getBoundingClientRect().x - {box}.x)]"
    )
    assert bars == [pytest.approx(wide / 4, abs=1.0)]
    assert "1 min of them in quiet hours" in told


@both_ways(0)
def test_a_mend_is_applied_and_undone(hand: Window, garden: Path) -> None:
    """From the finding to what mends it, and back again: the file is then what it was, byte for byte."""
    hand.go(garden.name, "day")
    hand.sees("when it happens, and what mends it", ".findings")
    hand.use(hand.one(".findings a[href$='/year']"))
    hand.sees("Mend, not tried", ".tried")
    hand.use(hand.button("try mends on these days"))
    hand.sees("Mend 1, tried", ".mends")
    hand.use(hand.one(".mends button"))
    hand.sees("No rule broken")
    assert not any(rule == "quiet-hours" for rule, _ in findings(garden))
    assert LOUD != garden.read_text(encoding="utf-8")
    hand.use(hand.button("undo"))
    hand.sees("Undone.", ".told")
    assert LOUD == garden.read_text(encoding="utf-8")


WRONG = {
    "a wrong unit": ("plant.legs.left_bench.length", "8 kg", "plant/left_bench", "a length"),
    "no curve": ("plant.pumps.main.high.curve", "", "plant/main", "at least"),
}


@both_ways(1)
@pytest.mark.parametrize("what", WRONG)
def test_what_is_wrong_is_told_at_its_field(hand: Window, garden: Path, what: str) -> None:
    """The field is marked and tells what is due; the drawing stays as it was; the right value clears it."""
    path, text, view, told = WRONG[what]
    hand.go(garden.name, *view.split("/"))
    if text:
        hand.write(path, text)
    else:
        rows = "[aria-label='high, curve'] tr"
        for left in (4, 3, 2):  # beside the empty row for one more
            hand.use(hand.one("[aria-label='take out point 1 of high, curve']"))
            hand.until("return document.querySelectorAll(arguments[0]).length === arguments[1]", rows, left)
    hand.sees("so it is not run", ".problems")
    hand.sees(told, ".faulty, .problems")
    assert "true" == hand.one(f"#field-{path.replace('.', '-')}").get_attribute("aria-invalid")
    hand.sees("as it was before", ".drawn")
    assert hand.all("svg.plant .part")
    hand.use(hand.button("undo"))


def test_a_fault_leads_to_its_field(window: Window, garden: Path) -> None:
    """From the list of faults to the field, which needs no line numbers; without one no way is offered."""
    window.go(garden.name, "start")
    window.write("supply.breaker", "16")
    window.sees("so it is not run", ".problems")
    window.one("[aria-label='go to it: supply.breaker']").send_keys("\ue007")
    window.until("return document.activeElement.id === 'field-supply-breaker'")
    window.go(garden.name, "day")
    window.sees("so it is not run", ".problems")
    assert not window.all(".problems button")
    window.button("undo").click()


@both_ways(2)
def test_a_shut_valve_is_told_where_it_stands(hand: Window, garden: Path) -> None:
    """A valve is put behind the filter and said to be usually shut: no water moves, and findings say so."""
    hand.go(garden.name, "plant", "filter")
    hand.choose(hand.one(".place select"), "a valve")
    hand.use(hand.button("add it", ".place"))
    hand.sees("valve", "#part-title")
    hand.write("plant.valves.valve.usual", "shut")
    hand.sees("usual: shut", ".lines")
    text = garden.read_text(encoding="utf-8")
    assert "filter, valve, element" in text
    assert "usual: shut" in text
    hand.go(garden.name, "day")
    hand.until("return document.querySelector('.findings')")
    told = hand.text(".answers")
    assert all(subject.split(",")[0].split()[0] in told for _, subject in findings(garden))


def test_runs_are_stretched_copied_and_deleted_by_keys_and_undone(window: Window, garden: Path) -> None:
    """Only lengths that the controller offers; a copy an hour later; all undone leaves no trace."""
    from selenium.webdriver.common.keys import Keys

    def handle(kind: str, k: int) -> Any:
        return window.one(f"[data-run='schedule.line_flushes.0.{k}'].{kind}")

    window.go(garden.name, "day")
    window.sees("quiet-hours", ".findings")  # from the first answer on there is something to compare with
    handle("stretch", 1).send_keys(Keys.ARROW_LEFT, Keys.ENTER)  # 15 s, 30 s and 60 s are offered
    window.sees("made longer or shorter", ".told")
    assert "start: [06:00, 19:30], lasts: 30 s" in garden.read_text(encoding="utf-8")
    handle("move", 1).send_keys("c")
    assert "20:30 for 30 s" == handle("move", 2).get_attribute("aria-valuetext")
    handle("move", 0).send_keys(Keys.DELETE)
    window.until("return document.querySelectorAll('.run.line_flush').length === 2")
    assert 'start: ["19:30", "20:30"], lasts: 30 s' in garden.read_text(encoding="utf-8")
    window.until(
        "return document.querySelectorAll('.strip .ghost').length === 2"
    )  # as it was: 60 s, 06:00 too
    assert "19:30 for 30 s" == window.driver.switch_to.active_element.get_attribute("aria-valuetext")
    for runs in (3, 2, 2):
        window.press_with_control("z")
        window.until("return document.querySelectorAll('.run.line_flush').length === arguments[0]", runs)
    window.until(
        "return document.querySelector('[data-run$=\"line_flushes.0.0\"]').ariaValueText.includes('60 s')"
    )
    assert LOUD == garden.read_text(encoding="utf-8")


def test_a_change_is_told_whole_on_any_screen(window: Window, garden: Path) -> None:
    """What was stands beside what is and nothing of it is cut; in the week no run hides a shorter one."""
    from selenium.webdriver.common.keys import Keys

    window.go(garden.name, "day")
    window.sees("Of a year")
    window.driver.execute_script("document.querySelector('.line_flush .move').focus()")
    window.press(*[Keys.PAGE_DOWN] * 4)
    window.sees("was EUR", ".side")
    for px in (1024, 390):
        window.screen(px)
        window.until("const s = document.querySelector('.side'); return s.scrollWidth <= s.clientWidth")
        window.until("const p = document.documentElement; return p.scrollWidth <= p.clientWidth")
    window.screen(1280)
    kinds = "return [...document.querySelector('.week svg').children].map((run) => run.getAttribute('class'))"
    order = window.driver.execute_script(kinds)
    assert order.index("line_flush") > max(k for k, kind in enumerate(order) if kind == "filter_run")


def test_a_finger_moves_a_run_on_a_phone(window: Window, garden: Path) -> None:
    """Two hours to the right at a width of 390 px: the page does not scroll away under the finger."""
    window.screen(390)
    window.go(garden.name, "day")
    window.driver.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": True})
    run = window.one("[data-run='schedule.filter_runs.0.0'].move")
    window.driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", run)
    box = window.driver.execute_script("return arguments[0].getBoundingClientRect().toJSON()", run)
    width = window.driver.execute_script("return document.querySelector('.strip svg').clientWidth")
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2

    def touch(kind: str, *points: dict[str, float]) -> None:
        given = {"type": kind, "touchPoints": list(points)}
        window.driver.execute_cdp_cmd("Input.dispatchTouchEvent", given)

    touch("touchStart", {"x": x, "y": y})
    for step in range(1, 9):
        touch("touchMove", {"x": x + step / 8 * 2 * width / 24, "y": y})
    touch("touchEnd")
    window.driver.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": False})
    window.sees("moved", ".told")
    window.screen(1280)
    assert LOUD.replace("start: [03:00,", 'start: ["05:00",') == garden.read_text(encoding="utf-8")


@pytest.mark.parametrize("like", [None, "us"])
def test_numbers_are_those_of_the_run_in_the_readers_units(
    window: Window, folder: Path, like: str | None
) -> None:
    """Ages, turnovers, money and the weakest jets, each within its last digit of what the engine gives."""
    file = folder / f"numbers-{like}.yaml"
    file.write_text(starter_text(like), encoding="utf-8")
    result = simulate(load(file))
    values = result_values(result)

    def close(text: str, value: float) -> bool:
        digits = text.split()[0].replace(",", "").replace("<", "")
        return abs(float(digits) - value) <= 0.5 * 10.0 ** -len(digits.partition(".")[2]) + 1e-9

    def rows(css: str) -> list[list[str]]:
        every = "[...document.querySelectorAll(arguments[0])]"
        script = f"return {every}.map((r) => [...r.cells].map((c) => c.innerText))"
        return list(window.driver.execute_script(script, css))

    window.go(file.name, "day")
    window.until("return document.querySelector('.answers:not(.stale)')")
    window.sees("a year", ".answers")
    ages = {cells[0]: cells[1] for cells in rows(".answers .bars tr")}
    assert ages.keys() == {n for n, leg in values["legs"].items() if leg["oldest_water_h"] is not None}
    assert all(close(text, values["legs"][name]["oldest_water_h"]) for name, text in ages.items())
    turnovers, _, money = (cells[1] for cells in rows(".answers .list tr"))
    assert close(turnovers, values["tub"]["turnovers_per_day"])
    currency, cost = money.split()
    assert currency == values["energy"]["currency"]
    assert close(cost, values["energy"]["cost"])
    window.go(file.name, "plant", next(iter(values["pumps"])))
    window.sees("enough", ".weakest")
    duty = next(d for d in values["duties"] if f"at {d['name']}" in window.text(".weakest caption"))
    litres, unit = (3.785411784, "gpm") if like else (1.0, "L/min")  # the US gallon is 231 cubic inches
    told = rows(".weakest tbody tr")
    assert told
    for leg, gets, needs, _ in told:
        jets = duty["jets"][leg]
        assert gets.endswith(unit)
        assert close(gets, min(jets["first_l_min"], jets["last_l_min"]) / litres)
        assert close(needs, jets["needs_l_min"] / litres)
