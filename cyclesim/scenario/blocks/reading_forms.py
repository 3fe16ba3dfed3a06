"""The forms that readings are written in: what they may be off by, places, pumps and devices."""

from datetime import date
from typing import Annotated, Any, NamedTuple

from pydantic import Field

from cyclesim.scenario.forms.fields import PumpAt, PumpSpeed, single_or_list
from cyclesim.scenario.forms.forms import Count, Form, Quantity, RefusedError, Text, did_you_mean, what_is
from cyclesim.scenario.forms.lists import Pair
from cyclesim.scenario.forms.times import read_date
from cyclesim.units import KINDS, format_quantity

PRACTICE = "common practice, no source"


class GiveOrTake(NamedTuple):
    """What a reading may be off by to either side: the larger of an amount, in SI, and a share of it."""

    amount: float
    share: float = 0.0
    source: str = ""

    def of(self, value: float) -> float:
        """What a reading of this value may be off by."""
        return max(self.amount, self.share * abs(value))

    def text(self, kind: str) -> str:
        """In words: an amount, a share, or both."""
        amount = format_quantity(self.amount, kind) if self.amount else ""
        share = f"{100.0 * self.share:g} %" if self.share else ""
        return " or ".join(part for part in (amount, share) if part) + (
            ", the larger" * bool(amount and share)
        )


def _off(kind: str) -> Form:
    """The form of a tolerance, written as an amount of this kind or in percent."""
    amount, share = Quantity(kind, gt=0, le=1e9), Quantity("fraction", gt=0, le=1)
    due = f"expected {KINDS[kind].words} or a share, e.g. 5 %"

    def read(value: object) -> GiveOrTake:
        if not isinstance(value, str):
            raise RefusedError(what_is(value), due)
        if value.strip().endswith(("%", "percent")):
            return GiveOrTake(0.0, share.validate(value))
        return GiveOrTake(amount.validate(value))

    return Form(read, {"type": "string"})


HeadOff = Annotated[GiveOrTake, _off("head")]
FlowOff = Annotated[GiveOrTake, _off("flow")]
TimeOff = Annotated[GiveOrTake, _off("time")]
CurrentOff = Annotated[GiveOrTake, _off("current")]
PowerOff = Annotated[GiveOrTake, _off("power")]
WarmthOff = Annotated[GiveOrTake, _off("temperature_difference")]
EnergyOff = Annotated[GiveOrTake, _off("energy")]
WITHIN: Any = Field(
    None, alias="give_or_take", description="What it may be off by to either side, e.g. 2 % or 0.2 m."
)


KIND_SAYS = "What was measured."
With = Annotated[tuple[PumpAt, ...], single_or_list]
RUNS: Any = Field((), alias="with", description="The pumps that run, e.g. main high, or a list.")
VALVES: Any = Field(
    default_factory=dict,
    description="Valves that were turned for it, e.g. {bypass: shut}; the rest as usual.",
)
JET: Any = Field(None, description="Which jet of the leg, counted from the pump room.")
Jet = Annotated[int, Count(1, 60)]
Gauge_ = Annotated[float, Quantity("head", ge=-10.3, le=200)]
Between = Annotated[
    tuple[date, date],
    Pair(
        Text(read_date, "expected a date, e.g. 2027-02-01"),
        "two dates",
        "[2027-04-01, 2027-05-01]",
        equal=False,
    ),
]
POINT_DUE = "expected before or after a part of the network, e.g. after main, or the name of a junction"


class NetworkPoint(NamedTuple):
    """A place in the network: before or after an element, or a junction ("" before its name)."""

    side: str
    name: str

    def __str__(self) -> str:
        return f"{self.side} {self.name}".strip()


def read_point(text: str) -> NetworkPoint:
    """`before filter`, `after main`, or a junction's name."""
    words = text.split()
    if len(words) == 1:
        return NetworkPoint("", words[0])
    if len(words) != 2 or words[0] not in ("before", "after"):
        hint = did_you_mean(words[0], ("before", "after")) if words else ""
        raise RefusedError("no place in the network", POINT_DUE, hint)
    return NetworkPoint(words[0], words[1])


_DEVICE_DUE = "expected a pump and its speed or a heat source, e.g. main high"


def read_device(text: str) -> PumpSpeed:
    """`main high`, `circulator` or `element`."""
    words = text.split()
    if not 1 <= len(words) <= 2:
        raise RefusedError("no pump or heat source", _DEVICE_DUE)
    return PumpSpeed(words[0], words[1] if len(words) > 1 else "on")


Device = Annotated[PumpSpeed, Text(read_device, _DEVICE_DUE)]
