"""What has dates of other years alone is met by no run of the file's year, and said to be so."""

import pytest

from cyclesim.analysis.rules import check_plant
from cyclesim.said.check import check_page
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.other_years import in_other_years
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.shown.terminal import printed
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme


def dated(place, entry):
    """The starter, whose year is 2027, with one dated entry."""
    return load_text(starter_text(), sets=["place.year=2027", f"{place}=[{entry}]"])


@pytest.mark.parametrize(
    ("place", "entry", "met"),
    [
        ("schedule.heating.absences", "{from: 2026-01-10, to: 2026-12-31, keep_at: 12 degC}", False),
        ("schedule.heating.absences", "{from: 2026-12-20, to: 2027-01-01, keep_at: 12 degC}", True),
        ("schedule.heating.absences", "{from: 2027-12-31, to: 2028-01-05, keep_at: 12 degC}", True),
        ("schedule.heating.absences", "{from: 2028-01-01, to: 2028-01-05, keep_at: 12 degC}", False),
        ("schedule.outages", "{from: 2026-12-31 23:00, lasts: 30 min}", False),
        ("schedule.outages", "{from: 2026-12-31 23:00, lasts: 8 h}", True),
        ("schedule.low_water", "{from: 2028-01-01 00:00, lasts: 8 h}", False),
        ("schedule.low_water", "{from: 2027-06-01 00:00, lasts: 8 h}", True),
    ],
)
def test_what_no_run_of_the_year_meets_is_named(place, entry, met):
    """By the first and the last day of it, both counted."""
    assert (() if met else (f"{place}.0",)) == in_other_years(dated(place, entry))


def test_check_says_so():
    """A slip in the year of an absence, in plain words; not where the year is right."""
    scenario = dated("schedule.heating.absences", "{from: 2026-01-10, to: 2026-02-12, keep_at: 12 degC}")
    plant, programme = Assembly(scenario), Programme(scenario)
    said = " ".join(printed(check_page("f", plant, programme, *check_plant(plant, programme))).split())
    assert "No run of 2027 meets schedule.heating.absences.0: its dates are of other years." in said
