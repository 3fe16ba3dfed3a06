"""The starters: each reads, has what it is named for, and breaks nothing in a year."""

import re
from importlib.resources import files

import pytest

from cyclesim.analysis.result import simulate
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.starter import LIKE, starter_text

OWN = {
    "boiler": ["kind: boiler"],
    "heat-pump": ["kind: heat_pump", "kind: electric"],
    "solar": ["kind: solar", "kind: electric"],
    "two-pumps": ["circulator:", "jets:", "pumps: [circulator, jets]"],
    "us": ["gpm", "degF", "USD/kWh"],
}


@pytest.mark.parametrize("like", LIKE)
def test_each_has_what_it_is_named_for(like: str) -> None:
    """And a title of its own; every key that runs is as it was, or put there by its file."""
    text = starter_text(like)
    assert all(word in text for word in OWN[like])
    assert load_text(text).title != load_text(starter_text()).title
    assert "#=" not in text


@pytest.mark.parametrize("like", [None, *LIKE])
def test_a_fortnight_breaks_nothing(like: str | None) -> None:
    """From the first of January, when bathers are coldest."""
    assert [] == [f.rule for f in simulate(load_text(starter_text(like)), days=14).findings]


@pytest.mark.parametrize("like", [None, *LIKE])
def test_a_year_breaks_nothing(like: str | None) -> None:
    """Every day of the year that the file names."""
    assert [] == [f.rule for f in simulate(load_text(starter_text(like)), days=365).findings]


def test_us_counts_what_runs_for_hours_as_us_codes_do() -> None:
    """At 125 % of its current against the breaker (NEC 210.20, quoted from memory)."""
    assert load_text(starter_text("us")).supply.region == "north_america"


def test_us_quantities_alone() -> None:
    """What runs is told in one system: no line that is no comment has a metric unit."""
    lines = [line.partition("#")[0] for line in starter_text("us").splitlines()]
    metric = re.compile(r"\d ?(?:mm|cm|cm2|m|m2|L|L/min|degC|K|bar|kPa)\b")
    assert [] == [line for line in lines if metric.search(line)]


def test_every_file_is_offered() -> None:
    """By its name."""
    folder = files("cyclesim.scenario.reading").joinpath("like")
    assert {f"{like}.yaml" for like in LIKE} == {file.name for file in folder.iterdir()}


@pytest.mark.parametrize("like", [None, *LIKE])
def test_no_line_is_wider_than_an_editor(like):
    """At most 100 columns, with the comments beside the values."""
    assert [] == [line for line in starter_text(like).splitlines() if len(line) > 100]


@pytest.mark.parametrize("like", [None, *LIKE])
@pytest.mark.parametrize("block", ["treatment", "also_started_by", "water_care", "money", "candidates"])
def test_what_is_commented_out_reads_once_it_is_let_in(block, like):
    """Each block that a starter offers, without the mark before it."""
    text = starter_text(like)
    found = re.search(rf"^( *)# {block}:.*\n(?:\1#  .*\n)*", text, re.MULTILINE)
    if block == "also_started_by" and found is None:
        assert like in ("heat-pump", "solar"), "which say nothing of it"
        return
    let_in = re.sub(rf"^{found[1]}# ?", found[1], found[0], flags=re.MULTILINE)
    assert f"{block}:" in let_in
    load_text(text.replace(found[0], let_in))
