"""A page in the units of its reader: what is said is metric, and is turned once, here.

Values of tables are turned before they are rounded. A quantity in a sentence is turned from the digits that
it was told with, to the shortest number that lies within what these tell: 36.7 °C is 97.97 to 98.15 °F, and
so 98 °F, as the file has it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator
from dataclasses import replace

from cyclesim.said.page import Amount, Between, Block, Cell, Column, Heading, Line, Page, Row, Table
from cyclesim.units import METRIC, slope_for, unit_for, value_for

_NUMBER = r"[-+]?\d[\d,]*(?:\.\d+)?"
_UNITS = "|".join(re.escape(unit) for unit in sorted(METRIC, key=len, reverse=True))
_MORE = rf"(?: (?:to|and|of|or|from) (?:at most )?{_NUMBER})*(?: ±{_NUMBER})?"
_QUANTITIES = re.compile(rf"(?P<numbers>(?<![\w.,+-]){_NUMBER}{_MORE}) (?P<unit>{_UNITS})(?![\w²³/(*])")
_MOST_FIGURES, _OF_TEMPERATURE = 3, 4
_WINDY = re.compile(r"\bwind\b")


def for_reader(page: Page, us: bool) -> Page:
    """The same page in US units, or in metric ones."""
    other = Page()
    other.blocks = turned(page.blocks, us)
    return other


def turned(blocks: Iterable[Block], us: bool) -> list[Block]:
    """The same of blocks that are on no page yet."""
    return [in_units(block, us) for block in blocks]


def in_units(block: Block, us: bool) -> Block:
    """One block of a page, likewise."""
    match block:
        case Heading():
            return Heading(sentence(block.text, us))
        case Line():
            return block if block.as_written else replace(block, text=sentence(block.text, us))
    columns = tuple(
        replace(column, heading=sentence(column.heading, us), unit=unit_for(column.unit, us))
        for column in block.columns
    )
    rows = tuple(replace(row, cells=tuple(_cells(row, block.columns, us))) for row in block.rows)
    notes = tuple(sentence(note, us) for note in block.notes)
    return Table(columns, rows, sentence(block.title, us), notes)


def _cells(row: Row, columns: tuple[Column, ...], us: bool) -> Iterator[Cell]:
    windy = bool(row.cells and isinstance(row.cells[0], str) and _WINDY.search(row.cells[0]))
    for cell, column in zip(row.cells, columns, strict=False):
        yield _cell(cell, column, us, windy)


def _cell(cell: Cell, column: Column, us: bool, windy: bool) -> Cell:
    match cell:
        case str():
            return sentence(cell, us, windy) if column.kind in ("words", "number") else cell
        case Amount():
            unit = cell.unit or column.unit
            return replace(cell, value=_value(cell.value, unit, us), unit=unit_for(cell.unit, us))
        case Between():
            unit = cell.unit or column.unit
            low, high = (_number(end, unit, us) for end in (cell.low, cell.high))
            return Between(low, high, unit_for(cell.unit, us))
        case float():
            return _number(cell, column.unit, us)
        case int() if not isinstance(cell, bool) and column.unit in METRIC:
            return _number(float(cell), column.unit, us)
    return cell


def _value(value: float | None, unit: str, us: bool) -> float | None:
    return None if value is None else _number(value, unit, us)


def _number(value: float, unit: str, us: bool) -> float:
    return value_for(value, unit) if us and unit in METRIC else value


def sentence(text: str, us: bool, windy: bool = False) -> str:
    """A text with its quantities in the reader's units, and degrees written one way.

    *windy*, or the word in the text itself: a speed in it is that of wind, which has a unit of its own.

    >>> sentence("28.5 L/min of at least 30 L/min, 35.2 of 36 degC", True)
    '7.53 gpm of at least 7.9 gpm, 95.4 of 97 °F'
    >>> sentence("wind: 1.5 m/s", True), sentence("in the pipe 1.5 m/s", True)
    ('wind: 3.4 mph', 'in the pipe 5 ft/s')
    >>> sentence("10.2 ±0.31 m", True)
    '33.5 ±1.02 ft'
    >>> sentence("between 20 and 45 degC; 1.5 W/(m K); main low", False)
    'between 20 and 45 °C; 1.5 W/(m K); main low'
    """
    text = re.sub(r"\bdegC\b", "°C", text)
    if not us:
        return text
    windy = windy or bool(_WINDY.search(text))
    return _QUANTITIES.sub(lambda found: _turned(found, windy), text)


def _turned(found: re.Match[str], windy: bool) -> str:
    unit = "m/s of wind" if windy and found["unit"] == "m/s" else found["unit"]
    numbers = re.sub(_NUMBER, lambda number: _digits(number[0], unit), found["numbers"])
    return f"{numbers} {unit_for(unit, us=True)}"


def _digits(text: str, unit: str) -> str:
    """A number of a sentence, turned to the shortest that is within half of what its last digit tells.

    A whole number tells a quarter of one, a small one two hundredths of itself: it is meant as it stands.
    """
    value, places = float(text.replace(",", "")), len(text.partition(".")[2])
    half = 0.5 * 10**-places if places else min(0.25, 0.02 * abs(value))
    there, low, high = (value_for(v, unit) for v in (value, value - half, value + half))
    size = math.floor(math.log10(abs(there))) + 1 if there else 1
    finest = max(0, (_OF_TEMPERATURE if unit == "°C" else _MOST_FIGURES) - size)
    step = next((n for n in range(-max(0, size - 1), finest) if low <= round(there, n) <= high), finest)
    plus, parted = "+" * text.startswith("+"), "," * ("," in text or slope_for(unit) > 30.0)
    return f"{round(there, step):{plus}{parted}.{max(0, step)}f}"
