"""A page as text for the terminal: headings, wrapped lines and tables, as one string."""

from __future__ import annotations

import re
from collections.abc import Iterable
from io import StringIO
from itertools import zip_longest
from textwrap import wrap

from rich.box import SIMPLE_HEAD
from rich.cells import cell_len
from rich.console import Console
from rich.table import Table as Drawn
from rich.text import Text

from cyclesim.said.page import Heading, Line, Page, Row, Table, Tone
from cyclesim.said.words import plain
from cyclesim.shown.cells import heading, shown
from cyclesim.shown.reader import for_reader

NARROWEST, WIDEST = 80, 110
_BELOW = 52
"""How wide the words of a row are that belongs to the one above."""
_STYLES: dict[Tone, str] = {
    "": "",
    "strong": "bold",
    "good": "bold green",
    "mind": "bold yellow",
    "danger": "bold red",
    "hygiene": "bold yellow",
    "wear": "cyan",
    "comfort": "cyan",
}


def printed(page: Page, width: int = NARROWEST, colour: bool = False, us: bool = False) -> str:
    """All that a page says, without blanks at the ends of lines; *us*: in US units.

    *width* in characters is kept between 80 and 110. Colour only where the caller knows of a terminal.
    """
    page = for_reader(page, us)
    sheet, width = StringIO(), max(NARROWEST, min(width, WIDEST))
    console = Console(
        file=sheet,
        width=width,
        force_terminal=colour,
        color_system="standard" if colour else None,
        no_color=not colour,
        legacy_windows=False,
        markup=False,
        emoji=False,
        highlight=False,
    )
    for block in page.blocks:
        match block:
            case Heading():
                console.print()
                console.print(Text(plain(block.text), style="bold"))
            case Line():
                console.print(_wrapped(block, width), no_wrap=True)
            case Table():
                if block.title:
                    console.print()
                    console.print(Text(plain(block.title), style="bold"))
                console.print(
                    _drawn(block, width) if any(map(heading, block.columns)) else _listed(block, width)
                )
                for note in block.notes:
                    console.print(_wrapped(Line(note), width), no_wrap=True)
    drawn = sheet.getvalue().replace(_PAD, " ")
    return "\n".join(line.rstrip() for line in drawn.splitlines()) + "\n"


def _wrapped(line: Line, width: int) -> Text:
    parts = wrap(
        plain(line.text),
        width,
        initial_indent=" " * line.indent,
        subsequent_indent=" " * (line.indent + line.hang),
        break_on_hyphens=False,
    )
    return Text("\n".join(parts), style=_STYLES[line.tone])


def _drawn(table: Table, width: int) -> Drawn:
    drawn = Drawn(box=SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0))
    rows = _aligned([_cells(row, table) for row in table.rows], table)
    for column, (head, of) in zip(table.columns, _fitted(table, rows, width), strict=True):
        if column.kind in _FOLDED:
            drawn.add_column(head, overflow="fold", header_style="bold", vertical="bottom", width=of)
        else:
            drawn.add_column(head, justify="right", no_wrap=True, header_style="bold", vertical="bottom")
    for row in rows:
        drawn.add_row(*map(Text, row))
    return drawn


_FOLDED = ("words", "month")
_BETWEEN = 2
"""Blanks between two columns."""


def _fitted(table: Table, rows: list[list[str]], width: int) -> list[tuple[str, int | None]]:
    """Each column's heading and width, so that no word is broken; None where that is left to the library.

    Where words would not fit, headings over numbers are folded; then the widest words give way first.
    """
    heads = [heading(column) for column in table.columns]
    columns = [list(cells) for cells in zip_longest(*rows, fillvalue="")] or [[] for _ in heads]
    folded = [column.kind in _FOLDED for column in table.columns]
    room = width - _BETWEEN * (len(heads) - 1)

    def least(k: int) -> int:
        texts = [heads[k], *columns[k]]
        return _widest(word for text in texts for word in text.split()) if folded[k] else widest(k)

    def widest(k: int) -> int:
        return _widest(line for text in (heads[k], *columns[k]) for line in text.split("\n"))

    each = range(len(heads))
    while sum(map(least, each)) > room:
        over = {k: widest(k) for k in each if not folded[k] and widest(k) > _least_head(heads[k], columns[k])}
        if not over:
            return [(head, None) for head in heads]
        k = max(over, key=lambda k: over[k])
        heads[k] = "\n".join(wrap(heads[k], over[k] - 1, break_long_words=False, break_on_hyphens=False))
    widths = [widest(k) for k in each]
    while sum(widths) > room:
        k = max((k for k in each if widths[k] > least(k)), key=lambda k: widths[k])
        widths[k] -= 1
    return [(heads[k], of if of < widest(k) else None) for k, of in enumerate(widths)]


def _least_head(head: str, cells: list[str]) -> int:
    """How narrow a column of numbers can be, with a word of its heading a line."""
    return max(_widest(head.split()), _widest(cells))


def _widest(texts: Iterable[str]) -> int:
    return max(map(cell_len, texts), default=0)


_NUMBER = re.compile(r"[<+-]?[\d,]+(\.\d+)?")
_PAD = "\u00a0"
"""A blank that nobody strips; it becomes a plain one when all is drawn."""


def _aligned(rows: list[list[str]], table: Table) -> list[list[str]]:
    """The texts with the decimal points of a column's numbers below each other."""
    for k, column in enumerate(table.columns):
        if column.kind == "words":
            continue
        found = [(row, match) for row in rows if len(row) > k and (match := _NUMBER.fullmatch(row[k]))]
        widest = max((len(match[1] or "") for _, match in found), default=0)
        for row, match in found:
            row[k] += _PAD * (widest - len(match[1] or ""))
    return rows


def _listed(table: Table, width: int) -> Text:
    """Names and values below each other, and what is known besides."""
    rows = [_cells(row, table) for row in table.rows]
    name, value = (max(len(row[k]) for row in rows) for k in (0, 1))
    lines = ["  ".join((f"{a:<{name}}", f"{b:>{value}}", *(c for c in rest if c))) for a, b, *rest in rows]
    return Text("\n".join(line[:width] for line in lines))


def _cells(row: Row, table: Table) -> list[str]:
    texts = [plain(shown(cell, column)) for cell, column in zip(row.cells, table.columns, strict=False)]
    if row.level:
        texts[0] = "\n".join(f"  {line}" for line in wrap(texts[0], _BELOW))
    return texts
