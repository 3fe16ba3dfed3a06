"""Spreads as the report tells them, `15 s to 5 min` or `-30 to +30 %`, read back as numbers."""

from __future__ import annotations

import re
from typing import NamedTuple

from cyclesim.units import KINDS, NUMBER, parse

WORDS = ("any zone", "as built", "europe or north_america", "stirred housings lag")
"""Spreads that are no range of numbers: another choice is another plant, not the same one a little off."""

_RANGE = re.compile(
    rf"(?P<low>{NUMBER}) ?(?P<unit>[^\W\d]\S*|%)? to (?P<high>{NUMBER}) ?(?P<last>x bore|\S+)?", re.ASCII
)


class Spread(NamedTuple):
    """A range: numbers with the unit of each, as written; *about* the value where both bear a sign."""

    low: float
    low_unit: str
    high: float
    high_unit: str
    about: bool

    def around(self, value: float, kind: str = "") -> tuple[float, float]:
        """The two ends in the kind's own unit, or as plain numbers without a kind.

        >>> read_spread("-30 to +30 %").around(200.0, "power")
        (140.0, 260.0)
        >>> read_spread("15 s to 5 min").around(30.0, "time")
        (15.0, 300.0)
        """
        ends = (self.low, self.low_unit), (self.high, self.high_unit)
        if self.about and self.high_unit == "%":
            return value * (1.0 + self.low / 100.0), value * (1.0 + self.high / 100.0)
        if self.about:
            low, high = (_si(x, unit, _difference(kind)) for x, unit in ends)
            return value + low, value + high
        low, high = (_si(x, unit, kind) for x, unit in ends)
        return low, high


def read_spread(text: str) -> Spread:
    """The range that a text tells; what follows a comma is a remark. ValueError for words."""
    match = _RANGE.fullmatch(text.partition(",")[0].strip())
    if match is None:
        raise ValueError(f"{text!r} is no range")
    last = match["last"] or ""
    first, signed = match["unit"] or last, match["low"][0] in "+-" and match["high"][0] in "+-"
    return Spread(float(match["low"]), first, float(match["high"]), last, signed)


def read_edges(text: str) -> tuple[Spread, Spread]:
    """The two ranges of a band's edges: `20 to 25 degC below, 42 to 45 degC above`."""
    below, _, above = text.partition(" below, ")
    if not above.endswith(" above"):
        raise ValueError(f"{text!r} tells no two edges")
    return read_spread(below), read_spread(above.removesuffix(" above"))


def _difference(kind: str) -> str:
    return "temperature_difference" if kind == "temperature" else kind


def _si(value: float, unit: str, kind: str) -> float:
    return parse(f"{value!r} {unit}", kind) if kind in KINDS and unit in KINDS[kind].units else value
