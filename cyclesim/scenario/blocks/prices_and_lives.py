"""What the plant costs to buy and to keep: prices, how long things last, and how money is counted."""

import re
from typing import Annotated, NamedTuple

from pydantic import Field, model_validator

from cyclesim.scenario.forms.fields import named
from cyclesim.scenario.forms.forms import Model, Quantity, RefusedError, Text
from cyclesim.units import WITH_COMMA, has_comma

_SUM_DUE = "expected a sum of money, e.g. 780 EUR"
_YEARS_DUE = "expected a number of years, e.g. 2 years"


class Sum(NamedTuple):
    """An amount of money."""

    amount: float
    currency: str


def read_sum(text: str) -> Sum:
    """`780 EUR`."""
    match = re.fullmatch(r"(\d{1,9}(?:\.\d{1,2})?) ?(\S+)", text.strip(), re.ASCII)
    if match is None:
        what, hint = WITH_COMMA if has_comma(text) else ("no sum of money", "")
        raise RefusedError(what, _SUM_DUE, hint)
    if not re.fullmatch("[A-Z]{3}", match[2]):
        signs = {"€": "EUR", "$": "USD", "£": "GBP"}
        code = signs.get(match[2], match[2].upper() if len(match[2]) == 3 else "EUR")
        raise RefusedError("no currency code of three capitals", _SUM_DUE, f"did you mean {match[1]} {code}?")
    return Sum(float(match[1]), match[2])


def read_years(text: str) -> float:
    """`2 years`."""
    match = re.fullmatch(r"(\d{1,2}(?:\.\d)?) ?(?:years?|yrs?|a)", text.strip(), re.ASCII)
    if match is None:
        raise RefusedError("no number of years", _YEARS_DUE)
    if not 0.1 <= float(match[1]) <= 50.0:
        raise RefusedError("a number of years out of range", "from 0.1 to 50 years is allowed")
    return float(match[1])


def read_whole_years(text: str) -> int:
    """`15 years`."""
    years = read_years(text)
    if years != round(years):
        raise RefusedError("part of a year", "expected whole years, e.g. 15 years")
    return round(years)


class Life(NamedTuple):
    """How long a thing lasts: so many hours of running, or years on the calendar; one of the two is None."""

    running_h: float | None
    years: float | None


_RUNNING = Quantity("time", ge=3600, le=1e9)
_LIFE_DUE = "expected hours of running or years, e.g. 15000 h or 12 years"


def read_life(text: str) -> Life:
    """`15000 h` of running, or `12 years` on the calendar."""
    if re.search(r"(?:years?|yrs?|a)$", text.strip()):
        return Life(None, read_years(text))
    try:
        return Life(_RUNNING.validate(text) / 3600.0, None)
    except RefusedError as error:
        allowed = error.allowed if "allowed" in error.allowed else _LIFE_DUE
        raise RefusedError(error.what, allowed, error.hint) from None


def by_the_hour(written: object) -> bool:
    """Whether a life is written in hours of running; not where it cannot be read."""
    try:
        return isinstance(written, str) and read_life(written).running_h is not None
    except RefusedError:  # said already where the value was read
        return False


Price = Annotated[Sum, Text(read_sum, _SUM_DUE, r"^\d+(\.\d+)? ?[A-Z]{3}$", ("780 EUR",))]
_PATTERN = r"^\d+(\.\d)? ?(years?|yrs?)$"
Lasts = Annotated[
    Life,
    Text(
        read_life,
        _LIFE_DUE,
        r"^\d+(\.\d+)? ?(years?|yrs?|a|d|days?|h|hr|hours?|min|minutes?|s|sec|seconds?)$",
        ("15000 h", "12 years", "2 years"),
    ),
]
WholeYears = Annotated[int, Text(read_whole_years, _YEARS_DUE, _PATTERN, ("15 years",))]
Rate = Annotated[float, Quantity("fraction", ge=-0.2, le=0.3, example="3 %")]


class Purchase(Model):
    """One thing that is bought, and again when it is used up or old."""

    price: Price = Field(description="What it costs, fitted, e.g. 780 EUR.")
    lasts: Lasts | None = Field(
        None,
        description="How long it lasts until it wears out: a machine by the hours that it runs, e.g. "
        "15000 h; anything by the calendar, e.g. 12 years.",
    )
    every: Lasts | None = Field(
        None, description="Another word for lasts: it is bought again so often, e.g. every 2 years."
    )

    @model_validator(mode="after")
    def _one_life(self) -> "Purchase":
        if self.lasts is not None and self.every is not None:
            raise RefusedError("", "either lasts or every is allowed, not both", at=("every",))
        return self

    @property
    def life(self) -> Life | None:
        """How long it lasts; None for what is bought once."""
        return self.lasts or self.every


class ChangePrices(Model):
    """What the changes cost to make that `cyclesim savings` tries; each may be left out."""

    pipes: Price | None = Field(None, description="To insulate the pipes, e.g. 380 EUR.")
    cover: Price | None = Field(None, description="A thicker or better cover, e.g. 450 EUR.")
    shell: Price | None = Field(None, description="To insulate the shell further, e.g. 900 EUR.")


class Money(Model):
    """Prices of what is bought, and how money that is paid later counts."""

    over_years: WholeYears = Field(10, alias="over", description="Over how many years, e.g. 15 years.")
    discount_rate: Rate = Field(
        0.0,
        description="How much less money counts a year later, beyond inflation, e.g. 3 %; else nothing.",
    )
    energy_price_rise: Rate = Field(
        0.0,
        description="How much dearer energy gets in a year, beyond inflation, e.g. 2 %; nothing unless said.",
    )
    purchases: Annotated[dict[str, Purchase], named] = Field(
        default_factory=dict,
        description="What is bought: a machine of the plant by its name, or anything else.",
    )
    changes: ChangePrices | None = Field(
        None, description="What it costs to insulate pipes, cover and shell, for the years that pay it back."
    )
