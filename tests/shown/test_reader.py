"""Units of the reader: turned once, by factors that pint's own registry knows too."""

import re
from decimal import Decimal
from itertools import combinations
from typing import Any

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

import cyclesim
from cyclesim.said.page import Amount, Column, Page, words
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.shown.reader import sentence
from cyclesim.shown.terminal import printed
from cyclesim.units import unit_for, value_for, writes_us

REGISTRY: Any = pint.UnitRegistry()
PAIRS = {
    "L": ("liter", "gallon"),
    "m3": ("meter**3", "gallon"),
    "L/min": ("liter/minute", "gallon/minute"),
    "L/min of air": ("liter/minute", "foot**3/minute"),
    "L/h": ("liter/hour", "gallon/hour"),
    "W of pump": ("watt", "horsepower"),
    "Wh/m3": ("watt*hour/meter**3", "kilowatt*hour/kilogallon"),
    "mm": ("millimeter", "inch"),
    "cm": ("centimeter", "inch"),
    "m": ("meter", "foot"),
    "m2": ("meter**2", "foot**2"),
    "m/s": ("meter/second", "foot/second"),
    "kPa": ("kilopascal", "psi"),
    "°C": ("degC", "degF"),
    "K": ("delta_degC", "delta_degF"),
    "K/h": ("delta_degC/hour", "delta_degF/hour"),
}


@pytest.mark.parametrize("unit", PAIRS)
@pytest.mark.parametrize("value", [0.0, 0.5, 37.0, 1234.5])
def test_a_value_is_turned_as_pint_turns_it(unit: str, value: float) -> None:
    """Gallons are US liquid ones, a difference of temperatures has no offset."""
    metric, us = PAIRS[unit]
    assert value_for(value, unit) == pytest.approx(
        REGISTRY.Quantity(value, metric).to(us).magnitude, rel=1e-9
    )


@pytest.mark.parametrize("unit", ["kWh", "W", "A", "h", "%", "EUR", "mg/L", ""])
def test_what_both_worlds_write_stays(unit: str) -> None:
    """Energy, power, current and time."""
    assert (unit, 3.5) == (unit_for(unit, True), value_for(3.5, unit))


@pytest.mark.parametrize(
    ("text", "us"),
    [
        ("28.5 L/min (75 % of rated)", "7.53 gpm (75 % of rated)"),
        ("2.10 of 1.80 m/s", "6.9 of 5.9 ft/s"),
        ("place.weather.wind: 1.5 m/s; spread 0 to 4 m/s", "place.weather.wind: 3.4 mph; spread 0 to 9 mph"),
        ("75.4 mm, now 25.4 mm, 19.05 mm", "2.97 in, now 1 in, 0.75 in"),
        ("600 mm", "23.6 in"),
        ("between 20 and 45 degC", "between 68 and 113 °F"),
        ("spread -3 to +5 K", "spread -5.4 to +9 °F"),
        ("0 to 4 m/s", "0 to 13 ft/s"),
        ("1,480 m3 pass it", "391,000 gal pass it"),
        ("high_limit: 50 degC", "high_limit: 122 °F"),
        ("after 5 min, 3 kWh, 5 mm2/s, 63 PN10", "after 5 min, 3 kWh, 5 mm2/s, 63 PN10"),
        ("30 W/K against 5 degC", "57 BTU/h/°F against 41 °F"),
        ("soil: 1.5 W/(m K), film: 8 W/(m2 K)", "soil: 0.87 BTU/h/ft/°F, film: 1.4 BTU/h/ft2/°F"),
    ],
)
def test_quantities_of_a_sentence_are_turned_and_nothing_else(text: str, us: str) -> None:
    """By hand: 28.5 / 3.78541 = 7.529; 2.1 / 0.3048 = 6.890; 45 x 1.8 + 32 = 113; 1480 / 0.00378541.

    4 m/s are 4 / 0.44704 = 8.948 mph, 19.05 mm are three quarters of an inch. A BTU is 1055.06 J: 1 W/K is
    3600 / 1055.06 / 1.8 = 1.8956 BTU/h/°F, so 30 are 56.9; 1.5 W/(m K) are 1.5 x 1.8956 x 0.3048 = 0.867,
    8 W/(m2 K) are 8 x 1.8956 x 0.3048 x 0.3048 = 1.409.
    """
    assert us == sentence(text, us=True)
    assert text.replace("degC", "°C") == sentence(text, us=False)


