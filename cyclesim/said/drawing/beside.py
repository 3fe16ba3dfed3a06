"""A symbol or a leg with its label beside it: above, or to the right where water flows north."""

from __future__ import annotations

from cyclesim.said.drawing.pieces import GRID, DrawnPart
from cyclesim.said.drawing.shapes import HALF, ROW_PX, Band, Box, Label, Line, Point, Symbol, Way, label_width

CLEAR, COLUMN_CLEAR = 4, 8  # between a symbol and its label


def at_symbol(symbol: Symbol, lines: tuple[str, ...], way: Way, *, age: bool = False) -> DrawnPart:
    """A symbol in the middle of a line of its own, with a label."""
    half = HALF[symbol.kind]
    wide, high = label_width(lines), ROW_PX * len(lines)
    beside = max(wide, 2 * half) if way != "north" else max(high, 2 * half)
    long = even(beside + 2 * GRID)
    middle = along(way, long // 2)
    ends = along(way, 0), along(way, long)
    edges = along(way, long // 2 - half), along(way, long // 2 + half)
    joints = [Line((ends[0], edges[0])), Line((edges[1], ends[1]))]
    if symbol.kind == "tee":
        joints = [Line(ends)]
    label = label_beside(lines, symbol.about, way, long, half, age=age, band=symbol.band)
    placed = symbol.moved(*middle)
    return DrawnPart([ends[0]], [ends[1]], box_of(way, long, half, label.box), joints, [placed], [label],
                 {symbol.about: middle} if symbol.kind == "tee" else {})  # fmt: skip


def label_beside(
    lines: tuple[str, ...], about: str, way: Way, long: int, half: int, *, age: bool, band: Band
) -> Label:
    """Above the middle of what is *long*, or to its right where water flows north."""
    middle, high = along(way, long // 2), ROW_PX * len(lines)
    if way == "north":
        return Label(Point(half + COLUMN_CLEAR, middle.y - high // 2), lines, about, False, age, band)
    return Label(Point(middle.x, -half - CLEAR - high), lines, about, True, age, band)


def box_of(way: Way, long: int, half: int, label: Box) -> Box:
    """What all covers, out to the grid."""
    if way == "north":
        return out_to_grid(Box(-half, -long, half, 0), label)
    x = long if way == "east" else -long
    return out_to_grid(Box(min(0, x), -half, max(0, x), half), label)


def out_to_grid(first: Box, *others: Box) -> Box:
    """The smallest box on the grid that covers all of these."""
    for other in others:
        first = first.joined(other)
    return Box(*(GRID * (v // GRID) for v in first[:2]), *(-GRID * (-v // GRID) for v in first[2:]))


def along(way: Way, spot: int) -> Point:
    """The place so far on the way of the water."""
    return {"east": Point(spot, 0), "west": Point(-spot, 0), "north": Point(0, -spot)}[way]


def even(value: float) -> int:
    """Up to a length whose middle is on the grid."""
    return 2 * GRID * int(-(-value // (2 * GRID)))
