"""The unit that each kind of reading is told in."""

from __future__ import annotations

import math
from typing import NamedTuple


class _Unit(NamedTuple):
    """The unit that a quantity is told in, and how many of it an SI unit is."""

    unit: str
    each: float = 1.0


_UNITS = {
    "head": _Unit("m"),
    "flow": _Unit("L/min", 60_000.0),
    "time": _Unit("s"),
    "current": _Unit("A"),
    "power": _Unit("W"),
    "temperature": _Unit("°C"),
    "energy": _Unit("kWh", 1.0 / 3.6e6),
}
_HOURS = _Unit("h", 1.0 / 3600.0)
_LONG_S = 7200.0


def unit_of(quantity: str, value: float) -> tuple[str, float]:
    """The unit in which a value of this quantity is told, and how many of it an SI unit is."""
    return _HOURS if quantity == "time" and value >= _LONG_S else _UNITS[quantity]


def with_off(quantity: str, value: float, off: float) -> str:
    """A value and what it may be off by to either side, both in SI, as people write them.

    >>> with_off("flow", 0.0005, 0.00004), with_off("temperature", 37.2, 0.3)
    ('30 ±2.4 L/min', '37.2 °C ±0.3 K')
    """
    if math.isinf(value):
        return "never"
    unit, each = unit_of(quantity, value)
    told, either = f"{float(f'{value * each:.3g}'):g}", f"±{float(f'{off * each:.2g}'):g}"
    return f"{told} {unit} {either} K" if quantity == "temperature" else f"{told} {either} {unit}"
