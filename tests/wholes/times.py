"""When what is asked for: the schedule's local times as seconds from an instant, by dateutil and zoneinfo."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from math import exp, floor
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

from dateutil.rrule import DAILY, rrule

from cyclesim.scenario.blocks.bathing import Bathing
from cyclesim.scenario.blocks.model import Scenario

Span = tuple[int, int]
LEAD_S = 72 * 3600
"""Heating for a ready-by is thought of this long before."""


@dataclass(frozen=True)
class Session:
    """People in the water, and what their buttons ask for."""

    start_s: int
    end_s: int
    people: int
    entry: int
    jets: tuple[Span, ...]
    air: tuple[Span, ...]


@dataclass(frozen=True)
class Ready:
    """To be at a temperature by a second."""

    from_s: int
    due_s: int
    keep_at_c: float


class Calendar:
    """Everything that the file's clock decides, in seconds from *begin_utc*, over *span_s*."""

    def __init__(self, scenario: Scenario, begin_utc: datetime, span_s: int, seed: int = 0) -> None:
        self.scenario, self.begin, self.span_s = scenario, begin_utc, span_s
        self.zone = ZoneInfo(scenario.place.time_zone)
        self.sessions = sorted(self._sessions(seed), key=lambda s: (s.start_s, s.end_s))
        self.raised = {name: merged(spans) for name, spans in self._demands()}
        self.turned = [
            (at, at + round(turn.lasts_s), turn.valve, turn.to)
            for turn in scenario.schedule.valves_turned
            if (at := self.second(turn.from_local)) < span_s and at + turn.lasts_s > 0
        ]
        cuts = [
            (at, at + round(cut.lasts_s), cut.circuit)
            for cut in scenario.schedule.outages
            if (at := self.second(cut.from_local)) < span_s and at + cut.lasts_s > 0
        ]
        self.outages = [(a, b) for a, b, circuit in cuts if circuit is None]
        self.cut = [(a, b, frozenset(scenario.supply.circuits[c].feeds)) for a, b, c in cuts if c]
        """From when to when a circuit alone has no power, and what hangs on it."""

    def second(self, local: datetime) -> int:
        """A wall-clock time; the offset before a gap, and the first of two (RFC 5545 3.3.5)."""
        instant = local.replace(tzinfo=self.zone, fold=0).astimezone(UTC)
        return round((instant - self.begin).total_seconds())

    def edge(self, local: datetime) -> int:
        """As `second`, but what is in a gap is the second of the jump."""
        at = self.second(local)
        before = local.replace(tzinfo=self.zone).utcoffset()
        after = local.replace(tzinfo=self.zone, fold=1).utcoffset()
        shown = (self.begin + timedelta(seconds=at)).astimezone(self.zone).replace(tzinfo=None)
        if shown == local:
            return at
        assert before is not None
        assert after is not None
        low, high = at - 86_400, at  # the jump lies between
        while high - low > 1:
            mid = (low + high) // 2
            jumped = (self.begin + timedelta(seconds=mid)).astimezone(self.zone).utcoffset()
            low, high = (low, mid) if jumped == max(before, after) else (mid, high)
        return high

    def days(self, wanted: Any, early: int = 3) -> list[date]:
        """Local dates around the span that are one of these weekdays (0 is Monday)."""
        first = self.begin.astimezone(self.zone).date() - timedelta(days=early)
        last = (self.begin + timedelta(seconds=self.span_s)).astimezone(self.zone).date()
        by = None if wanted is None else list(wanted)
        rule = rrule(
            DAILY, dtstart=datetime.combine(first, time()), until=datetime.combine(last, time()), byweekday=by
        )
        return [d.date() for d in rule]

    def starts(self, entry: Any) -> list[int]:
        """When an entry's starts fall."""
        assert entry.repeats is None
        found = [self.second(datetime.combine(d, t)) for d in self.days(entry.days) for t in entry.start]
        return sorted(t for t in found if t < self.span_s and t + entry.lasts_s > 0)

    # -- people ------------------------------------------------------------------------------------------

    def _sessions(self, seed: int) -> Any:
        for k, entry in enumerate(self.scenario.schedule.bathing):
            assert entry.cover == "off"
            if entry.drawn is None:
                for at in self.starts(entry):
                    yield self._session(k, entry, at, at + round(entry.lasts_s or 0), entry.people)
            else:
                yield from self._drawn(k, entry, f"{seed}/bathing {k}")

    def _drawn(self, k: int, entry: Bathing, stream: str) -> Any:
        """A day's own stream: Poisson's number by Knuth, then minute, length in minutes, people of each."""
        drawn = entry.drawn
        assert drawn is not None
        opens, closes = (60 * t.hour + t.minute for t in drawn.between)
        closes += 24 * 60 if closes <= opens else 0
        for day in self.days(None):
            chance = Random(f"{stream}/{day.isoformat()}")
            count, product = 0, chance.random()
            while product > exp(-drawn.per_week / 7.0):
                count, product = count + 1, product * chance.random()
            for _ in range(count):
                minute = chance.randint(opens, closes)
                lasts = 60 * round(chance.uniform(*drawn.lasts_s) / 60.0)
                people = chance.randint(*drawn.people)
                at = self.second(datetime.combine(day, time()) + timedelta(minutes=minute))
                if at < self.span_s and at + lasts > 0:
                    yield self._session(k, entry, at, at + lasts, people)

    @staticmethod
    def _session(k: int, entry: Bathing, start: int, end: int, people: int) -> Session:
        def presses(at_most_s: float | None) -> tuple[Span, ...]:
            if at_most_s is None:
                return ((start, end),)
            pressed = [start + floor((end - start) / entry.presses * i) for i in range(entry.presses)]
            return tuple((at, min(at + round(at_most_s), end)) for at in pressed)

        jets = presses(entry.jets_at_most_s) if entry.pump or entry.pumps else ()
        return Session(start, end, people, k, jets, presses(entry.air_at_most_s) if entry.air else ())

    def people_at(self, at_s: int) -> int:
        """How many are in the water."""
        return sum(s.people for s in self.sessions if s.start_s <= at_s < s.end_s)

    def unfed_at(self, at_s: int) -> frozenset[str]:
        """What hangs on a circuit that has no power."""
        return frozenset(name for a, b, feeds in self.cut if a <= at_s < b for name in feeds)

    def positions_at(self, at_s: int) -> tuple[str, ...]:
        """Of every diverter, as somebody has left it."""
        left = {valve: to for a, b, valve, to in self.turned if a <= at_s < b}
        return tuple(left.get(n, d.usual) for n, d in self.scenario.plant.diverters.items())

    # -- demands -----------------------------------------------------------------------------------------

    def _demands(self) -> Any:
        schedule = self.scenario.schedule
        for entry, name in named("bathing", schedule.bathing):
            k = list(schedule.bathing).index(entry)
            for told, _, later in asks(entry, name):  # all stop together
                jets = [j for s in self.sessions if s.entry == k for j in s.jets]
                yield told, [(a + later, b) for a, b in jets if a + later < b]
            if entry.air:
                yield f"{name}, air", [a for s in self.sessions if s.entry == k for a in s.air]
        for kind, entries in (("line flush", schedule.line_flushes), ("filter run", schedule.filter_runs)):
            for entry, name in named(kind, entries):
                if entry.after is not None:  # when the last one steps out
                    starts = [s.end_s for s in self.sessions if not self.people_at(s.end_s)]
                else:
                    starts = self.starts(entry)
                for told, _, later in asks(entry, name):
                    yield told, [(t + later, t + later + round(entry.lasts_s)) for t in starts]
        if schedule.air_line_flushes:
            purges = [(t, t + round(p.lasts_s)) for p in schedule.air_line_flushes for t in self.starts(p)]
            yield "air line flush", purges

    # -- set points --------------------------------------------------------------------------------------

    def windows(self, days: Any, opens: time, closes: time) -> list[Span]:
        """From wall clock to wall clock, over midnight where it closes no later than it opens."""
        over = timedelta(days=int(closes <= opens))
        found = [
            (self.edge(datetime.combine(d, opens)), self.edge(datetime.combine(d + over, closes)))
            for d in self.days(days)
        ]
        return [(a, b) for a, b in found if a < b]

    def plan(self) -> tuple[list[tuple[int, int, float]], list[Ready]]:
        """The plan's windows in the file's order (a later one stands above), and what is to be ready."""
        heating = self.scenario.schedule.heating
        if heating is None:
            return [], []
        assert not heating.absences
        assert heating.when_dear is None
        assert heating.choose == "preference"
        windows, ready = [], []
        for step in heating.plan:
            opens = step.ready_by or step.from_time or time()
            for a, b in self.windows(step.days, opens, step.until):
                windows.append((a, b, step.keep_at_c))
                if step.ready_by is not None:
                    ready.append(Ready(max(0, a - LEAD_S), a, step.keep_at_c))
        return windows, [r for r in ready if r.from_s < r.due_s < self.span_s]


def named(kind: str, entries: Any) -> list[tuple[Any, str]]:
    """Entries with their names; without one they are numbered."""
    return [
        (e, e.name or (kind if len(entries) == 1 else f"{kind} {i}")) for i, e in enumerate(entries, start=1)
    ]


def asks(entry: Any, name: str) -> list[tuple[str, tuple[str, str], int]]:
    """Each pump of an entry: what its demand is called, pump and speed, how much later it starts [s]."""
    pumps = entry.pumps or ([entry.pump] if entry.pump else [])
    apart = round(entry.lasts_s) if getattr(entry, "in_turn", False) else round(entry.stagger_s or 0)
    return [
        (name if len(pumps) == 1 else f"{name}, {at[0]}", (at[0], at[1]), k * apart)
        for k, at in enumerate(pumps)
    ]


def merged(spans: list[Span]) -> list[Span]:
    """In order, what touches joined."""
    found: list[Span] = []
    for a, b in sorted(spans):
        if found and a <= found[-1][1]:
            found[-1] = (found[-1][0], max(b, found[-1][1]))
        elif b > a:
            found.append((a, b))
    return found
