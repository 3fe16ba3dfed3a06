"""The shipped plants as wholes: cyclesim beside a reference that shares only the loader with it."""

import ast
from pathlib import Path

import numpy as np
import pytest

from tests.wholes.by_design import by_design
from tests.wholes.cases import CASES, FOLDER, LEFT_OUT, SUN_BEHIND_PLATES, VALVE_CUT_TRENCH, closed, ours
from tests.wholes.compare import checks, closed_loop, mended, open_loop, spoiled

FAST = "walled-garden-circulator"
APART = ("physics", "control", "simulation", "analysis")


def told(rows):
    """The rows that do not hold, to be read in a failure; that there are rows at all is asked here."""
    rows = list(rows)
    assert rows
    return [(row.id, row.says, row.ours, row.tolerance) for row in rows if not row.holds]


def test_the_reference_shares_only_the_loader():
    """Nothing of physics, control, simulation or analysis is imported; `cases` calls what is public."""
    for path in Path(__file__).parent.glob("*.py"):
        names = {
            name
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            if isinstance(node, ast.Import | ast.ImportFrom)
            for name in (
                [node.module or ""] if isinstance(node, ast.ImportFrom) else [a.name for a in node.names]
            )
        }
        assert [] == [n for n in names for part in APART if n.startswith(f"cyclesim.{part}")], path.name
        own = {n for n in names if n == "cyclesim"}
        assert own == ({"cyclesim"} if path.name == "cases.py" else set()), path.name


def test_every_shipped_plant_is_here():
    """A new schedule wants a case of its own."""
    assert {file.stem for file in FOLDER.glob("*.yaml")} == set(CASES) | LEFT_OUT


def test_one_plant_in_open_and_closed_loop():
    """The circulator and the jet pump, both ways."""
    assert [] == told(checks((FAST,), design=False))


@pytest.mark.slow
@pytest.mark.timeout(600)
@pytest.mark.parametrize("loop", [open_loop, closed_loop])
def test_collectors_behind_plates(loop):
    """Glycol of their own, driven by cyclesim and under a control of its own."""
    assert [] == told(loop(SUN_BEHIND_PLATES))


@pytest.mark.slow
@pytest.mark.timeout(600)
@pytest.mark.parametrize("loop", [open_loop, closed_loop])
def test_a_motor_valve_a_circuit_cut_alone_and_a_trench(loop):
    """Collectors in the filter's loop, pumps without power for 3 h, an element for 5 h, three warm pipes."""
    trace = ours(VALVE_CUT_TRENCH).trace
    assert sum(1 for stay in trace.positions if stay.state == ("to_sun",)) > 20
    assert all(stream.seconds("lost") >= 3 * 3600 for stream in trace.circuits.values())
    assert [] == told(loop(VALVE_CUT_TRENCH))


@pytest.mark.slow
@pytest.mark.timeout(600)
@pytest.mark.parametrize("file", list(CASES))
def test_each_plant(file):
    """Every row of a plant: open loop, closed loop, spoilt on purpose, and what differs by design."""
    case = CASES[file]
    the_span_has_what_it_is_for(case)
    kinds = (open_loop, closed_loop, spoiled, by_design, *((mended,) if case.mended else ()))
    rows = {rows: list(rows(case)) for rows in kinds}
    for kind, found in rows.items():
        assert [] == told(found), kind.__name__
    usual = {row.quantity: row.says for row in rows[closed_loop]}
    broken = [row.quantity for row in rows[spoiled] if row.says > usual[row.quantity]]
    assert len(broken) >= 2, "spoiling breaks two rules at least that the file as run here does not break"
    if case.mended:
        after = sum(row.says for row in rows[mended] if row.quantity.startswith("breaks "))
        before = sum(says for what, says in usual.items() if what.startswith("breaks "))
        assert after < before, "mending mends"


def the_span_has_what_it_is_for(case):
    """A clock change and frost protection that is raised, or a valve that is turned; and, where the file has
    them, people, a ready-by, and what is past the controller.
    """
    trace, schedule = ours(case).trace, ours(case).scenario.schedule
    if schedule.valves_turned:
        assert sum(x.end_s - x.start_s for x in trace.positions if x.state) > 10 * 24 * 3600
    else:
        assert trace.local(0).utcoffset() != trace.local(trace.span_s - 1).utcoffset()
        raised = trace.demands["frost protection"].spans("raised")
        by_water = schedule.frost_protection.watches not in ours(case).scenario.place.zones
        assert len(raised) > 10 if by_water else sum(end - start for start, end in raised) > 24 * 3600
    for contact in trace.starters.values():
        assert contact.seconds("closed") > 24 * 3600
    if schedule.bathing:
        assert trace.cover.seconds("off") > 3600
    if schedule.heating and any(step.ready_by for step in schedule.heating.plan):
        assert len(trace.ready) > 1
    assert sum(stream.seconds("firing") for stream in trace.sources.values()) > 10 * 3600


@pytest.mark.slow
def test_the_reference_steps_finely_enough():
    """Cells of half the length and steps of a quarter move the tub by less than 0.005 K over a span."""
    import tests.wholes.heat as heat
    from tests.wholes.openloop import driven

    case = CASES["high-valley"]
    usual = np.array(driven(closed(case).scenario, ours(case).trace).hourly_c)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(heat, "CELL_M", heat.CELL_M / 2)
        patch.setattr(heat, "LONGEST_S", heat.LONGEST_S // 4)
        finer = np.array(driven(closed(case).scenario, ours(case).trace).hourly_c)
    assert np.abs(finer - usual).max() < 0.005
