"""Shelf, questions, plant and day in a real browser: on any screen, and nothing leaves the machine."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from cyclesim.scenario.reading.starter import starter_text
from tests.workbench.driven import Window, chromium, needs_browser, served

pytestmark = needs_browser


@pytest.fixture(scope="module")
def window(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Window]:
    """A window on a folder with one plant that can be run and one that cannot."""
    place = tmp_path_factory.mktemp("bench")
    folder = place / "plants"
    folder.mkdir()
    (folder / "garden.yaml").write_text(starter_text(), encoding="utf-8")
    (folder / "half.yaml").write_text("format: 1\ntitle: Half a tub\nplant: {}\n", encoding="utf-8")
    with served(folder, place / "cache") as address, chromium() as driver:
        yield Window(driver, address)


VIEWS = {"shelf": (), "questions": ("garden.yaml", "start"), "plant": ("garden.yaml", "plant", "main"),
         "day": ("garden.yaml", "day"), "faults": ("half.yaml", "plant")}  # fmt: skip
SETTLED = "return !document.querySelector('.wait') && !document.querySelector('progress')"


@pytest.mark.slow
@pytest.mark.parametrize("view", VIEWS)
def test_people_with_any_handicap_can_use_a_view(window: Window, view: str) -> None:
    """axe-core finds nothing serious, light and dark; nothing is wider than a phone or a large screen."""
    window.console()
    window.screen(1280)
    window.go(*VIEWS[view])
    window.until(SETTLED)
    assert [] == window.serious()
    for px, dark in ((390, False), (1600, True)):
        window.screen(px, dark)
        assert window.driver.execute_script("return document.documentElement.scrollWidth") <= px
    assert [] == window.serious(only_contrast=True)
    window.screen(1280)
    assert [] == window.console()


def test_nothing_is_asked_of_anybody_else(window: Window) -> None:
    """Every request of every view goes to the workbench's own address."""
    window.asked()
    for place in VIEWS.values():
        window.go(*place)
    assert {window.root.rstrip("/")} == window.asked()


def test_the_keyboard_goes_through_the_drawing_and_opens_a_form(window: Window) -> None:
    """Arrow keys lead from part to part, Enter opens the form of the one that has the focus."""
    from selenium.webdriver.common.keys import Keys

    window.go("garden.yaml", "plant")
    window.one("g.part[tabindex='0']").send_keys(Keys.ARROW_RIGHT)
    name = window.driver.execute_script("return document.activeElement.id").removeprefix("plant-")
    window.driver.switch_to.active_element.send_keys(Keys.ENTER)
    window.sees(name, "#part-title")
    assert window.all(".side .field")


def test_the_views_are_small_enough_to_be_there_at_once() -> None:
    """All that the page loads is less than 400 kB, as it was promised."""
    assets = Path(__file__).resolve().parents[2] / "cyclesim" / "workbench" / "assets"
    loaded = [f for f in assets.rglob("*") if f.suffix in (".js", ".css", ".html")]
    assert len(loaded) > 10
    assert sum(f.stat().st_size for f in loaded) < 400_000
