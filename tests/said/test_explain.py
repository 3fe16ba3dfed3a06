"""What `explain` tells: keys with the words of the schema, numbers of the JSON, words of the reports."""

import inspect
import json
import re
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from datetime import date
from pathlib import Path
from typing import Any, get_args, get_origin, get_type_hints

import pytest

from cyclesim.analysis.findings import Finding
from cyclesim.analysis.left import LeftLeg
from cyclesim.analysis.metrics import Metrics
from cyclesim.analysis.result import RunRecord, simulate
from cyclesim.analysis.trials import MendTrial
from cyclesim.decide.comparing.comparison import MEASURES, Swing, Versus, Warming
from cyclesim.decide.comparing.life_cycle_cost import Owning
from cyclesim.decide.ranges.confidence import Confidence
from cyclesim.decide.readings.drift import Drift
from cyclesim.decide.readings.explanation import Explained
from cyclesim.decide.readings.follows import Follows
from cyclesim.decide.readings.logged import Logged
from cyclesim.decide.readings.next_reading import NextReading
from cyclesim.decide.sizing.blower_sizing import Blown, size_blower
from cyclesim.decide.sizing.heat_up import Losses, Seasons
from cyclesim.decide.sizing.heater_need import Need
from cyclesim.decide.sizing.heater_sizing import NoneDoes, Size
from cyclesim.decide.sizing.pump_given import Asked, Given
from cyclesim.decide.sizing.pump_sizing import Arrangement, size_pump
from cyclesim.decide.sizing.savings import Saving
from cyclesim.decide.sizing.step_out import StepOut
from cyclesim.decide.sweeps.outcome import Outcome
from cyclesim.errors import CycleSimError
from cyclesim.said.explain import explanation
from cyclesim.said.glossary import WORDS
from cyclesim.said.numbers import MAPS, NUMBERS
from cyclesim.said.size_blower import blower_values
from cyclesim.said.size_heater import heater_values
from cyclesim.said.size_pump import pump_values
from cyclesim.said.trace_rows import COLUMNS, HEAD
from cyclesim.said.values import result_values
from cyclesim.scenario.reading.load import load
from cyclesim.shown.terminal import printed
from cyclesim.verification.answer import Verification

INSULATED = [
    f"plant.{of}.insulation" for of in ("tub.shell", "legs.NAME", "equipment.NAME", "heat_sources.NAME")
]
SCHEDULES = Path(__file__).parents[2] / "schedules"
TABLE = SCHEDULES / "long-table.yaml"
SCHEMA = json.loads((SCHEDULES / "scenario.schema.json").read_text("utf-8"))


def told(about: str) -> str:
    """On one line."""
    return " ".join(printed(explanation(about)).split())


@pytest.mark.parametrize("name", [*WORDS, "heat_kwh", "tub.mean_c", "duties.0.pumps.main.head_m"])
def test_every_word_and_number_is_told(name: str) -> None:
    """In a whole sentence, and not as a key of the file."""
    text = told(name)
    assert text.endswith(".")
    assert "PATH" not in text


def test_a_number_is_told_in_a_sentence_of_its_own() -> None:
    """Each may be asked for alone, so none leans on the one before."""
    for said in NUMBERS.values():
        assert said.endswith(".")
        assert not re.match(r"The same\b(?! share)|That\b|It\b|This\b", said), said


def numbers_in(hint: Any, *keys: str) -> Iterator[tuple[str, ...]]:
    """The keys that lead to each number of a type of results, with NAME for what people name."""
    origin, args = get_origin(hint), get_args(hint)
    if hint in (int, float):
        yield keys
    elif is_dataclass(hint):
        hints = get_type_hints(hint)
        for field in fields(hint):
            yield from numbers_in(hints[field.name], *keys, field.name)
    elif isinstance(hint, type) and issubclass(hint, tuple) and hasattr(hint, "_fields"):
        for name, its in get_type_hints(hint).items():
            yield from numbers_in(its, *keys, name)
    elif origin is dict:
        yield from numbers_in(args[1], *keys, "NAME")
    elif origin is not None or args:
        for arg in args:
            yield from numbers_in(arg, *keys)


