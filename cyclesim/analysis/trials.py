"""Mends of what a run breaks, tried: the scenario is changed so, and the same days are run again."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import islice
from types import MappingProxyType
from typing import NamedTuple

from cyclesim.analysis.energy import meter
from cyclesim.analysis.findings import SEVERITIES, Change, Finding, Subject
from cyclesim.analysis.history import CLOCK_RESET, HALTED, HALTS, History
from cyclesim.analysis.mends import changes, resumed
from cyclesim.analysis.outages import AtZero, first_at_zero, had_it_failed
from cyclesim.analysis.result import Result
from cyclesim.analysis.rules import RULES, check
from cyclesim.analysis.running_rules import ABOVE
from cyclesim.analysis.spans import while_in
from cyclesim.errors import CycleSimError
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.edit import Edit
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.engine import simulate_trace
from cyclesim.simulation.programme import Programme

MOST_RUNS, MOST_EACH = 6, 3
"""How often the days are run again unless all is asked for, and how many mends of one finding are tried."""
_LONGER = 1.25
"""A rule broken for so many times as long, or as often, is told as worse: a project choice."""
_DEAR = 2.0
"""A mend with which the days cost so many times as much is dear, and others are tried: a project choice."""


class Days(NamedTuple):
    """What some days come to, as far as a mend is judged by them."""

    broken: frozenset[tuple[str, str]]
    """(rule, subject)."""
    ran: frozenset[str]
    """What was on at some time."""
    cost: float = 0.0
    """What the days cost, where that was asked for."""
    lasts: Mapping[tuple[str, str], float] = MappingProxyType({})
    """How long each is broken [h], or how often where it has no length."""
    at_zero: AtZero | None = None
    """What is at 0 degC first with no power from the coldest hour on, where that was asked for."""

    def worse_than(self, before: Days) -> tuple[str, ...]:
        """What is broken and was not: `stale-water (left_bench)`."""
        return tuple(f"{rule} ({subject})" for rule, subject in sorted(self.broken - before.broken))

    def longer_than(self, before: Days) -> tuple[str, ...]:
        """What was broken before, and now is for much longer."""
        both = sorted(self.broken & before.broken)
        return tuple(f"{r} ({s})" for r, s in both if self.lasts[r, s] > _LONGER * before.lasts[r, s])


@dataclass(frozen=True, slots=True)
class MendTrial:
    """One mend of one finding, and what the same days come to with it."""

    number: int
    """The same mend of two findings has one number."""
    rule: str
    subject: str
    said: str
    """The mend in words."""
    holds: bool
    """Whether the rule is no longer broken by its subject."""
    breaks: tuple[str, ...]
    """What is broken with it and not without: `stale-water (left_bench)`."""
    idle: bool = False
    """Whether its subject then never comes on, which is no mend."""
    edits: tuple[Edit, ...] = ()
    """The mend in the text of the file; none where it is to be made by hand."""
    cost: float = 0.0
    """What the days cost with it."""
    cost_before: float = 0.0
    """What they cost without it."""
    currency: str = ""
    worsens: tuple[str, ...] = ()
    """What is broken without it, and with it for much longer or more often."""
    at_zero: AtZero | None = None
    """What is at 0 degC first with it, had the power failed in the coldest hour."""
    at_zero_before: AtZero | None = None
    """The same without it."""

    @property
    def harms(self) -> int:
        """What it breaks or makes worse: 0 nothing, 1 what is less grave than its rule, 2 as grave."""
        harmed = [_grade(rule.partition(" ")[0]) for rule in (*self.breaks, *self.worsens)]
        return (1 + (min(harmed) <= _grade(self.rule))) if harmed else 0

    @property
    def dear(self) -> bool:
        """Whether the days cost so much more with it that others are to be told first."""
        return self.cost > _DEAR * self.cost_before


def tried(
    result: Result,
    findings: Sequence[Finding],
    *,
    most_runs: int = MOST_RUNS,
    on_run: Callable[[int], object] | None = None,
) -> tuple[MendTrial, ...]:
    """Mends of some findings of a run, in their order, until one mends each, not dear, with no harm.

    Where runs are few each gets one first that does no harm as grave. Of those of a finding what harms comes
    last, and before it what is dear; what is not enough has the last numbers.

    After *most_runs* runs no further mend is tried. *on_run* is called with the number of runs done.
    """
    known: dict[str, Days | None] = {}
    history = History(result.plant, result.programme, result.trace)
    at_zero = first_at_zero(had_it_failed(result.plant, result.trace))
    before = _days(result.findings, history)._replace(cost=result.metrics.energy.cost, at_zero=at_zero)
    subjects = dict.fromkeys((finding.rule, finding.subject) for finding in findings)
    left = {mine: islice(offered(result, *mine), MOST_EACH) for mine in subjects}
    trials: dict[tuple[str, str], list[MendTrial]] = {mine: [] for mine in left}

    def with_change(change: Change) -> Days | None:
        if change.sentence not in known:
            known[change.sentence] = _with(result, change)
            if on_run is not None:
                on_run(len(known))
        return known[change.sentence]

    for most_harm in (1, 0):
        for mine, some in left.items():
            while not any(one.holds and not one.dear and one.harms <= most_harm for one in trials[mine]):
                change = next(some, None)
                if change is None or (change.sentence not in known and len(known) >= most_runs):
                    break
                if (after := with_change(change)) is not None:  # else it makes no plant that can be run
                    trials[mine].append(_trial(result, mine, change, before, after))
    in_order = (sorted(of, key=lambda trial: (trial.harms, trial.dear)) for of in trials.values())
    return _numbered([trial for of in in_order for trial in of])


def _trial(result: Result, mine: tuple[str, str], change: Change, before: Days, after: Days) -> MendTrial:
    """What one change comes to for a rule and its subject."""
    idle = mine[1] in before.ran - after.ran and mine[1] not in result.plant.pumps
    return MendTrial(
        0, *mine, change.sentence, mine not in after.broken and not idle, after.worse_than(before), idle,
        change.edits, after.cost, before.cost, result.metrics.energy.currency, after.longer_than(before),
        after.at_zero, before.at_zero,
    )  # fmt: skip


def _numbered(trials: Sequence[MendTrial]) -> tuple[MendTrial, ...]:
    """Numbers from 1 on, those first that are enough for anything, which are told."""
    enough = [trial.said for trial in trials if trial.holds]
    told = dict.fromkeys((*enough, *(trial.said for trial in trials)))
    numbers = {said: number for number, said in enumerate(told, 1)}
    return tuple(replace(trial, number=numbers[trial.said]) for trial in trials)


def _grade(rule: str) -> int:
    return SEVERITIES.index(RULES[rule].severity)


def run_again(result: Result, scenario: Scenario) -> Days:
    """The days of a result with another scenario, what they cost, and how long until frost without power."""
    about = result.about
    history = _history(scenario, about.days, date.fromisoformat(about.first_day), about.seed)
    costs = meter(history.plant, history.programme, history.trace).cost.values()
    at_zero = first_at_zero(had_it_failed(history.plant, history.trace))
    days = _days(check(history)[0], history)
    return days._replace(cost=float(sum(cost[-1] for cost in costs)), at_zero=at_zero)


def run_days(scenario: Scenario, days: int, start: date | None = None, seed: int = 0) -> Days:
    """What some days of a scenario come to."""
    history = _history(scenario, days, start, seed)
    return _days(check(history)[0], history)


def _history(scenario: Scenario, days: int, start: date | None, seed: int) -> History:
    plant, programme = Assembly(scenario), Programme(scenario)
    trace = simulate_trace(plant, programme, days=days, start=start, seed=seed)
    return History(plant, programme, trace)


def _days(findings: Sequence[Finding], history: History) -> Days:
    broken = frozenset((finding.rule, finding.subject) for finding in findings)
    lasts = dict.fromkeys(broken, 0.0)
    for one in findings:
        lasts[one.rule, one.subject] += one.times if one.total_h is None else one.total_h
    ran = frozenset(name for (name, _), on in history.truth.closed.items() if len(on))
    return Days(broken, ran, lasts=lasts)


def offered(result: Result, broken_rule: str, subject: str) -> Iterator[Change]:
    """What a rule knows of that may mend it for a subject, each once; nothing that its causes make vain."""
    rule, told = RULES[broken_rule], set[str]()
    causes = {f.cause for f in result.findings if (f.rule, f.subject) == (broken_rule, subject)}
    if any(cause.endswith((HALTS["waits"][0], CLOCK_RESET[0])) for cause in causes):
        yield resumed()
    stood = _halted_pumps(result, causes)
    if broken_rule == "demand-not-served" and not any(cause.endswith(ABOVE) for cause in causes):
        return  # a block or a trip keeps its pump off, whatever stands above what
    abouts = [Subject(subject, ())]
    if rule.kind == "state":
        every = rule.subjects(result.plant, result.programme)
        abouts = [about for about in every if about.name == subject]
    for about in abouts:
        for change in changes(rule, result.plant, result.programme, about):
            if change.sentence not in told and not (stood and _runs_only(stood, result, change)):
                told.add(change.sentence)
                yield change


def _halted_pumps(result: Result, causes: Collection[str]) -> frozenset[str]:
    """The pumps that nothing could start, where that alone is why a rule was broken."""
    if not HALTED.issuperset(causes):
        return frozenset()
    pumps = frozenset(result.plant.pumps)
    if set(causes) != {HALTS["circuit"][0]}:
        return pumps
    circuits = result.scenario.circuits
    lost = (circuits[name].feeds for name, s in result.trace.circuits.items() if len(while_in(s, "lost")))
    return pumps.intersection(fed for feeds in lost for fed in feeds)


def _runs_only(pumps: frozenset[str], result: Result, change: Change) -> bool:
    """Whether all that a change lets run otherwise are runs of these pumps, or it only ranks them anew."""
    if not pumps:
        return False
    try:
        after = change.of(result.scenario).schedule
    except (CycleSimError, ValueError):
        return False  # told for what it is where it is tried
    before = result.scenario.schedule
    if after != before and after.model_copy(update={"ranks": before.ranks}) == before:
        return True
    other = [pump.pump for run in (*after.line_flushes, *after.filter_runs)
             if run not in (*before.line_flushes, *before.filter_runs)
             for pump in run.pumping.pumps]  # fmt: skip
    if after.frost_protection and after.frost_protection != before.frost_protection:
        other.append(after.frost_protection.pump.pump)
    return bool(other) and pumps.issuperset(other)


def _with(result: Result, change: Change) -> Days | None:
    """The days with a change; None where it makes nothing that can be run."""
    try:
        return run_again(result, change.of(result.scenario))
    except (CycleSimError, ValueError):
        return None
