"""The smallest things that a file says (quantities, names, clock times), each refused in plain words."""

import re
from collections.abc import Mapping
from datetime import time
from typing import Annotated, Any, NamedTuple

from pydantic import BeforeValidator, Field

from cyclesim.scenario.forms.forms import (
    Quantity,
    RefusedError,
    SeveralError,
    SingleOrList,
    Text,
    did_you_mean,
    one_of,
    what_is,
)
from cyclesim.units import KINDS


class FlowAtHead(NamedTuple):
    """A flow and the head that goes with it."""

    head_m: float
    flow_m3_s: float


class PumpSpeed(NamedTuple):
    """A pump at one of its speeds; a pump with one speed runs at "on"."""

    pump: str
    speed: str

    def __str__(self) -> str:
        return self.pump if self.speed == "on" else f"{self.pump} {self.speed}"


NAME = r"[A-Za-z][A-Za-z0-9_]*"
RESERVED = ("tub", "outdoors", "weather", "parallel")
_FLOW = Quantity("flow", ge=1e-6, le=0.1)  # 1 mL a second: what rates less drips, and a mistyped unit does so
_HEAD = Quantity("head", gt=0, le=200)
_AT_DUE = "expected a flow and a head, e.g. 38 L/min at 6 m or 10 gpm at 8 psi"


def read_name(text: str) -> str:
    """A name that other places refer to."""
    if len(text) > 40 or not re.fullmatch(NAME, text, re.ASCII):
        raise RefusedError("no name", "a name has letters, digits and _ only, at most 40, e.g. left_bench")
    return text


def read_flow_at_head(text: str) -> FlowAtHead:
    """`38 L/min at 6 m`, or the other way round."""
    parts = [part.strip() for part in text.split(" at ")]
    if len(parts) != 2:
        raise RefusedError("not two quantities with 'at' between them", _AT_DUE)
    flow = next((part for part in parts if part.rsplit(" ", 1)[-1] in KINDS["flow"].units), parts[0])
    head = parts[1] if flow is parts[0] else parts[0]
    return FlowAtHead(_HEAD.validate(head), _FLOW.validate(flow))


def read_clock(text: str) -> time:
    """`07:30`."""
    match = re.fullmatch(r"(\d\d):(\d\d)", text.strip(), re.ASCII)
    if match is None:
        raise RefusedError("no time of day", "expected a time of day, two digits each, e.g. 07:30")
    hour, minute = int(match[1]), int(match[2])
    if hour > 23 or minute > 59:
        hint = "write 00:00 for midnight" if (hour, minute) == (24, 0) else ""
        raise RefusedError("a time that does not exist", "a time of day goes from 00:00 to 23:59", hint)
    return time(hour, minute)


DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
_MONTH_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


def _one_word(text: str, words: tuple[str, ...]) -> int | None:
    short = {word[:3].lower(): index for index, word in enumerate(words)}
    full = {word.lower(): index for index, word in enumerate(words)}
    return (short | full).get(text.strip().lower())


def read_day(text: str) -> int:
    """A day of the week, Monday as 0."""
    day = _one_word(text, DAYS)
    if day is None:
        raise RefusedError("no day of the week", f"expected {one_of(DAYS)}", did_you_mean(text, DAYS))
    return day


def read_month_day(text: str) -> tuple[int, int]:
    """`20 January` as (month, day)."""
    match = re.fullmatch(
        r"(?P<d>\d{1,2})\.? +(?P<m>[A-Za-z]+)|(?P<m2>[A-Za-z]+) +(?P<d2>\d{1,2})", text.strip()
    )
    month = _one_word(match["m"] or match["m2"], MONTHS) if match else None
    if match is None or month is None:
        near = did_you_mean((match["m"] or match["m2"]) if match else "", MONTHS)
        raise RefusedError("no day of the year", "expected a day and a month, e.g. 20 January", near)
    day = int(match["d"] or match["d2"])
    if not 1 <= day <= _MONTH_DAYS[month]:
        raise RefusedError(
            "a day that does not exist", f"{MONTHS[month]} has the days 1 to {_MONTH_DAYS[month]}"
        )
    return month + 1, day


def read_pump_speed(text: str) -> PumpSpeed:
    """`main low`, or `circulator` for a pump with one speed."""
    match = re.fullmatch(rf"({NAME})(?: +({NAME}))?", text.strip(), re.ASCII)
    if match is None:
        raise RefusedError("no pump and speed", "expected a pump and its speed, e.g. main low")
    return PumpSpeed(match[1], match[2] or "on")


def yes_or_no(value: object) -> object:
    """True or false; the words that older YAML took for them are named."""
    if not isinstance(value, bool):
        raise RefusedError(what_is(value), "expected true or false", _TRUTH.get(str(value).lower(), ""))
    return value


_TRUTH = dict.fromkeys(("yes", "on", "y"), "write true") | dict.fromkeys(("no", "off", "n"), "write false")


def _not_empty(value: object) -> object:
    if isinstance(value, list) and not value:
        raise RefusedError("an empty list", "expected at least one entry, or leave the key out")
    return value


