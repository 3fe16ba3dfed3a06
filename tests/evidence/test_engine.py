"""Flows and water ages beside the EPANET engine: two drawn networks, and all of them if slow."""

from functools import cache

import pytest

from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.engine import Begins, simulate_trace
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.trace import Trace
from tests.evidence.engine import ages, beside, engine_factor, hydraulics, plants, rows
from tests.evidence.engine_model import Duties, Model, Ran, duties_of, run
from tests.evidence.engine_networks import KINDS, drawn
from tests.evidence.record import judge

BACK_FED, BRIDGE = (list(KINDS).index(kind) for kind in ("back-fed", "bridge"))


@pytest.mark.parametrize("number", [BACK_FED, BRIDGE])
def test_a_drawn_network_agrees_with_the_engine(number: int) -> None:
    """One day at one step a second: water that circles, and legs that run either way."""
    found = beside(number, 1, 1)
    assert found.same_flow.apart <= 1e-4, found.same_flow.where
    assert found.same_head.apart <= 1e-4, found.same_head.where
    assert found.flow.apart <= 3e-3, found.flow.where
    assert found.head.apart <= 4e-3, found.head.where
    assert found.age.apart <= 0.6, found.age.where


@pytest.mark.slow
@pytest.mark.timeout(600)
@pytest.mark.parametrize("name", plants())
def test_every_plant_agrees_with_the_engine(name: str) -> None:
    """Each row holds, and it is told where the two are furthest apart."""
    judged = [judge(check) for check in rows(name)]
    assert [] == [(x.check.quantity, x.ours) for x in judged if not x.holds], judged[-1].conclusion


@cache
def _run() -> tuple[Assembly, Trace, Duties]:
    sheet = drawn(BRIDGE)
    plant = Assembly(sheet)
    trace = simulate_trace(plant, Programme(sheet), days=1, begins=Begins(plant.temp_c))
    return plant, trace, duties_of(plant, trace)


def _wrong(**changed: object) -> Ran:
    """The engine's answer for the plant with another filter."""
    plant, trace, duties = _run()
    other = Assembly(drawn(BRIDGE))
    filters = {"filter": plant.sheet.equipment["filter"].model_copy(update=changed)}
    other.sheet = other.sheet.model_copy(update={"equipment": filters})
    return run(Model(other, duties, trace.span_s))


def test_a_loss_that_is_wrong_is_seen() -> None:
    """A filter that loses a twentieth more in the engine's model moves a flow by more than is allowed."""
    plant, _, duties = _run()
    drop = plant.sheet.equipment["filter"].drop
    flow, _ = hydraulics(duties, _wrong(drop=drop._replace(head_m=1.05 * drop.head_m)))
    assert flow.apart > 3e-3


def test_a_volume_that_is_wrong_is_seen() -> None:
    """A filter that holds five litres more in the engine's model delays a front by more than is allowed."""
    plant, trace, _ = _run()
    volume = plant.sheet.equipment["filter"].volume_m3 + 5e-3
    assert ages(plant, trace, _wrong(volume_m3=volume)).apart > 0.6


def test_the_engines_friction_factor_is_the_one_that_its_manual_prints() -> None:
    """64/Re, one line through 2000 and 4000, and Swamee and Jain by hand at Re 1e5, roughness 1e-4.

    1e-4 / 3.7 + 5.74 / 1e5^0.9 = 2.0854e-4, log10 of it is -3.6808, and 0.25 / 13.548 is 0.018452.
    """
    assert engine_factor(1000.0, 1e-4) == pytest.approx(0.064)
    assert engine_factor(1e5, 1e-4) == pytest.approx(0.018452, rel=1e-4)
    for reynolds in (2000.0, 4000.0):
        below, above = engine_factor(reynolds - 1e-6, 1e-4), engine_factor(reynolds + 1e-6, 1e-4)
        assert below == pytest.approx(above, rel=1e-6)
