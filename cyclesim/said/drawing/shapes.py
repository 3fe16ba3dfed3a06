"""What a drawing of the plant is made of: lines, symbols and labels at their places, as plain data.

Coordinates and sizes are in pixels of a drawing at its full size, y pointing down.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

Way = Literal["east", "west", "north"]
"""Where water flows to on the sheet."""
Band = Literal["", "young", "older", "over", "never"]
"""How old the oldest water gets: unknown, up to half the limit, up to the limit, above it, it never moves."""
LineKind = Literal["joint", "pipe", "jets", "spray", "air", "own", "ground"]
"""What joins things, a leg, the stretch of it that has jets, from its last jet into the tub, air, what
joins a heat source's own water, the ground that a trench is cut into."""
SymbolKind = Literal[
    "pump", "filter", "strainer", "vessel", "exchanger", "electric", "valve", "check valve", "blower",
    "plates", "tee", "jet", "last jet", "cap", "arrow", "pipe end",
]  # fmt: skip

TEXT_PX, NAME_PX, ROW_PX = 11, 12, 14
"""Height of ordinary letters, of a name's, and from one line of a label to the next."""
_NARROW, _BOLD = 0.60, 0.72  # of the letters' height: what a letter takes at most on the mean


class Point(NamedTuple):
    """A place on the sheet."""

    x: int
    y: int


class Box(NamedTuple):
    """What a thing covers."""

    x0: int
    y0: int
    x1: int
    y1: int

    def moved(self, dx: int, dy: int) -> Box:
        """The same elsewhere."""
        return Box(self.x0 + dx, self.y0 + dy, self.x1 + dx, self.y1 + dy)

    def joined(self, other: Box) -> Box:
        """What covers both."""
        return Box(
            min(self.x0, other.x0), min(self.y0, other.y0), max(self.x1, other.x1), max(self.y1, other.y1)
        )

    def meets(self, other: Box) -> bool:
        """Whether the two share more than an edge."""
        return self.x0 < other.x1 and other.x0 < self.x1 and self.y0 < other.y1 and other.y0 < self.y1


@dataclass(frozen=True, slots=True)
class Line:
    """A pipe or what joins things; *about* is the name of its element, *px* how wide it is."""

    points: tuple[Point, ...]
    kind: LineKind = "joint"
    about: str = ""
    px: int = 2
    band: Band = ""

    def moved(self, dx: int, dy: int) -> Line:
        """The same elsewhere."""
        points = tuple(Point(p.x + dx, p.y + dy) for p in self.points)
        return Line(points, self.kind, self.about, self.px, self.band)

    @property
    def box(self) -> Box:
        """What it covers, half its width to each side."""
        xs, ys, half = [p.x for p in self.points], [p.y for p in self.points], (self.px + 1) // 2
        across = (half, 0) if len(set(xs)) == 1 else (0, half) if len(set(ys)) == 1 else (half, half)
        return Box(min(xs) - across[0], min(ys) - across[1], max(xs) + across[0], max(ys) + across[1])


@dataclass(frozen=True, slots=True)
class Symbol:
    """A standard symbol round its middle, turned so that water flows its *way*; *shut*: filled."""

    kind: SymbolKind
    at: Point
    way: Way = "east"
    about: str = ""
    shut: bool = False
    band: Band = ""

    def moved(self, dx: int, dy: int) -> Symbol:
        """The same elsewhere."""
        at = Point(self.at.x + dx, self.at.y + dy)
        return Symbol(self.kind, at, self.way, self.about, self.shut, self.band)

    @property
    def box(self) -> Box:
        """What it covers."""
        half = HALF[self.kind]
        return Box(self.at.x - half, self.at.y - half, self.at.x + half, self.at.y + half)


HALF: dict[SymbolKind, int] = {
    "pump": 16, "filter": 16, "strainer": 16, "vessel": 16, "exchanger": 16, "electric": 16, "blower": 16,
    "plates": 16, "pipe end": 8,
    "valve": 12, "check valve": 12, "tee": 4, "jet": 4, "last jet": 6, "cap": 8, "arrow": 6,
}  # fmt: skip
"""Half of what each symbol measures."""


@dataclass(frozen=True, slots=True)
class Label:
    """Lines of text beside a thing: its name first; *age* is the number of the last one, if it has an age.

    *at* is where the first line begins, or its middle if *centred*; the lines stand below.
    """

    at: Point
    lines: tuple[str, ...]
    about: str = ""
    centred: bool = False
    age: bool = False
    band: Band = ""

    def moved(self, dx: int, dy: int) -> Label:
        """The same elsewhere."""
        at = Point(self.at.x + dx, self.at.y + dy)
        return Label(at, self.lines, self.about, self.centred, self.age, self.band)

    @property
    def box(self) -> Box:
        """What it covers at most."""
        wide = label_width(self.lines)
        left = self.at.x - (wide + 1) // 2 if self.centred else self.at.x
        return Box(left, self.at.y, left + wide, self.at.y + ROW_PX * len(self.lines))


def label_width(lines: tuple[str, ...]) -> int:
    """What a label takes, by letters that are rather wide."""
    first, *rest = lines
    return round(max(_BOLD * NAME_PX * len(first), *(_NARROW * TEXT_PX * len(line) for line in rest), 0))


@dataclass(frozen=True, slots=True)
class Drawing:
    """A plant as it is drawn, and the same in sentences."""

    title: str
    width: int
    height: int
    tub: Box
    tub_label: Label
    lines: tuple[Line, ...]
    symbols: tuple[Symbol, ...]
    labels: tuple[Label, ...]
    told: dict[str, str]
    """What is known of each element, by its name."""
    ways: tuple[str, ...]
    """How the water runs, a sentence for each chain of the file."""
    key: tuple[tuple[Band, str], ...]
    """What the bands mean, in words; empty where no ages are known."""

    @property
    def alternative(self) -> tuple[str, ...]:
        """All that the drawing shows, in sentences."""
        return (*self.ways, *self.told.values())
