"""A way for a line between two places that keeps off labels and symbols and crosses other lines squarely."""

from __future__ import annotations

from collections.abc import Iterable
from heapq import heappop, heappush
from itertools import pairwise

from cyclesim.said.drawing.pieces import GRID
from cyclesim.said.drawing.shapes import Box, Line, Point

_TURN, _CROSSING = 4, 8  # what each costs, in steps
_OFF = 4  # pixels between a line and what it keeps off
_TAKEN, _LEVEL, _UPRIGHT = 1, 2, 4  # what a place of the grid holds
_FAR = 1 << 30


class Grid:
    """What lies on the sheet so far, place by place of a grid with a rim that nothing may enter."""

    def __init__(self, within: Box, taken: Iterable[Box], lines: Iterable[Line]) -> None:
        self.x0, self.y0 = within.x0 // GRID - 1, within.y0 // GRID - 1
        self.wide = -(-within.x1 // GRID) + 2 - self.x0
        self.high = -(-within.y1 // GRID) + 2 - self.y0
        self.holds = bytearray(self.wide * self.high)
        for x in range(self.wide):
            self.holds[x] = self.holds[(self.high - 1) * self.wide + x] = _TAKEN
        for y in range(self.high):
            self.holds[y * self.wide] = self.holds[(y + 1) * self.wide - 1] = _TAKEN
        for box in taken:
            across = range(-(-(box.x0 - _OFF + 1) // GRID), (box.x1 + _OFF - 1) // GRID + 1)
            for y in range(-(-(box.y0 - _OFF + 1) // GRID), (box.y1 + _OFF - 1) // GRID + 1):
                for x in across:
                    self._put(x, y, _TAKEN)
        for line in lines:
            self.add(line.points)

    def add(self, points: Iterable[Point]) -> None:
        """Note a line, which others may cross and not follow."""
        for a, b in pairwise(points):
            for x in range(min(a.x, b.x) // GRID, -(-max(a.x, b.x) // GRID) + 1):
                for y in range(min(a.y, b.y) // GRID, -(-max(a.y, b.y) // GRID) + 1):
                    self._put(x, y, _LEVEL if a.y == b.y else _UPRIGHT)

    def _put(self, x: int, y: int, what: int) -> None:
        column, row = x - self.x0, y - self.y0
        if 0 <= column < self.wide and 0 <= row < self.high:
            self.holds[row * self.wide + column] |= what

    def route(self, start: Point, end: Point) -> tuple[Point, ...]:
        """The corners of a line from *start* to *end*; straight across everything where there is no other.

        A state is a place and the step that led to it: four of each place, and one to begin with.
        """
        wide, holds = self.wide, self.holds
        steps = (1, -1, wide, -wide)
        begin, goal = self._place(start), self._place(end)
        goal_y, goal_x = divmod(goal, wide)
        costs, came = {4 * begin + 4 * len(holds): 0}, dict[int, int]()
        queue = [(0, 0, 4 * begin + 4 * len(holds))]
        while queue:
            _, cost, state = heappop(queue)
            at, heading = divmod(state, 4)
            is_first = at >= len(holds)
            at -= len(holds) * is_first
            if at == goal:
                return self._corners(state, came, start, end)
            if cost > costs[state]:
                continue
            here = holds[at]
            on_line = not is_first and here & (_LEVEL | _UPRIGHT)
            for k, step in enumerate(steps):
                if on_line and k != heading:
                    continue  # no corner on another line
                place, along = at + step, _LEVEL if k < 2 else _UPRIGHT
                there = holds[place]
                if (place != goal and there & (_TAKEN | along)) or here & there & along:
                    continue
                total = cost + 1 + (0 if is_first or k == heading else _TURN)
                if there & (_UPRIGHT if k < 2 else _LEVEL):
                    total += _CROSSING
                following = 4 * place + k
                if total < costs.get(following, _FAR):
                    costs[following], came[following] = total, state
                    y, x = divmod(place, wide)
                    left = abs(x - goal_x) + abs(y - goal_y)
                    heappush(queue, (total + left, total, following))
        return start, end

    def _place(self, p: Point) -> int:
        return (p.y // GRID - self.y0) * self.wide + p.x // GRID - self.x0

    def _corners(self, state: int, came: dict[int, int], start: Point, end: Point) -> tuple[Point, ...]:
        points = [end]
        while (before := came[state]) in came:
            if before % 4 != state % 4:
                y, x = divmod(before // 4, self.wide)
                points.append(Point(GRID * (x + self.x0), GRID * (y + self.y0)))
            state = before
        return (start, *reversed(points))
