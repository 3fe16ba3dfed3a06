"""A page as text for the terminal: headings, wrapped lines and tables, as one string."""

from __future__ import annotations

from io import StringIO
from textwrap import wrap

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table as Drawn
from rich.text import Text

from cyclesim.said.page import Heading, Line, Page, Table, Tone
from cyclesim.said.words import plain

NARROWEST, WIDEST = 80, 110
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


def printed(page: Page, width: int = NARROWEST, colour: bool = False) -> str:
    """All that a page says, without blanks at the ends of lines.

    *width* in characters is kept between 80 and 110. Colour only where the caller knows of a terminal.
    """
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
                console.print(_drawn(block))
    return "\n".join(line.rstrip() for line in sheet.getvalue().splitlines()) + "\n"


def _wrapped(line: Line, width: int) -> Text:
    parts = wrap(
        plain(line.text),
        width,
        initial_indent=" " * line.indent,
        subsequent_indent=" " * (line.indent + line.hang),
        break_on_hyphens=False,
    )
    return Text("\n".join(parts), style=_STYLES[line.tone])


def _drawn(table: Table) -> Drawn:
    drawn = Drawn(box=SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0))
    for column in table.columns:
        if column.words:
            drawn.add_column(column.head, overflow="fold", header_style="bold", vertical="bottom")
        else:
            drawn.add_column(
                column.head, justify="right", no_wrap=True, header_style="bold", vertical="bottom"
            )
    for row in table.rows:
        drawn.add_row(*(Text("\n".join(map(plain, cell.split("\n")))) for cell in row))
    return drawn
