"""Where everything stands: boxes side by side and one after the other, and ways that turn back to the tub.

A piece is laid out round its own origin and moved into place. Whatever touches another piece lies on a grid
of GRID pixels. A way from the tub runs east along the bottom, north through the machines and west along the
top; the next way goes round it, so that none crosses another.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

from cyclesim.said.drawing.joined import Part, Run, Split, Tee
from cyclesim.said.drawing.shapes import Box, Label, Line, LineKind, Point, Symbol, Way

GRID = 8
_GAP, _ROWS_APART = 3 * GRID, 2 * GRID
_STEP: dict[Way, tuple[int, int]] = {"east": (1, 0), "west": (-1, 0), "north": (0, -1)}


@dataclass
class DrawnPart:
    """Shapes that have their place towards each other, and where water enters and leaves them."""

    inlets: list[Point]
    outlets: list[Point]
    box: Box
    lines: list[Line] = field(default_factory=list)
    symbols: list[Symbol] = field(default_factory=list)
    labels: list[Label] = field(default_factory=list)
    tees: dict[str, Point] = field(default_factory=dict)
    rows_low: list[Box] = field(default_factory=list)
    """What stands on the suction side of ways that turn back, and on the return side."""
    rows_high: list[Box] = field(default_factory=list)

    def moved(self, dx: int, dy: int) -> DrawnPart:
        """The same elsewhere."""
        return DrawnPart(
            [Point(p.x + dx, p.y + dy) for p in self.inlets],
            [Point(p.x + dx, p.y + dy) for p in self.outlets],
            self.box.moved(dx, dy),
            [line.moved(dx, dy) for line in self.lines],
            [symbol.moved(dx, dy) for symbol in self.symbols],
            [label.moved(dx, dy) for label in self.labels],
            {name: Point(p.x + dx, p.y + dy) for name, p in self.tees.items()},
            [box.moved(dx, dy) for box in self.rows_low],
            [box.moved(dx, dy) for box in self.rows_high],
        )

    def take(self, other: DrawnPart) -> None:
        """Put in all shapes of another; ends stay."""
        self.box = self.box.joined(other.box)
        self.lines += other.lines
        self.symbols += other.symbols
        self.labels += other.labels
        self.tees |= other.tees

    def joint(self, *points: Point, kind: LineKind = "joint") -> None:
        """A line that joins these, unless they are one."""
        distinct = [p for k, p in enumerate(points) if not k or p != points[k - 1]]
        if len(distinct) > 1:
            self.lines.append(Line(tuple(distinct), kind))

    def out_to(self, x: int) -> list[Point]:
        """Lead every outlet west to *x*; the ends there."""
        sprays = {line.points[-1] for line in self.lines if line.kind == "spray"}
        ends = [Point(x, p.y) for p in self.outlets]
        for p, end in zip(self.outlets, ends, strict=True):
            self.joint(p, end, kind="spray" if p in sprays else "joint")
        return ends


Element = Callable[[str | Tee, Way], DrawnPart]
"""The piece of one element, by its name and the way of its water."""


@dataclass(frozen=True, slots=True)
class Layout:
    """Lays out runs; *element* knows what each name is, *machine* which of them stand in the pump room."""

    element: Element
    machines: frozenset[str]
    legs: frozenset[str]

    def straight(self, run: Sequence[Part], way: Way) -> DrawnPart:
        """A run in one direction."""
        pieces = [
            self._side_by_side(part, way) if isinstance(part, Split) else self.element(part, way)
            for part in run
        ] or [_point()]
        whole = pieces[0]
        for piece in pieces[1:]:
            whole = _one_after(whole, piece, way)
        return whole

    def _side_by_side(self, split: Split, way: Way) -> DrawnPart:
        """Branches below each other, in a column beside: flush at the tub's side, drawn out at the other."""
        pieces, edge = list[DrawnPart](), 0
        for branch in split.branches:
            piece = self.straight(branch, way)
            if way == "north":
                piece = piece.moved(edge - piece.box.x0, -piece.box.y1)
                edge = piece.box.x1 + _GAP
            else:
                piece = piece.moved(-piece.box.x0, edge - piece.box.y0)
                edge = piece.box.y1 + _ROWS_APART
            pieces.append(piece)
        around = _around(piece.box for piece in pieces)
        whole = DrawnPart([], [], pieces[0].box)
        for piece in pieces:
            whole.take(piece)
            shut, loose = (piece.outlets, piece.inlets) if way == "west" else (piece.inlets, piece.outlets)
            ends = [Point(p.x, around.y0) if way == "north" else Point(around.x1, p.y) for p in loose]
            for p, end in zip(loose, ends, strict=True):
                whole.joint(p, end)
            whole.inlets += ends if way == "west" else shut
            whole.outlets += shut if way == "west" else ends
        return whole

    def nested(self, runs: Sequence[Run], low_x: int = 0, high_x: int = 0) -> DrawnPart:
        """Ways that turn back, each round the one before.

        They begin at *low_x* and end at *high_x*, which are below 0 where what they share with others stands
        between there and 0 on the other side.
        """
        whole = DrawnPart([], [], Box(0, 0, 0, 0))
        bent = [self._bent(run) for run in runs]
        for suction, core, back in sorted(bent, key=lambda parts: not self._turns(parts[1])):
            turns, is_first = self._turns(core), not whole.inlets
            if turns and is_first and not (suction and back):
                self._turned_alone(whole, turns, suction, back, low_x, high_x)
                continue
            low, high = self.straight(suction, "east"), self.straight(back, "west")
            room = self.nested(turns.branches) if turns else self.straight(core, "north")
            inner = whole.box
            low = low.moved(low_x - low.box.x0, inner.y1 + _ROWS_APART - low.box.y0)
            high = high.moved(high_x - high.box.x0, inner.y0 - _ROWS_APART - high.box.y1)
            bottom, top = min(p.y for p in low.outlets), max(p.y for p in high.inlets)
            more = 0 if turns else max(0, _tall(room.box) + 4 * GRID - (bottom - top))
            down = _on_grid(more / 2)
            low, high = low.moved(0, down), high.moved(0, down - _up(more))
            bottom, top = bottom + down, top + down - _up(more)
            left = max(inner.x1, low.box.x1, high.box.x1) + (2 * _GAP if turns else _GAP)
            middle = _on_grid((bottom + top) / 2 - (room.box.y0 + room.box.y1) / 2)
            room = room.moved(left - room.box.x0, middle)
            for piece in (low, high, room):
                whole.take(piece)
            if turns:
                bar = room.box.x0 - _GAP
                _bar(whole, low.outlets, room.inlets, bar, "east")
                _bar(whole, room.outlets, high.inlets, bar, "east")
            else:
                _turn(whole, low.outlets, room.inlets)
                _turn(whole, high.inlets, room.outlets)
            whole.rows_low.append(low.box)
            whole.rows_high.append(high.box)
            whole.inlets += low.inlets
            whole.outlets += high.outlets
        return whole

    def _turned_alone(
        self, whole: DrawnPart, turns: Split, suction: Run, back: Run, low_x: int, high_x: int
    ) -> None:
        """Branches with a suction or a return in common, or neither; what is their own reaches out as far."""
        shared = self.straight(suction or back, "east" if suction else "west")
        left = shared.box.x1 - shared.box.x0 + 2 * _GAP
        room = self.nested(turns.branches, 0 if suction else low_x - left, 0 if back else high_x - left)
        room = room.moved(left, 0)
        whole.box = room.box
        whole.take(room)
        if suction:
            free = max(box.y1 for box in room.rows_high) + _ROWS_APART - shared.box.y0
            across = _on_grid(_mid(p.y for p in room.inlets) - _mid(p.y for p in shared.outlets))
            shared = shared.moved(low_x - shared.box.x0, max(free, across))
            _bar(whole, shared.outlets, room.inlets, left - _GAP, "east")
        elif back:
            free = min(box.y0 for box in room.rows_low) - _ROWS_APART - shared.box.y1
            across = _on_grid(_mid(p.y for p in room.outlets) - _mid(p.y for p in shared.inlets))
            shared = shared.moved(high_x - shared.box.x0, min(free, across))
            _bar(whole, room.outlets, shared.inlets, left - _GAP, "east")
        if suction or back:
            whole.take(shared)
        whole.rows_low = [shared.box] if suction else room.rows_low
        whole.rows_high = [shared.box] if back else room.rows_high
        whole.inlets += shared.inlets if suction else room.inlets
        whole.outlets += shared.outlets if back else room.outlets

    def _bent(self, run: Run) -> tuple[Run, Run, Run]:
        """What comes before the first machine, up to the last, and after it."""
        at = [k for k, part in enumerate(run) if self._has(part, self.machines)]
        if not at:
            return run, (), ()
        return run[: at[0]], run[at[0] : at[-1] + 1], run[at[-1] + 1 :]

    def _turns(self, core: Run) -> Split | None:
        """The branches that lead through the machines and back, each by legs of its own."""
        first = core[0] if core else ""
        return first if len(core) == 1 and isinstance(first, Split) and self._has(first, self.legs) else None

    def _has(self, part: Part, names: frozenset[str]) -> bool:
        if isinstance(part, Split):
            return any(self._has(inner, names) for branch in part.branches for inner in branch)
        return part in names


