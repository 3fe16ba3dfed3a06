"""Units of a paper: what its tables are in, or what people in the US read."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Literal

from cyclesim.said.page import Amount, Between, Cell, Table
from cyclesim.units import parse

Units = Literal["metric", "us"]

_US = {
    "L/min": ("gpm", "flow", "L/min"),
    "L": ("gal", "volume", "L"),
    "m3": ("gal", "volume", "m3"),
    "m": ("ft", "length", "m"),
    "mm": ("in", "length", "mm"),
    "cm2": ("in2", "area", "cm2"),
    "m/s": ("ft/s", "speed", "m/s"),
    "kPa": ("psi", "head", "kPa"),
    "°C": ("°F", "temperature", "degC"),
    "K": ("°F", "temperature_difference", "K"),
}
"""Unit of a table -> the unit in its place, the kind of both, and how the first is written in a file."""


def in_units(table: Table, units: Units) -> Table:
    """The table with its values in the reader's units; what has no other unit stays as it is."""
    if units == "metric":
        return table
    columns = tuple(replace(column, unit=_unit(column.unit)) for column in table.columns)
    rows = tuple(
        replace(row, cells=tuple(map(_cell, row.cells, (c.unit for c in table.columns[: len(row.cells)]))))
        for row in table.rows
    )
    return replace(table, columns=columns, rows=rows)


def _unit(unit: str) -> str:
    return _US[unit][0] if unit in _US else unit


def _cell(cell: Cell, unit: str) -> Cell:
    match cell:
        case bool() | str() | tuple() | None:
            return cell
        case Between():
            return Between(*map(_converter(unit), (cell.low, cell.high)))
        case Amount():
            own = cell.unit or unit
            value = None if cell.value is None else _converter(own)(cell.value)
            digits = max(cell.digits, 1) if own == "mm" else cell.digits
            return replace(cell, value=value, unit=_unit(cell.unit), digits=digits)
    return _converter(unit)(cell)


def _converter(unit: str) -> Callable[[float], float]:
    """What a number in a table's unit is in the other: both lines are read off the units that files use."""
    if unit not in _US:
        return lambda value: value
    new, kind, old = _US[unit]
    new = {"°F": "degF"}.get(new, new)
    zero, one = (parse(f"{n} {new}", kind) for n in (0, 1))
    old_zero, old_one = (parse(f"{n} {old}", kind) for n in (0, 1))
    return lambda value: (old_zero + value * (old_one - old_zero) - zero) / (one - zero)
