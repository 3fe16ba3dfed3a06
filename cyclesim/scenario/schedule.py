"""What the plant is told to do, what the controller enforces, and what can be keyed into it."""

import re
from typing import Annotated, Literal

from pydantic import Discriminator, Field, Tag, model_validator

from cyclesim.scenario.fields import AirTemperature, Clocks, Days, Lasting, Name, PumpAt, single_or_list, some
from cyclesim.scenario.forms import Count, Model, Quantity, RefusedError, Text, did_you_mean, one_of
from cyclesim.scenario.place import Hours

_RULE_DUE = "a recurrence rule is due, e.g. FREQ=WEEKLY;INTERVAL=2;BYDAY=FR"
_RULE_PARTS = {
    "FREQ": r"DAILY|WEEKLY|MONTHLY|YEARLY",
    "INTERVAL": r"[1-9]\d{0,2}",
    "BYDAY": r"(?:[-+]?[1-5])?(?:MO|TU|WE|TH|FR|SA|SU)",
    "BYMONTH": r"[1-9]|1[0-2]",
    "BYMONTHDAY": r"-?(?:[1-9]|[12]\d|3[01])",
}


def read_rule(text: str) -> str:
    """A recurrence rule (RFC 5545) of the parts that are allowed."""
    parts: dict[str, str] = {}
    for part in text.removeprefix("RRULE:").split(";"):
        name, equals, value = part.partition("=")
        if not equals or name not in _RULE_PARTS:
            allowed = f"a rule has the parts {one_of(_RULE_PARTS)}"
            raise RefusedError(f"the part '{name[:30]}'", allowed, did_you_mean(name, _RULE_PARTS))
        if name in parts:
            raise RefusedError(f"{name} twice", "each part stands once")
        if not all(re.fullmatch(_RULE_PARTS[name], one, re.ASCII) for one in _values(name, value)):
            raise RefusedError(f"the part '{name}={value[:30]}'", _PART_WORDS[name])
        parts[name] = value
    if "FREQ" not in parts:
        raise RefusedError("a rule without FREQ", _RULE_DUE)
    if parts["FREQ"] in ("DAILY", "WEEKLY") and re.search(r"\d", parts.get("BYDAY", "")):
        raise RefusedError("a day with a number", "BYDAY=1MO goes with FREQ=MONTHLY or YEARLY")
    return ";".join(f"{name}={value}" for name, value in parts.items())


def _values(name: str, value: str) -> list[str]:
    return value.split(",") if name.startswith("BY") else [value]


_PART_WORDS = {
    "FREQ": "FREQ is DAILY, WEEKLY, MONTHLY or YEARLY",
    "INTERVAL": "INTERVAL is a whole number from 1 to 999",
    "BYDAY": "BYDAY lists MO, TU, WE, TH, FR, SA or SU",
    "BYMONTH": "BYMONTH lists numbers from 1 to 12",
    "BYMONTHDAY": "BYMONTHDAY lists numbers from 1 to 31, or -1 for the last",
}
Rule = Annotated[
    str, Text(read_rule, _RULE_DUE, "FREQ=(DAILY|WEEKLY|MONTHLY|YEARLY)", ("FREQ=WEEKLY;BYDAY=FR",))
]
SetPoint = Annotated[float, Quantity("temperature", ge=5, le=40)]
Band = Annotated[float, Quantity("temperature_difference", ge=0.1, le=10)]


class Run(Model):
    """A pump at a speed, from a clock time on, for a length of time."""

    pump: PumpAt = Field(description="The pump and its speed, e.g. main low.")
    start: Clocks = Field(description='Local clock time or a list of them, e.g. ["03:00", "15:00"].')
    lasts_s: Lasting = Field(alias="lasts", description="How long it runs, e.g. 30 s or 3 h.")
    days: Days | None = Field(None, description="Only on these days of the week, e.g. [friday, saturday].")
    repeats: Rule | None = Field(
        None,
        description="Or a recurrence rule (RFC 5545), counted from 1 January, e.g. FREQ=WEEKLY;INTERVAL=2.",
    )
    name: str | None = Field(None, description="A name for reports.", max_length=80)

    @model_validator(mode="after")
    def _once(self) -> "Run":
        if self.days is not None and self.repeats is not None:
            raise RefusedError("", "either days or repeats is allowed, not both", at=("repeats",))
        if len(set(self.start)) < len(self.start):
            raise RefusedError("", "each start stands once", at=("start",))
        return self


Runs = tuple[Run, ...]


