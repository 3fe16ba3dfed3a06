"""What readings from the finished plant say, for a person: each beside the prediction, worst first."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

from cyclesim.decide.readings.measured import Compared, Measured
from cyclesim.said.cautions import ADVICE, say_cautions
from cyclesim.said.page import Amount, Cell, Column, Page, words
from cyclesim.said.words import count, day

_OFF = (
    "± holds 90 of 100. A prediction's is what drawings, data sheets and the model's numbers are usually off "
    "by, about the middle of what is likely."
)


class _Unit(NamedTuple):
    """The unit that a quantity is told in, and how many of it an SI unit is."""

    unit: str
    each: float = 1.0


_UNITS = {
    "head": _Unit("m"),
    "flow": _Unit("L/min", 60_000.0),
    "time": _Unit("s"),
    "current": _Unit("A"),
    "power": _Unit("W"),
    "temperature": _Unit("°C"),
    "energy": _Unit("kWh", 1.0 / 3.6e6),
}
_HOURS = _Unit("h", 1.0 / 3600.0)
_LONG_S = 7200.0


def unit_of(quantity: str, value: float) -> tuple[str, float]:
    """The unit in which a value of this quantity is told, and how many of it an SI unit is."""
    return _HOURS if quantity == "time" and value >= _LONG_S else _UNITS[quantity]


def measured_page(found: Measured) -> Page:
    """Everything that readings say, in the order in which one asks."""
    page = Page()
    page.line(f"{found.title}: what was measured, {day(found.date)}", tone="strong")
    if found.about:
        page.line(found.about)
    _say_compared(page, found)
    say_cautions(page, [ADVICE])
    return page


def _say_compared(page: Page, found: Measured) -> None:
    differ = [row for row in found.compared if not row.agrees]
    page.line()
    if not differ:
        page.line("Every reading agrees with the file.", tone="good")
    else:
        of_all = f"{len(differ)} of {count(len(found.compared), 'reading')}"
        page.line(f"{of_all} differ from what the file predicts.", tone="mind")
    page.table(
        [
            words("reading", "reading"),
            words("measured"),
            words("the file predicts"),
            Column("apart\n{unit}", "apart", "x"),
            words(""),
        ],
        ([row.reading, *_both(row), row.apart, _verdict(row)] for row in found.compared),
        "Readings, worst first",
        [f"apart: distance over what both may be off by, at most 1 where they agree. {_OFF}"],
    )
    for row in found.compared:
        if row.impossible:
            page.line(f"This reading cannot be true of the plant: {row.reading}: {row.impossible}. "
                      "Read it again; it is left out of what follows.", tone="mind", hang=2)  # fmt: skip
    usual = dict.fromkeys(
        f"{row.reading.split(',')[0].split(' ')[0]} {row.tolerance} ({row.tolerance_source})"
        for row in found.compared
        if row.tolerance_source
    )
    if usual:
        page.line(f"Where the file does not say what a reading may be off by: {'; '.join(usual)}.")


def _both(row: Compared) -> tuple[Cell, Cell]:
    unit, each = unit_of(row.quantity, row.read)

    def amount(value: float, off: float) -> Cell:
        if math.isinf(value):
            return "never"
        return Amount(value * each, unit, 3, "figures", after=f"±{off * each:.2g}")

    return amount(row.read, row.read_off), amount(row.predicted, row.predicted_off)


def _verdict(row: Compared) -> str:
    return "cannot be" if row.impossible else "agrees" if row.agrees else "differs"


def measured_values(found: Measured) -> dict[str, Any]:
    """The same as plain values; each reading in the unit that it names."""
    return {
        "title": found.title,
        "about": found.about,
        "date": found.date,
        "readings": [_values(row) for row in found.compared],
    }


def _values(row: Compared) -> dict[str, Any]:
    unit, each = unit_of(row.quantity, row.read)
    return {
        "reading": row.reading,
        "unit": unit,
        "read": row.read * each,
        "read_off": row.read_off * each,
        "predicted": row.predicted * each,
        "predicted_off": row.predicted_off * each,
        "apart": row.apart,
        "agrees": row.agrees,
        "impossible": row.impossible,
        "tolerance_source": row.tolerance_source,
    }
