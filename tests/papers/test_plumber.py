"""The plumber's numbers against data sheets: drops and jets by the square of the flow, covers by the area."""

from pathlib import Path

import pytest

from cyclesim.analysis.result import simulate
from cyclesim.said.page import Line, Table
from cyclesim.said.papers.collected import HandOver
from cyclesim.said.papers.owner import owner
from cyclesim.said.papers.paper import Checklist
from cyclesim.said.papers.plumber import plumber
from cyclesim.scenario.reading.load import load, load_text
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from tests.sunny import AT_NIGHT, BEHIND_PLATES

PATH = Path(__file__).parents[2] / "schedules" / "harbour-steps.yaml"
KPA_PER_M = 993.3 * 9.80665 / 1000.0  # water at 37 degC: 993.3 kg/m3, handbook


def tables(scenario):
    """Every table of the paper."""
    paper = plumber(Assembly(scenario), Programme(scenario), ())
    return [block for block in paper.blocks if isinstance(block, Table)]


def test_gauge_pressures_are_those_of_the_data_sheets():
    """The filter: 1.0 m at 400 L/min. A jet: 38 L/min at 6 m. Both go with the square of the flow.

    What stands before the suction is the tub's own: nothing above its water. Behind the last jet likewise.
    """
    [table] = [table for table in tables(load(PATH)) if table.title.startswith("main high")]
    rows = {str(row.cells[0]): row.cells[1:] for row in table.rows}
    flow, before, behind = rows["filter"]
    assert before - behind == pytest.approx(1.0 * (flow / 400.0) ** 2 * KPA_PER_M, rel=1e-3)
    flow, before, behind = rows["left_bench, last jet"]
    assert before - behind == pytest.approx(6.0 * (flow / 38.0) ** 2 * KPA_PER_M, rel=1e-3)
    assert 0.0 == rows["suction"][1] == behind
    flows = [rows[name][0] for name in ("left_bench", "right_bench", "main")]
    assert flows[0] + flows[1] == pytest.approx(flows[2])


def test_a_cover_must_pass_the_whole_flow_with_the_other_one_blocked():
    """Two covers, one blocked: 401 L/min through one at 0.5 m/s asks for 401/60000/0.5 m2 = 134 cm2."""
    [table] = [table for table in tables(load(PATH)) if "least open area" in table.columns[-1].heading]
    [row] = table.rows
    [high] = [table for table in tables(load(PATH)) if table.title.startswith("main high")]
    flow = next(row.cells[1] for row in high.rows if row.cells[0] == "main")
    assert row.cells[-1] == pytest.approx(flow / 60_000.0 / 0.5 * 1e4, rel=1e-3)


def test_one_cover_alone_is_never_enough():
    """With the only one blocked, no area helps; the note says so."""
    text = PATH.read_text(encoding="utf-8")
    alone = text.replace("suction: {fittings: 2, open_area: 200 cm2, one_can_be_shut: false}",
                         "suction: {fittings: 1, open_area: 200 cm2}")  # fmt: skip
    assert alone != text
    scenario = load_text(alone)
    [table] = [table for table in tables(scenario) if "least open area" in table.columns[-1].heading]
    assert float("inf") == table.rows[0].cells[-1]
    assert any(note.startswith("never:") for note in table.notes)


def test_valves_tell_what_they_leave_without_water():
    """At left nothing moves in the right bench, and the other way round."""
    [table] = [table for table in tables(load(PATH)) if table.columns[0].heading == "valve"]
    told = {row.cells[2]: str(row.cells[3]) for row in table.rows}
    assert {"left", "right"} == set(told)
    assert told["left"].startswith("no water moves in right_bench")
    assert told["right"].startswith("no water moves in left_bench")


def test_a_paper_of_examples_begins_with_saying_so():
    """Nobody has measured a starter's pipes; a plant with numbers of its own says nothing of the kind."""
    own = load(PATH)
    for scenario, said in ((load_text(starter_text()), True), (own, False)):
        [paper] = HandOver(scenario, "", (), "2027-03-02", "0.1.0").papers(("plumber",)).papers
        first = paper.blocks[0]
        assert said == (
            isinstance(first, Line) and first.text.startswith("Still examples: tub, suction_left")
        )


def test_a_lagged_housing_is_told_beside_the_pipes():
    """The filter with 25 mm round it; what is bare has no line."""
    scenario = load(PATH, sets=["plant.equipment.filter.insulation=25 mm"])
    told = [
        b.text for b in plumber(Assembly(scenario), Programme(scenario), ()).blocks if isinstance(b, Line)
    ]
    assert [text for text in told if "insulated" in text] == ["filter is insulated all round by 25 mm."]


@pytest.mark.parametrize(("mean_c", "freezes"), [(-30, True), (12, False)])
def test_whoever_fills_it_reads_that_the_glycol_is_too_little(mean_c, freezes):
    """40 % propylene glycol freezes at -20.6 degC (Lange's Handbook, 15th ed., table 5.13), air is colder.

    The tick for what is drawn stands where it is enough only; the owner reads of the danger too.
    """
    cold = load_text(BEHIND_PLATES + AT_NIGHT, "test.yaml", sets=[f"place.weather.mean={mean_c} degC"])
    run = simulate(cold, days=2)
    paper = plumber(run.plant, run.programme, run.findings)
    ticks = [item for block in paper.blocks if isinstance(block, Checklist) for item in block.items]
    drawn = [item for item in ticks if "propylene" in item]
    assert freezes == drawn[0].startswith("Not to be filled as drawn: 40 % propylene glycol is drawn")
    assert freezes != drawn[0].startswith("Glycol measured with a refractometer: 40 % propylene")
    for blocks in (paper.blocks, owner(run).blocks):
        said = [
            b.text for b in blocks if isinstance(b, Line) and "40 % glycol keeps it down to -20.6" in b.text
        ]
        assert freezes == bool(said)
