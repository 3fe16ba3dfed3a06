"""What `explain` tells: keys with the words of the schema, numbers of the JSON, words of the reports."""

import json
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

import pytest

from cyclesim.analysis.metrics import Metrics
from cyclesim.errors import CycleSimError
from cyclesim.said.explain import explanation
from cyclesim.said.glossary import METRICS, WORDS
from cyclesim.shown.terminal import printed

INSULATED = [
    f"plant.{of}.insulation" for of in ("tub.shell", "legs.NAME", "equipment.NAME", "heat_sources.NAME")
]
SCHEMA = json.loads((Path(__file__).parents[2] / "schedules" / "scenario.schema.json").read_text("utf-8"))


def told(about: str) -> str:
    """On one line."""
    return " ".join(printed(explanation(about)).split())


@pytest.mark.parametrize("name", [*WORDS, *METRICS])
def test_every_word_and_number_is_told(name: str) -> None:
    """In a whole sentence, and not as a key of the file."""
    text = told(name)
    assert text.endswith(".")
    assert "PATH" not in text


def names_of(kind: Any) -> set[str]:
    """Every field of results, with those of what it holds."""
    if is_dataclass(kind) and isinstance(kind, type):
        hints = kind.__annotations__
        held = {name for hint in hints.values() for name in _held(hint)}
        return {field.name for field in fields(kind)} | held
    return set()


def _held(hint: str) -> set[str]:
    from cyclesim.analysis import device_metrics, metrics

    parts = vars(device_metrics) | vars(metrics)
    known = (part for part in parts if part in hint and part != "Metrics")
    return {name for part in known for name in names_of(parts[part])}


def test_every_number_that_is_explained_is_in_the_results() -> None:
    """By the name that it has in the JSON; heat lost is worked out from two."""
    assert set(METRICS) - {"heat_lost_kwh"} <= names_of(Metrics)


def test_a_number_is_found_by_its_path() -> None:
    """As it stands in the JSON; what is no number of it is refused with what is near."""
    assert "older than limits.water_age" in told("legs.left_bench.above_limit_h")
    with pytest.raises(CycleSimError, match="did you mean 'oldest_water_h'"):
        explanation("oldest_water")


@pytest.mark.parametrize(
    ("words", "key"),
    [
        ("motor valve", "plant.heat_sources.NAME.steered.valve"),
        ("Wears out", "money.purchases.NAME.lasts"),
        ("wear", "money.purchases.NAME.lasts"),
    ],
)
def test_words_of_a_description_lead_to_its_key(words: str, key: str) -> None:
    """What is no key and no word of its own is looked for in what is said of the keys."""
    with pytest.raises(CycleSimError, match=f"told of at {key}"):
        explanation(words)
    for nothing in ("qwxyz", "it", ""):
        with pytest.raises(CycleSimError) as nowhere:
            explanation(nothing)
        assert "told of" not in str(nowhere.value)


def test_a_default_is_told_alike_by_explain_and_schema() -> None:
    """Value, spread and source, in the same words."""
    expected = "Left out it is 2 s (in practice 1 to 10 s; common practice, no source)."
    assert expected in told("plant.pumps.main.changeover")
    assert expected in SCHEMA["$defs"]["Pump"]["properties"]["changeover"]["description"]


@pytest.mark.parametrize(
    ("key", "places"),
    [
        ("injectors", ["plant.air.NAME.injectors"]),
        ("trenches", ["plant.trenches"]),
        (
            "insulation",
            [
                f"plant.{at}.insulation"
                for at in ("tub.shell", "legs.NAME", "equipment.NAME", "heat_sources.NAME")
            ],
        ),
    ],
)
def test_a_key_alone_is_told_wherever_it_may_stand(key, places):
    """Nobody has to know the path; each place can be asked for again, and says the same."""
    lines = [block.text for block in explanation(key).blocks]
    assert places == [line for line in lines if line.endswith(f".{key}")]
    alone = [block.text for place in places for block in explanation(place).blocks]
    assert alone == lines


@pytest.mark.parametrize(
    ("short", "whole"),
    [
        ("supply.circuits.rcd", "supply.circuits.NAME.rcd"),
        ("plant.trenches.spacing", "plant.trenches.NAME.spacing"),
        ("plant.heat_sources.own_water.exchanger", "plant.heat_sources.NAME.own_water.exchanger"),
    ],
)
def test_a_name_may_be_left_out_of_a_path(short, whole):
    """What people name in the file stands between; the key means the same without it."""
    texts = [[block.text for block in explanation(path).blocks][1:] for path in (short, whole)]
    assert texts[0] == texts[1] != []


@pytest.mark.parametrize(
    ("kind", "place", "key"),
    [
        ("wood", "plant.heat_sources.NAME, kind: wood", "burns"),
        ("salt_cell", "plant.treatment.NAME, kind: salt_cell", "needs_flow"),
        ("gauge", "readings.0, kind: gauge", "above_water"),
    ],
)
def test_a_kind_is_told_with_its_place_and_keys(kind: str, place: str, key: str) -> None:
    """Who knows what a thing is called need not know under which key it stands."""
    assert place in told(kind)
    assert key in told(kind).partition("Its keys: ")[2]


@pytest.mark.parametrize(
    ("word", "kind"),
    [("stove", "wood"), ("gas", "boiler"), ("store", "heat source"), ("reading", "readings")],
)
def test_a_beginners_word_leads_to_the_files_own(word: str, kind: str) -> None:
    """What people call a thing, where the file calls it otherwise."""
    assert kind in told(word)


def test_keys_are_told_one_level_down() -> None:
    """Of what people name, of entries, and of the file of readings; those of every kind together."""
    sources = told("plant.heat_sources").partition("The keys of each: ")[2].partition(".")[0].split(", ")
    assert {"kind", "output", "burns", "rated", "steered"} <= set(sources)
    assert "electric, heat_pump, boiler, wood, solar" in told("plant.heat_sources")
    readings = told("readings").partition("The keys of each: ")[2].partition(".")[0].split(", ")
    assert {"kind", "at", "with", "reads"} <= set(readings)
    assert "before or after a part" in told("readings.at")
    assert "file of readings" in told("measured")
