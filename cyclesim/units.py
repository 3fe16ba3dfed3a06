"""Quantities as people write them, turned into SI floats once, at the edge of the program."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from typing import TYPE_CHECKING

from cyclesim.errors import CycleSimError

if TYPE_CHECKING:
    from pint import UnitRegistry

NUMBER = r"[-+]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][-+]?\d{1,2})?"
_QUANTITY = re.compile(rf"(?P<number>{NUMBER}) ?(?P<unit>[A-Za-z°º%][A-Za-z0-9/²³]*)", re.ASCII)
_HOTTEST_C = 60.0  # above it a bare number for a temperature was meant in degF
_LONGEST = 40  # characters; nothing a person writes is longer

# Every unit name that may be written, without prefixes, so that nothing is read as a centi-fermi.
# gal is the US liquid gallon, hp the mechanical horsepower, BTU the international table one;
# a metre of water is the conventional one (9806.65 Pa), a foot of water 0.3048 of it; 1 ppm counts as 1 mg/L.
_DEFINITIONS = """
second = [time] = s = _ = sec = seconds
minute = 60 * second = min = _ = minutes
hour = 3600 * second = h = _ = hours = hr
day = 86400 * second = d = _ = days
meter = [length] = m = meters = metre = metres
millimeter = 0.001 * meter = mm
centimeter = 0.01 * meter = cm
kilometer = 1000 * meter = km
inch = 0.0254 * meter = _ = in = inches
foot = 0.3048 * meter = ft = _ = feet
mile = 1609.344 * meter = _ = mi
m2 = meter ** 2
cm2 = centimeter ** 2
ft2 = foot ** 2 = _ = sqft
in2 = inch ** 2
m3 = meter ** 3
liter = 0.001 * meter ** 3 = L = l = liters = litre = litres
milliliter = 0.000001 * meter ** 3 = mL = ml
gallon = 231 * inch ** 3 = gal = _ = gallons
ft3 = foot ** 3
lpm = liter / minute
gpm = gallon / minute
gph = gallon / hour
cfm = foot ** 3 / minute
mph = mile / hour
kilogram = [mass] = kg
milligram = 0.000001 * kilogram = mg
ppm = milligram / liter
pascal = kilogram / meter / second ** 2 = Pa
kilopascal = 1000 * pascal = kPa
bar = 100000 * pascal
millibar = 100 * pascal = mbar
psi = 6894.757293168361 * pascal
mH2O = 9806.65 * pascal = _ = mwc
ftH2O = 0.3048 * mH2O
watt = kilogram * meter ** 2 / second ** 3 = W = watts
kilowatt = 1000 * watt = kW
hp = 745.6998715822702 * watt
BTU = 1055.05585262 * watt * second = _ = Btu
joule = watt * second = J
kilojoule = 1000 * joule = kJ
megajoule = 1000000 * joule = MJ
Wh = watt * hour
kWh = kilowatt * hour
ampere = [current] = A = amp = amps
milliampere = 0.001 * ampere = mA
volt = watt / ampere = V = volts
degree_Celsius = kelvin; offset: 273.15 = _ = degC
degree_Fahrenheit = 5 / 9 * kelvin; offset: 233.15 + 200 / 9 = _ = degF
kelvin = [temperature] = K
percent = 0.01 = _
"""


@dataclass(frozen=True)
class QuantityKind:
    """One kind of quantity: its words, the units it may be written in, and the unit it is kept in."""

    words: str
    example: str
    si: str
    units: tuple[str, ...]
    shown: tuple[tuple[float, str], ...]
    """(from this size up, unit) for messages, smallest first"""


_LENGTHS = (
    "mm",
    "cm",
    "m",
    "meter",
    "meters",
    "metre",
    "metres",
    "in",
    "inch",
    "inches",
    "ft",
    "feet",
    "foot",
)
_DEGREES = ("degC", "degF", "°C", "°F", "C", "F")
KINDS: dict[str, QuantityKind] = {
    "length": QuantityKind("a length", "9 m or 30 ft", "m", _LENGTHS, ((0, "mm"), (1, "m"))),
    "area": QuantityKind(
        "an area", "3.1 m2 or 33 ft2", "m2", ("m2", "cm2", "ft2", "sqft", "in2"), ((0, "m2"),)
    ),
    "volume": QuantityKind(
        "a volume",
        "1500 L or 400 gal",
        "m3",
        ("L", "l", "liter", "liters", "litre", "litres", "mL", "ml", "m3", "gal", "gallon", "gallons", "ft3"),
        ((0, "L"),),
    ),
    "flow": QuantityKind(
        "a flow",
        "230 L/min or 60 gpm",
        "m3/second",
        (
            "L/min",
            "l/min",
            "lpm",
            "L/s",
            "l/s",
            "L/h",
            "l/h",
            "m3/h",
            "m3/s",
            "gpm",
            "gal/min",
            "gph",
            "gal/h",
            "cfm",
            "ft3/min",
        ),
        ((0, "L/min"),),
    ),
    "head": QuantityKind(
        "a head or pressure",
        "6 m, 20 ft or 8 psi",
        "mH2O",
        ("m", "ft", "feet", "foot", "mH2O", "mwc", "ftH2O", "kPa", "Pa", "bar", "mbar", "psi"),
        ((0, "m"),),
    ),
    "temperature": QuantityKind(
        "a temperature", "38 degC or 100 degF", "degree_Celsius", _DEGREES, ((-1e9, "degC"),)
    ),
    "temperature_difference": QuantityKind(
        "a temperature difference", "1 K or 2 degF", "kelvin", ("K", *_DEGREES), ((0, "K"),)
    ),
    "time": QuantityKind(
        "a time",
        "30 s, 15 min or 3 h",
        "second",
        (
            "s",
            "sec",
            "second",
            "seconds",
            "min",
            "minute",
            "minutes",
            "h",
            "hr",
            "hour",
            "hours",
            "d",
            "day",
            "days",
        ),
        ((0, "s"), (120, "min"), (7200, "h"), (172800, "days")),
    ),
    "power": QuantityKind(
        "a power",
        "310 W, 1.6 kW or 1.5 hp",
        "watt",
        ("W", "kW", "hp", "BTU/h", "Btu/h", "watt", "watts"),
        ((0, "W"), (1000, "kW")),
    ),
    "speed": QuantityKind(
        "a speed", "1.8 m/s or 6 ft/s", "meter/second", ("m/s", "km/h", "ft/s", "mph"), ((0, "m/s"),)
    ),
    "voltage": QuantityKind("a voltage", "230 V", "volt", ("V", "volt", "volts"), ((0, "V"),)),
    "current": QuantityKind("a current", "16 A", "ampere", ("A", "mA", "amp", "amps", "ampere"), ((0, "A"),)),
    "energy": QuantityKind("an energy", "5 kWh", "joule", ("kWh", "Wh", "J", "kJ", "MJ"), ((0, "kWh"),)),
    "conductance": QuantityKind(
        "a heat loss per degree",
        "15 W/K or 30 BTU/h/F",
        "watt/kelvin",
        ("W/K", "W/degC", "W/C", "BTU/h/F", "Btu/h/F", "BTU/h/degF", "Btu/h/degF"),
        ((0, "W/K"),),
    ),
    "heat_capacity": QuantityKind(
        "a heat capacity",
        "200 kJ/K or 110 BTU/F",
        "joule/kelvin",
        ("kJ/K", "J/K", "MJ/K", "Wh/K", "kWh/K", "kJ/degC", "BTU/F", "Btu/F", "BTU/degF", "Btu/degF"),
        ((0, "kJ/K"),),
    ),
    "concentration": QuantityKind(
        "a concentration", "3 mg/L or 3 ppm", "kilogram/m3", ("mg/L", "mg/l", "ppm"), ((0, "mg/L"),)
    ),
    "fraction": QuantityKind("a share", "50 %", "", ("%", "percent"), ((0, "%"),)),
}
_BY_UNIT = {unit: kind for kind in reversed(KINDS.values()) for unit in kind.units}
_PREFIXES = {"G": 1e9, "M": 1e6, "k": 1e3, "h": 100.0, "d": 0.1, "c": 0.01, "m": 1e-3, "u": 1e-6}
_PLAIN = {"°C": "degC", "°F": "degF", "C": "degC", "F": "degF", "%": "percent"}
_TWINS = {"degC": "delta_degree_Celsius", "degF": "delta_degree_Fahrenheit"}


class QuantityError(CycleSimError, ValueError):
    """A text that is not the quantity that is due: what it is instead, what is allowed, a hint."""

    def __init__(self, what: str, allowed: str, hint: str = "") -> None:
        super().__init__(what, allowed, hint)
        self.what, self.allowed, self.hint = what, allowed, hint

    def __str__(self) -> str:
        return "; ".join(part for part in self.args if part)


@cache
def _registry() -> "UnitRegistry[float]":
    from pint import UnitRegistry

    return UnitRegistry([line for line in _DEFINITIONS.splitlines() if line], cache_folder=None)


@cache
def _line(unit: str, kind: str) -> tuple[float, float]:
    """Slope and offset that turn a number in this unit into the kind's own unit."""
    registry = _registry()
    text = _PLAIN.get(unit, unit)
    if kind == "temperature_difference":
        text = _TWINS.get(text, text)
    if kind in ("conductance", "heat_capacity"):
        above, _, degree = text.rpartition("/")
        text = f"{above}/{_TWINS.get(_PLAIN.get(degree, degree), degree)}"
    if kind == "head":
        text = {"m": "mH2O", "ft": "ftH2O", "feet": "ftH2O", "foot": "ftH2O"}.get(text, text)
    from_unit, to_unit = registry.parse_units(text), registry.parse_units(KINDS[kind].si or "dimensionless")
    offset = float(registry.Quantity(0.0, from_unit).m_as(to_unit))
    if kind != "temperature":
        return float(registry.Quantity(1.0, from_unit).m_as(to_unit)), 0.0
    return (float(registry.Quantity(100.0, from_unit).m_as(to_unit)) - offset) / 100, offset


