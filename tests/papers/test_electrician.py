"""The electrician's numbers: currents added up by hand, settings as the file has them, what proofs miss."""

from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner
from pypdf import PdfReader

from cyclesim.cli import cli
from cyclesim.decide.ranges.confidence import confidence
from cyclesim.said.calendar import owners_calendar
from cyclesim.said.page import Amount, Line, Table
from cyclesim.said.papers.collected import HandOver
from cyclesim.said.papers.electrician import BLIND
from cyclesim.said.papers.keyed import settings
from cyclesim.said.papers.paper import Sheet
from cyclesim.said.papers.single_faults import say_single_faults
from cyclesim.scenario.blocks.heat_sources import Proof
from cyclesim.scenario.reading.load import load, load_text
from cyclesim.simulation.programme import Programme
from cyclesim.verification.answer import Cell, Verdict, Verification
from cyclesim.verification.verifier import verify

PATH = Path(__file__).parents[2] / "schedules" / "walled-garden.yaml"
TEXT = PATH.read_text(encoding="utf-8")


def tables(scenario):
    """The tables of the paper, by the heading of their second column."""
    [paper] = HandOver(scenario, "", (), "2027-03-02", "0.1.0").papers(("electrician",)).papers
    return {
        block.columns[1].heading.partition("\n")[0]: block
        for block in paper.blocks
        if isinstance(block, Table)
    }


@pytest.fixture(scope="module")
def garden():
    """The tables of the walled garden."""
    return tables(load(PATH))


def test_currents_are_those_of_the_nameplates_and_their_sum(garden):
    """Element 3000 W / 230 V = 13.04 A, lights 60 / 230 = 0.26 A, main low 1.5 A: 14.80 A at most.

    Main high (7.4 A) is never beside the element, which is blocked then; with the lights it draws less.
    """
    told = garden
    amps = {row.cells[0]: row.cells[3] for row in told["kind"].rows}
    assert (
        pytest.approx({"main low": 1.5, "main high": 7.4, "element": 3000 / 230, "lights": 60 / 230}) == amps
    )
    [row] = told["at most"].rows
    assert row.cells[1] == pytest.approx(1.5 + 3000 / 230 + 60 / 230)
    assert "main low, element and lights" == row.cells[2]
    assert "within the breaker" == row.cells[3]


def test_more_than_the_breaker_is_told_in_so_many_words():
    """At 12 A the same 14.8 A are too much."""
    [row] = tables(load_text(TEXT.replace("breaker: 20 A", "breaker: 12 A")))["at most"].rows
    assert "MORE THAN THE BREAKER" == row.cells[3]


@pytest.mark.parametrize(
    ("opens", "at_most", "said"),
    [
        (
            "",
            14.80,
            "supply: at most 14.80 A by the controller's interlocks (element is kept off while main runs "
            "on high); without them 20.70 A, MORE THAN THE BREAKER.",
        ),
        (
            "opens_within: 1 s, ",
            20.70,
            "supply: element is kept off while main runs on high, but for a moment "
            "both may be on: they are counted together.",
        ),
    ],
)
def test_a_sum_tells_the_interlock_on_which_it_rests_and_what_it_is_without(opens, at_most, said):
    """3000 / 230 + 60 / 230 + 1.5 A with main low, + 7.4 A with main high, which a late contact lets in."""
    scenario = load_text(TEXT.replace("{kind: electric,", f"{{kind: electric, {opens}"))
    [paper] = HandOver(scenario, "", (), "2027-03-02", "0.1.0").papers(("electrician",)).papers
    assert said in [block.text for block in paper.blocks if isinstance(block, Line)]
    [row] = tables(scenario)["at most"].rows
    assert row.cells[1] == pytest.approx(at_most, abs=0.005)


