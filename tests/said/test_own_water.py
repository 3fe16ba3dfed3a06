"""What is said of a heat source's own water: drawn, on paper, in the trace, with the cautions by it."""

from __future__ import annotations

import pytest

from cyclesim.analysis.result import Result, simulate
from cyclesim.said.cautions import cautions_for
from cyclesim.said.drawing import drawing
from cyclesim.said.page import Amount, Line, Page, Table
from cyclesim.said.papers.electrician import electrician
from cyclesim.said.papers.keyed import settings
from cyclesim.said.papers.paper import Checklist
from cyclesim.said.papers.plumber import plumber
from cyclesim.said.trace_rows import rows_of
from cyclesim.said.use_tables import say_own_waters
from cyclesim.scenario.reading.load import load_text
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from cyclesim.verification.by_hand import HandTests
from tests.own_circuit import PLANT
from tests.sunny import BEHIND_PLATES, FILTERED

MIXED = PLANT.replace("volume: 12 L", "volume: 12 L\n        glycol: 30 %\n        flow_switch: true")


@pytest.fixture(scope="module")
def result() -> Result:
    """Two days."""
    return simulate(load_text(PLANT), days=2)


def test_the_sheet_says_what_stands_behind_the_plates_and_what_turns_it() -> None:
    """Beside the source its own water, beside the plates the tub's that is in them."""
    drawn = drawing(Assembly(load_text(MIXED)))
    boiler = [label.lines for label in drawn.labels if label.about == "boiler"]
    assert [("plates", "1 L")] == [lines for lines in boiler if lines[0] == "plates"]
    assert [("boiler", "boiler, 12 kW", "own water, 12 L, 30 % glycol")] == [
        lines for lines in boiler if lines[0] == "boiler"
    ]
    assert "own water, 12 L, 30 % glycol, behind plates" in drawn.told["boiler"]
    assert drawn.told["boiler_pump"] == "boiler_pump: circulator, 45 W, turns the own water of boiler."


def papers(text: str):
    """The plumber's and the electrician's."""
    plant = Assembly(load_text(text))
    programme = Programme(plant.scenario)
    return plumber(plant, programme, ()), electrician(plant, programme, HandTests((), ()), set())


def test_the_papers_tell_the_plumber_what_is_in_it_and_the_electrician_what_holds_it() -> None:
    """12 L, 30 % to -12.8 degC (Lange's Handbook), 15 L/min; two contacts and a flow switch."""
    of_pipes, of_wires = papers(MIXED)
    rows = {r.cells[0]: r.cells[1] for b in of_pipes.blocks if isinstance(b, Table) for r in b.rows}
    assert (12.0, -12.8, 15.0) == tuple(
        pytest.approx(rows[key].value) for key in ("water in it", "it freezes at", "flow that it gives")
    )
    looked = [item for b in of_pipes.blocks if isinstance(b, Checklist) for item in b.items]
    assert any("refractometer: 30 % propylene" in item for item in looked)
    assert any("relief valve" in item for item in looked)
    assert "own water of boiler" not in rows  # glycol stays in it over winter
    wired = [r.cells for b in of_wires.blocks if isinstance(b, Table) for r in b.rows]
    assert any(cells[:2] == ("boiler_pump", "circulator") and cells[2] == 45.0 for cells in wired)
    assert any("flow switch in its own water" in cells for cells in wired)


def test_the_electrician_keys_in_the_thermostat_of_its_own_water() -> None:
    """Between 55 and 65 degC, as the file has it; collectors behind plates have none."""
    told = {str(what): value for what, value in settings(Programme(load_text(PLANT)))}
    assert told["boiler: starts when its own water is below"] == Amount(55.0, "°C", 1)
    assert told["boiler: stops when its own water is above"] == Amount(65.0, "°C", 1)
    assert not [
        what for what, _ in settings(Programme(load_text(BEHIND_PLATES + FILTERED))) if "own water" in what
    ]


def test_plain_water_is_drained_before_a_winter() -> None:
    """Without glycol the circuit stands in the list of what must be empty."""
    of_pipes, _ = papers(PLANT)
    rows = {r.cells[0]: r.cells for b in of_pipes.blocks if isinstance(b, Table) for r in b.rows}
    assert rows["own water of boiler"][1:3] == ("room", 12.0)


def test_a_hot_closed_circuit_has_its_caution() -> None:
    """And a plant without one has not."""
    assert any("relief valve" in caution for caution in cautions_for(load_text(PLANT)))


def test_the_trace_tells_circulator_heat_and_own_water(result: Result) -> None:
    """What went in is what went over, away and stayed, by its rows: 12 L of 4.13 MJ/m3 K."""
    rows = [row for row in rows_of(result.trace) if row[0] in ("boiler", "boiler_pump")]
    kinds = {row[1] for row in rows}
    assert {"circulator", "heat into own water", "own water"} <= kinds
    own = [row[5] for row in rows if row[1] == "own water"]
    went = {
        key: sum(values[key] for values in own) for key in ("heat_kwh", "through_plates_kwh", "heat_lost_kwh")
    }
    stays = went["heat_kwh"] - went["through_plates_kwh"] - went["heat_lost_kwh"]
    assert abs(stays) < 0.012 * 4.13 * 60.0 / 3.6  # no more than 60 K of it
    assert went["heat_kwh"] == pytest.approx(result.metrics.own_water["boiler"].given_kwh)


def test_water_that_stood_is_told_under_its_table(result: Result) -> None:
    """One line for a source that was on while its own water stood; none otherwise."""
    from dataclasses import replace

    own = result.metrics.own_water["boiler"]
    for stood_h, told in ((0.0, False), (0.5, True)):
        page = Page()
        say_own_waters(page, {"boiler": replace(own, still_while_on_h=stood_h)}, "EUR")
        assert told == any("stood" in str(block) for block in page.blocks if not isinstance(block, Table))


def test_the_electrician_reads_that_it_fires_with_the_pumps_that_it_is_kept_off_without(
    result: Result,
) -> None:
    """Pump 300 W, circulator 45 W, boiler 100 W at 230 V: 445/230 = 1.93 A, as the run carries too."""
    _, of_wires = papers(PLANT)
    [row] = [
        r.cells
        for b in of_wires.blocks
        if isinstance(b, Table)
        for r in b.rows
        if "within" in str(r.cells[-1])
    ]
    assert row[:3] == ("supply", pytest.approx(445.0 / 230.0), "main, boiler_pump and boiler")
    assert result.metrics.energy.circuits["supply"].most_current_a == pytest.approx(445.0 / 230.0)
    said = [b.text for b in of_wires.blocks if isinstance(b, Line)]
    assert any(s.startswith("Only together: boiler is kept off while boiler_pump is stopped") for s in said)
    assert not any(s.startswith("Not together") for s in said)
    reads = {
        r.cells[1]: r.cells[2]
        for b in of_wires.blocks
        if isinstance(b, Table)
        for r in b.rows
        if len(r.cells) > 2
    }
    assert reads["boiler is kept off while boiler_pump is stopped"] == "contact of boiler_pump"


@pytest.mark.parametrize(("said", "told"), [("limit_sensor: own", "its own"), ("", "the file does not say")])
def test_whose_sensor_a_high_limit_has_is_no_fact_where_the_file_leaves_it_open(said: str, told: str) -> None:
    """As the rule of independent limits, which is not judged then."""
    _, of_wires = papers(PLANT.replace("limit_sensor: own", said))
    rows = [r.cells for b in of_wires.blocks if isinstance(b, Table) for r in b.rows]
    assert told == next(cells[2] for cells in rows if cells[:2] == ("boiler", 80.0))
