"""A search in time: each state with how long every timer has run, as bounds on differences of times.

A search by the order of timers finds one way to each state, and some of its ways fit no clock. Here a state
is followed once for every set of times in which it can be come to; such a set is a zone, the bounds between
any two of the running timers, the last pass and now (as in timed automata: Alur and Dill, 1994, from memory,
not opened). A way that is found fits some seconds; where none is left, the order is possible in none.
"""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Iterator
from math import inf
from typing import NamedTuple

from cyclesim.errors import CycleSimError
from cyclesim.verification.automaton import Automaton, Move, Node
from cyclesim.verification.search import Explored, Judge

MOST_STATES, MOST_ZONES = 15_000, 8_000
_NOW, _PASS = -2, -1
_Stage = int
"""Which of the searches, each with a fault more than the one before."""
Way = list[tuple[Automaton, Move | None, Node]]


class TooManyWaysError(CycleSimError):
    """More ways in time than are worth waiting for: the order is not decided."""


class ClockZone(NamedTuple):
    """How long ago each clock began, at most and at least: `most[i][j]` bounds clock i less clock j."""

    clocks: tuple[int, ...]
    """Now, the last pass, and each running timer."""
    most: tuple[tuple[float, ...], ...]

    def within(self, other: ClockZone) -> bool:
        """Whether each of its times is one of the other's."""
        return all(
            a <= b
            for mine, others in zip(self.most, other.most, strict=True)
            for a, b in zip(mine, others, strict=True)
        )


class Asks(NamedTuple):
    """What a move asks of the clocks, and what it makes of them."""

    at_most: tuple[tuple[int, float], ...]
    at_least: tuple[tuple[int, float], ...]
    run: tuple[tuple[int, bool], ...]
    """The clocks after it, and whether each begins with it."""


class Step(NamedTuple):
    """A move, with what it asks of the clocks."""

    stage: _Stage
    node: Node
    move: Move
    asks: Asks


def ways(explored: Explored, judge: Judge) -> Iterator[tuple[Way, str]]:
    """Ways in time to states of a search that break a rule, the shortest first, and why each breaks it.

    Raises TooManyWaysError where they cannot be told apart soon enough.
    """
    searches = [explored]
    while searches[0].before is not None:
        searches.insert(0, searches[0].before)
    return _Search([one.automaton for one in searches], judge).ways()


class _Search:
    def __init__(self, automata: list[Automaton], judge: Judge) -> None:
        self.automata, self.judge = automata, judge
        self.last = len(automata) - 1
        self.steps: dict[tuple[_Stage, Node], list[Step]] = {}
        self.broken: dict[Node, str] = {}

    def ways(self) -> Iterator[tuple[Way, str]]:
        """Breadth first over zones, among the states from which a broken one can be come to."""
        starts = [(0, node) for node in self.automata[0].starts()]
        leads = self._leading(starts)
        came: list[tuple[int, _Stage, Move | None, Node]] = []
        known: dict[tuple[_Stage, Node], list[ClockZone]] = defaultdict(list)
        waiting: deque[tuple[int, ClockZone]] = deque()
        for stage, node in starts:
            if (stage, node) in leads:
                running = tuple(i for i, left in enumerate(node.timers) if left)
                clocks = (_NOW, _PASS, *running)
                zone = ClockZone(clocks, ((0.0,) * len(clocks),) * len(clocks))
                came.append((-1, stage, None, node))
                waiting.append((len(came) - 1, zone))
        told: set[Node] = set()
        while waiting:
            place, zone = waiting.popleft()
            _, stage, _, node = came[place]
            if stage == self.last and node in self.broken:
                if node not in told:
                    told.add(node)
                    yield self._way(came, place), self.broken[node]
                continue
            done: dict[Asks, ClockZone | None] = {}
            for step in self.steps[stage, node]:
                key = step.stage, step.node
                if key not in leads:
                    continue
                if step.asks not in done:
                    done[step.asks] = _after(zone, step.asks)
                after = done[step.asks]
                if after is None or any(after.within(other) for other in known[key]):
                    continue
                known[key] = [other for other in known[key] if not other.within(after)] + [after]
                came.append((place, step.stage, step.move, step.node))
                waiting.append((len(came) - 1, after))
                if len(came) > MOST_ZONES:
                    raise TooManyWaysError(f"more than {MOST_ZONES} ways in time")

    def _way(self, came: list[tuple[int, _Stage, Move | None, Node]], place: int) -> Way:
        way: Way = []
        while place >= 0:
            place, stage, move, node = came[place]
            way.append((self.automata[stage], move, node))
        return way[::-1]

    def _leading(self, starts: list[tuple[_Stage, Node]]) -> set[tuple[_Stage, Node]]:
        """The states from which some order leads to one that breaks the rule."""
        waiting, seen = deque(starts), set(starts)
        before: dict[tuple[_Stage, Node], list[tuple[_Stage, Node]]] = defaultdict(list)
        while waiting:
            here = waiting.popleft()
            if here[0] == self.last and (why := self.judge(here[1])):
                self.broken[here[1]] = why
                continue  # whatever comes after it, it is broken
            self.steps[here] = list(self._from(*here))
            for step in self.steps[here]:
                before[step.stage, step.node].append(here)
                if (step.stage, step.node) not in seen:
                    seen.add((step.stage, step.node))
                    waiting.append((step.stage, step.node))
            if len(seen) > MOST_STATES:
                raise TooManyWaysError(f"more than {MOST_STATES} states")
        leads = {(self.last, node) for node in self.broken}
        back = list(leads)
        while back:
            for one in before[back.pop()]:
                if one not in leads:
                    leads.add(one)
                    back.append(one)
        return leads

    def _from(self, stage: _Stage, node: Node) -> Iterator[Step]:
        automaton = self.automata[stage]
        due = automaton.is_due(node)
        for move, after in automaton.moves(node):
            yield _step(automaton, node, due, stage, move, after)
        if stage < self.last:
            move, after = self.automata[stage + 1].onset(node, automaton)
            yield _step(automaton, node, due, stage + 1, move, after)


