"""A page of text for the terminal: headings, wrapped lines and tables, as one string."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from io import StringIO
from textwrap import wrap
from typing import NamedTuple

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table
from rich.text import Text

from cyclesim.report.words import plain

NARROWEST, WIDEST = 80, 110


class Column(NamedTuple):
    """Head of a column, its lines parted by a line break; numbers stand to the right and are never cut."""

    head: str
    words: bool = False


class Page:
    """Collects what is said; `text()` gives it all. Colour only where the caller knows of a terminal."""

    def __init__(self, width: int = NARROWEST, colour: bool = False) -> None:
        self._sheet = StringIO()
        self.width = max(NARROWEST, min(width, WIDEST))
        self._console = Console(
            file=self._sheet,
            width=self.width,
            force_terminal=colour,
            color_system="standard" if colour else None,
            no_color=not colour,
            legacy_windows=False,
            markup=False,
            emoji=False,
            highlight=False,
        )

    def heading(self, text: str) -> None:
        """A blank line and a heading."""
        self._console.print()
        self._console.print(Text(plain(text), style="bold"))

    def line(self, text: str = "", *, style: str = "", indent: int = 0, hang: int = 0) -> None:
        """One paragraph, wrapped between words; later lines stand *hang* further in than the first."""
        parts = wrap(
            plain(text),
            self.width,
            initial_indent=" " * indent,
            subsequent_indent=" " * (indent + hang),
            break_on_hyphens=False,
        )
        self._console.print(Text("\n".join(parts), style=style), no_wrap=True)

    def table(self, columns: Sequence[Column], rows: Iterable[Sequence[str]]) -> None:
        """A table; a row whose first cell starts with a space belongs to the row above it."""
        table = Table(box=SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0))
        for column in columns:
            if column.words:
                table.add_column(column.head, overflow="fold", header_style="bold", vertical="bottom")
            else:
                table.add_column(
                    column.head, justify="right", no_wrap=True, header_style="bold", vertical="bottom"
                )
        for row in rows:
            table.add_row(*(Text("\n".join(map(plain, cell.split("\n")))) for cell in row))
        self._console.print(table)

    def text(self) -> str:
        """All that was said, without blanks at the ends of lines."""
        return "\n".join(line.rstrip() for line in self._sheet.getvalue().splitlines()) + "\n"
