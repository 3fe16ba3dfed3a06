"""What a builder comes to do, from end to end in a real browser: by mouse, and by the keyboard alone."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from cyclesim.analysis.result import simulate
from cyclesim.scenario.reading.load import load
from cyclesim.scenario.reading.starter import starter_text
from tests.workbench.driven import Window, chromium, needs_browser, served

pytestmark = [needs_browser, pytest.mark.slow]

LOUD = starter_text().replace("start: [07:30, 19:30], lasts: 60 s", "start: [06:00, 19:30], lasts: 60 s")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a plant that flushes in quiet hours, which end at 07:00."""
    folder = tmp_path_factory.mktemp("tasks")
    assert LOUD != starter_text()
    return folder


@pytest.fixture(scope="module")
def window(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Window]:
    """A window on that folder."""
    with served(folder, tmp_path_factory.mktemp("cache")) as address, chromium() as driver:
        made = Window(driver, address)
        made.screen(1280)
        yield made
        assert [] == made.console()


@pytest.fixture
def garden(folder: Path, request: pytest.FixtureRequest) -> Path:
    """The plant afresh, under a name of its own."""
    name = re.sub(r"\W+", "-", request.node.name).strip("-")
    file = folder / f"{name}.yaml"
    file.write_text(LOUD, encoding="utf-8", newline="\n")
    return file


def findings(file: Path) -> set[tuple[str, str]]:
    """Rule and subject of each finding of a year, by the engine itself."""
    return {(f.rule, f.subject) for f in simulate(load(file)).findings}


@pytest.mark.parametrize("by", ["mouse", "keys"])
def test_a_flush_moved_out_of_quiet_hours_takes_its_finding_along(
    window: Window, garden: Path, by: str
) -> None:
    """06:00 to 07:30: six steps of the controller's 15 minutes; nothing else of the file is changed."""
    from selenium.webdriver import ActionChains
    from selenium.webdriver.common.keys import Keys

    assert any(rule == "quiet-hours" for rule, _ in findings(garden))
    window.go(garden.name, "day")
    window.sees("quiet-hours", ".findings")
    handle = window.one("[data-run='schedule.line_flushes.0.0'].move")
    assert "06:00 for 60 s" == handle.get_attribute("aria-valuetext")
    if by == "keys":
        handle.send_keys(*[Keys.ARROW_RIGHT] * 2, Keys.PAGE_UP, Keys.ENTER)
    else:
        width = window.one(".strip svg").size["width"]
        chain = ActionChains(window.driver, duration=50).move_to_element(handle).click_and_hold()
        chain.move_by_offset(round(1.5 * width / 24), 0).release().perform()
    window.sees("gone", ".findings")
    moved = LOUD.replace("start: [06:00, 19:30]", 'start: ["07:30", 19:30]')
    assert garden.read_text(encoding="utf-8") == moved
    assert not any(rule == "quiet-hours" for rule, _ in findings(garden))
