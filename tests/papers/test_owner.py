"""The owner's paper: hours until frost and until hot as elsewhere, and chores by the file's dates."""

import re
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest

from cyclesim.analysis.amounts import lasting
from cyclesim.analysis.outages import had_it_failed
from cyclesim.analysis.result import simulate
from cyclesim.decide.sizing.heat_up import Warmer, seasons
from cyclesim.said.page import Amount, Line, Table
from cyclesim.said.papers.chores import chores
from cyclesim.said.papers.collected import HandOver
from cyclesim.said.papers.owner import _do_when, _runs_when
from cyclesim.said.papers.paper import Sheet
from cyclesim.said.papers.runs_when import runs_when
from cyclesim.scenario.reading.load import load, load_text
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.simulation.programme import Programme
from tests.sunny import AT_NIGHT, BEHIND_PLATES, BY_VALVE, OWN_PUMP

SCHEDULES = Path(__file__).parents[2] / "schedules"


def power_cut(scenario, start):
    """What the owner is told: rows of the table of power that is off in frost, and the lines after it."""
    sheet = Sheet()
    _do_when(sheet, scenario, simulate(scenario, days=2, start=start))
    rows = [block.cells for block in sheet.blocks[2].rows]
    texts = [block.text for block in sheet.blocks[3:7] if isinstance(block, Line)]
    return rows, texts


def test_what_is_ice_already_is_drained_in_autumn():
    """Collectors and what leads to them at -6 degC have no time left; the pipes in the ground have."""
    sets = ["place.weather.mean=6 degC"]
    january = date(2027, 1, 20)
    rows, texts = power_cut(load_text(OWN_PUMP + AT_NIGHT, "test.yaml", sets=sets), january)
    assert {"panels", "sun_out", "sun_back"} == {row[0] for row in rows if row[1] == "already"}
    assert "To drain when the winter begins" in texts[0]
    assert texts[0].endswith("before the power fails: panels, sun_back and sun_out.")
    assert "drain what stands first after that" in texts[1]


def test_every_part_that_freezes_is_told():
    """Beside the five of the table, each with its hours: as many as the cut that is run out has."""
    sets = ["place.weather.mean=0 degC", "place.zones.pump_room.never_below=-5 degC"]
    scenario, start = load_text(starter_text(), "test.yaml", sets=sets), date(2027, 1, 20)
    year = simulate(scenario, days=2, start=start)
    cut = had_it_failed(year.plant, year.trace)
    late = {name: h for name, h in cut.until_zero_h.items() if h}
    rows, texts = power_cut(scenario, start)
    rest = {name: f"{name} after {lasting(3600.0 * h)}" for name, h in late.items()}
    for row in rows:
        del rest[row[0]]
    assert len(rest) > 1
    [said] = [text for text in texts if "freeze likewise" in text]
    assert all(part in said for part in rest.values())


def test_what_runs_with_something_is_told_by_when_that_does():
    """Under "when or how warm" a name alone is no time: the circulator of a boiler's own water."""
    rows = {row[0]: row[3] for row in runs_when(Programme(load(SCHEDULES / "slate-barn.yaml")))}
    (own,) = (when for what, when in rows.items() if what.startswith("own water of "))
    assert own == "while boiler heats"


@pytest.mark.parametrize(("starts_below_c", "missed"), [(40, 4), (-40, 0)])
def test_a_flush_that_frost_protection_keeps_off_is_told_beside_its_times(starts_below_c, missed):
    """Where frost protection is always or never on: none or all of two flushes a day in two days."""
    watch = f"schedule.frost_protection.starts_below={starts_below_c} degC"
    sets = [watch, f"schedule.frost_protection.stops_above={starts_below_c + 1} degC"]
    year = simulate(load(SCHEDULES / "walled-garden.yaml", sets=sets), days=2, start=date(2027, 1, 20))
    sheet = Sheet()
    _runs_when(sheet, year)
    said = [block.text for block in sheet.blocks if isinstance(block, Line) and "Not every" in block.text]
    flush = f"line flush comes, or comes whole: frost protection stands above it, {missed} times in 2 days"
    assert ([f"Not every {flush} of the model."] if missed else []) == said


def test_an_air_flush_that_does_not_come_is_told_beside_its_time():
    """A power cut from 15:40 to 16:40 takes that of 15:45; the line flush of 15:30 has come by then."""
    sets = ["schedule.outages=[{from: 2027-01-20 15:40, lasts: 1 h}]"]
    year = simulate(load(SCHEDULES / "long-table.yaml", sets=sets), days=1, start=date(2027, 1, 20))
    sheet = Sheet()
    _runs_when(sheet, year)
    [said] = [b.text for b in sheet.blocks if isinstance(b, Line) and b.text.startswith("Not ")]
    assert "air line flush" in said
    assert said.endswith("in 1 day of the model.")


@pytest.mark.parametrize(
    ("after", "said"),
    [("resume", None), ("wait", "the controller waits"), ("midnight", "clock starts at 00:00")],
)
def test_who_must_come_after_a_power_cut_is_told_for_frost_and_for_absence(after, said):
    """Where it does not go on by itself, by the file; and by when the file has somebody come."""
    sets = [f"controller.after_power_cut={after}", "controller.person_within=20 days"]
    scenario = load_text(OWN_PUMP + AT_NIGHT, "test.yaml", sets=sets if said else sets[:1])
    sheet = Sheet()
    _do_when(sheet, scenario, simulate(scenario, days=1, start=date(2027, 1, 20)))
    lines = [block.text for block in sheet.blocks if isinstance(block, Line)]
    told = [line for line in lines if "When the power is back" in line]
    assert (2 if said else 0) == len(told)
    if said:
        assert all(said in line for line in told)
        assert "the model counts on 20 days" in told[1]


