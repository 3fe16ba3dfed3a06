"""Quantities as people write them, turned into SI floats once, at the edge of the program."""

import math
import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache

from cyclesim.errors import CycleSimError

NUMBER = r"[-+]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][-+]?\d{1,2})?"
_QUANTITY = re.compile(rf"(?P<number>{NUMBER}) ?(?P<unit>[A-Za-z°º%][A-Za-z0-9/²³]*)", re.ASCII)
_PAIRS = {
    "length": ((("ft", "feet", "foot"), ("in", "inch", "inches"), 12),),
    "time": ((("h", "hr"), ("min",), 60), (("min",), ("s", "sec"), 60)),
}
"""Two units that people write behind each other, as 5 ft 6 in, and how many of the second make the first."""
_HOTTEST_C = 60.0  # above it a bare number for a temperature was meant in degF
_LONGEST = 40  # characters; nothing a person writes is longer
WITH_COMMA = ("a number with a comma", "write 1.5 for one and a half, 1500 for fifteen hundred")
"""What such a text is, and a hint."""

# Every unit name that may be written, without prefixes, so that nothing is read as a centi-fermi, each with
# how many of its kind's own unit it is. gal is the US liquid gallon, hp the mechanical horsepower, BTU the
# table one; a metre of water is the conventional one (9806.65 Pa); 1 ppm counts as 1 mg/L. Own
# arithmetic: a library that knows units costs each start a quarter of a second.
_FOOT, _INCH, _HORSEPOWER, _BTU, _WATER_PA = 0.3048, 0.0254, 745.6998715822702, 1055.05585262, 9806.65
_GALLON = 231 * _INCH**3
_FACTORS = {
    "s sec second seconds": 1.0,
    "min minute minutes": 60.0,
    "h hr hour hours": 3600.0,
    "d day days": 86_400.0,
    "m meter meters metre metres": 1.0,
    "mm": 0.001,
    "cm": 0.01,
    "km": 1000.0,
    "in inch inches": _INCH,
    "ft foot feet": _FOOT,
    "m2": 1.0,
    "cm2": 0.01**2,
    "ft2 sqft": _FOOT**2,
    "in2": _INCH**2,
    "m3": 1.0,
    "L l liter liters litre litres": 0.001,
    "mL ml": 0.000001,
    "gal gallon gallons": _GALLON,
    "ft3": _FOOT**3,
    "lpm": 0.001 / 60,
    "gpm": _GALLON / 60,
    "gph": _GALLON / 3600,
    "cfm": _FOOT**3 / 60,
    "mph": 1609.344 / 3600,
    "mg": 0.000001,
    "ppm": 0.001,
    "mH2O mwc": 1.0,
    "ftH2O": 0.3048,
    "inH2O": _INCH,
    "Pa": 1 / _WATER_PA,
    "kPa": 1000 / _WATER_PA,
    "bar": 100_000 / _WATER_PA,
    "mbar": 100 / _WATER_PA,
    "psi": 6894.757293168361 / _WATER_PA,
    "W watt watts": 1.0,
    "kW": 1000.0,
    "hp": _HORSEPOWER,
    "BTU Btu": _BTU,
    "J": 1.0,
    "kJ": 1000.0,
    "MJ": 1_000_000.0,
    "Wh": 3600.0,
    "kWh": 3_600_000.0,
    "A amp amps ampere": 1.0,
    "mA": 0.001,
    "V volt volts": 1.0,
    "K C °C degC": 1.0,
    "F °F degF": 5 / 9,
    "% percent": 0.01,
}
_FACTOR = {name: factor for names, factor in _FACTORS.items() for name in names.split()}
_FACTOR["1000 gal"] = 1000.0 * _GALLON  # told of energy, never written
_FAHRENHEIT_0_C = -160 / 9


