"""What may mend a finding of the clock: small changes of the schedule's own text, each run before it is told.

A tuning looks for the best programme; this looks for the smallest change after which one finding is gone.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, time
from itertools import pairwise
from pathlib import Path
from typing import Literal, NamedTuple

from cyclesim.analysis.amounts import exactly, listed
from cyclesim.decide.sweeps.outcome import Broken, Outcome
from cyclesim.decide.sweeps.sweep import HERE, How, job, sweep
from cyclesim.decide.tuning.space import DAY_S, FILTER, FLUSH, Space, may_start, quiet, space
from cyclesim.errors import CycleSimError
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.schedule import Run
from cyclesim.scenario.reading.edit import Edit, edited
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.rewrite import in_unit_of
from cyclesim.simulation.programme import Programme

STANDING = ("stale-water", "warm-stagnation", "residual-lost", "never-flushed")
"""Rules that are broken where the water of a leg is moved too seldom."""
MENDED = (*STANDING, "flush-too-short", "too-few-turnovers", "quiet-hours")
"""The rules for which changes of the schedule are tried."""
_LISTS: tuple[tuple[Literal["filter_runs", "line_flushes"], str], ...] = (
    ("line_flushes", FLUSH),
    ("filter_runs", FILTER),
)
_MOST_TRIED = 8


class ScheduleChange(NamedTuple):
    """A change as a sentence, and what it is in the text of the file."""

    said: str
    edits: tuple[Edit, ...]


@dataclass(frozen=True, slots=True)
class MendRun:
    """A change that was run."""

    said: str
    edits: tuple[Edit, ...]
    gone: bool
    """Whether the finding is gone."""
    instead: tuple[str, ...]
    """Rules of danger or hygiene that it breaks and the file as it stands does not."""
    cost_more: float
    """What the run costs more than before."""
    oldest_water_h: float

    @property
    def mends(self) -> bool:
        """Whether the finding is gone and nothing comes instead."""
        return self.gone and not self.instead


@dataclass(frozen=True, slots=True)
class Mending:
    """Every change that was run against one finding, those that mend it first, the cheapest of them first."""

    rule: str
    subjects: tuple[str, ...]
    days: int
    currency: str
    oldest_water_h: float
    """Before any change."""
    tried: tuple[MendRun, ...]


class _Entry(NamedTuple):
    """A run of the schedule that the clock starts, and where it stands."""

    key: Literal["filter_runs", "line_flushes"]
    does: str
    place: int
    run: Run
    name: str

    @property
    def on_every_day(self) -> tuple[Edit, ...]:
        """What takes the days of the week out, where it has any."""
        days = Edit(("schedule", self.key, self.place, "days"), None)
        return () if self.run.days is None else (days,)

    @property
    def starts_s(self) -> list[int]:
        return sorted(_seconds(clock) for clock in self.run.start or ())


def mending(
    scenario: Scenario,
    read: str,
    file: Path,
    rule: str,
    subjects: Sequence[str],
    *,
    cause: str = "",
    days: int,
    start: date | None = None,
    seed: int = 0,
    how: How = HERE,
) -> Mending:
    """Run every change of the schedule that may mend what one rule finds of one or more subjects alike.

    *read*: what the file said when the scenario was loaded. *cause*: of the finding, where it names a demand.
    Raises CycleSimError for a rule for which nothing is tried.
    """
    if rule not in MENDED:
        raise CycleSimError(f"No change of the schedule is tried for {rule}; known: {', '.join(MENDED)}.")
    changed = [
        (change, other)
        for change in schedule_changes(scenario, rule, subjects, cause)
        if (other := _read(read, file, change)) is not None
    ][:_MOST_TRIED]
    jobs = [job(one, days, start, seed) for one in (scenario, *(other for _, other in changed))]
    before, *after = sweep(jobs, how)
    tried = [
        _judged(change, before, now, rule, subjects) for (change, _), now in zip(changed, after, strict=True)
    ]
    tried.sort(key=lambda one: (not one.mends, not one.gone, one.cost_more))
    return Mending(rule, tuple(subjects), days, before.currency, before.oldest_water_h, tuple(tried))


def schedule_changes(
    scenario: Scenario, rule: str, subjects: Sequence[str], cause: str = ""
) -> list[ScheduleChange]:
    """Changes that may mend a finding, the smallest first; none where there is nothing to place."""
    offers, entries = space(scenario), list(_entries(scenario))
    if rule == "quiet-hours":
        found = _moved(offers, entries, cause)
    elif rule == "flush-too-short":
        found = (c for entry in entries if entry.name in subjects for c in _longer(offers, entry))
    elif rule == "too-few-turnovers":
        found = _filtered(offers, entries)
    else:
        found = (c for leg in subjects for c in _moved_more(offers, entries, leg))
    return list(dict.fromkeys(found))


def _entries(scenario: Scenario) -> Iterator[_Entry]:
    names = {id(timed.run): timed.demand.name for timed in Programme(scenario).timed}
    for key, does in _LISTS:
        for place, run in enumerate(getattr(scenario.schedule, key)):
            if run.start and id(run) in names:
                yield _Entry(key, does, place, run, names[id(run)])


def _read(read: str, file: Path, change: ScheduleChange) -> Scenario | None:
    """The scenario with a change in its text; None where the file has no place for it."""
    with suppress(CycleSimError):
        return load_text(edited(read, change.edits), str(file), folder=file.parent)
    return None


def _judged(
    change: ScheduleChange, before: Outcome, after: Outcome, rule: str, subjects: Sequence[str]
) -> MendRun:
    gone = not any(f.rule == rule and f.subject in subjects for f in after.findings)
    had = {(f.rule, f.subject) for f in before.findings}
    instead = (f for f in after.broken("danger", "hygiene") if (f.rule, f.subject) not in had)
    return MendRun(
        change.said, change.edits, gone, tuple(map(_named, instead)), after.cost - before.cost,
        after.oldest_water_h,
    )  # fmt: skip


def _named(broken: Broken) -> str:
    return f"{broken.rule} ({broken.subject})"


# -- changes -------------------------------------------------------------------------------------------------


def _moved_more(offers: Space, entries: Sequence[_Entry], leg: str) -> Iterator[ScheduleChange]:
    """More starts of what moves a leg, every day of the week, longer runs, or one more flush."""
    plant, plug = offers.plant, offers.plant.reported.get(leg)
    if plug is None:
        return
    moving = [
        entry for entry in entries
        if plant.duty(plant.at(*entry.run.pump)).plug_flows_m3_s[plug]
    ]  # fmt: skip
    for entry in moving:
        daily, more = entry.on_every_day, _one_more(offers, entry, entry.starts_s)
        if daily:
            yield ScheduleChange(f"let {entry.name} run on every day", daily)
        if more is not None:
            yield _at_clocks(entry, more)
            if daily:
                said = f"let {entry.name} run on every day, at {_told(more)}"
                yield ScheduleChange(said, (*daily, *_at_clocks(entry, more).edits))
            again = _one_more(offers, entry, more)
            if again is not None:
                yield _at_clocks(entry, again)
    for entry in moving:
        if entry.does == FLUSH:
            yield from _longer(offers, entry)
    unflushed = offers.scenario.schedule.model_copy(update={"line_flushes": ()})
    any_pump = space(offers.scenario.model_copy(update={"schedule": unflushed}))
    for kind in _shortest_flushes(any_pump, leg):
        clocks = list[int]()
        for _ in range(1 + int(DAY_S // offers.scenario.limits.water_age_s)):
            clocks = _one_more(offers, kind, clocks) or clocks
        if clocks:
            lasts = in_unit_of("", round(kind.run.lasts_s or 0.0))
            text = f"{{pump: {kind.run.pump}, start: {_clocks(clocks)}, lasts: {lasts}}}"
            said = f"add a line flush at {kind.run.pump} for {lasts} at {_told(clocks)}"
            yield ScheduleChange(said, (Edit(("schedule", "line_flushes"), text, adds=True),))


def _shortest_flushes(offers: Space, leg: str) -> Iterator[_Entry]:
    """For each pump the shortest flush on offer that renews a leg, as an entry that is not there yet."""
    shortest: dict[str, _Entry] = {}
    for kind in offers.kinds:
        known = shortest.get(kind.pump.pump)
        if (
            kind.does == FLUSH
            and leg in kind.renews
            and (known is None or kind.lasts_s < (known.run.lasts_s or 0.0))
        ):
            run = Run.model_construct(pump=kind.pump, start=(), lasts_s=float(kind.lasts_s), days=None)
            shortest[kind.pump.pump] = _Entry("line_flushes", FLUSH, -1, run, "")
    yield from shortest.values()


def _longer(offers: Space, entry: _Entry) -> Iterator[ScheduleChange]:
    """The lengths on offer for its pump at its speed that are longer, else those at another speed."""
    now_s, pump = entry.run.lasts_s or 0.0, entry.run.pump
    kinds = [kind for kind in offers.kinds if kind.does == FLUSH and kind.pump.pump == pump.pump]
    same = [kind for kind in kinds if kind.pump == pump and kind.lasts_s > now_s]
    at = ("schedule", entry.key, entry.place)
    for kind in same or [kind for kind in kinds if kind.pump != pump]:
        edits = [Edit((*at, "lasts"), f"{kind.lasts_s} s")]
        said = f"let {entry.name} last {exactly(kind.lasts_s)}"
        if kind.pump != pump:
            edits.append(Edit((*at, "pump"), str(kind.pump)))
            said += f" at {kind.pump}"
        yield ScheduleChange(said, tuple(edits))


def _filtered(offers: Space, entries: Sequence[_Entry]) -> Iterator[ScheduleChange]:
    """Longer filter runs, each alone, so that the filter passes what is asked for in a day."""
    rates = {entry: offers.plant.duty(offers.plant.at(*entry.run.pump)).filtered_m3_s for entry in entries}
    now_m3 = sum(
        rate * len(entry.starts_s) * (entry.run.lasts_s or 0.0) for entry, rate in rates.items() if rate > 0.0
    )
    for entry, rate in rates.items():
        if entry.does != FILTER or rate <= 0.0 or not entry.starts_s:
            continue
        missing_s = (offers.wanted_m3 - now_m3) / rate / len(entry.starts_s)
        steps = -int(-((entry.run.lasts_s or 0.0) + max(missing_s, 1.0)) // offers.step_s)
        lasts_s = steps * offers.step_s
        if lasts_s < DAY_S // max(1, len(entry.starts_s)):
            lasts = in_unit_of("", lasts_s)
            edit = Edit(("schedule", entry.key, entry.place, "lasts"), lasts)
            yield ScheduleChange(f"let {entry.name} last {lasts}", (edit,))
        more = _one_more(offers, entry, entry.starts_s)
        if more is not None:
            yield _at_clocks(entry, more)


def _moved(offers: Space, entries: Sequence[_Entry], cause: str) -> Iterator[ScheduleChange]:
    """The starts of a run that lie where it must be quiet, put before or behind."""
    for entry in (entry for entry in entries if entry.name == cause):
        allowed = _allowed(offers, entry)
        for direction in (1, -1):
            clocks = [_nearest(offers, allowed, start_s, direction) for start_s in entry.starts_s]
            if None not in clocks and clocks != entry.starts_s:
                yield _at_clocks(entry, sorted({clock for clock in clocks if clock is not None}))


def _nearest(offers: Space, allowed: Sequence[bool], start_s: int, direction: int) -> int | None:
    """Itself where a run may start there, else the first slot in a direction where it may."""
    if (
        all(not _within(start_s, *window) for window in quiet(offers.scenario))
        and (allowed[start_s // offers.step_s])
    ):
        return start_s
    slots = len(allowed)
    first = -(-start_s // offers.step_s) if direction > 0 else start_s // offers.step_s
    return next(
        (((first + direction * k) % slots) * offers.step_s for k in range(slots)
         if allowed[(first + direction * k) % slots]), None
    )  # fmt: skip


def _within(second: int, opens: int, closes: int) -> bool:
    return opens <= second < closes if opens < closes else second >= opens or second < closes


def _allowed(offers: Space, entry: _Entry) -> list[bool]:
    lasts_s = round(entry.run.lasts_s or 0.0)
    return list(may_start(offers.scenario, offers.step_s, entry.does, entry.run.pump, lasts_s))


def _one_more(offers: Space, entry: _Entry, starts_s: Sequence[int]) -> list[int] | None:
    """The starts with one more, as near as it may be to the middle of the longest wait."""
    at_most = offers.most.get(entry.does)
    if at_most is not None and len(starts_s) >= at_most:
        return None
    free = [k * offers.step_s for k, may in enumerate(_allowed(offers, entry)) if may]
    free = [slot for slot in free if all(_apart(slot, start_s) >= offers.step_s for start_s in starts_s)]
    if not free:
        return None
    if not starts_s:
        return [free[0]]
    rounds = [*starts_s, starts_s[0] + DAY_S]
    waits = [(after - before, before) for before, after in pairwise(rounds)]
    wait_s, before_s = max(waits)
    middle = (before_s + wait_s // 2) % DAY_S
    return sorted([*starts_s, min(free, key=lambda slot: (_apart(slot, middle), slot))])


def _apart(a: int, b: int) -> int:
    return min((a - b) % DAY_S, (b - a) % DAY_S)


def _at_clocks(entry: _Entry, starts_s: Sequence[int]) -> ScheduleChange:
    edit = Edit(("schedule", entry.key, entry.place, "start"), _clocks(starts_s))
    return ScheduleChange(f"start {entry.name} at {_told(starts_s)}", (edit,))


def _clocks(starts_s: Iterable[int]) -> str:
    quoted = (f'"{_clock(second)}"' for second in starts_s)
    return f"[{', '.join(quoted)}]"


def _told(starts_s: Iterable[int]) -> str:
    return listed(list(map(_clock, starts_s)))


def _clock(second: int) -> str:
    return f"{second // 3600:02d}:{second % 3600 // 60:02d}"


def _seconds(clock: time) -> int:
    return clock.hour * 3600 + clock.minute * 60
