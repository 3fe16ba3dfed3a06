"""Positions of valves that nothing in a check can tell apart: which they are, and that none is lost so."""

from pathlib import Path

import pytest

from cyclesim.scenario.reading.load import load
from cyclesim.verification.judging import Judging

HARBOUR = Path(__file__).parents[2] / "schedules" / "harbour-steps.yaml"
NEEDS = "plant.heat_sources.element.needs_flow"


def turned(judging: Judging) -> tuple[str, ...]:
    """The positions of the diverter that the search for heat without flow has."""
    check = next(check for check in judging.checks() if "heat-without-flow" in check.rules)
    dims = {dim.name: dim for dim in judging.automaton(check, "commands").dims}
    return tuple(value.position for value in dims["valve seats"].values) if "valve seats" in dims else ()


def judged(judging: Judging) -> dict[tuple[str, str], object]:
    """The verdicts, with each fault's, and whether a story was told; not how many states there were."""
    return {
        (v.rule, v.subject): (v.broken, v.undecided, v.why, [(c.faults, c.barrier, c.why) for c in v.cells])
        for v in judging.verdicts(None)
    }


def test_which_bench_gets_the_water_is_nothing_to_the_element() -> None:
    """It has enough in each of three positions; left and right are alike where both starve it."""
    assert () == turned(Judging(load(HARBOUR), 1, False, None))
    plant = Judging(load(HARBOUR), 0, False, None).plant
    flows = {p: plant.duty(plant.at("main", "low"), (p,)).flow_m3_s("element") for p in ("middle", "left")}
    between = 0.5 * sum(flows.values()) * 60_000.0
    starved = load(HARBOUR, sets=[f"{NEEDS}={between:.3f} L/min"])
    assert ("middle", "left") == turned(Judging(starved, 0, False, None))


def test_what_one_fault_tells_apart_is_kept() -> None:
    """A clogged filter leaves so little that the position decides whether it is enough."""
    judging = Judging(load(HARBOUR), 1, False, None)
    clogged = judging._rerouted[1]
    flows = {
        p: clogged.duty(clogged.at("main", "low"), (p,)).flow_m3_s("element") for p in ("middle", "left")
    }
    between = 0.5 * sum(flows.values()) * 60_000.0
    told = Judging(load(HARBOUR, sets=[f"{NEEDS}={between:.3f} L/min"]), 1, False, None)
    assert ("middle", "left") == turned(told)


def test_no_verdict_is_another_with_every_position(monkeypatch: pytest.MonkeyPatch) -> None:
    """Under every single fault; with a third of the states."""
    monkeypatch.setattr(Judging, "_mends", lambda *_: iter(()))
    few = judged(Judging(load(HARBOUR), 1, False, None))
    monkeypatch.setattr(Judging, "_told_apart", lambda *_: {})
    assert judged(Judging(load(HARBOUR), 1, False, None)) == few