@dataclass(frozen=True)
class QuantityKind:
    """One kind of quantity: its words and the units it may be written in."""

    words: str
    example: str
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
    "length": QuantityKind("a length", "9 m or 30 ft", _LENGTHS, ((0, "mm"), (1, "m"))),
    "area": QuantityKind("an area", "3.1 m2 or 33 ft2", ("m2", "cm2", "ft2", "sqft", "in2"), ((0, "m2"),)),
    "volume": QuantityKind(
        "a volume",
        "1500 L or 400 gal",
        ("L", "l", "liter", "liters", "litre", "litres", "mL", "ml", "m3", "gal", "gallon", "gallons", "ft3"),
        ((0, "L"),),
    ),
    "flow": QuantityKind(
        "a flow",
        "230 L/min or 60 gpm",
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
        ("m", "ft", "feet", "foot", "mH2O", "mwc", "ftH2O", "inH2O", "kPa", "Pa", "bar", "mbar", "psi"),
        ((0, "m"),),
    ),
    "temperature": QuantityKind("a temperature", "38 degC or 100 degF", _DEGREES, ((-1e9, "degC"),)),
    "temperature_difference": QuantityKind(
        "a temperature difference", "1 K or 2 degF", ("K", *_DEGREES), ((0, "K"),)
    ),
    "time": QuantityKind(
        "a time",
        "30 s, 15 min or 3 h",
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
        ("W", "kW", "hp", "BTU/h", "Btu/h", "watt", "watts"),
        ((0, "W"), (1000, "kW")),
    ),
    "speed": QuantityKind("a speed", "1.8 m/s or 6 ft/s", ("m/s", "km/h", "ft/s", "mph"), ((0, "m/s"),)),
    "voltage": QuantityKind("a voltage", "230 V", ("V", "volt", "volts"), ((0, "V"),)),
    "current": QuantityKind("a current", "16 A", ("A", "mA", "amp", "amps", "ampere"), ((0, "A"),)),
    "energy": QuantityKind("an energy", "5 kWh", ("kWh", "Wh", "J", "kJ", "MJ"), ((0, "kWh"),)),
    "conductance": QuantityKind(
        "a heat loss per degree",
        "15 W/K or 30 BTU/h/F",
        ("W/K", "kW/K", "W/degC", "W/C", "BTU/h/F", "Btu/h/F", "BTU/h/degF", "Btu/h/degF"),
        ((0, "W/K"),),
    ),
    "heat_capacity": QuantityKind(
        "a heat capacity",
        "200 kJ/K or 110 BTU/F",
        ("kJ/K", "J/K", "MJ/K", "Wh/K", "kWh/K", "kJ/degC", "BTU/F", "Btu/F", "BTU/degF", "Btu/degF"),
        ((0, "kJ/K"),),
    ),
    "concentration": QuantityKind(
        "a concentration", "3 mg/L or 3 ppm", ("mg/L", "mg/l", "ppm"), ((0, "mg/L"),)
    ),
    "fraction": QuantityKind("a share", "50 %", ("%", "percent"), ((0, "%"),)),
}
_BY_UNIT = {unit: kind for kind in reversed(KINDS.values()) for unit in kind.units}
_PREFIXES = {"G": 1e9, "M": 1e6, "k": 1e3, "h": 100.0, "d": 0.1, "c": 0.01, "m": 1e-3, "u": 1e-6}


class QuantityError(CycleSimError, ValueError):
    """A text that is not the quantity that was expected: what it is, what is allowed, a hint."""

    def __init__(self, what: str, allowed: str, hint: str = "") -> None:
        super().__init__(what, allowed, hint)
        self.what, self.allowed, self.hint = what, allowed, hint

    def __str__(self) -> str:
        return "; ".join(part for part in self.args if part)


@cache
def _line(unit: str, kind: str) -> tuple[float, float]:
    """Slope and offset that turn a number in this unit into the kind's own unit."""
    first, *below = (_FACTOR[name] for name in unit.split("/"))
    offset = _FAHRENHEIT_0_C if kind == "temperature" and "F" in unit else 0.0
    return first / math.prod(below), offset


def due(kind: str, example: str = "") -> str:
    """The sentence that says what was expected, with examples: the kind's own or others."""
    return f"expected {KINDS[kind].words}, e.g. {example or KINDS[kind].example}"


