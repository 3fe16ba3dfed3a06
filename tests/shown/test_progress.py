"""The progress bar."""

import io
import sys

import pytest

from cyclesim.shown.progress import progress


class Terminal(io.StringIO):
    """A stream that says it is a terminal."""

    def isatty(self) -> bool:
        return True


def test_nobody_watches_no_bar(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where standard error is no terminal there is nothing to call."""
    monkeypatch.setattr(sys, "stderr", io.StringIO())
    with progress(10) as on_day:
        assert on_day is None


@pytest.mark.parametrize(("after_s", "shown"), [(0.0, True), (60.0, False)])
def test_bar_comes_only_after_a_while(monkeypatch: pytest.MonkeyPatch, after_s: float, shown: bool) -> None:
    """At a terminal a long run draws the bar, a short one draws nothing."""
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    monkeypatch.setenv("TERM", "xterm")
    with progress(10, after_s=after_s) as on_day:
        assert on_day is not None
        on_day(5)
        on_day(10)
    assert ("simulating" in terminal.getvalue()) is shown
