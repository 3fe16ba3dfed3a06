"""Placing runs on the circle of a day: an integer programme, solved by HiGHS.

A variable is one run at one slot. Whatever a run renews is fresh from the moment that tub water has gone
through the leg until the run ends, and is then as old as tub water takes to get there. Water in a leg is
never older than its limit exactly if every stretch of the day as long as the limit meets a fresh moment. So
each stretch that begins as some run ends asks for one run or more out of those that reach into it.

Placing and running are apart. `placing` knows duties, volumes, clocks and prices, and is exact: water in a
leg keeps its limit just if every stretch of the day as long as the limit meets a moment at which the leg is
fresh. The run knows everything else; where it finds water older than was placed for (a night an hour longer,
heating in between), the placing gets that much less time and is tried again. Nothing is told that a run of
the whole span did not hold.

A programme leans on nothing but itself: what heating, frost protection and bathers move is in the run, not in
the placing. A stretch over the night in which the clock goes back is an hour longer. So the lower bound on
flushes holds on a mild day when nobody comes, and a programme does not go stale when heating is off.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from cyclesim.decide.tuning.space import DAY_S, FILTER, FLUSH, RunKind, Space
from cyclesim.scenario.forms.pumping import Pumping

Least = Literal["cost", "wait", "flushes", "any"]
_MOST_NODES = 50
"""A search is cut short by its size, so that a busy machine answers alike; shipped plants need five."""
_TIME_LIMIT_S = 300.0
"""By the clock, so that none goes on for ever."""
_SLACK_S = 1e-6
MANY = {FILTER: "filter runs", FLUSH: "line flushes"}
_ALIKE = 0.001
"""Placements whose cost differs by less than this share cost the same."""
_MOST_FILTER_RUNS = 4
"""Where the controller takes any number."""
_FLUSHES_MORE = 2
"""So many flushes more than the fewest are tried, for those who want water fresher."""
_CLOSED = 0
"""HiGHS by scipy: an optimum that was proven; 2 is infeasible, 1 a limit of time."""


class Order(NamedTuple):
    """What a programme is asked for."""

    kinds: tuple[RunKind, ...]
    within_s: Mapping[str, float]
    """Leg -> the oldest that its water may get before the next run has renewed it [s]."""
    wanted_m3: float
    """What the filter must pass in a day."""
    flushes: int | None = None
    """Exactly so many in a day, or any number that the controller takes."""
    filter_runs: int | None = None
    least: Least = "cost"

    @classmethod
    def of(cls, space: Space, kinds: Sequence[RunKind] | None = None) -> Order:
        """The cheapest programme of some kinds, or of all."""
        return cls(space.kinds if kinds is None else tuple(kinds), space.legs, space.wanted_m3)


Runs = tuple[tuple[RunKind, int], ...]
"""Each run with the slot in which it starts."""


@dataclass(frozen=True, slots=True)
class Placement:
    """Runs that keep an order, and whether none is better; no runs where nothing keeps it."""

    runs: Runs | None
    closed: bool
    least: float = math.inf
    """What no placement is below, of what was to be least, however far the search was carried."""


def place(space: Space, order: Order) -> Placement:
    """The best placement that keeps an order, with a longest wait that is short for its cost.

    Of those that cost the least it has the shortest, within a step, unless its runs could not be more evenly
    apart. The freshest has the shortest longest wait at any cost, and of those the least cost.
    """
    best = solve(space, order)
    if best.runs is None or order.least in ("flushes", "any"):
        return best
    if order.least == "wait":
        return _freshest(space, order, best.runs)
    most_cost = _at_most(best.runs)
    runs, longest_s = best.runs, longest_wait_s(space, order, best.runs)
    aim_s = _even_s(order, runs)
    too_short_s = aim_s - space.step_s
    while longest_s - too_short_s > space.step_s:
        tried = solve(space, _within(order, aim_s)._replace(least="any"), most_cost)
        if tried.runs is None:
            too_short_s = aim_s
        else:
            runs, longest_s = tried.runs, min(aim_s, longest_wait_s(space, order, tried.runs))
        aim_s = (too_short_s + longest_s) / 2.0
    return Placement(runs, best.closed)


def _freshest(space: Space, order: Order, runs: Runs) -> Placement:
    """The shortest longest wait that there could be, sought from below in leaps: even runs often fit."""
    closed, waits = True, _waits_s(space, order)
    low, leap = bisect_left(waits, _least_wait_s(space, order) - _SLACK_S), 1
    high = bisect_left(waits, longest_wait_s(space, order, runs) - _SLACK_S)
    while low < high:
        aim = min(low + leap - 1, (low + high) // 2)
        tried = solve(space, _within(order, waits[aim])._replace(least="any"))
        if tried.runs is None:
            low, leap, closed = aim + 1, 4 * leap, closed and tried.closed
        else:
            runs, leap = tried.runs, high
            high = min(aim, bisect_left(waits, longest_wait_s(space, order, runs) - _SLACK_S))
    cheapest = solve(space, _within(order, longest_wait_s(space, order, runs)), _at_most(runs))
    return Placement(cheapest.runs or runs, closed and cheapest.closed)


def _within(order: Order, longest_s: float) -> Order:
    within_s = {leg: min(had_s, longest_s) for leg, had_s in order.within_s.items()}
    return order._replace(within_s=within_s)


def longest_wait_s(space: Space, order: Order, runs: Runs) -> float:
    """The oldest that water of any leg gets between two runs that renew it [s]; infinite if none does."""
    return max((wait_s(space, leg, runs) for leg in order.within_s), default=0.0)


def wait_s(space: Space, leg: str, runs: Runs) -> float:
    """The oldest that water of a leg gets between two runs that renew it, the day repeating itself [s].

    A wait over the night of the clock change counts with its longer night.

    Each renews from when tub water has gone through to its end, when the water at the far end is as old as
    tub water takes to get there.
    """
    day = [
        (slot * space.step_s + kind.renews[leg], slot * space.step_s + kind.until_s(leg))
        for kind, slot in runs
        if leg in kind.renews
    ]
    spans = sorted((a + shift, b + shift) for a, b in day for shift in (-DAY_S, 0.0, DAY_S))
    longest, fresh_to = 0.0 if day else math.inf, -math.inf
    for fresh_from, end in spans:
        if fresh_to > -math.inf:
            longer_s = float(_longer_s(space, fresh_to, np.array([fresh_from]))[0])
            longest = max(longest, fresh_from - fresh_to + (longer_s if fresh_from > fresh_to else 0.0))
        fresh_to = max(fresh_to, end)
    return longest


def _even_s(order: Order, runs: Runs) -> float:
    """The longest wait if the runs that renew a leg were evenly apart: no placing of them is shorter [s]."""
    longest_s = 0.0
    for leg in order.within_s:
        fresh = [kind.until_s(leg) - kind.renews[leg] for kind, _ in runs if leg in kind.renews]
        if fresh:
            longest_s = max(longest_s, (DAY_S - sum(fresh)) / len(fresh))
    return longest_s


def _least_wait_s(space: Space, order: Order) -> float:
    """The longest wait if as many runs as may be, of the longest kind, were evenly apart [s]."""
    longest_s = 0.0
    for leg in order.within_s:
        count, fresh_s = 0.0, 0.0
        for does, exactly in ((FLUSH, order.flushes), (FILTER, order.filter_runs)):
            most = exactly if exactly is not None else space.most[does]
            each_s = [
                k.until_s(leg) - k.renews[leg] for k in order.kinds if k.does == does and leg in k.renews
            ]
            if each_s:
                runs = math.inf if most is None else float(most)
                count, fresh_s = count + runs, fresh_s + runs * max(each_s)
        if 0.0 < count < math.inf:
            longest_s = max(longest_s, (DAY_S - fresh_s) / count)
    return longest_s


def _waits_s(space: Space, order: Order) -> list[float]:
    """Every wait that there could be between two runs up to the longest limit, shortest first [s]."""
    shifts = {0, space.longer_night[1] if space.longer_night else 0}
    apart = {
        round((k.renews[leg] - other.until_s(leg) + shift) % space.step_s, 6) % space.step_s
        for leg in order.within_s
        for k in order.kinds
        for other in order.kinds
        for shift in shifts
        if leg in k.renews and leg in other.renews
    }
    longest_s = max(order.within_s.values(), default=0.0)
    steps = range(math.ceil(min(longest_s, 2.0 * DAY_S) / space.step_s) + 1)
    return sorted({0.0, *(step * space.step_s + rest for step in steps for rest in apart)})


def _at_most(runs: Runs) -> float:
    """What costs no more counts as costing the same."""
    return sum(kind.cost[slot] for kind, slot in runs) * (1.0 + _ALIKE) + 1e-9


def solve(space: Space, order: Order, most_cost: float | None = None) -> Placement:
    """A placement that keeps an order, none better; at no more than a cost, if one is given."""
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    most = math.inf if most_cost is None else most_cost
    columns = [
        (kind, slot)
        for kind in order.kinds
        for slot in range(space.slots)
        if kind.allowed[slot] and kind.cost[slot] <= most
    ]
    rows = [*_needed(list(_fresh(space, order, columns))), *_filtered(space, order, columns)]
    rows += [*_counted(space, order, columns), *_apart(space, columns)]
    cost = np.array([kind.cost[slot] for kind, slot in columns])
    if most_cost is not None:
        rows.append(_Row(np.arange(len(columns)), cost, 0.0, most_cost))
    if any(row.least > row.most or (not len(row.members) and row.least > 0.0) for row in rows):
        return Placement(None, closed=True)
    if not columns or not rows:
        return Placement((), closed=True)
    indices = np.concatenate([row.members for row in rows])
    data = np.concatenate([row.weights for row in rows])
    starts = np.concatenate(([0], np.cumsum([len(row.members) for row in rows])))
    matrix = csr_array((data, indices, starts), shape=(len(rows), len(columns)))
    solution = milp(
        _objective(order, columns, cost, space.slots),
        constraints=LinearConstraint(matrix, [row.least for row in rows], [row.most for row in rows]),
        integrality=np.ones(len(columns)),
        bounds=Bounds(0.0, 1.0),
        options={
            "node_limit": _MOST_NODES,
            "time_limit": _TIME_LIMIT_S,
            "mip_rel_gap": 0.0,
            "presolve": False,  # it takes longer than what it saves
        },
    )
    least = -math.inf if solution.mip_dual_bound is None else float(solution.mip_dual_bound)
    if solution.x is None:
        return Placement(None, solution.status == 2, least)
    chosen = tuple(column for column, taken in zip(columns, solution.x, strict=True) if taken > 0.5)
    return Placement(chosen, solution.status == _CLOSED, least)


class _Row(NamedTuple):
    """A sum of columns with weights, and between what it must lie."""

    members: NDArray[np.int64]
    weights: NDArray[np.float64]
    least: float
    most: float


def _one_or_more(members: NDArray[np.int64]) -> _Row:
    return _Row(members, np.ones(len(members)), 1.0, np.inf)


def _fresh(space: Space, order: Order, columns: Sequence[tuple[RunKind, int]]) -> Iterator[_Row]:
    """Every stretch as long as a leg's limit meets a moment at which the leg is fresh."""
    seen: set[bytes] = set()
    for leg, within_s in order.within_s.items():
        members = np.array([i for i, (k, _) in enumerate(columns) if leg in k.renews], dtype=np.int64)
        if not len(members):
            yield _one_or_more(members)
        spans = [
            (slot * space.step_s + kind.renews[leg], slot * space.step_s + kind.until_s(leg))
            for kind, slot in columns
            if leg in kind.renews
        ]
        fresh_from, fresh_to = np.array(spans, dtype=float).reshape(-1, 2).T
        begin = np.unique(np.round(fresh_to % DAY_S, 6))[:, np.newaxis]
        # a run reaches into (begin, begin + within] if it has renewed before that ends where it next ends
        # after that begins, be it today or tomorrow
        ends = fresh_to % DAY_S
        renewed = ends - (fresh_to - fresh_from) + np.where(ends > begin + _SLACK_S, 0.0, DAY_S)
        renewed += _longer_s(space, begin, renewed)
        inside = renewed <= begin + within_s + _SLACK_S
        for reaching in inside:
            row = members[reaching]
            if row.tobytes() not in seen:
                seen.add(row.tobytes())
                yield _one_or_more(row)


