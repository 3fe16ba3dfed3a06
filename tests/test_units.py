"""Quantities as people write them, against published conversion factors."""

import math

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cyclesim.units import KINDS, QuantityError, format_quantity, parse, us_hints

# NIST SP 811 (2008), appendix B.8, factors to SI: from memory, not opened
FACTORS = [
    ("1 in", "length", 0.0254),
    ("1 ft", "length", 0.3048),
    ("1 ft2", "area", 0.09290304),
    ("1 in2", "area", 0.00064516),
    ("1 gal", "volume", 3.785412e-3),
    ("1 ft3", "volume", 2.831685e-2),
    ("1 ppm", "concentration", 1.0e-3),  # of dilute water: 1 mg in 1 kg, taken as 1 L
    ("1 gpm", "flow", 6.309020e-5),
    ("1 cfm", "flow", 4.719474e-4),
    ("1 hp", "power", 745.6999),
    ("1 BTU/h", "power", 0.2930711),
    ("1 mph", "speed", 0.44704),
    ("1 psi", "head", 6894.757 / 9806.65),
    ("1 bar", "head", 1e5 / 9806.65),
    ("1 ftH2O", "head", 2989.067 / 9806.65),
    ("1 inH2O", "head", 249.0889 / 9806.65),
    ("1 kWh", "energy", 3.6e6),
    ("1 L/min", "flow", 1e-3 / 60),
    ("1 m3/h", "flow", 1 / 3600),
    ("1 BTU/h/F", "conductance", 0.5275279),
    ("1 BTU/degF", "heat_capacity", 1899.101),
]


@pytest.mark.parametrize(("text", "kind", "value"), FACTORS)
def test_units_convert_as_published(text, kind, value):
    """Each factor to the seven digits that the table prints."""
    assert math.isclose(value, parse(text, kind), rel_tol=3e-7)


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("5 ft 6 in", "length", 66 * 0.0254),
        ("12 ft 0.5in", "length", 144.5 * 0.0254),
        ("1 foot 11 inches", "length", 23 * 0.0254),
        ("1 h 30 min", "time", 5400.0),
        ("2 min 5 s", "time", 125.0),
    ],
)
def test_two_units_behind_each_other(text, kind, value):
    """As people say lengths and times; twelve inches are a foot, sixty minutes an hour."""
    assert math.isclose(value, parse(text, kind), rel_tol=1e-14)


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"),
    [("32 degF", 0.0), ("212 degF", 100.0), ("104 degF", 40.0), ("-40 °F", -40.0), ("98.6 F", 37.0)],
)
def test_temperatures_have_their_offset(fahrenheit, celsius):
    """Freezing, boiling, and the fixed point of both scales (the definition of the scales)."""
    assert celsius == parse(fahrenheit, "temperature")


@pytest.mark.parametrize(
    ("text", "kelvin"), [("9 degF", 5.0), ("5 degC", 5.0), ("5 K", 5.0), ("1.8 °F", 1.0)]
)
def test_differences_have_none(text, kelvin):
    """Two degrees are two degrees, wherever on the scale."""
    assert math.isclose(kelvin, parse(text, "temperature_difference"), rel_tol=1e-12)


@pytest.mark.parametrize(
    ("text", "kind", "what"),
    [
        ("30 L", "time", "a volume"),
        ("30 s", "length", "a time"),
        ("5 K", "temperature", "a temperature difference"),
        ("38 degC", "power", "a temperature"),
        ("1 Mm", "length", "an unknown unit 'Mm'"),
        ("5 M", "length", "an unknown unit 'M'"),
        ("9**9**9 m", "length", "no quantity"),
        ("nan m", "length", "no quantity"),
        ("inf m", "length", "no quantity"),
        ("1e999 m", "length", "a number beyond all bounds"),
        ("1 1/2 in", "length", "a number with a fraction"),
        ("1-1/2 in", "length", "a number with a fraction"),
        ("1,000 mm", "length", "a number with a comma"),
        ("3 ft 2", "length", "not one number and one unit"),
        ("5' 8\"", "length", "not one number and one unit"),
        ("1 h 30 s", "time", "not one number and one unit"),
        ("5 ft 12 in", "length", "12 in, which is 12 or more"),
        ("1 h 60 min", "time", "60 min, which is 60 or more"),
        ("-5 ft 6 in", "length", "not one number and one unit"),
        ("5.5 ft 6 in", "length", "not one number and one unit"),
        ("5 ft 6 in", "head", "not one number and one unit"),
        ("30", "time", "a bare number"),
        (30, "time", "a bare number"),
        (0.5, "fraction", "a bare number"),
        ("", "time", "no quantity"),
        ("m", "length", "no quantity"),
        ("1 m" + " " * 10_000, "length", "a text that is too long for a quantity"),
        ("٣ m", "length", "no quantity"),
    ],
)
def test_what_could_be_misread_is_refused_by_name(text, kind, what):
    """No prefix, no sum, no product, no guess; expected the error says what was found and what."""
    with pytest.raises(QuantityError) as caught:
        parse(text, kind)
    assert what == caught.value.what
    assert KINDS[kind].words in caught.value.allowed


