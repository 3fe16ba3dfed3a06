"""The smallest things that a file says (quantities, names, clock times), each refused in plain words."""

import math
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import time
from difflib import get_close_matches
from typing import Annotated, Any, NamedTuple

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, core_schema

from cyclesim.units import KINDS, NUMBER, QuantityError, due, format_quantity, parse

Steps = tuple[str | int, ...]


class RefusedError(ValueError):
    """Why a value cannot be used: what it is, what is allowed, a hint; `at` leads to the part of it."""

    def __init__(self, what: str, allowed: str, hint: str = "", at: Steps = ()) -> None:
        super().__init__(what, allowed, hint, at)
        self.what, self.allowed, self.hint, self.at = what, allowed, hint, at


class SeveralError(ValueError):
    """More than one RefusedError from one place."""

    def __init__(self, *refusals: RefusedError) -> None:
        super().__init__(*refusals)
        self.refusals = refusals


class Assumed(NamedTuple):
    """A default worked out from other fields: its key, its value and spread as text, its source."""

    key: str
    value: str
    spread: str
    source: str


class Model(BaseModel):
    """Base of everything a file says: unknown keys are refused, nothing changes afterwards."""

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)

    def assumed(self) -> list[Assumed]:
        """Defaults that depend on other fields and were filled in."""
        return []


def default(value: Any, *, spread: str, source: str, description: str, alias: str | None = None) -> Any:
    """A field with a default that the report lists: how far practice strays from it, where it is from."""
    return Field(
        value, alias=alias, description=description, json_schema_extra={"spread": spread, "source": source}
    )


def what_is(value: object) -> str:
    """The plain word for the shape of a value."""
    if isinstance(value, bool):
        return "a yes or no"
    if isinstance(value, int | float):
        return "a bare number"
    if isinstance(value, list):
        return "a list"
    return "a block of keys" if isinstance(value, dict) else "a text"


def nearest(word: str, words: Iterable[str]) -> str:
    """The nearest spelling, or an empty text."""
    lower = {str(known).lower(): str(known) for known in words}
    near = get_close_matches(word.lower(), lower, n=1, cutoff=0.6)
    return lower[near[0]] if near else ""


def did_you_mean(word: str, words: Iterable[str]) -> str:
    """The nearest spelling as a hint, or an empty text."""
    near = nearest(word, words)
    return f"did you mean '{near}'?" if near else ""


def one_of(words: Iterable[object]) -> str:
    """The words as an enumeration for a message."""
    listed = [str(word) for word in words] or ["nothing"]
    return listed[0] if len(listed) == 1 else f"{', '.join(listed[:-1])} or {listed[-1]}"


@dataclass(frozen=True)
class Text:
    """A text of its own form: `read` gives the value or raises RefusedError; the rest is for editors."""

    read: Callable[[str], Any]
    due: str
    pattern: str | None = None
    examples: tuple[str, ...] = ()
    words: tuple[str, ...] = ()

    def validate(self, value: object) -> Any:
        """The value that the text stands for."""
        if not isinstance(value, str):
            raise RefusedError(what_is(value), self.due)
        return self.read(value)

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.validate)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        shown = {"pattern": self.pattern, "examples": list(self.examples), "enum": list(self.words)}
        return {"type": "string", **{key: value for key, value in shown.items() if value}}


@dataclass(frozen=True, eq=False)
class Form:
    """A list of its own form: `read` gives the value or raises RefusedError; `schema` is for editors."""

    read: Callable[[object], Any]
    schema: Mapping[str, Any]

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return dict(self.schema)


class _SingleOrList:
    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        def as_list(value: object) -> object:
            return value if isinstance(value, list | dict) else [value]

        return core_schema.no_info_before_validator_function(as_list, handler(source))

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        inner = handler(schema)
        return {"anyOf": [inner, inner["items"]]}