def _step(automaton: Automaton, node: Node, due: bool, stage: _Stage, move: Move, after: Node) -> Step:
    """What a move asks of the clocks: a timer ends when it has lasted, and no other goes on beyond that."""
    seen_first = automaton.controller_timers
    silent = bool(move.ended) and all(i >= seen_first for i in move.ended)
    at_most: dict[int, float] = {_PASS: 1.0} if due else {}
    at_least: dict[int, float] = {} if silent else {_PASS: 1.0}
    for i, left in enumerate(node.timers):
        if left:
            lasts = automaton.timer_lasts_s(node, i)
            if i in move.ended:
                at_most[i] = at_least[i] = lasts
            else:  # it goes on, or is stopped no later than it would have ended
                at_most[i] = lasts - automaton.spare_s(i, silent)
    run = [(_NOW, True), (_PASS, not silent)]
    for i, left in enumerate(after.timers):
        if left:
            moved = i < automaton.machine_count and after.state[i] != node.state[i]
            run.append((i, moved or i in move.ended or not node.timers[i]))
    asks = Asks(tuple(at_most.items()), tuple(at_least.items()), tuple(run))
    return Step(stage, after, move, asks)


def _after(zone: ClockZone, asks: Asks) -> ClockZone | None:
    """Time goes by, the move comes, and some clocks begin anew; None where it cannot come at any time."""
    place = {clock: k for k, clock in enumerate(zone.clocks)}
    rows = [list(row) for row in zone.most]
    for row in rows[1:]:
        row[0] = inf  # any time may go by
    for clock, most_s in asks.at_most:
        k = place[clock]
        rows[k][0] = min(rows[k][0], most_s)
    for clock, least_s in asks.at_least:
        k = place[clock]
        rows[0][k] = min(rows[0][k], -least_s)
    if not _tightened(rows):
        return None
    of = [0 if begins else place[clock] for clock, begins in asks.run]  # what begins is as old as now
    return ClockZone(tuple(c for c, _ in asks.run), tuple(tuple(rows[a][b] for b in of) for a in of))


def _tightened(rows: list[list[float]]) -> bool:
    """Each bound as tight as the others make it (Floyd and Warshall); False where no time keeps them all."""
    n = range(len(rows))
    for k in n:
        through = rows[k]
        for row in rows:
            to_k = row[k]
            if to_k < inf:
                for j in n:
                    if to_k + through[j] < row[j]:
                        row[j] = to_k + through[j]
    return all(rows[k][k] >= -1e-9 for k in n)
