"""What happens beside a builder's one window, in a real browser: editors, other windows, processes killed."""

from __future__ import annotations

import os
import signal
from contextlib import suppress
from pathlib import Path
from typing import Any, Literal

import pytest

from tests.browser import chromium, needs_browser
from tests.workbench.driven import LOUD, Window, both_ways, served

pytestmark = [needs_browser, pytest.mark.slow]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder for what is changed here."""
    return tmp_path_factory.mktemp("meanwhile")


@both_ways(0)
def test_what_an_editor_changes_meanwhile_is_taken_up_and_nothing_overwritten(
    hand: Window, garden: Path
) -> None:
    """Another value is taken up; where both changed the same one, a person is asked before either is lost."""
    hand.go(garden.name, "plant", "left_bench")
    hand.one("#field-plant-legs-left_bench-length")
    by_hand = LOUD.replace("of: concrete", "of: brick")
    garden.write_text(by_hand, encoding="utf-8", newline="\n")
    hand.sees("changed outside", ".told")
    hand.sees("of: brick", ".lines")
    hand.write("plant.legs.left_bench.length", "8.5 m")
    hand.sees("length: 8.5 m", ".lines")
    both = by_hand.replace("length: 8 m", "length: 8.5 m")
    assert both == garden.read_text(encoding="utf-8")
    hand.driver.execute_script(
        "const get = window.fetch;"
        "window.fetch = (...a) => new Promise((r) => setTimeout(() => r(get(...a)), 900));"
    )  # so that an editor is quicker than the page
    hand.write("plant.legs.left_bench.length", "7 m")
    garden.write_text(both.replace("8.5 m", "9.5 m"), encoding="utf-8", newline="\n")
    hand.sees("9.5 m", "dialog .differs")
    assert "9.5 m" in garden.read_text(encoding="utf-8")
    hand.use(hand.button("write mine over it", "dialog"))
    hand.sees("length: 7 m", ".lines")
    assert both.replace("8.5 m", "7 m") == garden.read_text(encoding="utf-8")


def workers_of(folder: Path) -> list[int]:
    """The processes that answer for the server of a folder: children of the one that it starts them from."""
    lines, parents = dict[int, bytes](), dict[int, int]()
    for place in Path("/proc").glob("[0-9]*"):
        with suppress(OSError):
            lines[int(place.name)] = (place / "cmdline").read_bytes()
            parents[int(place.name)] = int((place / "stat").read_text().rpartition(")")[2].split()[1])
    (server,) = (pid for pid, line in lines.items() if bytes(folder) in line and b"workbench" in line)
    return [pid for pid, parent in parents.items() if parents.get(parent) == server]


@pytest.mark.parametrize(("by", "px", "dark"), [("mouse", 1024, True), ("keys", 390, False)])
def test_workers_and_a_server_that_are_killed_lose_nothing(
    garden: Path, tmp_path: Path, by: Literal["mouse", "keys"], px: int, dark: bool
) -> None:
    """Another worker answers; the page says when nobody does; at the next server the edit can be undone."""
    own = tmp_path / "alone"
    own.mkdir()
    file = garden.rename(own / garden.name)
    answered = "return document.querySelector('.answers') && !document.querySelector('.answers.stale')"

    def opened(driver: Any, address: str, view: str, about: str = "") -> Window:
        window = Window(driver, address)
        window.by = by
        window.screen(px, dark)
        window.go(file.name, view, about)
        return window

    with chromium() as driver:
        with served(own, tmp_path, ends="kill") as address:
            window = opened(driver, address, "start")
            window.until(answered)
            window.sees("quiet-hours", ".answers")
            workers = workers_of(own)
            assert workers
            for pid in workers:
                os.kill(pid, signal.SIGKILL)
            window.write("plant.tub.dimensions.diameter", "1.8 m")
            wider = LOUD.replace("diameter: 1.7 m", "diameter: 1.8 m")
            window.until("return document.querySelector('header .buttons button:not(:disabled)')")
            assert wider == file.read_text(encoding="utf-8")
            window.until(answered)
            window.is_well()
            window.go(file.name, "plant", "main")
            window.write("plant.pumps.main.rest", "90 s")
            window.sees("rest: 90 s", ".lines")
        window.write("plant.pumps.main.rest", "30 s")
        window.sees("does not answer", ".trouble")
        longer = wider.replace("rest: 75 s", "rest: 90 s")
        assert longer == file.read_text(encoding="utf-8")
        with served(own, tmp_path) as address:
            window = opened(driver, address, "plant", "main")
            window.use(window.button("undo"))
            window.sees("rest: 75 s", ".lines")
            window.use(window.button("undo"))
            window.sees("diameter: 1.7 m", ".lines")
            assert LOUD == file.read_text(encoding="utf-8")


def test_an_undo_asks_before_it_takes_back_what_another_window_did(window: Window, garden: Path) -> None:
    """One window changes the title, then the other one undoes: first it leaves it, then it does it."""
    first = window.driver.current_window_handle
    window.go(garden.name, "plant", "pumps.main")
    window.one(".lines")
    window.driver.switch_to.new_window("tab")
    try:
        window.go(garden.name, "plant", "pumps.main")
        window.write("plant.pumps.main.rest", "90 s")
        window.sees("rest: 90 s", ".lines")
    finally:
        window.driver.close()
        window.driver.switch_to.window(first)
    window.sees("rest: 90 s", ".lines")
    window.button("undo").click()
    window.sees("Another window has changed this plant", "dialog")
    window.button("leave it", "dialog").click()
    window.until("return !document.querySelector('dialog')")
    assert "rest: 90 s" in garden.read_text(encoding="utf-8")
    window.button("undo").click()
    window.button("undo it all the same", "dialog").click()
    window.sees("rest: 75 s", ".lines")
    assert LOUD == garden.read_text(encoding="utf-8")


def test_two_windows_end_none_of_each_others_questions(window: Window, garden: Path) -> None:
    """One asks for all orders of events, the other for those of one rule: both are answered."""
    state = "return window.shared?.answers.value.verify?.state"

    def ask(options: dict[str, Any]) -> None:
        window.driver.execute_script("import('./assets/state.js').then((s) => { window.shared = s; })")
        window.until("return window.shared?.plant.value?.name === arguments[0]", garden.name)
        window.driver.execute_script("window.shared.ask('verify', arguments[0])", options)

    first = window.driver.current_window_handle
    window.go(garden.name, "plant")
    ask({"faults": 1})
    window.until(f"{state} === 'running'")
    window.driver.switch_to.new_window("tab")
    try:
        window.go(garden.name, "plant")
        ask({"rule": "heat-without-flow"})
        window.until(f"{state} === 'done'")
    finally:
        window.driver.close()
        window.driver.switch_to.window(first)
    window.until(f"{state} === 'done'")


def test_what_is_being_written_is_not_lost_to_an_answer(window: Window, garden: Path) -> None:
    """The next field keeps what is written into it while the one before is put away; Escape drops it."""
    from selenium.webdriver.common.keys import Keys

    window.go(garden.name, "plant", "left_bench")
    window.write("plant.legs.left_bench.length", "8.5 m")
    window.one("#field-plant-legs-left_bench-insulation").send_keys(Keys.CONTROL, "a")
    window.press("12")
    window.sees("length: 8.5 m", ".lines")
    field = window.one("#field-plant-legs-left_bench-insulation")
    assert "12" == field.get_property("value")
    window.press(" mm", Keys.ENTER)
    window.sees("length: 8.5 m, fittings: {elbow: 5}, zone: soil, insulation: 12 mm", ".lines")
    window.press(" thick", Keys.ESCAPE)
    assert "12 mm" == field.get_property("value")


def test_the_file_is_edited_as_text_and_that_is_undone(window: Window, garden: Path) -> None:
    """Written by Control and S, told where it is faulty, its own undo inside, the file's undo outside."""
    from selenium.webdriver.common.keys import Keys

    window.go(garden.name, "plant", "main")
    window.button("edit the text").click()
    window.until("return document.querySelector('.editor')?.shadowRoot?.querySelector('.cm-content')")
    assert [] == window.serious()
    root = window.one(".editor").shadow_root
    content = root.find_element("css selector", ".cm-content")
    content.send_keys(Keys.CONTROL, Keys.END)
    window.press("zzz: 1")
    window.press_with_control("s")
    window.sees("zzz", ".problems")
    assert LOUD + "zzz: 1" == garden.read_text(encoding="utf-8")
    window.press_with_control("z")
    window.press_with_control("s")
    window.sees_no("leave the file as it is", "main")
    assert LOUD == garden.read_text(encoding="utf-8")
    window.button("undo").click()
    window.sees("zzz", ".problems")
    window.button("undo").click()
    window.sees_no("it is not run", "main")
    assert LOUD == garden.read_text(encoding="utf-8")
