"""Loops of a plant that meet nowhere but in the tub: the water of each is followed on its own.

A circulator that starts or stops does not touch the water of a jet loop; followed apart, neither breaks the
other's history into pieces.

Loops that meet only in the tub are followed apart: a circulator's starts do not cut a jet loop's history
into pieces.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from cyclesim.physics.age_book import Floats
from cyclesim.physics.circuit_age import Known, WaterAge
from cyclesim.physics.water_age import Pattern, Plug

Patterns = tuple[Pattern, ...]
"""One pattern of flows for each loop."""


def apart(plugs: Sequence[Plug]) -> list[list[int]]:
    """Groups of plugs that share junctions other than the tub, each in the order of *plugs*."""
    group = list(range(len(plugs)))
    at: dict[str, int] = {}
    for i, plug in enumerate(plugs):
        for node in (plug.a, plug.b):
            if node == "tub":
                continue
            other = group[at.setdefault(node, i)]
            group = [group[i] if g == other else g for g in group]
    return [[i for i, g in enumerate(group) if g == first] for first in dict.fromkeys(group)]


class Loops:
    """The water age of every loop; arguments as for WaterAge.

    *emit* gets the plug's number among *plugs* beside its rows, in which it is that within its loop; *known*
    has those of each loop.
    """

    def __init__(
        self,
        plugs: Sequence[Plug],
        recorded: Sequence[int],
        limit_s: float,
        start_s: float,
        emit: Callable[[int, Floats], None],
        known: list[Known] | None = None,
    ) -> None:
        self._members = apart(plugs)
        met = [] if known is None else known
        met += [{} for _ in self._members[len(met) :]]
        self._ages = [
            WaterAge(
                [plugs[i] for i in members],
                [k for k, i in enumerate(members) if i in set(recorded)],
                limit_s,
                start_s,
                _numbered(members, emit),
                patterns,
            )
            for members, patterns in zip(self._members, met, strict=True)
        ]
        self._met: list[Known] = [{age.still.flows: age.still} for age in self._ages]
        """The patterns of this run, by their flows."""
        self._now: Patterns = tuple(age.still for age in self._ages)
        self._place = {i: (g, k) for g, members in enumerate(self._members) for k, i in enumerate(members)}

    def patterns(self, flows: Sequence[float]) -> Patterns:
        """The pattern of each loop at these *flows* [m3/s], one per plug."""
        ways = []
        for members, age, met in zip(self._members, self._ages, self._met, strict=True):
            mine = tuple(flows[i] for i in members)
            if mine not in met:
                met[mine] = age.pattern(mine)
            ways.append(met[mine])
        return tuple(ways)

    def change(self, at_s: float, to: Patterns) -> None:
        """From *at_s* on the flows are those of *to*; a loop whose flows stay is not touched."""
        for age, old, new in zip(self._ages, self._now, to, strict=True):
            if old is not new:
                age.change(at_s, new)
        self._now = to

    def close(self, at_s: float) -> None:
        """Close every open interval at *at_s*."""
        for age in self._ages:
            age.close(at_s)

    def oldest_s(self, plug: int, at_s: float) -> float:
        """Oldest age [s] in *plug* at *at_s*, not before the last change."""
        group, k = self._place[plug]
        return self._ages[group].ages(k, at_s)[0]

    def moved(self) -> list[int]:
        """Plugs that some pattern met so far moves."""
        return [
            members[k]
            for members, met in zip(self._members, self._met, strict=True)
            for k in sorted({k for pattern in met.values() for k in pattern.moving})
        ]


def _numbered(members: Sequence[int], emit: Callable[[int, Floats], None]) -> Callable[[int, Floats], None]:
    return lambda plug, rows: emit(members[plug], rows)
