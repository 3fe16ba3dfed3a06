"""What is said as a page needs it: each block with its texts, tables by their cells."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from cyclesim.said.page import Block, Column, Heading, Kind, Line, Table
from cyclesim.said.words import plain
from cyclesim.shown.cells import heading, shown

if TYPE_CHECKING:
    from cyclesim.said.report import Bars

_LOOKS: dict[Kind, str] = {"words": "", "month": "d", "day": "d", "when": "d"}


@dataclass(frozen=True, slots=True)
class Viewed:
    """A block by its kind: heading, line, list or table."""

    kind: str
    text: str = ""
    tone: str = ""
    indent: int = 0
    items: tuple[str, ...] = ()
    heads: tuple[tuple[str, str], ...] = ()
    """(text, `n` where numbers stand below, `d` where dates do)."""
    rows: tuple[tuple[int, tuple[tuple[str, str], ...]], ...] = ()
    """(level, cells as the heads)."""


def viewed(blocks: Iterable[Block]) -> list[Viewed]:
    """The blocks in order; lines that begin with a dash are one list, empty ones and commands left out."""
    made = list[Viewed]()
    for block in blocks:
        match block:
            case Heading():
                made.append(Viewed("heading", plain(block.text)))
            case Line(text="") | Line(command=True):
                pass
            case Line() if block.text.startswith("- "):
                item = plain(block.text[2:])
                if made and made[-1].kind == "list":
                    made[-1] = Viewed("list", items=(*made[-1].items, item))
                else:
                    made.append(Viewed("list", items=(item,)))
            case Line():
                made.append(Viewed("line", plain(block.text), block.tone, min(2, (block.indent + 1) // 2)))
            case Table():
                made.append(_table(block))
    return made


def _table(table: Table) -> Viewed:
    looks = [_LOOKS.get(column.kind, "n") for column in table.columns]
    heads = tuple(
        (plain(heading(column).replace("\n", " ")), look)
        for column, look in zip(table.columns, looks, strict=True)
    )
    rows = tuple(
        (
            row.level,
            tuple(
                (plain(shown(cell, column)), "" if look == "n" and isinstance(cell, str) else look)
                for cell, column, look in zip(row.cells, table.columns, looks, strict=False)
            ),
        )
        for row in table.rows
    )
    heads = heads if any(text for text, _ in heads) else ()
    return Viewed("table", plain(table.title), heads=heads, rows=rows, items=tuple(map(plain, table.notes)))


@dataclass(frozen=True, slots=True)
class BarRow:
    """One bar: its name, its number with unit, and how long it is of a hundred."""

    name: str
    text: str
    long: float


def bar_rows(bars: Bars) -> tuple[str, list[BarRow]]:
    """The title of a chart, and its bars."""
    names = Column("", kind="month" if bars.months else "words")
    values = Column("", unit=bars.unit, kind="fixed", digits=bars.digits)
    rows = [
        BarRow(
            plain(shown(bar.name, names)),
            f"{shown(bar.value, values)} {bars.unit}",
            round(100.0 * bar.share, 1),
        )
        for bar in bars.bars
    ]
    return bars.title, rows
