"""The set point over time: the plan, absences and dear hours laid over what is kept otherwise."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

from cyclesim.control.calendar import WEEKDAYS, localize, windows
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.trace import Span

LONGEST_LEAD_S = 72 * 3600
"""Heating for a ready-by is looked at this long before."""


class Level(NamedTuple):
    """From *at_s* on the water is kept at *keep_at_c*."""

    at_s: int
    keep_at_c: float


class ReadyBy(NamedTuple):
    """The water is to be at *keep_at_c* by *ready_s*; heating for it may begin at *from_s*."""

    from_s: int
    ready_s: int
    keep_at_c: float


class SetPoints(NamedTuple):
    """The levels in order, and what is to be ready by when."""

    levels: tuple[Level, ...]
    ready: tuple[ReadyBy, ...]

    def level_c(self, at_s: float) -> float:
        """The level of a moment [degC]; there is one only where something heats."""
        return self.levels[bisect_right(self.levels, at_s, key=lambda level: level.at_s) - 1].keep_at_c

    def wanted_c(self, at_s: float, water_c: float) -> float:
        """What water as warm as this is heated to at a moment [degC].

        Water that is at its level is heated for what is to be ready next.
        """
        level_c = self.level_c(at_s)
        coming = [ready for ready in self.ready if ready.from_s <= at_s <= ready.ready_s]
        if water_c < level_c or not coming:
            return level_c
        return max(level_c, min(coming, key=lambda ready: ready.ready_s).keep_at_c)


def set_points(scenario: Scenario, origin: datetime, span_s: int, dear: Sequence[Span]) -> SetPoints:
    """The set point of every second of the span from *origin* (UTC).

    An absence stands above the plan, the last step of the plan above those before it; while energy is *dear*
    the level is lower by what the file says, but not during an absence. What is to be ready counts from then.
    """
    heating = scenario.schedule.heating
    if heating is None:
        return SetPoints((), ())
    zone = scenario.place.time_zone
    steps: list[tuple[int, int, float]] = []
    ready: list[ReadyBy] = []
    for step in heating.plan:
        start = step.ready_by or step.from_time or time()
        for o in windows(
            start,
            step.until,
            days=None if step.days is None else [WEEKDAYS[day] for day in step.days],
            rrule=step.repeats,
            zone=zone,
            origin=origin,
            span_s=span_s,
            year=scenario.place.year,
        ):
            steps.append((o.start_s, o.end_s, step.keep_at_c))
            if step.ready_by is not None:
                ready.append(ReadyBy(o.start_s - LONGEST_LEAD_S, o.start_s, step.keep_at_c))
    kept_away = zip(days_away(scenario, origin), heating.absences, strict=True)
    away = [(start, end, absence.keep_at_c) for (start, end), absence in kept_away]
    falls = heating.when_dear.let_fall_by_k if heating.when_dear else 0.0
    marks = {0, *(t for start, end, _ in (*steps, *away) for t in (start, end))}
    marks |= {t for span in dear for t in span} if falls else set()
    levels: list[Level] = []
    for at in sorted(t for t in marks if 0 <= t < span_s):
        level = heating.keep_at_c
        for begins, ends, keep in steps:
            level = keep if begins <= at < ends else level
        level -= falls if any(start <= at < end for start, end in dear) else 0.0
        for begins, ends, keep in away:
            level = keep if begins <= at < ends else level
        if not levels or levels[-1].keep_at_c != level:
            levels.append(Level(at, level))
    kept = tuple(
        sorted(
            ReadyBy(max([r.from_s, 0, *(end for _, end, _ in away if end <= r.ready_s)]), *r[1:])
            for r in ready
            if not any(start <= r.ready_s < end for start, end, _ in away)
        )
    )
    return SetPoints(tuple(levels), kept)


def midnight(day: date, zone: str, origin: datetime) -> int:
    """The second from *origin* (UTC) at which a local day begins."""
    local = datetime.combine(day, time())
    return round((localize(local, ZoneInfo(zone))[0] - origin).total_seconds())


def days_away(scenario: Scenario, origin: datetime) -> list[Span]:
    """Each absence of the file in its order, from its first midnight to that after its last day."""
    zone, heating = scenario.place.time_zone, scenario.schedule.heating
    return [
        (midnight(a.from_date, zone, origin), midnight(a.to_date + timedelta(days=1), zone, origin))
        for a in (heating.absences if heating else ())
    ]
