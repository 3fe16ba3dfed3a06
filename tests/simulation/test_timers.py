"""Times of states: only an end for which somebody waits is an event, and nobody can tell."""

from pathlib import Path

import pytest

from cyclesim.scenario.reading.load import load
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.board import Timers
from cyclesim.simulation.engine import simulate_trace
from cyclesim.simulation.passes import Passed
from cyclesim.simulation.programme import Programme

SCHEDULES = Path(__file__).parents[2] / "schedules"


@pytest.mark.parametrize("name", ["cedar-yard", "walled-garden", "high-valley"])
def test_a_pass_at_every_end_comes_to_the_same(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Everything is on and off in the same seconds, for the same reasons, with a pass at each end."""
    scenario = load(SCHEDULES / f"{name}.yaml")
    plant, programme = Assembly(scenario), Programme(scenario)

    def plan_all(timers: Timers, _: Passed) -> None:
        for end_s in timers.ends_s:
            timers._board.wake(end_s)

    as_it_is = simulate_trace(plant, programme, days=3)
    monkeypatch.setattr(Timers, "plan", plan_all)
    at_each_end = simulate_trace(plant, programme, days=3)
    assert at_each_end.passes > as_it_is.passes
    for (kind, stream), (_, other) in zip(as_it_is.streams(), at_each_end.streams(), strict=True):
        assert list(stream) == list(other), (kind, stream.name)
    assert at_each_end.end_water_c == pytest.approx(as_it_is.end_water_c, abs=1e-7)  # heat is cut there too
