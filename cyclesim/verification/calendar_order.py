"""What the calendar raises together, and what may come after what: read from the engine's own expansion."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cached_property
from itertools import combinations
from typing import Any

from cyclesim.analysis.spans import meet, spans
from cyclesim.control.calendar import windows
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.schedule import Run
from cyclesim.scenario.forms.forms import Model
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.sessions import sessions
from cyclesim.simulation.trace import Span, joined

DAYS = 400
"""More than a year, so that both states of the clock and every month are passed."""
PEOPLE, WINDOW = "people", "window"


@dataclass(frozen=True)
class CalendarOrder:
    """The distinct sets of what is raised, and for each those that follow it, in a cycle."""

    vectors: tuple[frozenset[str], ...]
    follows: tuple[tuple[int, ...], ...]


class Calendar:
    """The expansion of a programme over 400 days, as spans by name.

    A name is a fact's (`filter run.raised`, `unit, own time clock.closed`), `people`, or `window k`: sessions
    of the drawn entry k, and what follows them, may be at any time in it.
    """

    def __init__(self, programme: Programme) -> None:
        self._programme = programme
        self.span_s = DAYS * 86_400
        year = programme.scenario.place.year
        self.begin = datetime(year, 1, 1, tzinfo=programme.zone).astimezone(UTC)

    @cached_property
    def drawn(self) -> tuple[int, ...]:
        """The entries of bathing that are drawn by chance."""
        entries = self._programme.scenario.schedule.bathing
        return tuple(k for k, entry in enumerate(entries) if entry.drawn is not None)

    @cached_property
    def spans(self) -> dict[str, list[Span]]:
        """Everything that a clock decides."""
        programme, scenario = self._programme, self._programme.scenario
        fixed = [s for s in sessions(scenario, self.begin, self.span_s, 0) if s.entry not in self.drawn]
        by_name = {
            f"{name}.raised": spans
            for name, spans in programme.raised(self.begin, self.span_s, fixed).items()
            if name != "sampling"
        }
        clocks = {b.starter.name for b in programme.beside if b.line.clock is not None}
        wired = programme.wired(self.begin, self.span_s)
        by_name |= {f"{name}.closed": wired[f"{name}.closed"] for name in clocks}
        bare = scenario.plant.tub.cover == "none"  # then no cover lies on the water in any session
        by_name[PEOPLE] = joined(sorted((s.start_s, s.end_s) for s in fixed if bare or not s.covered))
        for k in self.drawn:
            by_name[f"{WINDOW} {k}"] = self._window(k)
        return {name: spans for name, spans in by_name.items() if spans}

    @property
    def longest_s(self) -> dict[str, int]:
        """How long each run of the schedule is raised at a stretch, at most; not those that follow people."""
        runs = {t.demand.name: t.run for t in self._programme.timed}
        names = {name for name, run in runs.items() if isinstance(run, Run) and not run.after}
        of = {f"{name}.raised": self.spans.get(f"{name}.raised", ()) for name in sorted(names)}
        return {name: max(end - start for start, end in spans) for name, spans in of.items() if spans}

    def _window(self, k: int) -> list[Span]:
        """When a drawn session, or a run after it, may be under way."""
        schedule = self._programme.scenario.schedule
        drawn = schedule.bathing[k].drawn
        assert drawn is not None
        runs = (run for runs in schedule.timed.values() for run in runs if isinstance(run, Run))
        late = max((run.whole_s for run in runs if run.after), default=0)
        opens, closes = drawn.between
        occurrences = windows(
            opens,
            closes,
            zone=self._programme.scenario.place.time_zone,
            origin=self.begin,
            span_s=self.span_s,
        )
        longest = round(drawn.lasts_s[1] + late) + 60
        return joined(sorted((max(0, o.start_s), min(self.span_s, o.end_s + longest)) for o in occurrences))

    def first_together(self, names: Iterable[str]) -> datetime | None:
        """When all of these are first so at once, by the zone's clock; None where they never are."""
        together = spans([(0.0, float(self.span_s))])
        for name in names:
            together = meet(together, spans(self.spans.get(name, ())))
        if not len(together):
            return None
        return (self.begin + timedelta(seconds=float(together[0, 0]))).astimezone(self._programme.zone)

    def order(self, names: Iterable[str]) -> CalendarOrder:
        """The cycle of sets of these names; what recurs less often than weekly, on any day that it might."""
        number: dict[frozenset[str], int] = {}
        follows: dict[int, set[int]] = defaultdict(set)
        wanted = list(names)
        for variant in self._variants:
            passed = self._passed(variant, wanted)
            for vector in passed:
                number.setdefault(vector, len(number))
            for vector, after in zip(passed, [*passed[1:], passed[0]], strict=True):
                if vector != after:
                    follows[number[vector]].add(number[after])
        return CalendarOrder(tuple(number), tuple(tuple(sorted(follows[k])) for k in range(len(number))))

    @cached_property
    def _variants(self) -> list[dict[str, list[Span]]]:
        """The spans as they are, and with some of what is rare on every day that its rule could name."""
        scenario = self._programme.scenario
        rare, variants = list(rare_entries(scenario)), [self.spans]
        most = len(rare) if len(rare) <= _ALL_TOGETHER else 2
        for n in range(1, most + 1):
            for some in combinations(rare, n):
                changed = scenario
                for path, rule in some:
                    changed = _replaced(changed, path, rule)
                variants.append(Calendar(Programme(changed)).spans)
        return variants

    def _passed(self, spans: Mapping[str, list[Span]], names: Iterable[str]) -> list[frozenset[str]]:
        """One set of names after another."""
        edges: dict[int, list[tuple[str, bool]]] = defaultdict(list)
        for name in names:
            for start, end in spans.get(name, ()):
                if end > start:
                    edges[start].append((name, True))
                    edges[end].append((name, False))
        now: set[str] = set()
        passed: list[frozenset[str]] = []
        for edge_s in sorted({0, *edges}):
            if edge_s >= self.span_s:
                break
            ends = {name for name, begins in edges.get(edge_s, ()) if not begins}
            now = (now - ends) | {name for name, begins in edges.get(edge_s, ()) if begins}
            if not passed or passed[-1] != now:
                passed.append(frozenset(now))
        return passed


