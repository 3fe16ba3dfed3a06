"""The conductors of a circuit: how long, how thick and of what."""

import math
import re
from typing import Annotated, Literal, NamedTuple

from pydantic import Field

from cyclesim.scenario.forms.forms import Model, Quantity, RefusedError, Text, default
from cyclesim.spreads import NoRange

_DUE = "expected the area or the gauge of one conductor, e.g. 2.5 mm2 or 12 AWG"
_LEAST_MM2, _MOST_MM2 = 0.5, 300.0


class Conductor(NamedTuple):
    """The size of one conductor as it is printed, with its area [m2]."""

    name: str
    area_m2: float


def gauge_area_m2(number: int) -> float:
    """Area [m2] of one conductor of a gauge number of the American Wire Gauge; -1 is 2/0, -3 is 4/0.

    From 0.127 mm at 36 to 11.684 mm at 4/0 each diameter is the 39th root of 92 times the one before (ASTM
    B258, quoted from memory; document not checked).
    """
    diameter_m: float = 0.127e-3 * 92.0 ** ((36 - number) / 39.0)
    return math.pi / 4.0 * diameter_m**2


def read_conductor(text: str) -> Conductor:
    """`2.5 mm2`, `12 AWG` or `2/0 AWG`."""
    if metric := re.fullmatch(r"(\d{1,4}(?:\.\d{1,4})?) ?mm(?:2|²)", text.strip(), re.ASCII):
        mm2 = float(metric[1])
        if not _LEAST_MM2 <= mm2 <= _MOST_MM2:
            due = f"from {_LEAST_MM2:g} to {_MOST_MM2:g} mm2 is allowed"
            raise RefusedError("an area out of range", due)
        return Conductor(f"{mm2:g} mm2", mm2 * 1e-6)
    gauge = re.fullmatch(r"(?:AWG ?)?(\d{1,2}|[1-4]/0)(?: ?AWG)?", text.strip(), re.ASCII)
    if gauge is None or "AWG" not in text:
        raise RefusedError("no size of a conductor", _DUE)
    number = 1 - int(gauge[1][0]) if "/" in gauge[1] else int(gauge[1])
    if not -3 <= number <= 20:
        raise RefusedError("a gauge out of range", "from 20 AWG to 4/0 AWG is allowed")
    return Conductor(f"{gauge[1]} AWG", gauge_area_m2(number))


class Cable(Model):
    """Two conductors, there and back, of one circuit or to one thing on it."""

    length_m: Annotated[float, Quantity("length", gt=0, le=1000, example="18 m or 60 ft")] = Field(
        alias="length", description="How long it is, one way, e.g. 18 m."
    )
    area: Annotated[Conductor, Text(read_conductor, _DUE, examples=("2.5 mm2", "12 AWG"))] = Field(
        description="The size of each conductor, e.g. 2.5 mm2 or 12 AWG."
    )
    of: Literal["copper", "aluminium"] = default(
        "copper",
        spread=NoRange("copper or aluminium"),
        source="common practice, no source",
        description="What the conductors are made of.",
    )
