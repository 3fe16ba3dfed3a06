"""Parts that stand as in a starter file are examples until somebody has measured them."""

from pathlib import Path

import pytest

from cyclesim.scenario.reading.load import load, load_text
from cyclesim.scenario.reading.starter import LIKE, starter_text
from cyclesim.scenario.reading.untouched import untouched

SCHEDULES = Path(__file__).resolve().parents[2] / "schedules"
BUILT = {"tub", "suction_left", "suction_right", "left_bench", "right_bench", "main", "filter", "element"}


def test_all_of_a_starter_is_untouched():
    """Nobody has measured anything yet."""
    assert set(untouched(load_text(starter_text()))) == BUILT


@pytest.mark.parametrize("like", LIKE)
def test_the_other_starters_are_too(like):
    """What they have otherwise is an example as well: every pump and every heat source."""
    scenario = load_text(starter_text(like))
    assert set(untouched(scenario)) >= {"tub", *scenario.plant.pumps, *scenario.plant.heat_sources}


@pytest.mark.parametrize(
    ("was", "now", "measured"),
    [
        ("length: 6 m", "length: 5.4 m", {"suction_left", "suction_right"}),
        ("depth: 720 mm", "depth: 700 mm", {"tub"}),
        ("power: 310 W", "power: 290 W", {"main"}),
    ],
)
def test_a_changed_number_makes_a_part_the_users_own(was, now, measured):
    """One number of it is enough; a comment or another way of writing the same is not."""
    text = starter_text()
    assert set(untouched(load_text(text.replace(was, now)))) == BUILT - measured
    assert set(untouched(load_text(text.replace("720 mm", "0.72 m")))) == BUILT


@pytest.mark.parametrize("file", sorted(SCHEDULES.glob("*.yaml")), ids=lambda file: file.stem)
def test_shipped_plants_have_numbers_of_their_own(file):
    """None of them says that it is an example still."""
    assert untouched(load(file)) == ()
