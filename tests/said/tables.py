"""Walking what is said: each cell of a table against the record of the JSON that it tells.

Whoever walks a table writes by hand which key stands under which heading, from the headings and the names of
the keys alone, so that a table that takes another field than its heading says is found.
"""

import math
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from datetime import datetime
from decimal import Decimal
from typing import Any

import pint

from cyclesim.said.page import Amount, Between, Cell, Column, Heading, Page, Row, Table
from cyclesim.shown.cells import heading, shown
from cyclesim.shown.reader import for_reader

Values = dict[str, Any]
Key = str | Callable[[Values], Any]
"""A key of the record that a row is about, or what is worked out from several."""

ENDS = {"h": "_h", "L": "_l", "L/min": "_l_min", "L/min of air": "_l_min", "kWh": "_kwh", "°C": "_c",
        "m": "_m", "m/s": "_m_s", "kPa": "_kpa", "mg/L": "_mg_l", "%": "_percent", "W": "_w",
        "s": "_s", "K": "_k", "K/h": "_k_h", "A": "_a"}  # fmt: skip
"""How a key ends whose number is in this unit."""
_SECONDS = {"s": 1.0, "min": 60.0, "h": 3600.0, "days": 86_400.0}


def agrees(text: str, value: Any, column: Column) -> bool:
    """Whether *text* tells *value*, a number to the digits that are shown."""
    if value is None or (isinstance(value, str) and value == "-"):
        return text in ("-", "never moves", "never", "", column.unknown)
    if isinstance(value, str):
        return text == value or _is_date(text, value)
    if isinstance(value, bool):
        return text == ("yes" if value else "no")
    if text.startswith(("at most ", "at least ")):
        text = text.split(" ", 2)[2]
    text = text.replace(",", "")
    if column.kind == "lasting":
        number, unit = text.split()
        half = 0.51 * 10 ** -len(number.partition(".")[2]) * _SECONDS[unit]
        return abs(float(number) * _SECONDS[unit] - 3600.0 * value) <= half
    if column.kind == "keyed in":
        number, unit = text.split()
        return float(number) * _SECONDS[unit] == value
    if column.kind == "change":
        if text.startswith("<"):
            return 0.0 < abs(value) < float(text[1:])
        if (text[0] == "+") != (value > 0.0):
            return False
        text = text.removeprefix("+")
    if text.startswith("<"):
        return 0.0 < value < float(text[1:])
    if column.kind == "figures" and value:
        return abs(float(text) - value) <= 0.5 * 10 ** (math.floor(math.log10(value)) + 1 - column.digits)
    if column.kind == "share":
        text, value = text.removesuffix("%"), 100.0 * value
    if not re.fullmatch(r"-?\d+(\.\d+)?", text):
        return False
    if text == "0" and value < 0.0:  # less below nothing than the last digit that is told
        return round(value, column.digits) == 0.0
    places = len(text.partition(".")[2])
    size = abs(value)
    if column.kind in ("fixed", "share"):
        due = column.digits
    elif column.kind == "count" or not value:
        due = 0
    else:
        due = column.digits if size < 10 else min(column.digits, 1) if size < 100 else 0
    return places == due and Decimal(text) == round(Decimal(value), due)


def _is_date(text: str, iso: str) -> bool:
    try:
        at = datetime.fromisoformat(iso if len(iso) > 7 else f"{iso}-01")
    except ValueError:
        return False
    return any(at.strftime(form).lstrip("0") == text for form in ("%d %b %Y %H:%M", "%d %b %Y", "%b %Y"))


def tables_of(page: Page) -> Iterator[tuple[str, Table]]:
    """Each table with its title, or else the heading above it."""
    above = ""
    for block in page.blocks:
        if isinstance(block, Heading):
            above = block.text
        if isinstance(block, Table):
            above = block.title or above
            yield above, block


def head(table: Table, k: int) -> str:
    """A heading in one line, of any limit and currency; the second of two alike is told apart."""
    texts = [" ".join(heading(column).split()) for column in table.columns]
    heads = [re.sub(r"\b(EUR|PLN|USD)\b", "money", re.sub(r"over \d+ h", "over N h", text)) for text in texts]
    return heads[k] + (", second" if heads[k] in heads[:k] else "")