def _point() -> DrawnPart:
    """Nothing but a place."""
    return DrawnPart([Point(0, 0)], [Point(0, 0)], Box(0, -GRID, 0, GRID))


def _one_after(before: DrawnPart, after: DrawnPart, way: Way) -> DrawnPart:
    """Two pieces in a row, joined by a line, or by a bar where either has several ends."""
    bars = len(before.outlets) + len(after.inlets) > 2
    gap = _GAP if bars else 0
    dx, dy = _STEP[way]
    if way == "north":
        across = _on_grid(_mid(p.x for p in before.outlets) - _mid(p.x for p in after.inlets))
        after = after.moved(across, before.box.y0 - gap - after.box.y1)
    else:
        across = _on_grid(_mid(p.y for p in before.outlets) - _mid(p.y for p in after.inlets))
        start = before.box.x1 + gap - after.box.x0 if dx > 0 else before.box.x0 - gap - after.box.x1
        after = after.moved(start, across)
    whole = DrawnPart(before.inlets, after.outlets, before.box)
    whole.take(before)
    whole.take(after)
    if bars:
        middle = _front(before.box, way) + gap // 3 * (dx + dy)
        _bar(whole, before.outlets, after.inlets, middle, way)
    else:
        whole.joint(before.outlets[0], after.inlets[0])
    return whole