def values_in(value: Any, *keys: str) -> Iterator[tuple[str, ...]]:
    """The keys that lead to each number and each time in plain values."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from values_in(inner, *keys, key)
    elif isinstance(value, list | tuple):
        for inner in value:
            yield from values_in(inner, *keys)
    elif not isinstance(value, bool) and (isinstance(value, int | float) or TIME.match(str(value))):
        yield keys


TIME = re.compile(r"\d{4}-\d\d(-\d\d(T.*)?)?$")
RESULTS = (RunRecord, Metrics, Finding, LeftLeg, MendTrial, Confidence, StepOut)
DECISIONS = (Outcome, Owning, Warming, Versus, Swing, Saving)
SIZED = (Size, NoneDoes, Need, Losses, Asked, Given, Arrangement, Blown)
MEASURED = (Logged, Explained, Drift, NextReading, Follows)


@pytest.mark.parametrize("kind", [*RESULTS, *DECISIONS, *SIZED, *MEASURED, Verification])
def test_every_number_of_results_is_explained(kind: Any) -> None:
    """Also what is null in every shipped plant."""
    found = {keys for keys in numbers_in(kind) if "edits" not in keys}  # places in a file
    assert found
    assert set() == _untold(found)
    assert MAPS >= {keys[-2] for keys in found if keys[-1] == "NAME"}


def test_every_measure_of_a_comparison_is_explained() -> None:
    """The numbers of its futures have them as names."""
    assert set() == _untold({(name,) for name in MEASURES})


@pytest.mark.parametrize(
    ("plant", "blocks"),
    [
        ("moss-cellar", {"cold_spell", "outages", "water_care", "promises", "duties"}),
        ("slate-barn", {"own_water", "energy", "suction"}),
        ("mill-race", {"treatment", "findings", "tub"}),
    ],
)
def test_every_number_of_a_run_is_explained(plant: str, blocks: set[str]) -> None:
    """As it stands in the JSON, times too, and duties, which no type tells."""
    scenario = load(SCHEDULES / f"{plant}.yaml")
    values = result_values(simulate(scenario, days=1, start=date(2027, 1, 19)))
    found = set(values_in(values))
    assert blocks <= {keys[0] for keys in found}
    assert set() == _untold(found)


def test_every_number_of_a_sizing_is_explained() -> None:
    """As it stands in the JSON of each; the heater's beside what its types tell."""
    pumps, blowers = size_pump(load(SCHEDULES / "walled-garden.yaml")), size_blower(load(TABLE))
    found = {*values_in(pump_values(pumps)), *values_in(blower_values(blowers))}
    assert {("jets_need_m3_s",), ("depth_pa",), ("given", "npsh_due_m")} <= found
    assert set() == _untold(found)


def test_every_number_of_a_heater_sizing_is_explained() -> None:
    """What its JSON has besides the types that are looked at above: read off the function that makes it."""
    source = inspect.getsource(heater_values)
    keys = {(name,) for name in re.findall(r'"(\w+_[wch])"', source)}
    assert {("own_w",), ("fill_c",), ("recommended_w",), ("too_cold_h",)} <= keys
    assert set() == _untold(keys | {(name,) for name in Seasons._fields})


@pytest.mark.parametrize("column", HEAD)
def test_every_column_of_a_trace_is_explained(column: str) -> None:
    """Of the interval in its row, which for some is another thing than in the JSON of a run."""
    said = told(f"trace.{column}").removeprefix(f"trace.{column} ")
    assert said == COLUMNS[column].replace("degC", "°C")
    assert said in told(column)


def test_a_number_is_told_by_its_block() -> None:
    """One name means another thing elsewhere; a name alone tells all, a key of the file beside it."""
    assert "own water" in told("own_water.boiler.coldest_c")
    assert "own water" not in told("tub.coldest_c")
    assert {"tub.coldest_c", "outages.coldest_c", "own_water.coldest_c"} <= set(told("coldest_c").split())
    assert "plant.legs.NAME.manifold.jets" in told("jets").partition("duties.jets")[2]
    assert told("pumps.main.asked_h.bathing").endswith(told("asked_h").partition(" ")[2])
    with pytest.raises(CycleSimError, match="found 'energy'"):
        explanation("energy.bathing")


def _untold(found: set[tuple[str, ...]]) -> set[tuple[str, ...]]:
    """Those that are not told by their names; below a map of what people name, by the map's."""
    names = {name.rpartition(".")[2] for name in NUMBERS if not name.startswith("trace.")}
    by_name = {keys: keys[-2] if keys[-2:-1] and keys[-2] in MAPS else keys[-1] for keys in found}
    return {keys for keys, name in by_name.items() if name not in names}


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
