"""Spreads read back from their texts, and every default that is there: varied, or left alone by name."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cyclesim.decide.ranges.inputs import inputs
from cyclesim.decide.ranges.paths import changed, field_at
from cyclesim.decide.ranges.spreads import WORDS, read_edges, read_spread
from cyclesim.scenario.blocks import air, bathing, heat_sources, heating, place, plant, schedule, weather
from cyclesim.scenario.blocks import data_sheets as machines
from cyclesim.scenario.blocks.model import Limits
from cyclesim.scenario.forms.forms import Model
from cyclesim.scenario.reading.load import load
from cyclesim.simulation.assumptions import assumptions

SCHEDULES = sorted(Path("schedules").glob("*.yaml"))


@pytest.mark.parametrize(
    ("text", "value", "kind", "ends"),
    [
        ("1 to 5 L", 0.002, "volume", (0.001, 0.005)),
        ("15 s to 5 min", 30.0, "time", (15.0, 300.0)),
        ("-30 to +30 %", 200.0, "power", (140.0, 260.0)),
        ("-3 to +5 K", 12.0, "temperature", (9.0, 17.0)),
        ("50 to 100 %", 0.7, "fraction", (0.5, 1.0)),
        ("0 to 600 mm", 0.0, "length", (0.0, 0.6)),
        ("38 to 40 degC", 40.0, "temperature", (38.0, 40.0)),
        ("6 to 16, less for large motors", 8.0, "", (6.0, 16.0)),
        ("13 to 17", 15.0, "", (13.0, 17.0)),
        ("0.025 to 0.045", 0.036, "fraction", (0.025, 0.045)),
        ("-100 to 150", 100.0, "fraction", (-100.0, 150.0)),
        ("1.08 to 1.17 x bore", 1.0, "", (1.08, 1.17)),
    ],
)
def test_texts_by_hand(text: str, value: float, kind: str, ends: tuple[float, float]) -> None:
    """Every form that a spread is told in, converted by hand."""
    assert ends == pytest.approx(read_spread(text).around(value, kind), rel=1e-12)


def test_two_edges_of_a_band() -> None:
    """The growth band has a range for each of its edges."""
    below, above = read_edges("20 to 25 degC below, 42 to 45 degC above")
    assert (20.0, 25.0) == below.around(20.0, "temperature")
    assert (42.0, 45.0) == above.around(45.0, "temperature")


@pytest.mark.parametrize("text", [*WORDS, "", "some", "1 L", "1 L to"])
def test_words_are_no_range(text: str) -> None:
    """Words, and half a range, are refused."""
    with pytest.raises(ValueError, match="no range"):
        read_spread(text)


@given(st.floats(0.0, 1e4), st.floats(0.0, 1e4), st.sampled_from(["s", "min", "h"]))
def test_a_range_written_is_the_range_read(low: float, high: float, unit: str) -> None:
    """Numbers in one unit come back in seconds."""
    seconds = {"s": 1.0, "min": 60.0, "h": 3600.0}[unit]
    low, high = round(low, 3), round(high, 3)
    found = read_spread(f"{low} to {high} {unit}").around(0.0, "time")
    assert (low * seconds, high * seconds) == pytest.approx(found, rel=1e-9)


def every_spread() -> Iterator[tuple[str, str]]:
    """The spread of every field of every model of the format."""
    modules = (air, bathing, heat_sources, heating, machines, place, plant, schedule, weather)
    models = {
        one
        for module in modules
        for one in vars(module).values()
        if isinstance(one, type) and issubclass(one, Model)
    }
    for model in sorted({*models, Limits}, key=lambda one: one.__name__):
        for name, field in model.model_fields.items():
            if isinstance(field.json_schema_extra, dict) and "spread" in field.json_schema_extra:
                yield f"{model.__name__}.{name}", str(field.json_schema_extra["spread"])


def test_every_spread_of_the_format_is_a_range_or_a_known_word() -> None:
    """No default is declared with a spread that nothing can read."""
    spreads = dict(every_spread())
    assert len(spreads) > 30
    for name, text in spreads.items():
        if name == "Limits.growth_band_c":
            read_edges(text)
        elif text not in WORDS:
            assert read_spread(text), name


@pytest.mark.parametrize("file", SCHEDULES, ids=lambda path: path.stem)
def test_every_default_of_a_plant_is_varied_or_named(file: Path) -> None:
    """What is not varied is a limit, words, or the one number that only a blower's pressure feels."""
    scenario = load(file)
    varied, kept = inputs(scenario)
    assert len({one.input for one in kept} | {one.name for one in varied}) == len(kept) + len(varied)
    listed = (*scenario.defaults, *assumptions(scenario))
    words = {d.path for d in listed if d.spread_text in WORDS}
    judged = {d.path for d in listed if d.path.startswith("limits.") or d.path.endswith(".needs")}
    ranges = [d for d in listed if d.path not in words | judged]
    assert len(ranges) > 15
    reasons = {one.why for one in kept}
    assert reasons <= {
        *(f"no range: {text}" for text in WORDS),
        "what is judged by, no input",
        "no number here feels it: it moves the blower's pressure alone",
    }
    for one in varied:
        assert one.low is not None or one.high is not None
        for end in (one.low, one.high):
            assert end is None or end.scenario != scenario or end.tolerance != type(end.tolerance)()


@pytest.mark.parametrize("file", SCHEDULES, ids=lambda path: path.stem)
def test_a_changed_key_is_changed_alone(file: Path) -> None:
    """Whatever default is changed by its path, the copy has it and the rest is the same."""
    scenario = load(file)
    for default in scenario.defaults:
        before = field_at(scenario, default.path)
        after = changed(scenario, default.path, "other")
        assert field_at(after, default.path).value == "other"
        assert changed(after, default.path, before.value) == scenario
