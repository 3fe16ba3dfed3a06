"""A real browser before a real workbench: what a person does there, and what they see."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Literal, NamedTuple

import pytest

from cyclesim.scenario.reading.starter import starter_text
from tests.browser import AXE

ROOT = Path(__file__).resolve().parents[2]
PATIENCE_S = 60.0
SCREENS_PX = (390, 1024, 1600)
LOUD = starter_text().replace("start: [07:30, 19:30], lasts: 60 s", "start: [06:00, 19:30], lasts: 60 s")
"""It flushes in quiet hours, which end at 07:00."""
_WHERE = """
const to = arguments[0], from = document.activeElement;
return from === to ? "there" : from.compareDocumentPosition(to) & 4 ? "on" : "back";  // 4: it follows
"""
_SHOWS = "[...document.querySelectorAll(arguments[0])].some((e) => e.innerText.includes(arguments[1]))"


class Way(NamedTuple):
    """How a task is done: by which hand, and before which screen."""

    by: Literal["mouse", "keys"]
    px: int
    dark: bool

    def __str__(self) -> str:
        return f"{self.by}-{self.px}-{'dark' if self.dark else 'light'}"


def both_ways(turn: int) -> pytest.MarkDecorator:
    """The task by mouse and by the keyboard alone, each before a screen and theme that *turn* shifts on."""
    mouse = Way("mouse", SCREENS_PX[turn % 3], dark=turn % 2 == 1)
    keys = Way("keys", SCREENS_PX[(turn + 1) % 3], dark=turn % 2 == 0)
    return pytest.mark.parametrize("hand", [mouse, keys], ids=str, indirect=True)


@contextmanager
def served(folder: Path, cache: Path, ends: Literal["kill", "terminate"] = "terminate") -> Iterator[str]:
    """A workbench on that folder in a process of its own, and how it ends; the address that it prints."""
    words = [sys.executable, "-m", "cyclesim", "workbench", str(folder), "--port", "0", "--no-open"]
    surroundings = {**os.environ, "XDG_CACHE_HOME": str(cache), "PYTHONPATH": str(ROOT)}
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True, env=surroundings) as process:
        try:
            assert process.stdout is not None
            said = process.stdout.readline()
            found = re.search(r"http://127\.0\.0\.1:\d+/\?token=\S+", said)
            assert found, said
            yield found[0]
        finally:
            getattr(process, ends)()


class Window:
    """What a person does with one window."""

    def __init__(self, driver: Any, address: str) -> None:
        self.driver, self.host, self.by = driver, address.partition("/?")[0], "mouse"
        driver.get(address)
        self.root = driver.current_url.partition("#")[0]

    def screen(self, px: int, dark: bool = False) -> None:
        """A screen of that width, light or dark."""
        size = {"width": px, "height": 900, "deviceScaleFactor": 1, "mobile": px < 600}
        self.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        self.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [scheme]})

    def go(self, name: str = "", view: str = "", about: str = "") -> None:
        """Open a view afresh."""
        self.driver.get("about:blank")
        self.driver.get(f"{self.root}#/" + "/".join(filter(None, (name, view, about))))
        self.until("return !!document.querySelector('main h1')")

    def until(self, script: str, *given: Any) -> Any:
        """What *script* returns as soon as that is true."""
        end = time.monotonic() + PATIENCE_S
        while not (found := self.driver.execute_script(script, *given)):
            assert time.monotonic() < end, (script, given, self.text("main")[:2000])
            time.sleep(0.03)
        return found

    def all(self, css: str) -> list[Any]:
        """Every element of a selector."""
        return list(self.driver.find_elements("css selector", css))

    def one(self, css: str) -> Any:
        """The first element of a selector, as soon as it is there."""
        self.until("return !!document.querySelector(arguments[0])", css)
        return self.driver.find_element("css selector", css)

    def text(self, css: str) -> str:
        """What stands there."""
        return " ".join(one.text for one in self.all(css))

    def sees(self, text: str, css: str = "body") -> None:
        """Wait until a text is shown."""
        self.until(f"return {_SHOWS}", css, text)

    def sees_no(self, text: str, css: str = "body") -> None:
        """Wait until a text is shown no more."""
        self.until(f"return !{_SHOWS}", css, text)

    def button(self, text: str, within: str = "body") -> Any:
        """A button by what stands on it, in sight."""
        script = (
            "const b = [...document.querySelectorAll(arguments[0] + ' button')]"
            ".find((e) => e.textContent.trim() === arguments[1] && !e.disabled);"
            "b?.scrollIntoView({block: 'center'}); return b"
        )
        return self.until(script, within, text)

    def reach(self, element: Any) -> None:
        """Go to an element by the tabulator alone, from wherever the focus is."""
        from selenium.webdriver import ActionChains
        from selenium.webdriver.common.keys import Keys

        for _ in range(300):
            where = self.driver.execute_script(_WHERE, element)
            if where == "there":
                return
            chain = ActionChains(self.driver)
            if where == "on":
                chain.send_keys(Keys.TAB).perform()
            else:
                chain.key_down(Keys.SHIFT).send_keys(Keys.TAB).key_up(Keys.SHIFT).perform()
        raise AssertionError(f"the tabulator does not lead to {element.get_attribute('outerHTML')[:200]}")

    def use(self, element: Any, key: str = "\ue007") -> None:
        """Click an element, or go there by the tabulator and press a key (Enter)."""
        if self.by == "keys":
            self.reach(element)
            self.press(key)
        else:
            self.driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", element)
            element.click()

    def fill(self, field: Any, text: str) -> None:
        """Put a text into a field in place of what stands there, and leave it by the tabulator."""
        from selenium.webdriver.common.keys import Keys

        self.reach(field) if self.by == "keys" else self.use(field)
        self.press_with_control("a")
        self.press(text or Keys.DELETE, Keys.TAB)

    def choose(self, box: Any, text: str) -> None:
        """Pick an option of a box by what it says; a list that a mouse opens is no part of the page."""
        self.reach(box) if self.by == "keys" else self.use(box)
        self.press(text, *["\ue007"] * (self.by == "mouse"))

    def press(self, *keys: str) -> None:
        """Press keys, one after another, wherever the focus is."""
        from selenium.webdriver import ActionChains

        ActionChains(self.driver).send_keys(*keys).perform()

    def press_with_control(self, key: str) -> None:
        """Press a key while the control key is held."""
        from selenium.webdriver import ActionChains
        from selenium.webdriver.common.keys import Keys

        ActionChains(self.driver).key_down(Keys.CONTROL).send_keys(key).key_up(Keys.CONTROL).perform()

    def write(self, path: str, text: str) -> None:
        """Put a text into the field of a path and leave it by the tabulator."""
        self.fill(self.one(f"#field-{path.replace('.', '-')}"), text)

    def serious(self, only_contrast: bool = False) -> list[tuple[str, str, str]]:
        """What axe-core finds that keeps people from using what is shown, with everything unfolded."""
        self.driver.execute_script("for (const d of document.querySelectorAll('details')) d.open = true;")
        self.driver.execute_script(AXE.read_text(encoding="utf-8"))
        every = "{rules: {'target-size': {enabled: true}}}"
        only = "{runOnly: ['color-contrast']}" if only_contrast else every
        found = self.driver.execute_async_script(f"axe.run({only}).then(arguments[0])")
        assert found["passes"]
        return [
            (v["id"], v["impact"], v["nodes"][0]["html"][:160])
            for v in found["violations"]
            if v["impact"] in ("serious", "critical", "moderate")
        ]

    def is_well(self, *expected: str) -> None:
        """What is shown can be used by everybody and fits; no error was told but the *expected* answers."""
        # a view that is being loaded has no heading yet; what waits for a newer answer is paler for a while
        self.until("return !!document.querySelector('h1')")
        end = time.monotonic() + 5.0
        while self.all(".stale") and time.monotonic() < end:
            time.sleep(0.1)
        found = self.serious()
        assert not found, found
        wide, px = self.driver.execute_script("return [document.documentElement.scrollWidth, innerWidth]")
        assert wide <= px, (wide, px)
        errors = [said for said in self.console() if not any(word in said for word in expected)]
        assert not errors, errors
        strangers = self.asked() - {self.host}
        assert not strangers, strangers

    def is_well_everywhere(self) -> None:
        """What is shown can be used and fits on every screen, light and dark."""
        for px in SCREENS_PX:
            self.screen(px, dark=px != 1024)
            self.is_well()
        for px, dark in ((1024, True), (390, False)):
            self.screen(px, dark)
            found = self.serious(only_contrast=True)
            assert not found, found
        self.screen(1280)

    def console(self) -> list[str]:
        """What was said on the console since this was asked last."""
        return [entry["message"] for entry in self.driver.get_log("browser")]

    def asked(self) -> set[str]:
        """The hosts that were asked for anything since this was asked last."""
        messages = [json.loads(e["message"])["message"] for e in self.driver.get_log("performance")]
        urls = [m["params"]["request"]["url"] for m in messages if m["method"] == "Network.requestWillBeSent"]
        return {"/".join(url.split("/")[:3]) for url in urls if not url.startswith(("data:", "about:"))}
