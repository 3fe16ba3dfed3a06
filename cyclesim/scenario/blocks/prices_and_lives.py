"""What the plant costs to buy and to keep: prices, how long things last, and how money is counted."""

import re
from typing import Annotated, NamedTuple

from pydantic import Field, model_validator

from cyclesim.scenario.forms.fields import named
from cyclesim.scenario.forms.forms import Model, Quantity, RefusedError, Text

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
        raise RefusedError("no sum of money", _SUM_DUE)
    if not re.fullmatch("[A-Z]{3}", match[2]):
        signs = {"€": "EUR", "$": "USD", "£": "GBP"}
        code = signs.get(match[2], match[2].upper() if len(match[2]) == 3 else "EUR")
        raise RefusedError("no currency code of three capitals", _SUM_DUE, f"did you mean {match[1]} {code}?")
    return Sum(float(match[1]), match[2])


def read_years(text: str) -> float:
    """`2 years`."""
    match = re.fullmatch(r"(\d{1,2}(?:\.\d)?) ?(?:years?|a)", text.strip(), re.ASCII)
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


Price = Annotated[Sum, Text(read_sum, _SUM_DUE, r"^\d+(\.\d+)? ?[A-Z]{3}$", ("780 EUR",))]
_PATTERN = r"^\d+(\.\d)? ?years?$"
Years = Annotated[float, Text(read_years, _YEARS_DUE, _PATTERN, ("2 years",))]
WholeYears = Annotated[int, Text(read_whole_years, _YEARS_DUE, _PATTERN, ("15 years",))]
Rate = Annotated[float, Quantity("fraction", ge=-0.2, le=0.3, example="3 %")]


class Purchase(Model):
    """One thing that is bought, and again when it is used up."""

    price: Price = Field(description="What it costs, fitted, e.g. 780 EUR.")
    lasts_s: Annotated[float, Quantity("time", ge=3600, le=1e9)] | None = Field(
        None, alias="lasts", description="Of a machine: how many hours it runs until it is replaced."
    )
    every_years: Years | None = Field(
        None, alias="every", description="Of anything else: after how long it is bought again, e.g. 2 years."
    )

    @model_validator(mode="after")
    def _one_life(self) -> "Purchase":
        if self.lasts_s is not None and self.every_years is not None:
            raise RefusedError("", "either lasts or every is allowed, not both", at=("every",))
        return self


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
