"""What would warm the water at step-out, each change as it was tried."""

from __future__ import annotations

from cyclesim.analysis.amounts import listed
from cyclesim.decide.sizing.step_out import StepOut
from cyclesim.said.page import Column, Page, Row, words
from cyclesim.said.words import count, day, number


def say_step_out(page: Page, warmed: StepOut) -> None:
    """What it was tried on, then a row for each change: degrees, energy, money."""
    page.line()
    tried_on = f"{count(warmed.sessions, 'session')} of {count(warmed.days, 'day')}"
    page.line(
        f"What would warm it, tried on {tried_on} from {day(warmed.first_day)}; as it is, people step out of "
        f"{number(warmed.mean_out_c)} °C on the mean, {number(warmed.coldest_out_c)} °C at the coldest:"
    )
    if not warmed.tried:
        page.line("Nothing that this file leaves room for.", indent=2)
        return
    columns = (
        words("change"),
        Column("warmer by\n{unit}", "warmer_k", "K", "change", 2),
        Column("coldest\n{unit}", "coldest_out_c", "°C"),
        Column("uses more\n{unit}", "energy_kwh_more", "kWh", "change"),
        Column("costs more\n{unit}", "cost_more", warmed.currency, "change", 2),
    )
    rows = (
        Row((t.change, t.warmer_k, t.coldest_out_c, t.energy_kwh_more, t.cost_more), t.change)
        for t in warmed.tried
    )
    note = f"Cost: energy of these {warmed.days} days; what a thing costs to buy is not in it."
    page.table(columns, rows, "Warmer water at step-out", notes=(note,))
    for tried in warmed.tried:
        if tried.breaks:
            rules, amps = listed(list(tried.breaks)), number(tried.most_current_a)
            page.line(f"{tried.change} would break {rules}; at most {amps} A at once.", hang=2, tone="mind")
