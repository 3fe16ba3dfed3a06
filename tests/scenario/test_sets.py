"""`--set PATH=VALUE`: what it reaches and what it says."""

from datetime import time

import pytest

from cyclesim.errors import InputError
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.sets import apply
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.scenario.text.yaml_file import parse_text

TEXT = starter_text()


def told(*sets):
    """What loading the starter with these sets says."""
    with pytest.raises(InputError) as caught:
        load_text(TEXT, sets=sets)
    return str(caught.value).split("\n")


def test_a_set_reaches_keys_and_list_entries():
    """The path is dotted, a list's entries count from 0."""
    scenario = load_text(
        TEXT,
        sets=[
            "schedule.line_flushes.0.lasts=45 s",
            "schedule.filter_runs.0.start=[12:30, 13:00]",
            "supply.tariff=0.3 EUR/kWh",
            "plant.legs.left_bench.fittings.tee_run=2",
        ],
    )
    assert scenario.schedule.line_flushes[0].lasts_s == 45
    assert scenario.schedule.filter_runs[0].start == (time(12, 30), time(13, 0))
    assert scenario.supply.tariff.otherwise.amount == 0.3
    assert scenario.plant.legs["left_bench"].fittings == {"elbow": 5, "tee_run": 2}


def test_a_set_may_add_a_key_that_is_allowed():
    """Also inside a block that the file leaves out."""
    text = TEXT[: TEXT.index("limits:")]
    scenario = load_text(text, sets=["limits.water_age=12 h", "place.weather.warmest_hour=14"])
    assert scenario.limits.water_age_s == 43_200
    assert scenario.place.weather.warmest_hour == 14


def test_a_later_set_wins():
    """As with any option that is given twice."""
    assert load_text(TEXT, sets=["title=a", "title=b"]).title == "b"


def test_faults_of_sets_name_the_option_its_number_and_column():
    """A person sees which of several sets is meant, and the nearest path."""
    expected = [
        "--set:1:1: found 'plant.tub.covr.foam', a path that leads nowhere; "
        "expected the path of a key of the file; did you mean 'plant.tub.cover.foam'?",
        "--set:2:31: schedule.line_flushes.0.lasts: found '45 L', a volume; expected a time, "
        "e.g. 30 s, 15 min or 3 h",
        "--set:3:1: found 'water'; expected PATH=VALUE; e.g. plant.tub.water=1500 L",
        "--set:4:27: controller.filter_windows: found nothing; expected a value",
        "--set:5:1: found 'schedule.line_flushes.7.lasts', a path that leads nowhere; "
        "expected the path of a key of the file; did you mean 'schedule.line_flushes.0.lasts'?",
    ]
    told_lines = told(
        "plant.tub.covr.foam=5 cm",
        "schedule.line_flushes.0.lasts=45 L",
        "water",
        "controller.filter_windows=",
        "schedule.line_flushes.7.lasts=4 s",
    )
    assert expected == told_lines


def test_a_set_that_is_no_yaml_is_told_at_its_column():
    """The value is read as in the file."""
    (line,) = told("schedule.filter_runs.0.start=[03:00")
    assert line.startswith("--set:1:")
    assert "found a bracket that is not closed" in line


def test_a_set_to_a_new_name_in_the_middle_of_a_path_is_a_slip():
    """A misspelt leg is not a new leg."""
    (line,) = told("plant.legs.left_bensh.length=9 m")
    assert "did you mean 'plant.legs.left_bench.length'?" in line


def test_null_leaves_a_key_or_an_entry_out():
    """As if nobody had written it; a path that leads nowhere is still a fault."""
    text = starter_text()
    assert load_text(text).schedule.frost_protection is not None
    assert load_text(text, sets=["schedule.frost_protection=null"]).schedule.frost_protection is None
    fewer = load_text(text, sets=["interlocks.0=null"]).interlocks
    assert load_text(text).interlocks[1:] == fewer
    with pytest.raises(InputError, match=r"did you mean 'schedule\.frost_protection'"):
        load_text(text, sets=["schedule.frost_protectoin=null"])


@pytest.mark.parametrize("path", ["water_care.disinfectant", "water_care", "place.weather.wind"])
def test_null_on_what_is_not_there_changes_nothing(path):
    """No empty block stays behind, which would be another plant or be refused."""
    assert load_text(TEXT) == load_text(TEXT, sets=[f"{path}=null"])


def test_entries_after_one_that_is_left_out_keep_their_places():
    """The line of the file, whatever number the entry has now; also of keys inside it, and of two sets."""
    text = TEXT.replace("while: main high,", "while: main hihg,").replace("after: element,", "after: elment,")
    lines = text.splitlines()
    for sets in (["interlocks.0=null"], ["interlocks.0=null", "schedule.line_flushes.0=null"]):
        with pytest.raises(InputError) as caught:
            load_text(text, sets=sets)
        for fault, word in zip(caught.value.faults, ("main hihg", "elment"), strict=True):
            assert lines[fault.line - 1][fault.column - 1 :].startswith(word)
    with pytest.raises(InputError) as caught:
        load_text(text, sets=["interlocks.1=null"])
    (fault,) = caught.value.faults
    assert ("interlocks.1.after", "elment") == (fault.path, lines[fault.line - 1][fault.column - 1 :][:6])


def test_a_star_is_every_name_or_entry_that_is_there():
    """Each gets the value as if it had been set alone, and the paths are told."""
    legs = ("suction_left", "suction_right", "left_bench", "right_bench")
    changed = apply(parse_text(TEXT, "tub.yaml"), "plant.legs.*.insulation=40 mm", 1)
    assert [f"plant.legs.{leg}.insulation" for leg in legs] == changed
    scenario = load_text(
        TEXT,
        sets=[
            "plant.legs.*.insulation=40 mm",
            "plant.legs.left_bench.insulation=20 mm",
            "schedule.*.*.start=[05:00]",
        ],
    )
    assert [0.04, 0.04, 0.02, 0.04] == [leg.insulation_m for leg in scenario.plant.legs.values()]
    assert (time(5),) == scenario.schedule.filter_runs[0].start == scenario.schedule.line_flushes[0].start


def test_a_star_leaves_out_what_is_there():
    """Entries of a list too, the last first, so that none moves before its turn."""
    scenario = load_text(TEXT, sets=["interlocks.*=null", "plant.legs.*.insulation=null"])
    assert () == tuple(scenario.interlocks)
    assert {0.0} == {leg.insulation_m for leg in scenario.plant.legs.values()}


def test_a_star_that_finds_nothing_is_a_slip():
    """Where it stands for nothing, or what follows is no key."""
    for words in ("plant.lags.*.insulation=40 mm", "plant.legs.*.insulatoin=40 mm", "title.*=1"):
        (line,) = told(words)
        assert "a path that leads nowhere" in line
