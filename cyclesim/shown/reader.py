"""A page in the units of its reader: what is said is metric, and is turned once, here.

Values of tables are turned before they are rounded. A quantity in a sentence is turned from the digits that
it was told with, to the shortest number that lies within what these tell: 36.7 °C is 97.97 to 98.15 °F, and
so 98 °F, as the file has it. What is less than another in its sentence stays less.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import pairwise

from cyclesim.said.page import Amount, Between, Block, Cell, Column, Heading, Line, Page, Row, Table
from cyclesim.units import METRIC, slope_for, unit_for, value_for

_NUMBER = r"[-+]?\d[\d,]*(?:\.\d+)?"
_UNITS = "|".join(re.escape(unit) for unit in sorted(METRIC, key=len, reverse=True))
_MORE = rf"(?: (?:to|and|of|or|from) (?:at most )?{_NUMBER})*(?: ±{_NUMBER})?"
_QUANTITIES = re.compile(rf"(?P<numbers>(?<![\w.,+-]){_NUMBER}{_MORE}) (?P<unit>{_UNITS})(?![\w²³/(*])")
_MOST_FIGURES, _OF_TEMPERATURE = 3, 4
_MOST_DIGITS_MORE = 3
_DIGITS = {"hp": 2, "kWh/1000 gal": 3}
"""Of units of which a table has few."""
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
    columns = tuple(_column(column, us) for column in block.columns)
    rows = tuple(replace(row, cells=tuple(_cells(row, block.columns, us))) for row in block.rows)
    notes = tuple(sentence(note, us) for note in block.notes)
    return Table(columns, rows, sentence(block.title, us), notes)


def _column(column: Column, us: bool) -> Column:
    unit = unit_for(column.unit, us)
    digits = _DIGITS.get(unit, column.digits)
    return replace(column, heading=sentence(column.heading, us), unit=unit, digits=digits)


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
        return text.replace(" W of pump", " W")
    windy = windy or bool(_WINDY.search(text))
    told = [_Told(number, unit) for number, unit in _numbers_of(text, windy)]
    _kept_in_order(told)
    digits = iter(told)
    return _QUANTITIES.sub(
        lambda found: (
            re.sub(_NUMBER, lambda _: next(digits).text, found["numbers"])
            + f" {unit_for(_unit(found, windy), us=True)}"
        ),
        text,
    )


def _unit(found: re.Match[str], windy: bool) -> str:
    return "m/s of wind" if windy and found["unit"] == "m/s" else found["unit"]


def _numbers_of(text: str, windy: bool) -> Iterator[tuple[str, str]]:
    """Each number of a sentence with its unit; by how much a temperature may be off is a difference."""
    for found in _QUANTITIES.finditer(text):
        unit = _unit(found, windy)
        for number in re.finditer(_NUMBER, found["numbers"]):
            is_off = found["numbers"][number.start() - 1 : number.start()] == "±"
            yield number[0], "K" if is_off and unit == "°C" else unit


class _Told:
    """A number of a sentence, turned to the shortest that is within half of what its last digit tells.

    A whole number tells a quarter of one, a small one two hundredths of itself: it is meant as it stands.
    """

    def __init__(self, number: str, unit: str) -> None:
        self.number, self.unit, self.value = number, unit, float(number.replace(",", ""))
        places = len(number.partition(".")[2])
        half = 0.5 * 10**-places if places else min(0.25, 0.02 * abs(self.value))
        there, low, high = (value_for(v, unit) for v in (self.value, self.value - half, self.value + half))
        size = math.floor(math.log10(abs(there))) + 1 if there else 1
        finest = max(0, (_OF_TEMPERATURE if unit == "°C" else _MOST_FIGURES) - size)
        self.there = there
        self.step = next(
            (n for n in range(-max(0, size - 1), finest) if low <= round(there, n) <= high), finest
        )

    @property
    def text(self) -> str:
        """Its digits."""
        plus = "+" * self.number.startswith("+")
        parted = "," * ("," in self.number or slope_for(self.unit) > 30.0)
        return f"{self.rounded:{plus}{parted}.{max(0, self.step)}f}"

    @property
    def rounded(self) -> float:
        """What its digits say."""
        return round(self.there, self.step)


def _kept_in_order(told: list[_Told]) -> None:
    """More digits where less would read as more or as alike: 1.82 of 1.8 m/s is not 5.97 of 6 ft/s."""
    for unit in {one.unit for one in told}:
        rising = sorted((one for one in told if one.unit == unit), key=lambda one: one.value)
        for _ in range(_MOST_DIGITS_MORE):
            for less, more in pairwise(rising):
                if less.value == more.value:
                    less.step = more.step = max(less.step, more.step)
                elif less.rounded >= more.rounded:
                    coarser = min(less.step, more.step)
                    for one in (less, more):
                        one.step += one.step == coarser
