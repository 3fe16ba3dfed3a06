"""How far practice strays from a number, as a value: its likely ends, which print as people write them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from cyclesim.units import KINDS, parse

POINTS = "% points"
"""The unit of what is added to a share."""


@dataclass(frozen=True, slots=True)
class Spread:
    """The likely lowest and highest of a number, in the unit that people would write.

    *unit* is that of both ends, *low_unit* that of the lower one where it has another. With *off* the ends
    are what is added to the number: a share of it in %, so many units in anything else. With *times* they are
    multiples of another key of the same block.
    """

    low: float
    high: float
    unit: str = ""
    low_unit: str = ""
    off: bool = False
    times: str = ""
    remark: str = ""

    def __str__(self) -> str:
        low = f"{self.low:{self._sign}g} {self.low_unit}".strip()
        return f"{low} to {self.ends()[1]}" + (f", {self.remark}" if self.remark else "")

    def ends(self, unit: str = "") -> tuple[str, str]:
        """Both ends in words, with *unit* where the spread itself has none.

        >>> Spread(15, 5, "min", low_unit="s").ends(), Spread(-30, 30, "%", off=True).ends()
        (('15 s', '5 min'), ('-30 %', '+30 %'))
        """
        unit = f"x {self.times}" if self.times else self.unit or unit
        low = f"{self.low:{self._sign}g} {self.low_unit or unit}"
        return low.strip(), f"{self.high:{self._sign}g} {unit}".strip()

    def around(self, value: float, kind: str = "") -> tuple[float, float]:
        """Both ends about a value, in the unit that its kind is kept in; without a kind as they are written.

        >>> Spread(-30, 30, "%", off=True).around(200.0), Spread(0, 600, "mm").around(0.0, "length")
        ((140.0, 260.0), (0.0, 0.6))
        """
        if self.off and self.unit == "%":
            return value * ((100.0 + self.low) / 100.0), value * ((100.0 + self.high) / 100.0)
        kind = "temperature_difference" if self.off and kind == "temperature" else kind
        low, high = _si(self.low, self.low_unit or self.unit, kind), _si(self.high, self.unit, kind)
        return (value + low, value + high) if self.off else (low, high)

    @property
    def _sign(self) -> str:
        return "+" if self.off else ""


class Edges(NamedTuple):
    """Spreads of the two edges of a band."""

    below: Spread
    above: Spread

    def __str__(self) -> str:
        return f"{self.below} below, {self.above} above"


class NoRange(NamedTuple):
    """What else there may be, where that is no range of numbers: another choice is another plant."""

    words: str

    def __str__(self) -> str:
        return self.words


ANY_ZONE, AS_BUILT = NoRange("any zone is possible"), NoRange("depends on your build")
AnySpread = Spread | Edges | NoRange


class Assumption(NamedTuple):
    """A number nobody measured for this plant: value, likely lowest and highest, and where it is from."""

    value: float
    low: float
    high: float
    source: str


def _si(value: float, unit: str, kind: str) -> float:
    if unit == POINTS:
        return value / 100.0
    return parse(f"{value!r} {unit}", kind) if kind in KINDS and unit in KINDS[kind].units else float(value)