def parse(text: str | float, kind: str, example: str = "") -> float:
    """One quantity of this kind in SI: m, m2, m3, m3/s, m of water, degC, K, s, W, m/s, V, A, J, W/K, J/K,
    kg/m3 or, for a share, 1.

    Raises QuantityError for anything else; a bare number is refused because it could be any unit.
    `example` stands in for the kind's own in what the error says.

    >>> parse("104 degF", "temperature"), parse("1.8 degF", "temperature_difference")
    (40.0, 1.0)
    >>> parse("5 ft 6 in", "length"), parse("1 h 30 min", "time")
    (1.6764, 5400.0)
    """
    wanted, written = due(kind, example), str(text).strip()
    if len(str(text)) > _LONGEST:
        raise QuantityError("a text that is too long for a quantity", wanted)
    match = _QUANTITY.fullmatch(written) if isinstance(text, str) else None
    if match is None and kind in _PAIRS and (pair := re.fullmatch(pairs_pattern(kind), written, re.ASCII)):
        whole, first, rest, second = (part for part in pair.groups() if part is not None)
        most = next(n for large, small, n in _PAIRS[kind] if first in large and second in small)
        if float(rest) >= most:
            what = f"{rest} {second}, which is {most} or more"
            raise QuantityError(
                what, wanted, f"after a number of {first} less than {most} {second} is allowed"
            )
        small, large = (_line(unit, kind)[0] for unit in (second, first))
        return float(f"{float(whole) * large + float(rest) * small:.15g}")
    if match is None:
        what, hint = _no_quantity(written, example or KINDS[kind].example, kind)
        raise QuantityError(what, wanted, hint)
    unit = match["unit"].replace("²", "2").replace("³", "3").replace("º", "°")
    if unit not in KINDS[kind].units:
        what, hint = _wrong_unit(match["number"], unit, kind)
        raise QuantityError(what, wanted, hint)
    slope, offset = _line(unit, kind)
    # fifteen digits, or twelve decimals beside an offset of a few hundred, drop nothing but rounding noise
    value = float(f"{float(match['number']) * slope:.15g}")
    return round(value + offset, 12) if offset else value


_US_HINTS: ContextVar[bool] = ContextVar("us_hints", default=False)
_TWINS = {
    "m": "ft", "mm": "in", "cm": "in", "m2": "ft2", "L": "gal", "L/min": "gpm", "m/s": "ft/s",
    "degC": "degF", "K": "degF",
}  # fmt: skip
"""What a bare number was meant in by somebody who writes US units, by the metric unit that is the example."""


@contextmanager
def us_hints(us: bool) -> Iterator[None]:
    """Where a bare number is refused meanwhile, the unit that is offered is a US one if *us*."""
    token = _US_HINTS.set(us)
    try:
        yield
    finally:
        _US_HINTS.reset(token)


def also_in_us(value: float, kind: str) -> str:
    """The same value in brackets for who writes US units; nothing where a file is written in metric ones."""
    twin = _TWINS.get(format_quantity(value, kind).split(" ", 1)[1])
    if not _US_HINTS.get() or twin is None or (value == 0.0 and kind != "temperature"):
        return ""
    slope, offset = _line(twin, kind)
    return f" ({float(f'{(value - offset) / slope:.3g}'):,g} {twin})"


def written_in_us(text: str) -> str:
    """A text of a file with its metric quantities as a file in US units has them, to six digits.

    >>> written_in_us("{starts_below: 4 degC, pump: main low}"), written_in_us("0.5 K"), written_in_us("5 s")
    ('{starts_below: 39.2 degF, pump: main low}', '0.9 degF', '5 s')
    """

    def turned(found: re.Match[str]) -> str:
        number, unit = found["number"], found["unit"]
        if unit not in _TWINS:
            return found[0]
        kind = next(name for name, kind in KINDS.items() if unit in kind.units)
        slope, offset = _line(_TWINS[unit], kind)
        return f"{(parse(f'{number} {unit}', kind) - offset) / slope:.6g} {_TWINS[unit]}"

    return re.sub(rf"(?<![\w.,+-]){_QUANTITY.pattern}", turned, text, flags=re.ASCII)


def pairs_pattern(kind: str) -> str:
    """The pattern of what is written with two units of this kind, as 5 ft 6 in; "" if nothing is."""
    return "|".join(
        rf"(\d+) ?({'|'.join(large)}) (\d+(?:\.\d*)?) ?({'|'.join(small)})"
        for large, small, _ in _PAIRS.get(kind, ())
    )


def has_comma(text: str) -> bool:
    """Whether a text begins with a number that has a comma, for a point or between thousands."""
    return re.match(r"[-+]?\d+,\d", text.strip(), re.ASCII) is not None