def _names(value: object) -> object:
    """Refuse keys that cannot serve as names."""
    if isinstance(value, Mapping):
        wrong = []
        for key in value:
            if key in RESERVED:
                wrong.append(
                    RefusedError("a name that is taken", f"{one_of(RESERVED)} are built in", at=(key, "#key"))
                )
                continue
            try:
                read_name(key)
            except RefusedError as error:
                wrong.append(RefusedError(error.what, error.allowed, at=(key, "#key")))
        if wrong:
            raise SeveralError(*wrong)
    return value


named = BeforeValidator(_names)
"""Marks a mapping whose keys are names."""
single_or_list = SingleOrList()
"""Lets one entry stand for a list of one."""
not_empty = BeforeValidator(_not_empty)
"""Marks a list that needs at least one entry."""

Spacing = Annotated[float, Quantity("length", gt=0, le=10, example="400 mm or 16 in")]
Length = Annotated[float, Quantity("length", gt=0, le=300)]
Wall = Annotated[float, Quantity("length", gt=0, le=1, example="60 mm or 2.5 in")]
Insulation = Annotated[float, Quantity("length", ge=0, le=1, example="9 mm or 0.5 in")]
Bore = Annotated[float, Quantity("length", ge=0.004, le=0.3, example="57 mm or 2.1 in")]
Nozzle = Annotated[float, Quantity("length", ge=0.001, le=0.1, example="8 mm or 0.3 in")]
Side = Annotated[float, Quantity("length", gt=0, le=30, example="1.7 m or 5.5 ft")]
DEEPEST_TUB_M = 2.0
"""Who means a tub deeper on the mean, to sit or stand in, has a unit wrong: a project choice."""
TubDepth = Annotated[float, Quantity("length", gt=0, le=DEEPEST_TUB_M, example="700 mm or 2.3 ft")]
Depth = Annotated[float, Quantity("length", gt=0, le=10, example="600 mm or 2 ft")]
Rise = Annotated[float, Quantity("length", ge=-10, le=30)]
Area = Annotated[float, Quantity("area", gt=0, le=500)]
TubVolume = Annotated[float, Quantity("volume", ge=0.05, le=200)]
PartVolume = Annotated[float, Quantity("volume", ge=0, le=5, example="14 L or 4 gal")]
Flow = Annotated[float, Quantity("flow", gt=0, le=0.1)]
Head = Annotated[float, Quantity("head", gt=0, le=200)]
Power = Annotated[float, Quantity("power", gt=0, le=100_000)]
HeatOutput = Annotated[float, Quantity("power", ge=100, le=100_000)]
Current = Annotated[float, Quantity("current", gt=0, le=400)]
Voltage = Annotated[float, Quantity("voltage", ge=6, le=1000)]
Speed = Annotated[float, Quantity("speed", gt=0, le=20)]
Share = Annotated[float, Quantity("fraction", ge=0, le=1)]
Wind = Annotated[float, Quantity("speed", ge=0, le=40, example="1.5 m/s or 3 mph")]
SpeedShare = Annotated[float, Quantity("fraction", ge=0.1, le=2)]
AirTemperature = Annotated[float, Quantity("temperature", ge=-60, le=60, example="15 degC or 59 degF")]
WaterTemperature = Annotated[float, Quantity("temperature", ge=0, le=100)]
Swing = Annotated[float, Quantity("temperature_difference", ge=0, le=60)]
Warming = Annotated[float, Quantity("temperature_difference", ge=-60, le=60)]
Pause = Annotated[float, Quantity("time", ge=0, le=86_400)]
Rest = Annotated[float, Quantity("time", ge=0, le=86_400, whole=True)]
Lasting = Annotated[float, Quantity("time", ge=1, le=86_400, whole=True)]
Span = Annotated[float, Quantity("time", ge=1, le=366 * 86_400)]
YesNo = Annotated[bool, BeforeValidator(yes_or_no)]
Name = Annotated[str, Text(read_name, "expected a name, e.g. pump_room", rf"^{NAME}$")]
Clock = Annotated[
    time,
    Text(read_clock, "expected a time of day, e.g. 07:30", r"^([01]\d|2[0-3]):[0-5]\d$", ("07:30",)),
]
Clocks = Annotated[tuple[Clock, ...], not_empty, single_or_list]
Day = Annotated[int, Text(read_day, f"expected {one_of(DAYS)}", words=(*DAYS, *(day[:3] for day in DAYS)))]
Days = Annotated[tuple[Day, ...], not_empty, single_or_list]
MonthDay = Annotated[
    tuple[int, int],
    Text(read_month_day, "expected a day and a month, e.g. 20 January", examples=("20 January",)),
]
AtHead = Annotated[
    FlowAtHead,
    Text(read_flow_at_head, _AT_DUE, r"^\S+ ?\S+ at \S+ ?\S+$", ("38 L/min at 6 m", "0.3 m at 400 L/min")),
]
PumpAt = Annotated[
    PumpSpeed,
    Text(
        read_pump_speed,
        "expected a pump and its speed, e.g. main low",
        rf"^{NAME}( +{NAME})?$",
        ("main low", "circulator"),
    ),
]

Offset = Annotated[float, Quantity("temperature_difference", ge=-20, le=20)]
READS: Any = Field(
    None,
    alias="reads",
    description="How much too warm its sensor reads, e.g. +2 K, or too cold, e.g. -1 K; right unless said.",
)