def _needed(rows: Sequence[_Row]) -> list[_Row]:
    """Of rows that ask for one or more those that contain no other: what keeps the other keeps them.

    About every second does, being of stretches that begin one after the other; answers come twice as soon.
    """
    holds = np.zeros((len(rows), 1 + max((int(row.members.max(initial=0)) for row in rows), default=0)), "f")
    for k, row in enumerate(rows):
        holds[k, row.members] = 1.0
    size = holds.sum(axis=1)
    contains = (holds @ holds.T == size[:, np.newaxis]) & (size[:, np.newaxis] < size)
    return [row for row, by in zip(rows, contains.T, strict=True) if not by.any()]


def _longer_s(
    space: Space, begin: float | NDArray[np.float64], end: NDArray[np.float64]
) -> NDArray[np.float64]:
    """What the night of the clock change adds to stretches of the day that it lies in [s]."""
    if space.longer_night is None:
        return np.zeros_like(end)
    shift_s, by = space.longer_night
    following = begin + (shift_s - begin) % DAY_S
    return np.where(end > following, float(by), 0.0)


def _filtered(space: Space, order: Order, columns: Sequence[tuple[RunKind, int]]) -> Iterator[_Row]:
    """The filter runs pass as much water as is wanted, for as long; what flushes pass is not counted on."""
    if space.least_filter_s > 0.0:
        lasts = np.array([float(kind.lasts_s) if kind.does == FILTER else 0.0 for kind, _ in columns])
        yield _Row(np.arange(len(columns)), lasts, space.least_filter_s, np.inf)
    if order.wanted_m3 > 0.0:
        passed = np.array([kind.filtered_m3 if kind.does == FILTER else 0.0 for kind, _ in columns])
        yield _Row(np.arange(len(columns)), passed, order.wanted_m3 * (1.0 - 1e-9), np.inf)


