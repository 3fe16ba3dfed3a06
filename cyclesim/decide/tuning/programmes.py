"""A daily programme of filter runs and line flushes: what is keyed in, apart from the plant it is for."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import time

from cyclesim.decide.tuning.placing import occupied, wait_s
from cyclesim.decide.tuning.space import FILTER, FLUSH, RunKind, Space
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.schedule import Run
from cyclesim.scenario.forms.pumping import Pumping

_MOVED_H = (-2.0, -1.0, 1.0, 2.0)


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the programme: a pump at a speed, or several, at these clock times, each for so long."""

    does: str
    """line flush or filter run."""
    pumping: Pumping
    lasts_s: int
    starts: tuple[time, ...]

    @property
    def clocks(self) -> tuple[str, ...]:
        """When it starts as people write it, e.g. 07:30."""
        return tuple(f"{start:%H:%M}" for start in self.starts)


@dataclass(frozen=True, slots=True)
class Daily:
    """A programme that is the same on every day."""

    entries: tuple[Entry, ...]

    def count(self, does: str) -> int:
        """How many runs of a kind it has in a day."""
        return sum(len(entry.starts) for entry in self.entries if entry.does == does)


def daily(space: Space, runs: Iterable[tuple[RunKind, int]]) -> Daily:
    """The programme of runs that start at these slots."""
    starts: dict[tuple[str, Pumping, int], list[time]] = {}
    for kind, slot in runs:
        starts.setdefault((kind.does, kind.pumping, kind.lasts_s), []).append(space.clock(slot))
    ordered = sorted(starts.items(), key=lambda item: (item[0][0] != FILTER, min(item[1]), item[0]))
    return Daily(tuple(Entry(*what, tuple(sorted(clocks))) for what, clocks in ordered))


def moved(space: Space, programme: Daily) -> Iterator[Daily]:
    """The programme with one run started one hour or two sooner or later, where that is allowed.

    No pump then runs for two at once: they would come to less than was placed.
    """
    kinds = {(kind.does, kind.pumping, kind.lasts_s): kind for kind in space.kinds}
    runs = [
        (kinds[entry.does, entry.pumping, entry.lasts_s], space.slot(start))
        for entry in programme.entries
        for start in entry.starts
    ]
    for k, (kind, slot) in enumerate(runs):
        for hours in _MOVED_H:
            there = (slot + round(hours * 3600 / space.step_s)) % space.slots
            others = (*runs[:k], *runs[k + 1 :])
            if there != slot and kind.allowed[there] and _is_free(space, kind, there, others):
                whole = (*others, (kind, there))
                if all(wait_s(space, leg, whole) <= most_s for leg, most_s in space.legs.items()):
                    yield daily(space, whole)


def _is_free(space: Space, kind: RunKind, slot: int, others: Iterable[tuple[RunKind, int]]) -> bool:
    """Whether no pump of a run at this slot runs for another meanwhile."""
    return all(
        occupied(space, kind, slot, pump).isdisjoint(occupied(space, other, at, pump))
        for other, at in others
        for pump in set(kind.pumping.names) & set(other.pumping.names)
    )


def relengthened(space: Space) -> Iterator[Daily]:
    """The file's own programme with its flushes as long as any length on offer, where it can be keyed in."""
    mine = own(space.scenario)
    flushed = {entry.pumping for entry in mine.entries if entry.does == FLUSH}
    lengths = {kind.lasts_s for kind in space.kinds if kind.does == FLUSH and kind.pumping in flushed}
    for lasts_s in sorted(lengths):
        entries = (replace(e, lasts_s=lasts_s) if e.does == FLUSH else e for e in mine.entries)
        longer = Daily(tuple(entries))
        if longer != mine and takes(space, longer):
            yield longer


def takes(space: Space, programme: Daily) -> bool:
    """Whether it can be keyed in: runs on offer, at times of the grid that are allowed, not too many."""
    kinds = {(kind.does, kind.pumping, kind.lasts_s): kind for kind in space.kinds}
    for entry in programme.entries:
        kind = kinds.get((entry.does, entry.pumping, entry.lasts_s))
        for start in entry.starts:
            slot = space.slot(start)
            if kind is None or space.clock(slot) != start or not kind.allowed[slot]:
                return False
    return all(most is None or programme.count(does) <= most for does, most in space.most.items())


def scheduled(scenario: Scenario, programme: Daily) -> Scenario:
    """The scenario told this programme in place of its own; runs after bathing stay as they are."""
    schedule = scenario.schedule
    changes = {
        "filter_runs": (*runs(programme, FILTER, schedule.filter_runs), *_after(schedule.filter_runs)),
        "line_flushes": (*runs(programme, FLUSH, schedule.line_flushes), *_after(schedule.line_flushes)),
    }
    return scenario.model_copy(update={"schedule": schedule.model_copy(update=changes)})


def runs(programme: Daily, does: str, before: Sequence[Run]) -> tuple[Run, ...]:
    """The programme's runs of a kind as the file's own; the first of a pump keeps the name it had."""
    names = {run.pumping: run.name for run in reversed(before) if run.name and run.after is None}
    made = []
    for entry in programme.entries:
        if entry.does == does:
            name, lasts_s = names.pop(entry.pumping, None), float(entry.lasts_s)
            run = Run.model_construct(start=entry.starts, lasts_s=lasts_s, name=name)
            made.append(run.model_copy(update=entry.pumping.fields))
    return tuple(made)


def own(scenario: Scenario) -> Daily:
    """The file's own programme as far as it is a daily one; days, repeats and runs after bathing apart."""
    entries = []
    for does, scheduled_runs in (
        (FILTER, scenario.schedule.filter_runs),
        (FLUSH, scenario.schedule.line_flushes),
    ):
        for run in scheduled_runs:
            if run.start is not None:
                entries.append(Entry(does, run.pumping, round(run.lasts_s), run.start))
    return Daily(tuple(entries))


def _after(scheduled_runs: Sequence[Run]) -> tuple[Run, ...]:
    return tuple(run for run in scheduled_runs if run.after is not None)
