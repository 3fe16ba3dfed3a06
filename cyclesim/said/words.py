"""Numbers, times and dates as a person reads them: no more digits than they deserve."""

from __future__ import annotations

import re
from datetime import datetime

from cyclesim.analysis.amounts import lasting

UNKNOWN = "-"
"""What stands where nothing is known."""


NEVER_MOVES = "never moves"
"""The age of water that nothing moves."""


def plain(text: str) -> str:
    """A text from a file without line breaks and terminal control signs."""
    return "".join(char if char.isprintable() else " " for char in text)


def degrees(temp_c: float) -> str:
    """A temperature to a tenth, from which whole degrees of Fahrenheit are known: `37`, `36.7` of 98 degF."""
    return f"{temp_c:.1f}".removesuffix(".0")


def number(value: float | None, decimals: int = 1) -> str:
    """A number to *decimals* places below 10, one below 100, none above, thousands parted; `-` if unknown.

    >>> number(11.94), number(1203.4), number(0.004), number(0), number(1.853, 2), number(None)
    ('11.9', '1,203', '<0.1', '0', '1.85', '-')
    """
    if value is None:
        return UNKNOWN
    if not value:
        return "0"
    places = decimals if abs(value) < 10 else min(decimals, 1) if abs(value) < 100 else 0
    shown = f"{value:,.{places}f}"
    if float(shown.replace(",", "")):
        return shown
    return f"<{10**-places:.{places}f}" if value > 0 else "0"


def of_pump(text: str) -> str:
    """A text whose powers are those of pumps or blowers, which a reader of US units has in horsepower.

    >>> of_pump("it draws 750 W, 50 W less")
    'it draws 750 W of pump, 50 W of pump less'
    """
    return re.sub(r"(?<=\d W)\b", " of pump", text)


def as_told(value: float) -> float:
    """A value as `number` tells it, so that a table turns the same into another unit as a sentence does.

    >>> as_told(160.4), as_told(35.44)
    (160.0, 35.4)
    """
    return float(number(value).replace(",", ""))


def signed(value: float, decimals: int = 1) -> str:
    """A number with its sign, unless it is less than the last digit that is told.

    >>> signed(11.94), signed(-0.25), signed(0), signed(-0.004)
    ('+11.9', '-0.2', '0', '<0.1')
    """
    shown = number(abs(value), decimals)
    return shown if not value or shown.startswith("<") else f"{'+' if value > 0 else '-'}{shown}"


def hours(value: float | None) -> str:
    """A length of time given in hours, in the unit that fits its size.

    >>> hours(0.3), hours(11.94), hours(200), hours(None)
    ('18 min', '11.9 h', '8.3 days', '-')
    """
    return UNKNOWN if value is None else lasting(3600.0 * value)


def when(iso: str | None) -> str:
    """A local time as people write it; of a date, the date.

    >>> when("2027-01-14T03:05:10+00:00"), when("2027-01-14"), when(None)
    ('14 Jan 2027 03:05', '14 Jan 2027', '-')
    """
    if iso is None or "T" not in iso:
        return day(iso)
    moment = datetime.fromisoformat(iso)
    return f"{moment.day} {moment:%b %Y %H:%M}"


def day(iso: str | None) -> str:
    """The date alone, as people write it."""
    if iso is None:
        return UNKNOWN
    moment = datetime.fromisoformat(iso)
    return f"{moment.day} {moment:%b %Y}"


def month(text: str) -> str:
    """A month as people write it.

    >>> month("2027-01")
    'Jan 2027'
    """
    return f"{datetime.strptime(text, '%Y-%m'):%b %Y}"


def count(n: int, noun: str, many: str = "") -> str:
    """A number with its noun.

    >>> count(1, "rule"), count(3, "rule"), count(2, "was", "were")
    ('1 rule', '3 rules', '2 were')
    """
    return f"{n:,} {noun if n == 1 else many or noun + 's'}"