@dataclass(frozen=True)
class Quantity:
    """A number with a unit, kept as an SI float; the bounds are in SI too."""

    kind: str
    gt: float = -math.inf
    ge: float = -math.inf
    lt: float = math.inf
    le: float = math.inf
    example: str = ""
    """In place of the kind's own example."""

    @property
    def due(self) -> str:
        """The sentence that says what is due."""
        return due(self.kind, self.example)

    def validate(self, value: object) -> float:
        """The SI float within the bounds."""
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            raise RefusedError(what_is(value), self.due)
        try:
            number = parse(value, self.kind, self.example)
        except QuantityError as error:
            raise RefusedError(error.what, error.allowed, error.hint) from None
        low = number <= self.gt or number < self.ge
        if low or number >= self.lt or number > self.le:
            what = KINDS[self.kind].words + (" that is too small" if low else " that is too large")
            raise RefusedError(what, self.bounds())
        return number

    def bounds(self) -> str:
        """The sentence that says what is allowed."""
        words = {"more than": self.gt, "at least": self.ge, "less than": self.lt, "at most": self.le}
        said = [f"{word} {format_quantity(x, self.kind)}" for word, x in words.items() if math.isfinite(x)]
        return f"{' and '.join(said)} is allowed"

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.validate)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        units = "|".join(sorted(map(re.escape, KINDS[self.kind].units), key=len, reverse=True))
        examples = re.split(r", | or ", self.example or KINDS[self.kind].example)
        pattern = rf"^\s*{NUMBER} ?({units})\s*$".replace("(?:", "(")
        return {"type": "string", "pattern": pattern, "examples": examples}


@dataclass(frozen=True)
class Count:
    """A whole number, or any number if `whole` is False, between two bounds, without a unit."""

    low: float
    high: float
    whole: bool = True

    def validate(self, value: object) -> float:
        """The number within the bounds."""
        kinds = int if self.whole else (int, float)
        allowed = f"a {'whole ' * self.whole}number from {self.low:g} to {self.high:g} is due"
        if isinstance(value, bool) or not isinstance(value, kinds):
            raise RefusedError(what_is(value) if not isinstance(value, float) else "no whole number", allowed)
        if not self.low <= value <= self.high:
            raise RefusedError("a number out of range", allowed)
        return value

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.validate)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        kind = "integer" if self.whole else "number"
        return {"type": kind, "minimum": self.low, "maximum": self.high}


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
_FLOW, _HEAD = Quantity("flow", gt=0, le=0.1), Quantity("head", gt=0, le=200)
_AT_DUE = "a flow and a head are due, e.g. 38 L/min at 6 m or 10 gpm at 8 psi"


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
        raise RefusedError("no time of day", "a time of day is due, two digits each, e.g. 07:30")
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
        raise RefusedError("no day of the week", f"{one_of(DAYS)} is due", did_you_mean(text, DAYS))
    return day


def read_month_day(text: str) -> tuple[int, int]:
    """`20 January` as (month, day)."""
    match = re.fullmatch(
        r"(?P<d>\d{1,2})\.? +(?P<m>[A-Za-z]+)|(?P<m2>[A-Za-z]+) +(?P<d2>\d{1,2})", text.strip()
    )
    month = _one_word(match["m"] or match["m2"], MONTHS) if match else None
    if match is None or month is None:
        near = did_you_mean((match["m"] or match["m2"]) if match else "", MONTHS)
        raise RefusedError("no day of the year", "a day and a month are due, e.g. 20 January", near)
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
        raise RefusedError("no pump and speed", "a pump and its speed are due, e.g. main low")
    return PumpSpeed(match[1], match[2] or "on")


def yes_or_no(value: object) -> object:
    """True or false; the words that older YAML took for them are named."""
    if not isinstance(value, bool):
        raise RefusedError(what_is(value), "true or false is due", _TRUTH.get(str(value).lower(), ""))
    return value


_TRUTH = dict.fromkeys(("yes", "on", "y"), "write true") | dict.fromkeys(("no", "off", "n"), "write false")


