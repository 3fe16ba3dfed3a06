"""Every rule by its id, and the one function that checks them all."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import UTC, datetime

from cyclesim.analysis import (
    air_rules,
    care_rules,
    conductors,
    flush_rules,
    heat_rules,
    own_water,
    people_rules,
    plant_rules,
    room_loads,
    room_rules,
    running_rules,
    standing_rules,
    state_rules,
    sun_rules,
)
from cyclesim.analysis.amounts import lasting
from cyclesim.analysis.findings import (
    Breach,
    Checked,
    Finding,
    Judged,
    Kind,
    NotJudged,
    Rule,
    grouped,
    has_matter,
    in_order,
)
from cyclesim.analysis.history import History
from cyclesim.analysis.spans import Spans, join
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme

RULES: dict[str, Rule] = {
    rule.id: rule
    for rule in (
        *plant_rules.RULES,
        *air_rules.RULES,
        *flush_rules.RULES,
        *room_rules.RULES,
        *state_rules.RULES,
        *people_rules.RULES,
        *standing_rules.RULES,
        *running_rules.RULES,
        *care_rules.RULES,
        *conductors.RULES,
        *room_loads.RULES,
        *heat_rules.RULES,
        *own_water.RULES,
        *sun_rules.RULES,
    )
}
"""Every rule by its id. What is put in here is run, verified, tuned for and listed like the rest."""


def of_kind(kind: Kind) -> dict[str, Rule]:
    """The rules that are judged in one way, by their ids."""
    return {name: rule for name, rule in RULES.items() if rule.kind == kind}


def check(history: History) -> tuple[tuple[Finding, ...], Checked]:
    """Every rule judged: the findings, the worst first, and which rules could not be judged whole."""
    judged = ((rule, judge(rule, history)) for rule in RULES.values())
    return _gathered(judged, history.plant, history.programme, history.trace.local)


def check_plant(plant: Assembly, programme: Programme) -> tuple[tuple[Finding, ...], Checked]:
    """Likewise those that look at the plant and its programme alone, without a run."""
    judged = [(rule, rule.judge(plant, programme)) for rule in of_kind("plant").values()]
    judged += [(rule, rule.by_plant(plant, programme)) for rule in RULES.values() if rule.by_plant]
    return _gathered(judged, plant, programme, lambda at_s: datetime.fromtimestamp(at_s, UTC))


def _gathered(
    judged: Iterable[tuple[Rule, Judged]],
    plant: Assembly,
    programme: Programme,
    local: Callable[[float], datetime],
) -> tuple[tuple[Finding, ...], Checked]:
    findings: list[Finding] = []
    could_not: list[tuple[str, str]] = []
    nothing: list[str] = []
    rules = 0
    for rule, verdicts in judged:
        rules += 1
        breaches: list[Breach] = []
        for verdict in verdicts:
            if isinstance(verdict, NotJudged):
                could_not.append((rule.id, verdict.why))
            else:
                breaches.append(verdict)
        findings += grouped(rule, breaches, local)
        told = breaches or any(name == rule.id for name, _ in could_not)
        if not told and not has_matter(rule, plant, programme):
            nothing.append(rule.id)
    whole = rules - len({rule for rule, _ in could_not})
    return in_order(findings), Checked(whole, tuple(could_not), tuple(nothing))


def judge(rule: Rule, history: History) -> Judged:
    """What breaks one rule, each time that it does."""
    if rule.kind == "plant":
        yield from rule.judge(history.plant, history.programme)
    elif rule.kind == "history":
        yield from rule.judge(history)
    else:
        yield from _over_time(rule, history)


def _over_time(rule: Rule, history: History) -> Judged:
    """A rule of state judged once per distinct snapshot, then told by its spells."""
    times: dict[tuple[str, str], list[tuple[Breach, Spans]]] = {}
    could_not: dict[NotJudged, None] = {}
    for snapshot, spells in history.truth.snapshots:
        for judged in rule.judge(snapshot, history.plant):
            if isinstance(judged, NotJudged):
                could_not[judged] = None
            else:
                times.setdefault((judged.subject, judged.cause), []).append((judged, spells))
    yield from could_not
    told = {subject for subject, _ in times}
    if rule.by_plant:
        yield from (b for b in rule.by_plant(history.plant, history.programme) if b.subject not in told)
    for group in times.values():
        worst = max((breach for breach, _ in group), key=lambda b: b.worst or 0.0)
        for start, end in join(*(spells for _, spells in group)).tolist():
            lasts_s = end - start
            shown = worst if worst.worst is not None else replace(worst, worst=lasts_s, text=lasting(lasts_s))
            yield replace(shown, at_s=start, lasts_s=lasts_s)