def _counted(space: Space, order: Order, columns: Sequence[tuple[RunKind, int]]) -> Iterator[_Row]:
    """As many runs as are asked for, and no more than the controller takes."""
    for does, exactly in ((FLUSH, order.flushes), (FILTER, order.filter_runs)):
        members = np.array([i for i, (kind, _) in enumerate(columns) if kind.does == does], dtype=np.int64)
        most, least = space.most[does], float(max(exactly or 0, space.least.get(does, 0)))
        if exactly is not None or least > 0.0 or (most is not None and len(members)):
            limits = [float(limit) for limit in (exactly, most, np.inf) if limit is not None]
            yield _Row(members, np.ones(len(members)), least, min(limits))


def occupied(space: Space, kind: RunKind, slot: int, pump: str) -> set[int]:
    """The slots in which a pump runs, or rests, for a run that starts at one."""
    whole_s = kind.pumping.whole_s(kind.lasts_s) + space.scenario.plant.pumps[pump].rest_s
    return {(slot + k) % space.slots for k in range(-(-round(whole_s) // space.step_s))}


def _apart(space: Space, columns: Sequence[tuple[RunKind, int]]) -> Iterator[_Row]:
    """Of one pump no two runs at once, and its rest between them."""
    for pump in dict.fromkeys(name for kind, _ in columns for name in kind.pumping.names):
        busy: list[list[int]] = [[] for _ in range(space.slots)]
        for i, (kind, slot) in enumerate(columns):
            if pump in kind.pumping.names:
                for at in occupied(space, kind, slot, pump):
                    busy[at].append(i)
        for members in busy:
            if len(members) > 1:
                yield _Row(np.array(members, dtype=np.int64), np.ones(len(members)), 0.0, 1.0)


def _objective(
    order: Order, columns: Sequence[tuple[RunKind, int]], cost: NDArray[np.float64], slots: int
) -> NDArray[np.float64]:
    """What is to be least; of placements that are equal in it, the one of short runs that start late.

    So there is one answer however it is searched for: hardly two sums of such powers are alike. Late, because
    from there the shipped pair is tuned to cheaper years (614 and 579 EUR) than from early ones (617, 703).
    """
    if order.least == "flushes":
        return np.array([1.0 if kind.does == FLUSH else 0.0 for kind, _ in columns])
    left = np.array([(slots - slot) / slots + kind.lasts_s / DAY_S / 100.0 for kind, slot in columns])
    tie: NDArray[np.float64] = left**0.7
    dearest = 0.0 if order.least == "any" else float(np.abs(cost).max(initial=0.0))
    return cost / dearest / _ALIKE + tie if dearest > 0.0 else tie


# -- what is asked for -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Bound:
    """The fewest flushes in a day that any placement could have; None where there is no placement at all."""

    flushes: int | None
    closed: bool
    """Whether the search was carried to its end, so that the number is exact."""


def fewest_flushes(space: Space) -> Order:
    """The fewest flushes that any placement could have, with filter runs wherever they help."""
    return Order.of(space)._replace(least="flushes")


def bound_of(fewest: Placement) -> Bound:
    """What the placement of `fewest_flushes` says of any."""
    if not fewest.closed:  # what was found may be beaten; what the solver has excluded may not
        return Bound(0 if math.isinf(fewest.least) else max(0, math.ceil(fewest.least - 1e-6)), closed=False)
    return Bound(
        None if fewest.runs is None else sum(kind.does == FLUSH for kind, _ in fewest.runs), closed=True
    )


def orders(space: Space) -> Iterator[Order]:
    """Every programme that is worth a run: lengths and speeds of flushes, and how many of each in a day."""
    for kinds in _choices_of_kinds(space):
        order = Order.of(space, kinds)
        placement = solve(space, order._replace(least="flushes"))
        if placement.runs is None:
            continue
        fewest = sum(kind.does == FLUSH for kind, _ in placement.runs)
        for flushes in range(fewest, fewest + _FLUSHES_MORE + 1):
            for filter_runs in range(_most_filter_runs(space) + 1):
                asked = order._replace(flushes=flushes, filter_runs=filter_runs)
                if flushes == fewest:  # one more is for fresher water, never for less cost
                    yield asked
                yield asked._replace(least="wait")


def short_orders(space: Space) -> Iterator[Order]:
    """A few that lead to the cheapest."""
    kinds = [*_filter_lengths(space), *(kind for kind in space.kinds if kind.does == FLUSH)]
    for filter_runs in range(_most_filter_runs(space) + 1):
        yield Order.of(space, kinds)._replace(filter_runs=filter_runs)


def _most_filter_runs(space: Space) -> int:
    most = space.most[FILTER]
    return _MOST_FILTER_RUNS if most is None else min(most, _MOST_FILTER_RUNS)


def _choices_of_kinds(space: Space) -> Iterator[tuple[RunKind, ...]]:
    """Filter runs of any length, flushes of one: the shortest or the next, at any speed or the highest."""
    lengths: dict[Pumping, list[RunKind]] = {}
    for kind in space.kinds:
        if kind.does == FLUSH:
            lengths.setdefault(kind.pumping, []).append(kind)
    highest = {pumping.names: pumping for pumping in lengths}  # speeds come in rising order
    rest = _filter_lengths(space)
    seen: list[list[RunKind]] = []
    for at_highest in (False, True):
        for pick in (0, 1):
            flushes = [
                of[min(pick, len(of) - 1)]
                for pumping, of in lengths.items()
                if not at_highest or highest[pumping.names] == pumping
            ]
            if flushes not in seen:
                seen.append(flushes)
                yield (*rest, *flushes)


def _filter_lengths(space: Space) -> list[RunKind]:
    """Of the filter runs those that may be the shortest: one of some number in a day, evenly apart.

    Long enough for the water wanted, for that and the legs that they renew, and for each leg that only a
    longer run gets through. The bound has all lengths.
    """
    runs = [kind for kind in space.kinds if kind.does == FILTER]
    legs_s = min(space.legs.values(), default=math.inf)
    kept: list[RunKind] = []
    for pumping in dict.fromkeys(kind.pumping for kind in runs):
        lengths = [kind for kind in runs if kind.pumping == pumping]
        for legs in dict.fromkeys(frozenset(kind.renews) for kind in lengths):
            through = [kind for kind in lengths if legs <= kind.renews.keys()]
            for count in range(1, _most_filter_runs(space) + 1):
                for fresh_s in (0.0, DAY_S / count - legs_s):
                    enough = [
                        kind
                        for kind in through
                        if kind.filtered_m3 * count >= space.wanted_m3
                        and kind.lasts_s * count >= space.least_filter_s
                        and min((kind.until_s(n) - kind.renews[n] for n in legs), default=kind.lasts_s)
                        >= fresh_s
                    ]
                    kept += enough[:1]
    return [kind for kind in runs if kind in kept] or runs