@pytest.mark.parametrize("path", sorted(SCHEDULES.glob("*.yaml")), ids=lambda path: path.stem)
def test_nothing_that_the_plant_switches_is_a_sign_of_a_fault(path):
    """Each pump, circulator, blower, switched source and load of the pump room stands in what runs when."""
    programme = Programme(load(path))
    plant = programme.scenario.plant
    loads = plant.pump_room.loads if plant.pump_room else {}
    told = " ".join(str(row[1]) for row in runs_when(programme))
    machines = {*plant.pumps, *plant.circulators, *plant.air, *programme.switched, *plant.treatment, *loads}
    assert not {name for name in machines if not re.search(rf"\b{name}\b", told)}


def test_what_is_kept_warm_while_nobody_comes_stands_beside_every_day():
    """By the file's own dates and degrees."""
    away = "schedule.heating.absences=[{from: 2027-01-10, to: 2027-02-12, keep_at: 12 degC}]"
    rows = list(runs_when(Programme(load(SCHEDULES / "high-valley.yaml", sets=[away]))))
    [row] = [row for row in rows if row[0] == "heating while nobody comes"]
    assert row[2:] == ("10 Jan 2027 to 12 Feb 2027", Amount(12.0, "°C"))


@pytest.mark.parametrize(
    ("plant", "frost", "drained"),
    [
        (OWN_PUMP, None, "sun_pump lets no water in until"),
        (OWN_PUMP, "main", "sun_pump lets no water in until"),
        (OWN_PUMP, "sun_pump", None),
        (BY_VALVE, "main", "sun_valve lets no water in until"),
        (BEHIND_PLATES, None, None),
    ],
)
def test_collectors_are_drained_unless_something_keeps_ice_away(plant, frost, drained):
    """Glycol, or frost protection by a pump that moves their water, which a usual position keeps out."""
    sets = ["place.weather.mean=6 degC"]
    if frost:
        about = f"watches: outdoors, starts_below: 3 degC, stops_above: 5 degC, pump: {frost}"
        sets.append(f"schedule.frost_protection={{{about}}}")
    found = {chore.name: chore for chore in chores(load_text(plant + AT_NIGHT, "test.yaml", sets=sets))}
    assert (drained is not None) == ("Drain panels" in found)
    if drained:
        assert drained in found["Drain panels"].how
        assert found["Get ready for frost"].first == found["Drain panels"].first


@pytest.mark.slow
def test_hours_are_told_as_elsewhere():
    """High valley in a cold spell: run, table of the spell, owner's paper, and the sizing's warming up.

    The hours without power are those of a run that is given that very cut, ended by another part of the code.
    """
    path = SCHEDULES / "high-valley.yaml"
    scenario = load(path, sets=["place.record_low=-18 degC"])
    over = HandOver(scenario, "", (), "2027-03-02", "0.1.0")
    [paper] = over.papers(("owner",)).papers
    kept, spell = over.year.metrics.promises, over.year.metrics.cold_spell
    assert kept.power_fails_at == spell.power_fails_at
    assert kept.first_at_zero_after_h == min(h for h in spell.until_zero_without_power_h.values() if h)
    table = next(block for block in paper.blocks if isinstance(block, Table) and "0 °C" in str(block.columns))
    first = table.rows[0].cells
    assert (kept.first_at_zero, kept.first_at_zero_after_h) == first[:2]
    since = datetime.fromisoformat(kept.power_fails_at)
    assert [f"In the model the power fails at {since:%H:%M} on {since.day} January, the coldest hour of the "
            "file's year."] == list(table.notes)  # fmt: skip
    early = since - timedelta(days=10)
    sets = ["place.record_low=-18 degC", f"schedule.outages=[{{from: {since:%Y-%m-%d %H:%M}, lasts: 8 h}}]"]
    cut = simulate(load(path, sets=sets), days=20, start=early.date()).metrics.outages[0]
    assert pytest.approx(cut.until_zero_h[kept.first_at_zero], rel=0.1) == kept.first_at_zero_after_h
    taken = Warmer(scenario, 38.0).warm_up(5.0, seasons(scenario).coldest_week, just_filled=True)
    said = [block.text for block in paper.blocks if isinstance(block, Line)]
    assert any(
        f"set point it takes {taken.seconds / 3600:.1f} h in the coldest week" in text for text in said
    )


def test_chores_are_in_the_order_of_their_days():
    """Every one has its first day in the file's year."""
    scenario = load(SCHEDULES / "high-valley.yaml")
    days = [chore.first for chore in chores(scenario)]
    assert days == sorted(days)
    assert {scenario.place.year} == {day.year for day in days}


def test_what_is_to_be_tried_by_hand_is_among_the_chores():
    """Residual-current devices and a sump pump where the file has them, each with its interval."""
    found = {c.name: c.every_days for c in chores(load(SCHEDULES / "moss-cellar.yaml"))}
    assert (180, 90) == (found["Test the residual-current devices"], found["Try the sump pump"])
    names = {chore.name for chore in chores(load(SCHEDULES / "long-table.yaml"))}
    assert names.isdisjoint({"Test the residual-current devices", "Try the sump pump"})
