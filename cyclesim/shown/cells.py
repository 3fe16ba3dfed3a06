"""The text of a value, the same in every medium."""

from __future__ import annotations

import math

from cyclesim.analysis.amounts import exactly
from cyclesim.said.page import Amount, Between, Cell, Column, Kind
from cyclesim.said.words import UNKNOWN, day, hours, month, number, signed, when

NEVER = "never"


def heading(column: Column) -> str:
    """The heading with its unit."""
    return column.heading.replace("{unit}", column.unit)


def shown(cell: Cell, column: Column) -> str:
    """A cell as its column tells it.

    >>> shown(9.17, Column("h")), shown(None, Column("h")), shown(Amount(2.5, "kW"), Column(""))
    ('9.2', '-', '2.5 kW')
    """
    match cell:
        case None:
            return column.unknown
        case bool():
            return "yes" if cell else "no"
        case tuple():
            return ", ".join(cell)
        case Between():
            low, high = (_as_text(end, column.kind, column.digits) for end in (cell.low, cell.high))
            return f"{low} to {high}"
        case Amount(value=None):
            return UNKNOWN
        case Amount():
            text = _as_text(cell.value, cell.kind, cell.digits)
            return " ".join(filter(None, (cell.before, text, cell.unit, cell.after)))
    return _as_text(cell, column.kind, column.digits)


def _as_text(value: str | float | None, kind: Kind, digits: int) -> str:
    if isinstance(value, str):
        return _dated(value, kind)
    if value is None:
        return UNKNOWN
    if math.isinf(value) and kind != "change":
        return NEVER
    match kind:
        case "fixed":
            return f"{value:,.{digits}f}"
        case "figures":
            text = f"{value:.{digits}g}"
            return f"{float(text):,.0f}" if abs(float(text)) >= 10**digits else text
        case "count":
            return f"{value:,}"
        case "change":
            return signed(value, digits)
        case "share":
            return f"{value:.{digits}%}"
        case "lasting":
            return hours(value)
        case "keyed in":
            return exactly(value)
    return number(value, digits)


def _dated(text: str, kind: Kind) -> str:
    if not text[:4].isdigit():
        return text
    match kind:
        case "day":
            return day(text)
        case "when":
            return when(text)
        case "month":
            return month(text)
    return text
