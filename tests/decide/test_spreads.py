"""Spreads as values, and every default that is there: varied, or left alone by name."""

from array import array
from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cyclesim.decide.ranges.inputs import inputs
from cyclesim.decide.ranges.paths import changed, field_at
from cyclesim.decide.ranges.stated import STATED
from cyclesim.physics.evaporation import WIND_AT_WATER
from cyclesim.physics.sources import DEFROST_BELOW_C, DEFROST_SHARE
from cyclesim.scenario.blocks.heat_sources import HeatPump
from cyclesim.scenario.blocks.weather import WeatherFile
from cyclesim.scenario.forms.forms import Declared, Model
from cyclesim.scenario.reading.defaults import filled_in
from cyclesim.scenario.reading.load import load, load_text
from cyclesim.scenario.text.csv_file import Series
from cyclesim.simulation.assumptions import assumptions
from cyclesim.simulation.tolerance import Tolerance
from cyclesim.spreads import AS_BUILT, POINTS, AnySpread, Edges, NoRange, Spread
from tests.sunny import AT_NIGHT, OWN_PUMP

SCHEDULES = sorted(Path("schedules").glob("*.yaml"))


@pytest.mark.parametrize(
    ("spread", "text", "value", "kind", "ends"),
    [
        (Spread(1, 5, "L"), "1 to 5 L", 0.002, "volume", (0.001, 0.005)),
        (Spread(15, 5, "min", low_unit="s"), "15 s to 5 min", 30.0, "time", (15.0, 300.0)),
        (Spread(1, 7, "days", low_unit="h"), "1 h to 7 days", 0.0, "time", (3600.0, 604_800.0)),
        (Spread(-30, 30, "%", off=True), "-30 to +30 %", 200.0, "power", (140.0, 260.0)),
        (Spread(-3, 5, "K", off=True), "-3 to +5 K", 12.0, "temperature", (9.0, 17.0)),
        (Spread(-2, 3, POINTS, off=True), "-2 to +3 % points", 0.04, "", (0.02, 0.07)),
        (Spread(50, 100, "%"), "50 to 100 %", 0.7, "fraction", (0.5, 1.0)),
        (Spread(0, 600, "mm"), "0 to 600 mm", 0.0, "length", (0.0, 0.6)),
        (Spread(38, 40, "degC"), "38 to 40 degC", 40.0, "temperature", (38.0, 40.0)),
        (Spread(6, 16, remark="less for large motors"), "6 to 16, less for large motors", 8.0, "", (6, 16)),
        (Spread(13, 17), "13 to 17", 15.0, "", (13.0, 17.0)),
        (Spread(0.025, 0.045), "0.025 to 0.045", 0.036, "fraction", (0.025, 0.045)),
        (Spread(1.08, 1.17, times="bore"), "1.08 to 1.17 x bore", 1.0, "", (1.08, 1.17)),
    ],
)
def test_spreads_by_hand(
    spread: Spread, text: str, value: float, kind: str, ends: tuple[float, float]
) -> None:
    """Every form that a spread is told in, and its ends, converted by hand."""
    assert text == str(spread)
    assert ends == pytest.approx(spread.around(value, kind), rel=1e-12)


def test_the_two_ends_are_told_each_with_its_unit() -> None:
    """An end has the spread's unit, else that of the value it is about."""
    assert ("-7 %", "+7 %") == Spread(-7, 7, "%", off=True).ends("W")
    assert ("15 s", "5 min") == Spread(15, 5, "min", low_unit="s").ends()
    assert ("8 W/(m2 K)", "33 W/(m2 K)") == Spread(8, 33).ends("W/(m2 K)")
    assert ("1.08 x bore", "1.17 x bore") == Spread(1.08, 1.17, times="bore").ends()


def test_what_is_no_spread_of_numbers_is_told_in_words() -> None:
    """A band has a range for each of its edges; another choice is no range."""
    band = Edges(Spread(20, 25, "degC"), Spread(42, 45, "degC"))
    assert "20 to 25 degC below, 42 to 45 degC above" == str(band)
    assert "depends on your build" == str(AS_BUILT)


@given(st.floats(0.0, 1e4), st.floats(0.0, 1e4), st.sampled_from(["s", "min", "h"]))
def test_ends_are_in_seconds(low: float, high: float, unit: str) -> None:
    """Numbers in one unit come back in seconds."""
    seconds = {"s": 1.0, "min": 60.0, "h": 3600.0}[unit]
    low, high = round(low, 3), round(high, 3)
    assert (low * seconds, high * seconds) == pytest.approx(Spread(low, high, unit).around(0.0, "time"))


def every_default(model: type[Model] = Model) -> Iterator[tuple[str, tuple[Any, list[Any]], AnySpread]]:
    """Every field of every model of the format that declares a spread, with its default and its forms."""
    for each in model.__subclasses__():
        for name, field in each.model_fields.items():
            about = field.json_schema_extra
            if isinstance(about, Declared) and each.__module__.startswith("cyclesim."):
                yield f"{each.__name__}.{name}", (field.default, field.metadata), about.spread
        yield from every_default(each)