PINT_SI = {
    "length": "m",
    "area": "m**2",
    "volume": "m**3",
    "flow": "m**3/s",
    "head": "mH2O",
    "temperature": "degC",
    "temperature_difference": "delta_degC",
    "time": "s",
    "power": "W",
    "speed": "m/s",
    "voltage": "V",
    "current": "A",
    "energy": "J",
    "conductance": "W/K",
    "heat_capacity": "J/K",
    "concentration": "kg/m**3",
    "fraction": "dimensionless",
}
PINT_UNIT = {
    "lpm": "liter/minute",
    "gpm": "gallon/minute",
    "gph": "gallon/hour",
    "cfm": "foot**3/minute",
    "sqft": "foot**2",
    "in2": "inch**2",
    "m2": "m**2",
    "cm2": "cm**2",
    "ft2": "foot**2",
    "m3": "m**3",
    "ft3": "foot**3",
    "mwc": "mH2O",
    "Btu": "international_british_thermal_unit",
    "BTU": "international_british_thermal_unit",
    "%": "percent",
    "ppm": "milligram/liter",  # of dilute water
    "watts": "watt",
    "volts": "volt",
    "amps": "ampere",
}
LENGTH_OF_WATER = {"m": "mH2O", "ft": "ftH2O", "feet": "ftH2O", "foot": "ftH2O"}
DEGREES = {"C": "degC", "°C": "degC", "F": "degF", "°F": "degF"}
REGISTRY = pint.UnitRegistry()


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_unit_is_as_large_as_pint_says(kind: str) -> None:
    """None that is offered is missing; pint's own registry, whose definitions are not ours."""

    def name(unit: str) -> str:
        degree = DEGREES.get(unit, unit)
        if degree in ("degC", "degF") and kind != "temperature":
            return f"delta_{degree}"
        return (LENGTH_OF_WATER if kind == "head" else {}).get(unit, PINT_UNIT.get(unit, degree))

    for unit in KINDS[kind].units:
        theirs = "/".join(f"({name(part)})" for part in unit.split("/"))
        for number in (1.0, 73.0):
            expected = REGISTRY.Quantity(number, theirs).to(PINT_SI[kind]).magnitude
            assert math.isclose(expected, parse(f"{number} {unit}", kind), rel_tol=1e-11, abs_tol=1e-9), unit


@pytest.mark.parametrize(
    ("value", "kind", "text"),
    [
        (86_400.0, "time", "24 h"),
        (90.0, "time", "90 s"),
        (900.0, "time", "15 min"),
        (0.0, "temperature", "0 degC"),
        (0.009, "length", "9 mm"),
        (1600.0, "power", "1.6 kW"),
        (200.0, "volume", "200000 L"),
        (0.7, "fraction", "70 %"),
    ],
)
def test_values_are_shown_in_the_units_people_think_in(value, kind, text):
    """Small things in small units, to four digits."""
    assert text == format_quantity(value, kind)


@given(st.sampled_from(sorted(KINDS)), st.floats(0.001, 9999))
def test_what_is_shown_can_be_written(kind, value):
    """Reading back what is shown gives the value to the digits shown."""
    assert math.isclose(value, parse(format_quantity(value, kind), kind), rel_tol=6e-4, abs_tol=6e-4)


def test_a_bare_temperature_that_nobody_means_in_celsius() -> None:
    """98 is a bath in degrees of Fahrenheit; 50 is a high limit in degrees of Celsius."""
    for text, hint in (("98", "say the unit: 98 degF"), ("50", "say the unit: 50 degC")):
        with pytest.raises(QuantityError) as caught:
            parse(text, "temperature")
        assert hint == caught.value.hint


def test_who_writes_us_units_is_offered_them_where_a_number_is_refused() -> None:
    """An example in millimetres is a number of inches to them; a time has one unit for all."""
    for number, kind, example, hint in (
        ("28", "length", "700 mm or 2.3 ft", "28 in"),
        ("20", "length", "", "20 ft"),
        ("400", "volume", "", "400 gal"),
        ("50", "temperature", "", "50 degF"),
        ("3", "time", "", "3 s or 3 min or 3 h"),
    ):
        with us_hints(us=True), pytest.raises(QuantityError) as caught:
            parse(number, kind, example)
        assert f"say the unit: {hint}" == caught.value.hint
    with pytest.raises(QuantityError) as caught:
        parse("28", "length", "700 mm or 2.3 ft")
    assert caught.value.hint == "say the unit: 28 mm"


@pytest.mark.parametrize(
    ("number", "kind", "example", "hint"),
    [
        ("-0.2", "length", "300 mm or -2 ft", "-0.2 m"),
        ("0.85", "length", "700 mm or 2.3 ft", "0.85 m"),
        ("2500", "length", "9 m or 30 ft", "2500 mm"),
        ("0", "length", "300 mm or -2 ft", "0 mm"),
        ("1.5", "power", "", "1.5 W or 1.5 kW"),
        ("45", "time", "", "45 s or 45 min or 45 h"),
    ],
)
def test_a_bare_number_is_offered_no_unit_that_nobody_meant(
    number: str, kind: str, example: str, hint: str
) -> None:
    """A pump 0.2 m below the water is no fifth of a millimetre; of a time the unit cannot be known."""
    with pytest.raises(QuantityError) as caught:
        parse(number, kind, example)
    assert f"say the unit: {hint}" == caught.value.hint