@pytest.mark.parametrize(
    ("text", "us"),
    [
        ("1.82 of 1.8 m/s", "5.97 of 5.9 ft/s"),
        ("4.96 of 5 L/min", "1.31 of 1.32 gpm"),
        ("29.9 L/min of at least 30 L/min", "7.90 gpm of at least 7.93 gpm"),
        ("36.0 of 36 degC", "96.8 of 96.8 °F"),
        ("36.5 ±0.3 degC", "97.7 ±0.5 °F"),
    ],
)
def test_less_stays_less_and_what_is_alike_stays_alike(text: str, us: str) -> None:
    """By hand: 1.8 / 0.3048 = 5.906, 1.82 / 0.3048 = 5.971; 5 / 3.78541 = 1.3209, 4.96 / 3.78541 = 1.3103.

    29.9 / 3.78541 = 7.899, 30 / 3.78541 = 7.925; 36 x 1.8 + 32 = 96.8; a difference of 0.3 K is 0.54 °F.
    """
    assert us == sentence(text, us=True)


@given(
    st.lists(st.decimals(0, 60, places=2), min_size=2, max_size=4),
    st.sampled_from(sorted(PAIRS.keys() - {"Wh/m3"})),
)
def test_numbers_of_a_sentence_keep_their_order(values: list[Decimal], unit: str) -> None:
    """Of two the less is told as less, and of two alike neither."""
    told = sentence("; ".join(f"{value} {unit}" for value in values), us=True)
    found = [float(number.replace(",", "")) for number in re.findall(r"-?[\d,]+(?:\.\d+)?(?= )", told)]
    assert len(found) == len(values)
    for (a, x), (b, y) in combinations(zip(values, found, strict=True), 2):
        assert (a < b) == (x < y)
        assert (a == b) == (x == y)


@pytest.mark.parametrize("written_f", range(33, 213))
def test_a_temperature_of_a_us_file_reads_as_it_was_written(written_f: int) -> None:
    """Told in degC to a tenth or a hundredth, a whole degree Fahrenheit comes back as itself."""
    celsius = (written_f - 32) / 1.8
    for text in (f"{celsius:.1f}", f"{celsius:.2f}", f"{celsius:.4g}"):
        assert f"{written_f} °F" == sentence(f"{text} °C", us=True)


def test_wind_of_a_table_is_told_in_its_own_unit() -> None:
    """By the name in its row; a speed of water in the next row is in ft/s."""
    page = Page()
    page.table([words("key"), words("value")], [("place.weather.wind", "4 m/s"), ("limits.pipe", "4 m/s")])
    told = printed(page, us=True).splitlines()[-2:]
    assert ["place.weather.wind  9 mph", "limits.pipe         13 ft/s"] == told
    assert "wind 4 m/s" in " ".join(printed(page).split())


def test_a_text_of_the_file_is_left_as_written() -> None:
    """A title is the file's own, whatever it says of litres."""
    page = Page()
    page.line("A tub of 1600 L", as_written=True)
    page.line("It holds 1600 L.")
    page.table([words("air"), Column("{unit}", unit="L/min of air")], [("x", 600.0), ("y", Amount(2.0, "m"))])
    assert ["A tub of 1600 L", "It holds 423 gal."] == printed(page, us=True).splitlines()[:2]
    assert "cfm" in printed(page, us=True)
    assert "of air" not in printed(page)


def test_a_file_is_told_in_the_units_that_most_of_it_is_written_in() -> None:
    """Hours, volts and kilowatt-hours tell nothing; the shipped file in US units is known as one."""
    assert writes_us(["400 gal", "3 h", "230 V", "0.17 USD/kWh", "2 in Sch 40"])
    assert not writes_us(["400 gal", "9 m", "38 degC"])
    assert not writes_us(["3 h", "230 V"])
    assert cyclesim.load("schedules/cedar-yard.yaml").in_us_units
    assert not cyclesim.load("schedules/walled-garden.yaml").in_us_units
    assert not load_text(starter_text()).in_us_units
