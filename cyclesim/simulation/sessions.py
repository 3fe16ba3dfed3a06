"""Who is in the water when, by the calendar or drawn; a draw is named by seed, entry and local date.

Chance is named by seed, entry and local date: no draw depends on plant, control or span.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from random import Random
from zoneinfo import ZoneInfo

from cyclesim.control.calendar import WEEKDAYS, has_day, localize, runs
from cyclesim.scenario.blocks.bathing import Bathing, DrawnSessions
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.setpoints import days_away
from cyclesim.simulation.trace import Span, joined


@dataclass(frozen=True, slots=True)
class Session:
    """People in the water from *start_s* to *end_s*, seconds from the origin."""

    start_s: int
    end_s: int
    people: int
    covered: bool
    jets: tuple[Span, ...]
    air: tuple[Span, ...]
    entry: int
    """Which entry of the file it comes from."""


def sessions(scenario: Scenario, origin: datetime, span_s: int, seed: int) -> list[Session]:
    """Every session that reaches into the span from *origin* (UTC), in order.

    No draw depends on plant, control or the span: a day has its own stream of chance. On the days of an
    absence nobody comes.
    """
    sessions: list[Session] = []
    for k, entry in enumerate(scenario.schedule.bathing):
        if entry.drawn is None:
            occurrences = runs(
                entry.start or (),
                round(entry.lasts_s or 0.0),
                days=None if entry.days is None else [WEEKDAYS[day] for day in entry.days],
                rrule=entry.repeats,
                zone=scenario.place.time_zone,
                origin=origin,
                span_s=span_s,
                year=scenario.place.year,
            )
            sessions += [_session(k, entry, o.start_s, o.end_s, entry.people) for o in occurrences]
        else:
            sessions += [
                _session(k, entry, start, end, people)
                for start, end, people in _drawn(
                    entry.drawn, f"{seed}/bathing {k}", scenario.place.time_zone, origin, span_s
                )
            ]
    away = days_away(scenario, origin)
    here = (s for s in sessions if not any(start <= s.start_s < end for start, end in away))
    return sorted(here, key=lambda s: (s.start_s, s.end_s, s.entry))


def _drawn(
    drawn: DrawnSessions, stream: str, time_zone: str, origin: datetime, span_s: int
) -> Iterator[tuple[int, int, int]]:
    zone = ZoneInfo(time_zone)
    day = origin.astimezone(zone).date() - timedelta(days=2)
    last = (origin + timedelta(seconds=span_s)).astimezone(zone).date()
    opens, closes = (_minutes(t) for t in drawn.between)
    closes += 1440 if closes <= opens else 0
    shortest_s, longest_s = drawn.lasts_s
    least, most = drawn.people
    while day <= last:
        chance = Random(f"{stream}/{day.isoformat()}")
        for _ in range(_poisson(chance, drawn.per_week / 7.0) if has_day(zone, day) else 0):
            minute = chance.randint(opens, closes)
            lasts_s = 60 * round(chance.uniform(shortest_s, longest_s) / 60.0)
            people = chance.randint(least, most)
            local = datetime.combine(day, time()) + timedelta(minutes=minute)
            start_s = round((localize(local, zone)[0] - origin).total_seconds())
            if start_s < span_s and start_s + lasts_s > 0:
                yield start_s, start_s + lasts_s, people
        day += timedelta(days=1)


def _minutes(clock: time) -> int:
    return 60 * clock.hour + clock.minute


def _poisson(chance: Random, mean: float) -> int:
    """Knuth's product of uniforms: enough for a few sessions a day."""
    n, product, least = 0, chance.random(), math.exp(-mean)
    while product > least:
        n += 1
        product *= chance.random()
    return n


def _session(k: int, entry: Bathing, start_s: int, end_s: int, people: int) -> Session:
    jets: tuple[Span, ...] = ()
    if entry.in_one is not None:
        jets = _presses(start_s, end_s, entry.presses, entry.jets_at_most_s)
    air: tuple[Span, ...] = ()
    if entry.air:
        air = _presses(start_s, end_s, entry.presses, entry.air_at_most_s)
    return Session(start_s, end_s, people, entry.cover == "on", jets, air, k)


def _presses(start_s: int, end_s: int, presses: int, at_most_s: float | None) -> tuple[Span, ...]:
    """The button is pressed evenly over the session, first at its start; each press times out by itself."""
    if at_most_s is None:
        return ((start_s, end_s),)
    step = (end_s - start_s) / presses
    starts = [start_s + math.floor(step * i) for i in range(presses)]
    return tuple(joined((s, min(s + round(at_most_s), end_s)) for s in starts))


def together(sessions: Sequence[Session]) -> list[tuple[int, int, bool]]:
    """(second, people in the water, covered) from each change on; several sessions at once add up."""
    edges = sorted({s.start_s for s in sessions} | {s.end_s for s in sessions})
    changes = []
    for at in edges:
        now = [s for s in sessions if s.start_s <= at < s.end_s]
        changes.append((at, sum(s.people for s in now), all(s.covered for s in now)))
    return changes
