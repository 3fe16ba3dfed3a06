"""A page: headings, lines and tables in the order in which they are read, as plain data.

Whoever has something to say puts it on a page; how that looks is for `cyclesim.shown`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

Tone = Literal["", "strong", "good", "mind", "danger", "hygiene", "wear", "comfort"]


class Column(NamedTuple):
    """Head of a column, its lines parted by a line break; numbers stand to the right and are never cut."""

    head: str
    words: bool = False


@dataclass(frozen=True, slots=True)
class Heading:
    """What the lines and tables below it are about."""

    text: str


@dataclass(frozen=True, slots=True)
class Line:
    """One paragraph; it stands *indent* characters in, its later lines *hang* further."""

    text: str
    tone: Tone = ""
    indent: int = 0
    hang: int = 0


@dataclass(frozen=True, slots=True)
class Table:
    """A table; a row whose first cell starts with a space belongs to the row above it."""

    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]


Block = Heading | Line | Table


class Page:
    """Collects what is said, block after block."""

    def __init__(self) -> None:
        self.blocks: list[Block] = []

    def heading(self, text: str) -> None:
        """Begin a new part."""
        self.blocks.append(Heading(text))

    def line(self, text: str = "", *, tone: Tone = "", indent: int = 0, hang: int = 0) -> None:
        """Add a paragraph; an empty one parts what stands above from what stands below."""
        self.blocks.append(Line(text, tone, indent, hang))

    def table(self, columns: Sequence[Column], rows: Iterable[Sequence[str]]) -> None:
        """Add a table."""
        self.blocks.append(Table(tuple(columns), tuple(map(tuple, rows))))
