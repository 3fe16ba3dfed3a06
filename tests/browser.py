"""A headless Chromium for tests of what a browser shows; left out, with a word, where there is none."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

AXE = Path(__file__).resolve().parent / "vendor" / "axe-core" / "axe.min.js"
_CHROMIUM, _DRIVER = shutil.which("chromium"), shutil.which("chromedriver")
needs_browser = pytest.mark.skipif(
    not (_CHROMIUM and _DRIVER), reason="no Chromium here: apt-get install chromium chromium-driver"
)


@contextmanager
def chromium() -> Iterator[Any]:
    """A headless browser that finds no host but this machine."""
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = _CHROMIUM or ""
    for word in (
        "--headless=new", "--no-sandbox", "--disable-dev-shm-usage", "--window-size=1280,900",
        "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
    ):  # fmt: skip
        options.add_argument(word)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(_DRIVER))
    try:
        yield driver
    finally:
        driver.quit()