def _no_quantity(text: str, example: str, kind: str) -> tuple[str, str]:
    """What a text is that is not a number and a unit, and a hint."""
    if re.fullmatch(NUMBER, text, re.ASCII):
        unit, *others = _units_of(float(text), example, kind)
        if unit == "%" and abs(float(text)) <= 1.0:  # a share written as people who calculate write it
            return "a bare number", f"say the unit: {100.0 * float(text):g} %"
        is_us = _US_HINTS.get() or (unit == "degC" and float(text) > _HOTTEST_C)
        meant = [f"{text} {_TWINS.get(u, u) if is_us else u}" for u in (unit, *others)]
        return "a bare number", f"say the unit: {' or '.join(meant)}"
    if has_comma(text):
        return WITH_COMMA
    if re.match(r"\d+ *-? *\d+/\d+", text):
        return "a number with a fraction", "write 1.5 for one and a half"
    if re.match(r"[-+]?[\d.]+[eE][-+]?\d{3}", text):
        return "a number beyond all bounds", ""
    if re.match(rf"{NUMBER} *(ft|feet|foot|')[ -]*\d", text):
        return "not one number and one unit", "write feet and inches as 5 ft 6 in or 5.5 ft"
    if re.match(rf"{NUMBER} *[A-Za-z°]+ *\d", text):
        return "not one number and one unit", ""
    if match := re.fullmatch(rf"({NUMBER}) *(?:deg|degrees|°) *([CFcf])", text):
        return "no quantity", f"did you mean {match[1]} deg{match[2].upper()}?"
    return "no quantity", ""


def _units_of(number: float, example: str, kind: str) -> list[str]:
    """The metric units that a bare number may have been meant in: those of the example, its first one first.

    Beside 300 mm, 0.85 was meant in metres, and beside 9 m, 2500 in millimetres.
    """
    first, *others = re.findall(r"\d +([^\s,]+)", example)
    shown = [unit for _, unit in KINDS[kind].shown]
    if kind == "length" and first in shown and number:
        usual = parse(" ".join(example.split()[:2]), kind)
        first = min(shown, key=lambda unit: abs(math.log(abs(number) * _FACTOR[unit] / usual)))
    return [first, *(unit for unit in shown if unit in others and unit != first)]


def _wrong_unit(number: str, unit: str, kind: str) -> tuple[str, str]:
    """What a unit is that is not one of this kind, and a hint."""
    if unit in _BY_UNIT:
        return _BY_UNIT[unit].words, ""
    return f"an unknown unit '{unit}'", _unit_meant(number, unit, KINDS[kind].units)


def _unit_meant(number: str, unit: str, known: tuple[str, ...]) -> str:
    """The hint for an unknown unit: never one that is another amount for want of a prefix."""
    lower = {name.lower(): name for name in reversed(known)}
    bare = lower.get(unit[1:].lower())
    if unit[0] in _PREFIXES and bare and unit[0] != bare[0] and unit.lower() not in lower:
        return f"write {float(number) * _PREFIXES[unit[0]]:.12g} {bare}"
    if (match := re.fullmatch(r"([A-Za-z]+)(\d+)", unit)) and match[1] in known:  # 1 h30 is no 1 h
        return f"say the unit of {match[2]}, too"
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
    "m/s of wind": ("mph", "speed"),
    "kPa": ("psi", "head"),
    "°C": ("°F", "temperature"),
    "K": ("°F", "temperature_difference"),
    "K/h": ("°F/h", "temperature_difference"),
    "W of pump": ("hp", "power"),
    "Wh/m3": ("kWh/1000 gal", "energy"),
    "W/K": ("BTU/h/°F", "conductance"),
    "W/(m K)": ("BTU/h/ft/°F", "conductance"),
    "W/(m2 K)": ("BTU/h/ft2/°F", "conductance"),
}
"""What is told to a reader of US units in place of a metric unit, and of which kind it is."""
METRIC = tuple(_US)
_AS_METRIC = {"L/min of air": "L/min", "m/s of wind": "m/s", "W of pump": "W"}
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
    own = re.sub(r"\((\w+) (\w+)\)", r"\1/\2", _AS_METRIC.get(unit, unit).removesuffix(per_h))
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
