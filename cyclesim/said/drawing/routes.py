"""A way for a line between two places that keeps off labels and symbols and crosses other lines squarely."""

from __future__ import annotations

from collections.abc import Iterable
from heapq import heappop, heappush
from itertools import pairwise

from cyclesim.said.drawing.pieces import GRID
from cyclesim.said.drawing.shapes import Box, Line, Point

_TURN, _CROSSING = 4, 12  # what each costs, in steps
_STEPS = ((1, 0), (-1, 0), (0, 1), (0, -1))
_OFF = 4  # pixels between a line and what it keeps off


class Sheet:
    """What lies on the sheet so far."""

    def __init__(self, within: Box, taken: Iterable[Box], lines: Iterable[Line]) -> None:
        self.within = within
        self.taken: set[tuple[int, int]] = set()
        self.along: set[tuple[int, int, bool]] = set()
        for box in taken:
            xs = range((box.x0 - _OFF) // GRID, (box.x1 + _OFF) // GRID + 1)
            for y in range((box.y0 - _OFF) // GRID, (box.y1 + _OFF) // GRID + 1):
                self.taken.update(
                    (x, y) for x in xs
                    if box.x0 - _OFF < x * GRID < box.x1 + _OFF and box.y0 - _OFF < y * GRID < box.y1 + _OFF
                )  # fmt: skip
        for line in lines:
            self.add(line.points)

    def add(self, points: Iterable[Point]) -> None:
        """Note a line, which others may cross and not follow."""
        for a, b in pairwise(points):
            for x in range(min(a.x, b.x) // GRID, -(-max(a.x, b.x) // GRID) + 1):
                for y in range(min(a.y, b.y) // GRID, -(-max(a.y, b.y) // GRID) + 1):
                    self.along.add((x, y, a.y == b.y))

    def route(self, start: Point, end: Point) -> tuple[Point, ...]:
        """The corners of a line from *start* to *end*; straight across everything where there is no other."""
        goal = end.x // GRID, end.y // GRID
        first = (start.x // GRID, start.y // GRID, -1)
        costs, came = {first: 0}, dict[tuple[int, int, int], tuple[int, int, int]]()
        queue = [(0, 0, first)]
        while queue:
            _, cost, at = heappop(queue)
            if at[:2] == goal:
                return _corners(at, came, start, end)
            if cost > costs[at]:
                continue
            for nxt, step in self._from(at, goal):
                if cost + step < costs.get(nxt, 1 << 30):
                    costs[nxt], came[nxt] = cost + step, at
                    left = abs(nxt[0] - goal[0]) + abs(nxt[1] - goal[1])
                    heappush(queue, (cost + step + left, cost + step, nxt))
        return start, end

    def _from(
        self, at: tuple[int, int, int], goal: tuple[int, int]
    ) -> Iterable[tuple[tuple[int, int, int], int]]:
        x, y, heading = at
        met = heading >= 0 and ((x, y, True) in self.along or (x, y, False) in self.along)
        for k, (dx, dy) in enumerate(_STEPS):
            if met and k != heading:
                continue  # no corner on another line
            spot = x + dx, y + dy
            level = dy == 0
            if spot != goal and (spot in self.taken or not self._inside(spot)):
                continue
            if (*spot, level) in self.along and spot != goal:
                continue
            if (x, y, level) in self.along and (*spot, level) in self.along:
                continue
            cost = 1 + (_TURN if heading not in (-1, k) else 0)
            cost += _CROSSING if (*spot, not level) in self.along else 0
            yield (*spot, k), cost

    def _inside(self, spot: tuple[int, int]) -> bool:
        box = self.within
        return box.x0 <= spot[0] * GRID <= box.x1 and box.y0 <= spot[1] * GRID <= box.y1


def _corners(
    at: tuple[int, int, int],
    came: dict[tuple[int, int, int], tuple[int, int, int]],
    start: Point,
    end: Point,
) -> tuple[Point, ...]:
    points = [end]
    while at in came:
        before = came[at]
        if before[2] != at[2] and before in came:
            points.append(Point(before[0] * GRID, before[1] * GRID))
        at = before
    return (start, *reversed(points))
