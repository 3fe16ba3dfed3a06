"""The cold spell: how cold each part got, and how long it lasts with power and without."""

from __future__ import annotations

from cyclesim.analysis.cold import FOLLOWS_H
from cyclesim.analysis.metrics import ColdSpellMetrics
from cyclesim.said.page import Column, Page, Row, words
from cyclesim.said.words import hours, number, when


def say_cold_spell(page: Page, spell: ColdSpellMetrics | None) -> None:
    """A row for each part, the first to freeze without power first."""
    if spell is None:
        return
    page.heading("Cold spell")
    page.line(
        f"From {when(spell.from_local)} for {hours(spell.lasts_h)}, down to {number(spell.lowest_c)} °C "
        f"({number(spell.colder_by_k)} K colder than the weather of the file)."
    )
    columns = (
        words("part"),
        Column("coldest\n{unit}", "coldest_c", "°C"),
        Column("at 0 °C after", "until_zero_h", kind="lasting", unknown="not reached"),
        Column("without power after", "until_zero_without_power_h", kind="lasting", unknown="over 10 days"),
    )
    without = spell.until_zero_without_power_h

    def first_to_freeze(part: str) -> float:
        until = without.get(part)
        return float("inf") if until is None else until

    rows = (
        Row((part, coldest, spell.until_zero_h[part], without.get(part)), part)
        for part, coldest in sorted(spell.coldest_c.items(), key=lambda item: first_to_freeze(item[0]))
    )
    note = (
        f"Without power: it fails in the coldest hour of the spell, {when(spell.power_fails_at)}, and "
        "nothing moves, heats or keeps a zone on the supply."
    )
    lag = f"Judged until {FOLLOWS_H} h after the spell: what stands in a pipe is coldest after the air."
    page.table(columns, rows, "Cold spell, part by part", notes=(lag, note))