def due(kind: str, example: str = "") -> str:
    """The sentence that says what is due, with examples: the kind's own or others."""
    return f"expected {KINDS[kind].words}, e.g. {example or KINDS[kind].example}"


def parse(text: str | float, kind: str, example: str = "") -> float:
    """One quantity of this kind in SI: m, m2, m3, m3/s, m of water, degC, K, s, W, m/s, V, A, J, W/K, J/K,
    kg/m3 or, for a share, 1.

    Raises QuantityError for anything else; a bare number is refused because it could be any unit.
    `example` stands in for the kind's own in what the error says.

    >>> parse("104 degF", "temperature"), parse("1.8 degF", "temperature_difference")
    (40.0, 1.0)
    """
    wanted, written = due(kind, example), str(text).strip()
    if len(str(text)) > _LONGEST:
        raise QuantityError("a text that is too long for a quantity", wanted)
    match = _QUANTITY.fullmatch(written) if isinstance(text, str) else None
    if match is None:
        what, hint = _no_quantity(written, (example or KINDS[kind].example).split()[1].strip(","))
        raise QuantityError(what, wanted, hint)
    unit = match["unit"].replace("²", "2").replace("³", "3").replace("º", "°")
    if unit not in KINDS[kind].units:
        what, hint = _wrong_unit(match["number"], unit, kind)
        raise QuantityError(what, wanted, hint)
    slope, offset = _line(unit, kind)
    # fifteen digits, or twelve decimals beside an offset of a few hundred, drop nothing but rounding noise
    value = float(f"{float(match['number']) * slope:.15g}")
    return round(value + offset, 12) if offset else value


