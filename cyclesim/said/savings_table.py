"""What would save most, each change as it was tried."""

from __future__ import annotations

from cyclesim.analysis.amounts import listed
from cyclesim.decide.sizing.savings import Savings
from cyclesim.said.page import Column, Page, Row, words
from cyclesim.said.words import count, number


def say_savings(page: Page, saved: Savings | None) -> None:
    """A row for each change: money and energy, and what it would break."""
    if saved is None or not saved.tried:
        return
    columns = (
        words("change"),
        Column("saves\n{unit}", "cost_less", saved.currency, digits=0),
        Column("saves\n{unit}", "energy_kwh_less", "kWh", digits=0),
    )
    rows = [Row((t.change, t.cost_less, t.energy_kwh_less), t.change) for t in saved.tried]
    over = f"{count(saved.days, 'day')}, of {number(saved.cost)} {saved.currency}"
    note = "Each was run alone; savings do not add up. What a change costs to buy is not in it."
    page.table(columns, rows, f"What each change saves in these {over}", [note])
    for tried in saved.tried:
        if tried.breaks:
            page.line(f"{tried.change} would break {listed(list(tried.breaks))}.", hang=2, tone="mind")
