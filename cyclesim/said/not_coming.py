"""That a run which is keyed in does not come, or not whole: as a run of the plant counted it, and by rank."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Protocol

from cyclesim.analysis.amounts import listed
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
    """What was asked for in a run of *days* and did not come, or not whole, each cause once; no full stop."""
    causes: dict[str, list[_Found]] = {}
    for found in findings:
        if found.rule == _NOT_SERVED:
            causes.setdefault(found.cause, []).append(found)
    for cause, some in causes.items():
        names, times = listed([found.subject for found in some]), [found.times for found in some]
        often = count(max(times), "time")
        often = often if min(times) == max(times) else f"{min(times)} to {often}"
        each = " each" if len(some) > 1 else ""
        comes = "comes, or comes whole" if len(some) == 1 else "come, or come whole"
        every = f"every {names}" if len(some) == 1 else f"all of {names}"
        yield f"Not {every} {comes}: {cause}, {often}{each} in {count(days, 'day')}"


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