def test_settings_are_keyed_in_from_the_clock_to_the_heat(garden):
    """Each is one that the file has, in the order: clock, what protects, runs, set point."""
    rows = {str(row.cells[1]): row.cells[2] for row in garden["setting"].rows}
    names = list(rows)
    assert "clock" == names[0]
    assert "5 s" == rows["element: water has flowed before it comes on for"]
    assert "60 s" == rows["element: its pump runs on for"]
    assert "07:30 and 19:30 for 45 s" == rows["line flush: main high, every day"]
    assert Amount(37.0, "°C", 1) == rows["heating with element, main low: set point"]
    assert Amount(1.0, "K", 1) == rows["heating: starts below the set point by"]
    order = [next(k for k, name in enumerate(names) if part in name) for part in
             ("water has flowed", "rests", "frost", "filter run", "line flush", "set point")]  # fmt: skip
    assert order == sorted(order)


def test_what_goes_off_by_itself_is_keyed_in_too():
    """Time-outs of jets and air, quiet hours, the air that a heat pump stands in: as the files have them."""
    table = dict(settings(Programme(load(PATH.with_name("long-table.yaml")))))
    assert table["bathing: main high goes off after"] == "10 min"
    assert table["bathing: air goes off after"] == "5 min"
    assert table["quiet hours: main high stays off, every day"] == "22:00 to 07:00"
    table_long = load(
        PATH.with_name("long-table.yaml"), sets=["schedule.quiet_hours.applies_to=[main high, blower]"]
    )
    assert "quiet hours: main high and blower stay off, every day" in dict(settings(Programme(table_long)))
    valley = dict(settings(Programme(load(PATH.with_name("high-valley.yaml")))))
    assert valley["heat_pump: stays off when the air is below"] == Amount(-15.0, "°C", 1)


def test_a_run_that_gives_way_to_a_slower_one_is_told_where_it_is_keyed_in():
    """By rank frost protection at low stands above the flush at high, and below it once ranks say so."""
    told = []
    for ranks in ("frost_protection, line_flush", "line_flush, frost_protection"):
        scenario = load(PATH, sets=[f"schedule.ranks=[bathing, {ranks}, heating, filter_run]"])
        [paper] = HandOver(scenario, "", (), "2027-03-02", "0.1.0").papers(("electrician",)).papers
        told.append([b.text for b in paper.blocks if isinstance(b, Line) and "stands above it" in b.text])
        assert bool(told[-1]) == any("but not while" in e.says for e in owners_calendar(scenario).entries)
    assert told == [["line flush: not while frost protection runs main low, which stands above it."], []]


def test_every_means_of_proof_has_its_blind_side():
    """No word of the file's vocabulary is without one."""
    assert set(Proof.model_fields["by"].annotation.__args__) == set(BLIND)


@pytest.mark.slow
def test_the_client_is_told_how_far_the_cost_may_be_off_where_that_was_asked_for():
    """The range is that of the confidence that was given."""
    scenario = load(PATH)
    two_days = confidence(scenario, days=2, draws=0)
    one = next(e for e in two_days.estimates if e.number == "cost_of_month")
    months = [replace(one, subject=f"2027-{month:02d}", low=0.0, high=1e4) for month in range(1, 13)]
    sure = replace(two_days, estimates=(*two_days.estimates, *months))
    [paper] = HandOver(scenario, "", (), "2027-03-02", "0.1.0", sure=sure).papers(("client",)).papers
    lines = [block.text for block in paper.blocks if isinstance(block, Line)]
    assert any("(likely " in line for line in lines)
    assert not any("not asked for" in line for line in lines)
    (months,) = [b for b in paper.blocks if isinstance(b, Table) and b.rows[0].cells[0] == "a month"]
    as_run, least, most = (row.cells[1:] for row in months.rows)
    assert all(low < cost < high for low, cost, high in zip(least, as_run, most, strict=True))


def test_the_thermostats_of_the_pump_room_are_set_too():
    """The moss cellar: its heater from 5 to 7 degC, its fan from 24 down to 22 degC."""
    rows = {row.cells[1]: row.cells[2] for row in tables(load(PATH.with_stem("moss-cellar")))["setting"].rows}
    set_c = {name: cell.value for name, cell in rows.items() if str(name).startswith("room_")}
    assert set_c == {
        "room_heater, own thermostat: starts below": 5.0,
        "room_heater, own thermostat: stops above": 7.0,
        "room_fan, own thermostat: starts above": 24.0,
        "room_fan, own thermostat: stops below": 22.0,
    }


