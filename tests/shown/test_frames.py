"""Tables for pandas."""

import pytest

import cyclesim
from cyclesim.analysis.result import Result, simulate
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.shown.frames import frames


@pytest.fixture(scope="module")
def result() -> Result:
    """Two days of the starter."""
    return simulate(load_text(starter_text()), days=2)


def test_frames_hold_what_the_trace_and_the_metrics_say(result: Result) -> None:
    """Hours that the pump ran, local times of a zone, and the legs by name."""
    pytest.importorskip("pandas")
    tables = cyclesim.frames(result)
    states = tables["states"]
    ran = states[(states["element"] == "main") & (states["kind"] == "pump") & (states["state"] != "stopped")]
    ran = ran[ran["state"] != "changing"]
    hours = (ran["end"] - ran["start"]).dt.total_seconds().sum() / 3600.0
    assert result.metrics.pumps["main"].running_h == pytest.approx(hours)
    assert str(states["start"].dt.tz) == result.trace.time_zone
    assert list(tables["legs"].index) == list(result.metrics.legs)
    assert len(tables["tub"]) == len(result.trace.tub)
    assert len(tables["findings"]) == len(result.findings)
    assert list(tables["ready"].columns[:4]) == ["element", "kind", "start", "end"]


def test_without_pandas_it_says_what_to_install(result: Result, monkeypatch: pytest.MonkeyPatch) -> None:
    """No traceback of an import, but a sentence."""
    monkeypatch.setattr("cyclesim.shown.frames.find_spec", lambda _: None)
    with pytest.raises(cyclesim.CycleSimError, match="pip install pandas"):
        frames(result)
