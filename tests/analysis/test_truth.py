"""Inertia: what outlasts a command, and for how long."""

from collections.abc import Callable

import pytest

from cyclesim.analysis.history import History
from cyclesim.analysis.spans import join, total_s
from cyclesim.analysis.supply import current_a
from cyclesim.analysis.truth import duties_over_time

Run = Callable[..., History]


def test_water_moves_until_the_pump_has_coasted(run: Run) -> None:
    """Flow through the element ends 1 s after the pump is stopped, as `coasts` says."""
    history = run(pumps={"main": [(100, "low"), (200, "stopped")]})
    assert [[100.0, 201.0]] == history.truth.some_flow["element"].tolist()
    assert [[100.0, 201.0]] == history.truth.enough_flow["element"].tolist()


def test_coasting_ends_where_the_pump_starts_again(run: Run) -> None:
    """A pump that coasts for 3 s through a changeover of 2 s never lets the water stop."""
    history = run(
        ("changeover: 2 s", "changeover: 2 s\n      coasts: 3 s"),
        pumps={"main": [(100, "low"), (200, "changing"), (202, "high"), (300, "stopped")]},
    )
    told = [
        (a, b, duty.speeds[0]) for a, b, duty in duties_over_time(history.plant, history.trace, coasting=True)
    ]
    assert told[1:4] == [(100.0, 202.0, "low"), (202.0, 303.0, "high"), (303.0, 86_400.0, "stopped")]


def test_too_little_flow_is_some_flow(run: Run) -> None:
    """A source that needs more than the pump gives has some flow, never enough."""
    history = run(("needs_flow: 30 L/min", "needs_flow: 290 L/min"), pumps={"main": [(100, "low")]})
    assert [[100.0, 86_400.0]] == history.truth.some_flow["element"].tolist()
    assert [] == history.truth.enough_flow["element"].tolist()


def test_heat_outlasts_its_command_while_the_contactor_opens(run: Run) -> None:
    """Heat ends half a second after firing does, as `opens_within` says."""
    history = run(
        ("proof: {by: flow_switch}", "opens_within: 0.5 s, proof: {by: flow_switch}"),
        pumps={"main": [(0, "low")]},
        sources={"element": [(10, "firing"), (60, "off")]},
    )
    assert [[10.0, 60.5]] == history.truth.hot["element"].tolist()


def test_what_runs_when_the_span_begins_has_run_before(run: Run) -> None:
    """A flow that is there at the first second counts as having lasted: the warm-up made it."""
    history = run(pumps={"main": [(0, "low")]}, sources={"element": [(0, "firing"), (60, "off")]})
    hot = [truth for snapshot, _ in history.truth.snapshots for _, truth in snapshot.sources if truth.hot]
    assert hot
    assert all(truth.flow_lasted for truth in hot)


def test_snapshots_tile_the_span(run: Run) -> None:
    """Every instant has one snapshot: their times are disjoint and cover the span."""
    history = run(
        pumps={"main": [(100, "low"), (200, "changing"), (202, "high"), (230, "stopped"), (500, "low")]},
        sources={"element": [(120, "firing"), (199, "run_on"), (240, "off")]},
    )
    sets = [a for _, a in history.truth.snapshots]
    assert [[0.0, 86_400.0]] == join(*sets).tolist()
    assert pytest.approx(86_400.0) == sum(total_s(a) for a in sets)


def test_current_is_the_sum_of_what_is_on(run: Run) -> None:
    """Pump 1.5 A by its nameplate, element 2300 W and lights 230 W at 230 V: 1.5 + 10 + 1 A."""
    history = run(pumps={"main": [(0, "low")]}, sources={"element": [(0, "firing")]})
    (snapshot, _), *rest = history.truth.snapshots
    assert [] == rest
    assert pytest.approx(12.5) == current_a(snapshot, history.plant)