_ALL_TOGETHER = 4
"""Of so many rare entries every set is tried, of more each alone and each two."""
_Path = tuple[Any, ...]
"""Names of fields and places in lists."""
_RAISES = ("filter_runs", "line_flushes", "bathing", "air_line_flushes")


def rare_entries(scenario: Scenario) -> Iterator[tuple[_Path, str]]:
    """Where the file names what recurs less often than weekly, each with the rule of all days it might be."""
    for name in _RAISES:
        yield from _rare(getattr(scenario.schedule, name), ("schedule", name))
    yield from _rare(scenario.plant, ("plant",))


def _rare(thing: Any, path: _Path) -> Iterator[tuple[_Path, str]]:
    parts: Iterable[tuple[Any, Any]] = ()
    if isinstance(thing, Model):
        if (rule := getattr(thing, "repeats", None)) and (often := every_day_of(rule)):
            yield path, often
        parts = [(name, getattr(thing, name)) for name in type(thing).model_fields]
    elif isinstance(thing, Mapping):
        parts = thing.items()
    elif isinstance(thing, tuple):
        parts = enumerate(thing)
    for name, part in parts:
        yield from _rare(part, (*path, name))


def every_day_of(rule: str) -> str:
    """The rule of all days that a rare one could name in some year; "" for one that no week goes without."""
    parts = dict(part.split("=", 1) for part in rule.upper().removeprefix("RRULE:").split(";"))
    months = f";BYMONTH={parts['BYMONTH']}" if "BYMONTH" in parts else ""
    if parts["FREQ"] in ("DAILY", "WEEKLY") and parts.get("INTERVAL", "1") == "1":
        return "" if "BYMONTHDAY" not in parts else f"FREQ=DAILY{months}"
    if parts["FREQ"] == "YEARLY" and not {"BYMONTH", "BYDAY", "BYMONTHDAY"} & parts.keys():
        months = ";BYMONTH=1"  # counted from 1 January
    if "BYDAY" in parts:
        days = ",".join(dict.fromkeys(day[-2:] for day in parts["BYDAY"].split(",")))
        return f"FREQ=WEEKLY;BYDAY={days}{months}"
    return f"FREQ=DAILY{months}"


def _replaced(thing: Any, path: _Path, rule: str) -> Any:
    """A copy of a scenario, or a part of it, with another rule of recurrence at a path."""
    if not path:
        return thing.model_copy(update={"repeats": rule})
    key, rest = path[0], path[1:]
    if isinstance(thing, Model):
        return thing.model_copy(update={key: _replaced(getattr(thing, key), rest, rule)})
    if isinstance(thing, Mapping):
        return {**thing, key: _replaced(thing[key], rest, rule)}
    return tuple(_replaced(one, rest, rule) if k == key else one for k, one in enumerate(thing))