class Heating(Model):
    """Keeping the water at a set point."""

    sources: Annotated[tuple[Name, ...], some, single_or_list] = Field(
        alias="with", description="The heat sources that are used, e.g. [element]."
    )
    pump: PumpAt = Field(description="The pump and speed that run while heating, e.g. main low.")
    keep_at_c: SetPoint = Field(alias="keep_at", description="The set point, at most 40 degC (104 degF).")
    within_k: Band = Field(
        alias="within",
        description="Heating starts this far below the set point and stops at it; at least 0.1 K.",
    )


class FrostProtection(Model):
    """Running a pump when it gets cold."""

    watches: Name = Field(description="The zone whose temperature is measured, e.g. pump_room.")
    starts_below_c: AirTemperature = Field(alias="starts_below", description="The pump starts below this.")
    stops_above_c: AirTemperature = Field(alias="stops_above", description="The pump stops above this.")
    pump: PumpAt = Field(description="The pump and speed that run, e.g. main low.")

    @model_validator(mode="after")
    def _in_order(self) -> "FrostProtection":
        if self.stops_above_c <= self.starts_below_c:
            raise RefusedError("", "stops_above must be more than starts_below", at=("stops_above",))
        return self


class QuietHours(Hours):
    """When neighbours sleep."""

    applies_to: Annotated[tuple[PumpAt, ...], some, single_or_list] = Field(
        description="What must stay off, e.g. [main high]; a pump's name alone means every speed of it."
    )


Kind = Literal["bathing", "frost_protection", "line_flush", "heating", "filter_run"]
KINDS = ("bathing", "frost_protection", "line_flush", "heating", "filter_run")


class Schedule(Model):
    """What the plant is told, in local clock time."""

    filter_runs: Runs = Field((), description="When water is filtered.")
    line_flushes: Runs = Field((), description="When the lines to the jets are flushed.")
    bathing: Runs = Field((), description="When people are in the water and the jets run.")
    heating: Heating | None = Field(None, description="How the water is kept warm.")
    frost_protection: FrostProtection | None = Field(None, description="What is done against frost.")
    quiet_hours: QuietHours | None = Field(None, description="When what must stay off.")
    ranks: tuple[Kind, ...] | None = Field(
        None, description=f"Which demand wins a pump, first wins; {', '.join(KINDS)} unless said."
    )

    @model_validator(mode="after")
    def _all_ranked(self) -> "Schedule":
        if self.ranks is not None and sorted(self.ranks) != sorted(KINDS):
            raise RefusedError("", f"each of {', '.join(KINDS)} stands once", at=("ranks",))
        return self


class Controller(Model):
    """What can be keyed into the controller on the wall."""

    filter_windows: Annotated[int, Count(0, 50)] | None = Field(
        None, description="How many filter runs a day it takes."
    )
    time_step_s: Lasting | None = Field(
        None, alias="time_step", description="The step its times move in, e.g. 15 min."
    )
    flush_lengths_s: Annotated[tuple[Lasting, ...], some] | None = Field(
        None, alias="flush_lengths", description="The flush lengths it offers, e.g. [15 s, 30 s, 60 s]."
    )


class Block(Model):
    """Something is off unless, or while, something else is so."""

    block: str = Field(description="What is blocked: a heat source, or a pump and speed, e.g. main high.")
    unless: Literal["flow proven"] | None = Field(
        None, description="flow proven: off until the flow is proven."
    )
    for_s: Lasting | None = Field(
        None, alias="for", description="How long the flow must be proven first, e.g. 5 s."
    )
    while_: str | None = Field(
        None, alias="while", description="Off while this is so: main high, main running or element firing."
    )
    because: str | None = Field(None, description="Why, for the report.", max_length=200)

    @model_validator(mode="after")
    def _one_cause(self) -> "Block":
        if (self.unless is None) == (self.while_ is None):
            raise RefusedError("", "either unless: flow proven or while: main high is due")
        if (self.unless is None) != (self.for_s is None):
            raise RefusedError("", "unless: flow proven and for: 5 s go together", at=("for",))
        return self


class Keep(Model):
    """A pump goes on at this speed, at least, after a heat source has stopped."""

    keep: PumpAt = Field(description="The pump and speed, e.g. main low.")
    after: Name = Field(description="The heat source, e.g. element.")
    lasting_s: Lasting = Field(alias="lasting", description="For how long, e.g. 60 s.")


def _which(value: object) -> str:
    return "<keep>" if isinstance(value, dict) and "keep" in value else "<block>"


Interlock = Annotated[
    Annotated[Block, Tag("<block>")] | Annotated[Keep, Tag("<keep>")], Discriminator(_which)
]
