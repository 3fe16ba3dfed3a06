"""What has water or a place of its own: the ring behind plates, the trench in which legs lie."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from cyclesim.said.drawing.beside import CLEAR, COLUMN_CLEAR, along, at_symbol, even, out_to_grid
from cyclesim.said.drawing.pieces import GRID, DrawnPart
from cyclesim.said.drawing.shapes import HALF, ROW_PX, Box, Label, Line, Point, Symbol, Way, label_width

_PLATES = HALF["exchanger"]
_PORT = GRID  # from the middle of the plates to where own water enters and leaves
_DITCH_PX, _SLOPE_PX = 6 * GRID, 3 * GRID

Labelled = tuple[Symbol, tuple[str, ...]]
"""A symbol at no place yet, and the lines of its label."""


def ring(plates: Labelled, circulator: Labelled, source: Labelled, way: Way, *, age: bool) -> DrawnPart:
    """Plates on the way of the tub's water, and beside them the ring of own water: its pump, its source.

    The ring lies to the right of plates through which water flows north, else below them; *age*: whether
    the last line beside the plates is the age of the tub's water in them.
    """
    north, (symbol, lines), turns = way == "north", plates, circulator[0].about
    run: Way = "north" if north else "east"
    first, second = (at_symbol(replace(one, way=run), told, run) for one, told in (circulator, source))
    second = second.moved(*first.outlets[0])
    turned = DrawnPart(first.inlets, second.outlets, first.box)
    turned.take(first)
    turned.take(second)
    turned.lines = [replace(line, kind="own", about=turns) for line in turned.lines]
    start, end = turned.inlets[0], turned.outlets[0]
    wide, high = label_width(lines), ROW_PX * len(lines)
    long = even(max(abs(end.x + end.y), wide) + 2 * GRID)
    middle, half = along(way, long // 2), long // 2 - _PLATES
    whole = DrawnPart([Point(0, 0)], [along(way, long)], Box(0, 0, 0, 0))
    whole.joint(Point(0, 0), along(way, half))
    whole.joint(along(way, long - half), along(way, long))
    whole.symbols.append(symbol.moved(*middle))
    if north:
        near = _PLATES + 2 * GRID  # the ring's side towards the plates; their label stands within it
        label = Point(near + COLUMN_CLEAR, middle.y - high // 2)
        far = GRID * -(-(label.x + wide + HALF["pump"] + COLUMN_CLEAR) // GRID)
        turned = turned.moved(far, middle.y - (start.y + end.y) // 2)
        start, end = turned.inlets[0], turned.outlets[0]
        ports = [Point(_PLATES, middle.y + side * _PORT) for side in (1, -1)]
        ways = [(p, Point(near, p.y), Point(near, q.y), q) for p, q in zip(ports, (start, end), strict=True)]
    else:
        near = _PLATES + GRID
        label = Point(middle.x, -_PLATES - CLEAR - high)
        turned = turned.moved(middle.x - (start.x + end.x) // 2, near + GRID - turned.box.y0)
        start, end = turned.inlets[0], turned.outlets[0]
        ports = [Point(middle.x + side * _PORT, _PLATES) for side in (-1, 1)]
        ways = [(p, Point(p.x, near), Point(q.x, near), q) for p, q in zip(ports, (start, end), strict=True)]
    whole.take(turned)
    whole.lines += [Line(points, "own", turns) for points in ways]
    whole.labels.append(Label(label, lines, symbol.about, not north, age, symbol.band))
    boxes = [line.box for line in whole.lines]
    boxes += [one.box for one in whole.symbols] + [label.box for label in whole.labels]
    whole.box = out_to_grid(*boxes)
    return whole


def trench(about: str, lines: tuple[str, ...], legs: Sequence[str]) -> DrawnPart:
    """A trench cut across, its legs side by side in their order."""
    whole = DrawnPart([Point(0, 0)], [Point(0, 0)], Box(0, 0, 0, 0))
    title = Label(Point(0, -CLEAR - ROW_PX * len(lines)), lines, about)
    x = _SLOPE_PX
    for name in legs:
        cell = even(max(label_width((name,)), 2 * HALF["pipe end"]) + 2 * GRID)
        spot = Point(x + cell // 2, _DITCH_PX - HALF["pipe end"] - CLEAR)
        whole.symbols.append(Symbol("pipe end", spot, about=name))
        whole.labels.append(Label(Point(spot.x, _DITCH_PX + CLEAR), (name,), name, centred=True))
        x += cell
    ground = [(0, 0), (_SLOPE_PX, 0), (_SLOPE_PX, _DITCH_PX), (x, _DITCH_PX), (x, 0), (x + _SLOPE_PX, 0)]
    whole.lines.append(Line(tuple(Point(*spot) for spot in ground), "ground", about))
    whole.labels.append(title)
    whole.box = out_to_grid(whole.lines[0].box, *(label.box for label in whole.labels))
    return whole
