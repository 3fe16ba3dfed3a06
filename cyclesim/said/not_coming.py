"""That a run which is keyed in does not come, or not whole: as a run of the plant counted it, and by rank."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Protocol

from cyclesim.analysis.combinations import as_written
from cyclesim.said.words import count
from cyclesim.scenario.blocks.schedule import Run
from cyclesim.simulation.programme import Programme, TimedDemand

_NOT_SERVED = "demand-not-served"


class _Found(Protocol):
    """What a run has found, whole or as a sweep keeps it."""

    @property
    def rule(self) -> str: ...
    @property
    def subject(self) -> str: ...
    @property
    def cause(self) -> str: ...
    @property
    def times(self) -> int: ...


def not_every(findings: Iterable[_Found], days: int) -> Iterator[str]:
    """What was asked for in a run of *days* and did not come each time, or not whole; no full stop."""
    for found in findings:
        if found.rule == _NOT_SERVED:
            often = f"{count(found.times, 'time')} in {count(days, 'day')}"
            yield f"Not every {found.subject} comes, or comes whole: {found.cause}, {often}"


def gives_way(programme: Programme) -> dict[str, str]:
    """Per entry of the schedule that some demand above it holds to a lower speed, by what, as a clause."""
    speeds = {pump.name: pump.speeds for pump in programme.controller.pumps}
    held: dict[str, str] = {}
    for timed in programme.timed:
        if isinstance(timed.run, Run) and (by := _holding(programme, timed, speeds[timed.demand.pump])):
            held[timed.entry] = f"not while {by}"
    return held


def _holding(programme: Programme, timed: TimedDemand, speeds: tuple[str, ...]) -> str:
    mine = timed.demand
    kinds: dict[str, list[str]] = {}
    for other in programme.controller.demands:
        slower = other.pump == mine.pump and speeds.index(other.speed) < speeds.index(mine.speed)
        if slower and other.rank < mine.rank and other.kind not in kinds.get(other.speed, []):
            kinds.setdefault(other.speed, []).append(other.kind)
    parts = (f"{' or '.join(names)} runs {as_written(mine.pump, speed)}" for speed, names in kinds.items())
    return " or ".join(parts)