def _no_quantity(text: str, unit: str) -> tuple[str, str]:
    """What a text is that is not a number and a unit, and a hint."""
    if re.fullmatch(NUMBER, text, re.ASCII):
        if unit == "%" and abs(float(text)) <= 1.0:  # a share written as people who calculate write it
            return "a bare number", f"say the unit: {100.0 * float(text):g} %"
        unit = "degF" if unit == "degC" and float(text) > _HOTTEST_C else unit
        return "a bare number", f"say the unit: {text} {unit}"
    if re.match(r"[-+]?\d+,\d", text):
        return "a number with a comma", "write 1.5 for one and a half, 1500 for fifteen hundred"
    if re.match(r"\d+ *-? *\d+/\d+", text):
        return "a number with a fraction", "write 1.5 for one and a half"
    if re.match(r"[-+]?[\d.]+[eE][-+]?\d{3}", text):
        return "a number beyond all bounds", ""
    if re.match(rf"{NUMBER} *[A-Za-z°]+ *\d", text):
        return "not one number and one unit", ""
    if match := re.fullmatch(rf"({NUMBER}) *(?:deg|degrees|°) *([CFcf])", text):
        return "no quantity", f"did you mean {match[1]} deg{match[2].upper()}?"
    return "no quantity", ""


def _wrong_unit(number: str, unit: str, kind: str) -> tuple[str, str]:
    """What a unit is that is not one of this kind, and a hint."""
    if unit in _BY_UNIT:
        return _BY_UNIT[unit].words, ""
    return f"an unknown unit '{unit}'", _unit_meant(number, unit, KINDS[kind].units)


