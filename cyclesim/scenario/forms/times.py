"""When things recur or happen once: recurrence rules, dates, and the occasions that are made of them."""

import re
from datetime import date, datetime
from typing import Annotated, Any

from pydantic import Field, model_validator

from cyclesim.scenario.forms.fields import Clock, Clocks, Days, Lasting, read_clock
from cyclesim.scenario.forms.forms import Model, Quantity, RefusedError, Text, did_you_mean, one_of

_RULE_DUE = "expected a recurrence rule, e.g. FREQ=WEEKLY;INTERVAL=2;BYDAY=FR"
_RULE_PARTS = {
    "FREQ": r"DAILY|WEEKLY|MONTHLY|YEARLY",
    "INTERVAL": r"[1-9]\d{0,2}",
    "BYDAY": r"(?:[-+]?[1-5])?(?:MO|TU|WE|TH|FR|SA|SU)",
    "BYMONTH": r"[1-9]|1[0-2]",
    "BYMONTHDAY": r"-?(?:[1-9]|[12]\d|3[01])",
}
_PART_WORDS = {
    "FREQ": "FREQ is DAILY, WEEKLY, MONTHLY or YEARLY",
    "INTERVAL": "INTERVAL is a whole number from 1 to 999",
    "BYDAY": "BYDAY lists MO, TU, WE, TH, FR, SA or SU",
    "BYMONTH": "BYMONTH lists numbers from 1 to 12",
    "BYMONTHDAY": "BYMONTHDAY lists numbers from 1 to 31, or -1 for the last",
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
        if not all(re.fullmatch(_RULE_PARTS[name], item, re.ASCII) for item in _values(name, value)):
            raise RefusedError(f"the part '{name}={value[:30]}'", _PART_WORDS[name])
        parts[name] = value
    if "FREQ" not in parts:
        raise RefusedError("a rule without FREQ", _RULE_DUE)
    if parts["FREQ"] in ("DAILY", "WEEKLY") and re.search(r"\d", parts.get("BYDAY", "")):
        raise RefusedError("a day with a number", "BYDAY=1MO goes with FREQ=MONTHLY or YEARLY")
    return ";".join(f"{name}={value}" for name, value in parts.items())


def _values(name: str, value: str) -> list[str]:
    return value.split(",") if name.startswith("BY") else [value]


_DATE_DUE = "expected a date, e.g. 2027-02-01"
_MOMENT_DUE = "expected a date and a time of day, e.g. 2027-01-12 03:00"


def read_date(text: str) -> date:
    """`2027-02-01`."""
    match = re.fullmatch(r"(\d{4})-(\d\d)-(\d\d)", text.strip(), re.ASCII)
    if match is None:
        raise RefusedError("no date", _DATE_DUE)
    try:
        return date(*map(int, match.groups()))
    except ValueError:
        raise RefusedError("a date that does not exist", _DATE_DUE) from None


def read_moment(text: str) -> datetime:
    """`2027-01-12 03:00`, on the wall clock."""
    day, _, clock = text.strip().partition(" ")
    if not clock:
        raise RefusedError("no date with a time of day", _MOMENT_DUE)
    return datetime.combine(read_date(day), read_clock(clock))


Rule = Annotated[
    str, Text(read_rule, _RULE_DUE, "FREQ=(DAILY|WEEKLY|MONTHLY|YEARLY)", ("FREQ=WEEKLY;BYDAY=FR",))
]
Date = Annotated[date, Text(read_date, _DATE_DUE, r"^\d{4}-\d\d-\d\d$", ("2027-02-01",))]
Moment = Annotated[
    datetime, Text(read_moment, _MOMENT_DUE, r"^\d{4}-\d\d-\d\d \d\d:\d\d$", ("2027-01-12 03:00",))
]

START: Any = Field(description='Local clock time or a list of them, e.g. ["03:00", "15:00"].')
LASTS: Any = Field(alias="lasts", description="How long it lasts, e.g. 30 s or 3 h.")
DAYS: Any = Field(None, description="Only on these days of the week, e.g. [friday, saturday].")
REPEATS: Any = Field(
    None, description="Or a recurrence rule (RFC 5545), counted from 1 January, e.g. FREQ=WEEKLY;INTERVAL=2."
)


def check_recurring(start: tuple[Clock, ...] | None, days: object, repeats: object) -> None:
    """Refuse two ways of saying which days, and a start that stands twice."""
    if days is not None and repeats is not None:
        raise RefusedError("", "either days or repeats is allowed, not both", at=("repeats",))
    if start is not None and len(set(start)) < len(start):
        raise RefusedError("", "each start stands once", at=("start",))


class Spell(Model):
    """Something that happens once: from a date and clock time on, for a while."""

    from_local: Moment = Field(alias="from", description="Local date and clock time, e.g. 2027-01-12 03:00.")
    lasts_s: Annotated[float, Quantity("time", ge=1, le=366 * 86_400, whole=True)] = Field(
        alias="lasts", description="How long it lasts, e.g. 8 h or 14 days."
    )


class Occasion(Model):
    """Something that begins at clock times and lasts a while."""

    start: Clocks = START
    lasts_s: Lasting = LASTS
    days: Days | None = DAYS
    repeats: Rule | None = REPEATS

    @model_validator(mode="after")
    def _once(self) -> "Occasion":
        check_recurring(self.start, self.days, self.repeats)
        return self
