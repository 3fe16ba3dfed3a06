"""A page: headings, lines and tables in the order in which they are read, as plain data.

Whoever has something to say puts it on a page, with values in its tables; how they look is for
`cyclesim.shown`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

Tone = Literal["", "strong", "good", "mind", "danger", "hygiene", "wear", "comfort"]
Kind = Literal[
    "words", "number", "fixed", "figures", "count", "change", "share", "lasting", "keyed in",
    "day", "when", "month",
]  # fmt: skip
"""What a value is: `number` to no more digits than it deserves, `fixed` to so many decimals, `figures` to so
many significant ones, `change` a number with its sign, `share` of one as percent, `lasting` hours in the unit
that fits, `keyed in` seconds without rounding; `day`, `when` and `month` are ISO texts."""


@dataclass(frozen=True, slots=True)
class Amount:
    """A value that is not told as its column tells the others: other digits, or its own unit.

    *before* and *after* stand beside it, e.g. `at most`, or a mark that the notes explain.
    """

    value: float | None
    unit: str = ""
    digits: int = 1
    kind: Kind = "number"
    before: str = ""
    after: str = ""


@dataclass(frozen=True, slots=True)
class Between:
    """From *low* to *high*, both as a column tells its values; *unit* is that of the amount it is about."""

    low: float
    high: float
    unit: str = ""


Cell = str | bool | int | float | Amount | Between | tuple[str, ...] | None
"""Words stand as they are in any column; None is unknown; infinite is never."""


@dataclass(frozen=True, slots=True)
class Column:
    """What stands in one column.

    *heading*: its lines parted by a line break, with `{unit}` where the unit stands. *key*: the field of a
    record that it tells, with the name that this has in JSON. *unknown*: what stands for None.
    """

    heading: str
    key: str = ""
    unit: str = ""
    kind: Kind = "number"
    digits: int = 1
    unknown: str = "-"


def words(heading: str, key: str = "") -> Column:
    """A column of words."""
    return Column(heading, key, kind="words")


def whole(heading: str, key: str = "") -> Column:
    """A column of whole numbers."""
    return Column(heading, key, kind="count")


def cost(currency: str, heading: str = "cost\n{unit}", key: str = "cost") -> Column:
    """A column of money."""
    return Column(heading, key, currency, "fixed", 2)


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a table: *about* is the name of its thing in the results.

    A row of level 1 belongs to the row above it.
    """

    cells: tuple[Cell, ...]
    about: str = ""
    level: int = 0


@dataclass(frozen=True, slots=True)
class Heading:
    """What the lines and tables below it are about."""

    text: str


@dataclass(frozen=True, slots=True)
class Line:
    """One paragraph; it stands *indent* characters in, its later lines *hang* further.

    *as_written*: it is the file's own text, in which no unit is changed. *command*: it says what to type, and
    is left out where nobody types commands.
    """

    text: str
    tone: Tone = ""
    indent: int = 0
    hang: int = 0
    as_written: bool = False
    command: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """Values in rows and columns, under a title, with notes below; without any heading it is a list."""

    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    title: str = ""
    notes: tuple[str, ...] = ()


Block = Heading | Line | Table


class Page:
    """Collects what is said, block after block."""

    def __init__(self) -> None:
        self.blocks: list[Block] = []

    def heading(self, text: str) -> None:
        """Begin a new part."""
        self.blocks.append(Heading(text))

    def line(
        self,
        text: str = "",
        *,
        tone: Tone = "",
        indent: int = 0,
        hang: int = 0,
        as_written: bool = False,
        command: bool = False,
    ) -> None:
        """Add a paragraph; an empty one parts what stands above from what stands below."""
        self.blocks.append(Line(text, tone, indent, hang, as_written, command))

    def table(
        self,
        columns: Sequence[Column],
        rows: Iterable[Row | Sequence[Cell]],
        title: str = "",
        notes: Sequence[str] = (),
    ) -> None:
        """Add a table; a row of a first cell alone is blank beyond it."""
        made = (row if isinstance(row, Row) else Row(tuple(row)) for row in rows)
        self.blocks.append(Table(tuple(columns), tuple(made), title, tuple(notes)))


def records(columns: Sequence[Column], things: Mapping[str, object]) -> list[Row]:
    """A row for each of *things* by its name, which stands in the first column."""
    return [record(columns, name, thing) for name, thing in things.items()]


def record(columns: Sequence[Column], name: str, thing: object, shown: str = "", level: int = 0) -> Row:
    """The fields of *thing* that the columns after the first name, behind its name or what is *shown*."""
    return Row((shown or name, *(getattr(thing, column.key) for column in columns[1:])), name, level)
