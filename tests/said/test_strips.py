"""Programmes as strips of the day: which of them is the file's own."""

from pathlib import Path

import pytest

from cyclesim.decide.tuning import tuning as module
from cyclesim.decide.tuning.tuning import tune
from cyclesim.said.strips import shown_choices, strips
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.starter import starter_text

TOO_SHORT = (
    starter_text()
    .replace("filter_windows: 2", "filter_windows: 1")
    .replace("time_step: 15 min", "time_step: 6 h")
    .replace("[15 s, 30 s, 60 s]", "[15 s]")
    + "\ntuning: {filter_runs_a_day: 1}\n"
)
"""No flush that can be keyed in reaches the last jet, so no programme holds."""


def test_the_files_own_programme_is_found_also_where_none_holds(monkeypatch: pytest.MonkeyPatch) -> None:
    """The nearest one then stands before it, and is not taken for what the file says."""
    for tries in ("limits_tried", "plumbing"):  # neither is a strip
        monkeypatch.setattr(module, tries, lambda *_: ())
    found = tune(load_text(TOO_SHORT, "tub.yaml", folder=Path()), days=1)
    assert found.recommended is None
    drawn, choices = strips(found), shown_choices(found)
    assert choices[0] is found.nearest is not found.own
    assert choices[drawn.best] is found.own
    assert "as in the file" == drawn.strips[drawn.best].name
    assert not drawn.advises
    no_flush = next(k for k, choice in enumerate(choices) if choice.lacks)
    assert drawn.strips[no_flush].lacks == "; ".join(choices[no_flush].lacks)
    assert "no line flushes a day, 1 wished" in drawn.strips[no_flush].lacks
