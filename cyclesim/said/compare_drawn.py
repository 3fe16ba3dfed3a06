"""Plants side by side as numbers to draw: cost, water, how the difference is spread, what moves it."""

from __future__ import annotations

from dataclasses import dataclass

from cyclesim.decide.comparing.comparison import Comparison, Side, Swing, Versus
from cyclesim.said.compare_words import LETTERS

PARTS = ("purchase", "replacements", "energy")
"""What owning costs, in the order in which it is stacked."""


@dataclass(frozen=True, slots=True)
class DifferencesDrawn:
    """B - A in each future, and what is told of them."""

    changes: list[float]
    versus: Versus


@dataclass(frozen=True, slots=True)
class ComparisonDrawn:
    """What there is to see of a comparison."""

    titles: dict[str, str]
    """Of each plant, by its letter."""
    names: dict[str, str]
    """Of the file that each is from, as told in the call."""
    unit: str
    """Of what is compared: `EUR over 10 years` or `EUR a year`."""
    costs: dict[str, list[float]]
    """Energy and fuel of a year, or the parts of owning, by letter."""
    by_total: bool
    oldest_h: dict[str, dict[str, float | None]]
    """The oldest water of each leg, by letter and leg; None where it never moves."""
    limit_h: float
    spread: DifferencesDrawn | None
    swings: tuple[Swing, ...]
    now: float
    """B - A as told."""

    @property
    def legs(self) -> list[str]:
        """Legs of any plant."""
        return list(dict.fromkeys(leg for ages in self.oldest_h.values() for leg in ages))


def drawn(comparison: Comparison) -> ComparisonDrawn:
    """The numbers of a comparison, as the report has them."""
    sides = dict(zip(LETTERS, comparison.sides, strict=False))
    a, b = comparison.sides[:2]
    measure = "total" if comparison.by_total else "cost_a_year"
    return ComparisonDrawn(
        titles={letter: side.scenario.title for letter, side in sides.items()},
        names={letter: side.name for letter, side in sides.items()},
        unit=f"{comparison.currency} over {comparison.years} years"
        if comparison.by_total
        else f"{comparison.currency} a year",
        costs={letter: _costs(side, comparison.by_total) for letter, side in sides.items()},
        by_total=comparison.by_total,
        oldest_h={
            letter: {name: leg.oldest_water_h for name, leg in side.outcome.legs.items()}
            for letter, side in sides.items()
        },
        limit_h=a.scenario.limits.water_age_s / 3600.0,
        spread=DifferencesDrawn(comparison.changes(0, 1, measure).tolist(), comparison.versus(0, 1, measure))
        if comparison.futures
        else None,
        swings=comparison.swings,
        now=b.owning.total - a.owning.total
        if a.owning is not None and b.owning is not None
        else b.cost_a_year - a.cost_a_year,
    )


def _costs(side: Side, by_total: bool) -> list[float]:
    if not by_total:
        return [side.cost_a_year]
    return [getattr(side.owning, part) for part in PARTS]