def _some(value: object) -> object:
    if isinstance(value, list) and not value:
        raise RefusedError("an empty list", "at least one entry is due, or leave the key out")
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
single_or_list = _SingleOrList()
"""Lets one entry stand for a list of one."""
some = BeforeValidator(_some)
"""Marks a list that needs at least one entry."""

Spacing = Annotated[float, Quantity("length", gt=0, le=10, example="400 mm or 16 in")]
Length = Annotated[float, Quantity("length", gt=0, le=300)]
Wall = Annotated[float, Quantity("length", gt=0, le=1, example="60 mm or 2.5 in")]
Insulation = Annotated[float, Quantity("length", ge=0, le=1, example="9 mm or 0.5 in")]
Bore = Annotated[float, Quantity("length", ge=0.004, le=0.3, example="57 mm or 2.1 in")]
Nozzle = Annotated[float, Quantity("length", ge=0.001, le=0.1, example="8 mm or 0.3 in")]
Side = Annotated[float, Quantity("length", gt=0, le=30, example="1.7 m or 5.5 ft")]
Depth = Annotated[float, Quantity("length", gt=0, le=10, example="600 mm or 2 ft")]
Rise = Annotated[float, Quantity("length", ge=-10, le=30)]
Area = Annotated[float, Quantity("area", gt=0, le=500)]
TubVolume = Annotated[float, Quantity("volume", ge=0.05, le=200)]
PartVolume = Annotated[float, Quantity("volume", ge=0, le=5, example="14 L or 4 gal")]
Flow = Annotated[float, Quantity("flow", gt=0, le=0.1)]
Head = Annotated[float, Quantity("head", gt=0, le=200)]
Power = Annotated[float, Quantity("power", gt=0, le=100_000)]
Current = Annotated[float, Quantity("current", gt=0, le=400)]
Voltage = Annotated[float, Quantity("voltage", ge=6, le=1000)]
Speed = Annotated[float, Quantity("speed", gt=0, le=20)]
Share = Annotated[float, Quantity("fraction", ge=0, le=1)]
SpeedShare = Annotated[float, Quantity("fraction", ge=0.1, le=2)]
AirTemperature = Annotated[float, Quantity("temperature", ge=-60, le=60, example="15 degC or 59 degF")]
WaterTemperature = Annotated[float, Quantity("temperature", ge=0, le=100)]
Swing = Annotated[float, Quantity("temperature_difference", ge=0, le=60)]
Warming = Annotated[float, Quantity("temperature_difference", ge=-60, le=60)]
Pause = Annotated[float, Quantity("time", ge=0, le=86_400)]
Lasting = Annotated[float, Quantity("time", ge=1, le=86_400)]
Span = Annotated[float, Quantity("time", ge=1, le=366 * 86_400)]
YesNo = Annotated[bool, BeforeValidator(yes_or_no)]
Name = Annotated[str, Text(read_name, "a name is due, e.g. pump_room", rf"^{NAME}$")]
Clock = Annotated[
    time,
    Text(read_clock, "a time of day is due, e.g. 07:30", r"^([01]\d|2[0-3]):[0-5]\d$", ("07:30",)),
]
Clocks = Annotated[tuple[Clock, ...], some, single_or_list]
Day = Annotated[int, Text(read_day, f"{one_of(DAYS)} is due", words=(*DAYS, *(day[:3] for day in DAYS)))]
Days = Annotated[tuple[Day, ...], some, single_or_list]
MonthDay = Annotated[
    tuple[int, int],
    Text(read_month_day, "a day and a month are due, e.g. 20 January", examples=("20 January",)),
]
AtHead = Annotated[
    FlowAtHead,
    Text(read_flow_at_head, _AT_DUE, r"^\S+ ?\S+ at \S+ ?\S+$", ("38 L/min at 6 m", "0.3 m at 400 L/min")),
]
PumpAt = Annotated[
    PumpSpeed,
    Text(
        read_pump_speed,
        "a pump and its speed are due, e.g. main low",
        rf"^{NAME}( +{NAME})?$",
        ("main low", "circulator"),
    ),
]