def test_each_single_fault_that_nothing_keeps_from_a_rule_has_a_row():
    """Of three faults one is held by an interlock, one is ended by a limit and one breaks the rule."""
    cells = (
        Cell(("a welds",), 3, "nothing", "it is on with no water flowing"),
        Cell(("b sticks",), 3, "limit", "it is on with no water flowing"),
        Cell(("c trips",), 3, "controller"),
    )
    about = ("heat-without-flow", "danger", "element", "", "", ())
    held = Verdict(*about, 5, broken=False, cells=cells)
    broken = Verdict(*about, 5, broken=True, why="it fires dry")
    unknown = Verdict(*about, 5, broken=False, undecided="too many states")
    sheet = Sheet()
    say_single_faults(sheet, Verification("", 1, any_order=False, verdicts=(held, broken, unknown)))
    [table] = [block for block in sheet.blocks if isinstance(block, Table)]
    assert [row.cells for row in table.rows] == [
        ("a welds", "element: it is on with no water flowing", "nothing"),
        ("b sticks", "element: it is on with no water flowing", "its high limit alone"),
        ("nothing fails", "element: it fires dry", "nothing"),
        ("nothing fails", "element, heat-without-flow: too many states", "not decided"),
    ]
    assert any(
        "3 single faults, against 1 rule" in block.text for block in sheet.blocks if isinstance(block, Line)
    )
    sheet = Sheet()
    say_single_faults(sheet, Verification("", 1, any_order=False, verdicts=(replace(held, cells=cells[2:]),)))
    assert sheet.blocks[-1].text.endswith("None breaks a rule.")


def test_faults_are_for_the_electricians_paper():
    """Whoever asks for another paper alone is told so before anything is searched."""
    said = CliRunner().invoke(cli, ["papers", str(PATH), "--for", "owner", "--faults"])
    assert said.exit_code == 2
    assert "the electrician's paper" in said.output


@pytest.mark.slow
def test_faults_are_searched_for_the_paper_where_that_is_asked_for(tmp_path):
    """The walled garden: its table has a row for each cell that `verify` tells as not held."""
    out = tmp_path / "papers.pdf"
    args = ["papers", str(PATH), "--for", "electrician", "--faults", "--out", str(out)]
    assert CliRunner().invoke(cli, args).exit_code == 0
    said = " ".join(" ".join(page.extract_text().split()) for page in PdfReader(out).pages)
    verdicts = verify(load(PATH), faults=1).verdicts
    unheld = [(v, cell) for v in verdicts for cell in v.cells if cell.barrier in ("nothing", "limit")]
    assert len(unheld) > 5
    for verdict, cell in unheld:
        assert f"{cell.faults[0]} {verdict.subject}: {cell.why}" in said


def test_every_circuit_has_its_row_and_the_search_for_faults_is_named():
    """Moss cellar: 800 + 350 W at 230 V are 5 A on its room's circuit; the fan never runs with the heater."""
    scenario = load(PATH.with_stem("moss-cellar"))
    rows = {row.cells[0]: row.cells[1] for row in tables(scenario)["at most"].rows}
    assert {"pumps", "heat", "room"} == set(rows)
    assert rows["room"] == pytest.approx((800 + 350) / 230)
    [paper] = HandOver(scenario, "", (), "2027-03-02", "0.1.0").papers(("electrician",)).papers
    lines = " ".join(block.text for block in paper.blocks if isinstance(block, Line))
    assert "Behind the residual-current device cellar: pumps." in lines
    assert "Not together: room_heater and room_fan" in lines
    assert "Whoever made it can add what nothing holds, and tell how that comes about." in lines
    assert "cyclesim verify" not in lines  # the electrician has no file of it
