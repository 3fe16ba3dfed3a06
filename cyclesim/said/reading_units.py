"""The unit that each kind of reading is told in."""

from __future__ import annotations

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