def _bar(whole: DrawnPart, ones: Sequence[Point], others: Sequence[Point], at: int, way: Way) -> None:
    """A line across the way at *at* that joins all ends."""
    ends = [Point(p.x, at) if way == "north" else Point(at, p.y) for p in (*ones, *others)]
    for end, p in zip(ends, (*ones, *others), strict=True):
        whole.joint(p, end)
    whole.joint(min(ends), max(ends))


def _turn(whole: DrawnPart, row: Sequence[Point], column: Sequence[Point]) -> None:
    """From the ends of a row round the corner to those of a column."""
    x = _on_grid(_mid(p.x for p in column))
    if len(column) > 1:
        y = column[0].y + (_GAP // 3 if row[0].y > column[0].y else -_GAP // 3)
        _bar(whole, column, [Point(x, y)], y, "north")
        column = [Point(x, y)]
    ys = [p.y for p in row]
    nearest = min(ys, key=lambda y: abs(y - column[0].y))
    for p in row:
        whole.joint(p, Point(x, p.y))
    whole.joint(Point(x, max(ys, key=lambda y: abs(y - nearest))), Point(x, nearest), column[0])


def through(lines: Iterable[Line]) -> list[Line]:
    """The same lines, those joints drawn as one that meet end to end with no third."""
    kept, joints = list[Line](), list[tuple[Point, ...]]()
    for line in lines:
        if line.kind == "joint":
            joints.append(line.points)
        else:
            kept.append(line)
    at: dict[Point, set[int]] = {}
    for k, points in enumerate(joints):
        for p in (points[0], points[-1]):
            at.setdefault(p, set()).add(k)
    for p in at:
        if len(at[p]) != 2:
            continue
        one, other = sorted(at[p])
        first, second = joints[one], joints[other]
        first = first if first[-1] == p else first[::-1]
        second = second if second[0] == p else second[::-1]
        joints[one], joints[other] = _corners((*first, *second[1:])), ()
        at[second[-1]] = at[second[-1]] - {other} | {one}
    return [*(Line(points) for points in joints if points), *kept]


def _corners(points: tuple[Point, ...]) -> tuple[Point, ...]:
    """Without those in the middle of a straight line."""
    inner = zip(points, points[1:], points[2:], strict=False)
    turning = [b for a, b, c in inner if not (a.x == b.x == c.x or a.y == b.y == c.y)]
    return (points[0], *turning, points[-1])


def _front(box: Box, way: Way) -> int:
    return {"east": box.x1, "west": box.x0, "north": box.y0}[way]


def _around(boxes: Iterable[Box]) -> Box:
    first, *rest = boxes
    for box in rest:
        first = first.joined(box)
    return first


def _tall(box: Box) -> int:
    return box.y1 - box.y0


def _mid(values: Iterable[int]) -> float:
    known = list(values)
    return (min(known) + max(known)) / 2


def _on_grid(value: float) -> int:
    return GRID * round(value / GRID)


def _up(value: float) -> int:
    return -GRID * int(-value // GRID)