def bare(cell: Cell, column: Column) -> tuple[str, Column]:
    """A cell as text without unit and marks, and how it is told: an amount in its own way."""
    if isinstance(cell, Amount):
        own = replace(column, unit=cell.unit or column.unit, kind=cell.kind, digits=cell.digits)
        return shown(cell.value, own), own
    return shown(cell, column), column


def hold_row(table: Table, keys: dict[str, Key], row: Row, record: Values) -> None:
    """Each cell of a row against its record; each column that is no name must have its key."""
    for k, column in enumerate(table.columns):
        if k == 0 or (column.kind == "words" and head(table, k) not in keys):
            continue
        key = keys[head(table, k)]
        text, how = bare(row.cells[k], column)
        if isinstance(key, str) and how.unit in ENDS and not isinstance(row.cells[k], str):
            assert key.removesuffix("_less").removesuffix("_more").endswith(ENDS[how.unit]), (column, key)
        value = record[key] if isinstance(key, str) else key(record)
        assert agrees(text, value, how), (row.cells[0], head(table, k), text, value)


def hold(table: Table, keys: dict[str, Key], about: Callable[[str], Values]) -> None:
    """Each row of *table* against the record of each name that it is about."""
    for row in table.rows:
        first = row.cells[0]
        for name in first if isinstance(first, tuple) else (row.about,):
            hold_row(table, keys, row, about(name))


def hold_in_order(table: Table, keys: dict[str, Key], records: Iterable[Values]) -> None:
    """Row by row in the order of the records; what stands below a row belongs to it."""
    rows = (row for row in table.rows if not row.level)
    for row, record in zip(rows, records, strict=True):
        hold_row(table, keys, row, record)


US = {
    "L": ("gal", "liter", "gallon"),
    "L/min": ("gpm", "liter/minute", "gallon/minute"),
    "L/min of air": ("cfm", "liter/minute", "foot**3/minute"),
    "m": ("ft", "meter", "foot"),
    "m/s": ("ft/s", "meter/second", "foot/second"),
    "W of pump": ("hp", "watt", "horsepower"),
    "Wh/m3": ("kWh/1000 gal", "watt*hour/meter**3", "kilowatt*hour/kilogallon"),
    "kPa": ("psi", "kilopascal", "psi"),
    "°C": ("°F", "degC", "degF"),
    "K": ("°F", "kelvin", "delta_degF"),
    "K/h": ("°F/h", "kelvin/hour", "delta_degF/hour"),
}
"""By the metric unit: what the tables hold in US units, and what pint calls the two."""
_REGISTRY: Any = pint.UnitRegistry()
"""Pint's own units, which know nothing of ours."""


def hold_in_us(page: Page) -> int:
    """Each number of each table, turned by pint and rounded once, is that of a US page; how many turned."""
    turned = 0
    for (_, table), (_, other) in zip(tables_of(page), tables_of(for_reader(page, us=True)), strict=True):
        for column, after in zip(table.columns, other.columns, strict=True):
            assert after.unit == us_unit(column.unit)
        for row, there in zip(table.rows, other.rows, strict=True):
            for k, cell in enumerate(row.cells):
                was, now = table.columns[k], other.columns[k]
                for value, unit, text, how in _numbers(cell, there.cells[k], was, now):
                    assert agrees(text, _in_us(value, unit), how), (row.cells[0], head(table, k), value, text)
                    turned += unit in US
    return turned


def us_unit(unit: str) -> str:
    """What a US page writes for a metric unit; itself where there is nothing to turn."""
    return US[unit][0] if unit in US else unit


def _numbers(
    cell: Cell, there: Cell, column: Column, after: Column
) -> Iterator[tuple[float | None, str, str, Column]]:
    """Each number of a cell with its metric unit, and as the US page tells it."""
    match cell:
        case bool() | str() | tuple() | None:
            return
        case Between():
            ends = shown(there, after).split(" to ")
            for value, text in zip((cell.low, cell.high), ends, strict=True):
                yield value, cell.unit or column.unit, text, after
        case Amount():
            assert isinstance(there, Amount)
            assert there.unit == us_unit(cell.unit)
            yield cell.value, cell.unit or column.unit, *bare(there, after)
        case _:
            yield cell, column.unit, *bare(there, after)


def _in_us(value: float | None, unit: str) -> float | None:
    if value is None or math.isinf(value):
        return None
    if unit not in US:
        return value
    _, metric, us = US[unit]
    return float(_REGISTRY.Quantity(value, metric).to(us).magnitude)
