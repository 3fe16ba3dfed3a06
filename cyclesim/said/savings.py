"""What would save most, for a person: each change with its energy and money, and the best together."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

from cyclesim.analysis.amounts import listed
from cyclesim.decide.sizing.savings import Saving, Savings
from cyclesim.said.cautions import ADVICE, say_cautions
from cyclesim.said.page import Column, Page, Row, words
from cyclesim.said.words import count, number
from cyclesim.scenario.blocks.place import PriceFile

NOT_TRIED = (
    "Of the programme only shorter filter runs are tried: cyclesim tune finds a better one. Savings do not "
    "simply add up."
)
_PHASE = (
    "With prices by the clock a saving of some tens a year or less may be chance: it hangs on when the "
    "thermostat happens to call."
)
_PAYBACK = "Pays back after: its price in the file over what it saves in a year, without interest."
_UNPRICED = "What a change costs to make is not in these numbers: money.changes in the file tells it."


def savings_page(found: Savings) -> Page:
    """Everything that the trials say, the answer first."""
    page = Page()
    page.line(found.scenario.title, tone="strong", as_written=True)
    spent = f"{number(found.energy_kwh)} kWh and {number(found.cost)} {found.currency}"
    page.line(f"As it is, {count(found.days, 'day')} take {spent}.")
    page.heading("What would save most")
    say_savings(page, found)
    say_cautions(page, [ADVICE])
    return page


def say_savings(page: Page, found: Savings) -> None:
    """The advice, and a row for each change: energy and money, and what it would break."""
    for sentence in savings_advice(found):
        page.line(f"- {sentence}", hang=2)
    priced = any(saving.price is not None for saving in found.tried)
    columns = (
        words("change"),
        Column("saves\n{unit}", unit="kWh"),
        Column("saves\n{unit}", unit=found.currency, kind="fixed", digits=2),
        *((Column("pays back\nafter {unit}", unit="years"),) if priced else ()),
        words("breaks"),
    )
    rows = [
        Row(
            (
                s.change,
                s.energy_kwh_less,
                s.cost_less,
                *((s.pays_back_years,) if priced else ()),
                ", ".join(s.breaks),
            ),
            s.change,
        )
        for s in found.tried
    ]
    not_tried = [f"Not tried: {reason}." for reason in found.not_tried]
    tariff = found.scenario.supply.tariff
    by_the_clock = isinstance(tariff, PriceFile) or bool(tariff.windows)
    notes = [NOT_TRIED, _PAYBACK if priced else _UNPRICED, *([_PHASE] * by_the_clock), *not_tried]
    page.table(columns, rows, "Each change alone", notes)


def savings_advice(found: Savings) -> Iterator[str]:
    """The best alone, and what those that save do together."""
    good = [saving for saving in found.tried if saving.cost_less > 0.0 and not saving.breaks]
    if not good:
        yield "Nothing that was tried saves money without breaking a rule."
        return
    yield f"{_sentence(good[0])}: {_amounts(found, good[0])}."
    if found.together is not None:
        rules = f"; but that breaks {listed(list(found.together.breaks))}" if found.together.breaks else ""
        yield f"All that save and break no rule, together: {_amounts(found, found.together)}{rules}."
    for saving in found.tried:
        if saving.breaks and saving.cost_less > good[0].cost_less:
            yield f"{_sentence(saving)} would save more, but breaks {listed(list(saving.breaks))}."


def _sentence(saving: Saving) -> str:
    return f"{saving.change[0].upper()}{saving.change[1:]}"


def _amounts(found: Savings, saving: Saving) -> str:
    share = 100.0 * saving.cost_less / found.cost if found.cost else 0.0
    less = f"{number(saving.cost_less)} {found.currency} less ({share:.0f} %)"
    years = saving.pays_back_years
    back = "" if years is None else f"; it pays back in {number(years)} years"
    return f"{less}, {number(saving.energy_kwh_less)} kWh less{back}"


def savings_values(found: Savings) -> dict[str, Any]:
    """The same as plain values; the unit is in the key."""
    return {
        "title": found.scenario.title,
        "days": found.days,
        "currency": found.currency,
        "energy_kwh": found.energy_kwh,
        "cost": found.cost,
        "tried": [asdict(saving) for saving in found.tried],
        "not_tried": list(found.not_tried),
        "together": None if found.together is None else asdict(found.together),
        "advice": list(savings_advice(found)),
    }