def test_every_default_lies_within_its_spread() -> None:
    """A default outside what practice does would be a slip of the hand in one of the two."""
    declared = {name: (value, spread) for name, value, spread in every_default()}
    assert len(declared) > 40
    for name, ((value, metadata), spread) in declared.items():
        if isinstance(spread, NoRange):
            continue
        kind = next((form.kind for form in metadata if hasattr(form, "kind")), "")
        pairs = zip(value, spread, strict=True) if isinstance(spread, Edges) else [(value, spread)]
        for told, of in pairs:
            low, high = of.around(told, kind or ("temperature" if isinstance(spread, Edges) else ""))
            assert low <= told <= high, name


def test_what_the_model_and_a_file_say_lies_within_its_spread() -> None:
    """The same of the numbers of the model, and of what a file states."""
    for file in SCHEDULES:
        for number in assumptions(load(file)):
            if isinstance(number.spread, Spread):
                low, high = number.spread.around(number.value, "fraction")
                assert low <= number.value <= high, number.path
    for stray in STATED:
        assert stray.ends[0] <= stray.told <= stray.ends[1], stray.name


def test_every_factor_of_a_plant_is_somebodys() -> None:
    """No factor by which a plant may be off is left at 1 by all that is varied, in all plants together."""
    moved = set()
    for scenario in map(load, SCHEDULES):
        for end in (end for varied in inputs(scenario)[0] for end in (varied.low, varied.high) if end):
            off, told = end.tolerance, Tolerance()
            moved |= {f.name for f in fields(off) if getattr(off, f.name) != getattr(told, f.name)}
            moved |= {f for f in off.walls._fields if getattr(off.walls, f) != 1.0}
    assert moved == {f.name for f in fields(Tolerance)} | set(Tolerance().walls._fields)


@pytest.mark.parametrize("file", SCHEDULES, ids=lambda path: path.stem)
def test_every_default_of_a_plant_is_varied_or_named(file: Path) -> None:
    """What is not varied is a limit, words, or the one number that only a blower's pressure feels."""
    scenario = load(file)
    varied, kept = inputs(scenario)
    assert len({one.input for one in kept} | {one.name for one in varied}) == len(kept) + len(varied)
    listed = (*filled_in(scenario), *assumptions(scenario))
    ranges = [d for d in listed if isinstance(d.spread, Spread) and not d.not_varied]
    assert len(ranges) > 15
    judged = {d.path for d in listed if d.path.startswith("limits.") or d.path.endswith(".needs")}
    assert judged == {d.path for d in listed if d.not_varied == "what is judged by, no input"}
    reasons = {one.why for one in kept}
    assert reasons <= {
        *(f"no range: {d.spread}" for d in listed if isinstance(d.spread, NoRange)),
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
    for default in filled_in(scenario):
        before = field_at(scenario, default.path)
        after = changed(scenario, default.path, "other")
        assert field_at(after, default.path).value == "other"
        assert changed(after, default.path, before.value) == scenario


def test_what_physics_and_a_file_assume_of_one_thing_is_the_same() -> None:
    """Neither may import the other: a default that stands in both has one value and one spread."""
    fields = HeatPump.model_fields
    for name, assumption in (("defrost_below_c", DEFROST_BELOW_C), ("defrost_share", DEFROST_SHARE)):
        about = fields[name].json_schema_extra
        assert isinstance(about, Declared)
        assert isinstance(about.spread, Spread)
        low, high = about.spread.around(0.0, "fraction" if about.spread.unit == "%" else "temperature")
        assert assumption[:3] == pytest.approx((fields[name].default, low, high))
    windy = WeatherFile.model_construct(file=Series("w.csv", None, 3600, {"wind_m_s": array("d")}, None))
    (assumed,) = (one for one in windy.assumed() if one.key == "wind_at_water")
    assert isinstance(assumed.spread, Spread)
    ends = assumed.spread.around(0.0, "fraction")
    assert WIND_AT_WATER[:3] == pytest.approx((windy.wind_at_water, *ends))


def test_the_sun_on_collectors_strays_alone():
    """A quarter more at noon in summer and winter; what they lose and hold stays that of the peak as told."""
    [sun] = [stray for stray in STATED if stray.name == "sun on collectors"]
    left_out = (OWN_PUMP + AT_NIGHT).replace(", loses: 9 W/K, holds: 24 kJ/K", "")
    told = load_text(left_out)
    assert sun.there(told)
    more = sun.at(told, 1.25).scenario.plant.heat_sources["panels"]
    assert (1250.0, 375.0) == (more.summer_peak_w, more.winter_peak_w)
    assert more.plate == told.plant.heat_sources["panels"].plate
    assert not sun.there(load(SCHEDULES[0]))
