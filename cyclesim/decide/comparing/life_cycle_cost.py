"""Money over years: what is bought, bought again, and paid for energy, each at its value today.

Amounts are in prices of today, and both rates are beyond general inflation. Energy is paid at the end of each
year and its price rises year by year, so that a year's energy counts by the sum of
((1 + rise) / (1 + discount))**t over the years t: the factor UPW* of the US General Services Administration's
criteria for life-cycle cost, with its real rates d and e (an excerpt read). ASTM E917 and NIST Handbook 135
have the same convention (from memory, not opened). Nothing is worth anything in the end.

Money is in prices of today: energy at the end of each year by a factor, machines bought again when their
hours or years are used up, nothing worth anything in the end. The run knows no money.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from cyclesim.decide.sweeps.brief import Brief
from cyclesim.decide.sweeps.outcome import Outcome
from cyclesim.scenario.blocks.prices_and_lives import Money, Purchase

YEAR_DAYS = 365.0


@dataclass(frozen=True, slots=True)
class Terms:
    """What of prices and lives is otherwise than told: factors, and what is added to the price's rise."""

    energy_price: float = 1.0
    price_rise: float = 0.0
    discount_rate: float = 0.0
    """Added, likewise."""
    purchase: float = 1.0
    life: float = 1.0


AS_TOLD = Terms()


@dataclass(frozen=True, slots=True)
class Owning:
    """What a plant costs over some years, at its value today."""

    years: int
    purchase: float
    replacements: float
    energy: float

    @property
    def total(self) -> float:
        """All of it."""
        return self.purchase + self.replacements + self.energy


def owning(
    money: Money, outcome: Outcome | Brief, years: int | None = None, terms: Terms = AS_TOLD
) -> Owning:
    """What a plant costs over the file's years, or *years*."""
    years = years or money.over_years
    rate = money.discount_rate + terms.discount_rate
    a_year = outcome.cost * YEAR_DAYS / outcome.days * terms.energy_price
    bought = sum(purchase.price.amount for purchase in money.purchases.values()) * terms.purchase
    again = sum(
        purchase.price.amount * terms.purchase / (1.0 + rate) ** year
        for name, purchase in money.purchases.items()
        for year in bought_again(name, purchase, outcome, years, terms.life)
    )
    factor = present_value_factor(years, rate, money.energy_price_rise + terms.price_rise)
    return Owning(years, bought, again, a_year * factor)


def present_value_factor(years: int, discount_rate: float, price_rise: float = 0.0) -> float:
    """What a yearly payment counts in all, as a multiple of it at today's price.

    >>> round(present_value_factor(10, 0.03), 4), present_value_factor(10, 0.02, 0.02)
    (8.5302, 10.0)
    """
    return math.fsum(((1.0 + price_rise) / (1.0 + discount_rate)) ** year for year in range(1, years + 1))


def bought_again(
    name: str, purchase: Purchase, outcome: Outcome | Brief, years: int, life: float = 1.0
) -> Iterator[float]:
    """When a thing is replaced within the years [a]; not at their very end."""
    lasts = purchase.life
    every = lasts.years if lasts else None
    if lasts and lasts.running_h is not None:
        hours = outcome.running_h[name] * YEAR_DAYS / outcome.days
        every = lasts.running_h / hours if hours > 0.0 else None
    if every is not None:
        for k in range(1, math.ceil(years / (every * life) - 1e-9)):
            yield k * every * life


def break_even_years(dearer: Callable[[int], float], most: int = 50) -> int | None:
    """The first year by whose end a difference of totals is no longer above 0; None if it stays so."""
    return next((years for years in range(1, most + 1) if dearer(years) <= 0.0), None)