def _unit_meant(number: str, unit: str, known: tuple[str, ...]) -> str:
    """The hint for an unknown unit: never one that is another amount for want of a prefix."""
    lower = {name.lower(): name for name in reversed(known)}
    bare = lower.get(unit[1:].lower())
    if unit[0] in _PREFIXES and bare and unit.lower() not in lower:
        return f"write {float(number) * _PREFIXES[unit[0]]:.12g} {bare}"
    alike = [name for name in lower if name[0] == unit[0].lower()]
    near = get_close_matches(
        unit.lower(), sorted(alike, key=lambda name: abs(len(name) - len(unit))), n=1, cutoff=0.5
    )
    if near and not all(part in _BY_UNIT for part in unit.split("/")):  # m3/min is no misspelt L/min
        return f"did you mean {number} {lower[near[0]]}?"
    return f"known units: {', '.join(known)}"


def format_quantity(value: float, kind: str) -> str:
    """A value in SI as people write it, to four digits.

    >>> format_quantity(0.00383, "flow"), format_quantity(86400, "time")
    ('229.8 L/min', '24 h')
    """
    unit = next(unit for size, unit in reversed(KINDS[kind].shown) if abs(value) >= size or size <= 0)
    slope, offset = _line(unit, kind)
    number = (value - offset) / slope
    return f"{float(f'{number:.4g}'):.0f} {unit}" if abs(number) >= 1e4 else f"{number:.4g} {unit}"


# -- the units of the reader -------------------------------------------------------------------------------

_US = {
    "L": ("gal", "volume"),
    "m3": ("gal", "volume"),
    "L/min": ("gpm", "flow"),
    "L/min of air": ("cfm", "flow"),
    "L/h": ("gal/h", "flow"),
    "mm": ("in", "length"),
    "cm": ("in", "length"),
    "m": ("ft", "length"),
    "m2": ("ft2", "area"),
    "cm2": ("in2", "area"),
    "m/s": ("ft/s", "speed"),
    "kPa": ("psi", "head"),
    "°C": ("°F", "temperature"),
    "K": ("°F", "temperature_difference"),
    "K/h": ("°F/h", "temperature_difference"),
}
"""What is told to a reader of US units in place of a metric unit, and of which kind it is."""
METRIC = tuple(_US)
_AS_METRIC = {"L/min of air": "L/min"}
_ONLY_US = re.compile(
    r"gal.*|gp[mh]|cfm|ft.*|f(?:oo|ee)t|in(?:2|ch|ches)?|sqft|psi|(?:deg|°)?F|mph|hp|B[Tt][Uu].*"
)
_METRIC_KINDS = ("length", "area", "volume", "flow", "head", "temperature", "speed")
"""Kinds that metric plants write otherwise than US ones; times, powers and currents tell nothing."""


def writes_us(texts: Iterable[str]) -> bool:
    """Whether most quantities among *texts* are in US units; those that both worlds use do not count."""
    us = metric = 0
    for text in texts:
        match = re.match(_QUANTITY.pattern, text.strip(), re.ASCII)
        if match is not None and _ONLY_US.fullmatch(match["unit"]):
            us += 1
        elif match is not None:
            metric += any(match["unit"] in KINDS[kind].units for kind in _METRIC_KINDS)
    return us > metric


def unit_for(unit: str, us: bool) -> str:
    """How a reader writes a metric unit.

    >>> unit_for("L/min", True), unit_for("kWh", True), unit_for("L/min of air", False)
    ('gpm', 'kWh', 'L/min')
    """
    if us and unit in _US:
        return _US[unit][0]
    return _AS_METRIC.get(unit, unit)


def slope_for(unit: str) -> float:
    """How many of the US unit one of a metric unit is.

    >>> round(slope_for("K"), 3), slope_for("kWh")
    (1.8, 1.0)
    """
    if unit not in _US:
        return 1.0
    name, kind = _US[unit]
    per_h = "/h" * unit.endswith("K/h")
    own = _AS_METRIC.get(unit, unit).removesuffix(per_h)
    return _line(own, kind)[0] / _line(name.removesuffix(per_h), kind)[0]


def value_for(value: float, unit: str) -> float:
    """A value in a metric unit as the US unit counts it.

    >>> round(value_for(38.0, "°C"), 6), round(value_for(0.5, "K"), 6)
    (100.4, 0.9)
    """
    if unit != "°C":
        return value * slope_for(unit)
    (slope, offset), (us_slope, us_offset) = _line("degC", "temperature"), _line("degF", "temperature")
    return (value * slope + offset - us_offset) / us_slope
