"""The owner's paper: hours until frost beside the run's own, and chores by the file's dates."""

from pathlib import Path

import pytest

from cyclesim.analysis.result import simulate
from cyclesim.said.papers.chores import chores
from cyclesim.said.papers.owner import coldest_cut
from cyclesim.scenario.reading.load import load

SCHEDULES = Path(__file__).parents[2] / "schedules"


def test_hours_without_power_are_those_of_a_run_with_the_same_cut():
    """High valley, cut at 06:00 on the coldest day: the same cut asked for as `--what-if` asks for it.

    The run begins eight days earlier, so that only what came before differs: a twentieth is allowed.
    """
    path = SCHEDULES / "high-valley.yaml"
    cut, since = coldest_cut(load(path))
    sets = [f"schedule.outages=[{{from: {since:%Y-%m-%d %H:%M}, lasts: 8 h}}]"]
    again = simulate(load(path, sets=sets), days=40).metrics.outages[0]
    assert cut.from_local == again.from_local
    told, known = ({n: h for n, h in one.until_zero_h.items() if h is not None} for one in (cut, again))
    assert pytest.approx(known, rel=0.05) == told
    assert min(h for h in cut.until_zero_h.values() if h is not None) < 24.0


def test_a_cold_spell_of_the_file_is_when_the_power_fails():
    """With days as cold as the record, the cut begins with them, and pipes are sooner at 0 degC."""
    path = SCHEDULES / "high-valley.yaml"
    usual, _ = coldest_cut(load(path))
    colder, _ = coldest_cut(load(path, sets=["place.record_low=-30 degC"]))
    assert colder.until_zero_h["element"] < usual.until_zero_h["element"]


def test_chores_are_in_the_order_of_their_days():
    """Every one has its first day in the file's year."""
    scenario = load(SCHEDULES / "high-valley.yaml")
    days = [chore.first for chore in chores(scenario)]
    assert days == sorted(days)
    assert {scenario.place.year} == {day.year for day in days}
