"""What is to be verified of a plant: each rule of one instant, for each thing that it is about."""

from __future__ import annotations

from dataclasses import dataclass

from cyclesim.analysis.findings import Breach, Rule, Subject
from cyclesim.analysis.rules import RULES, of_kind
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from cyclesim.verification.automaton import Automaton
from cyclesim.verification.search import Judge


@dataclass(frozen=True)
class Check:
    """Rules of one subject that are judged in one search."""

    rules: tuple[str, ...]
    about: Subject

    @property
    def subject(self) -> str:
        """What its rules are about."""
        return self.about.name


def checks(plant: Assembly, programme: Programme, *, faults: bool = True) -> list[Check]:
    """Every check, in the order of the rules; without *faults* none of what only a fault can break."""
    rules: dict[Subject, tuple[str, ...]] = {}
    for rule in of_kind("state").values():
        for about in rule.subjects(plant, programme):
            if faults or not about.by_fault:
                rules[about] = (*rules.get(about, ()), rule.id)
    return [Check(ids, about) for about, ids in rules.items()]


def judges(check: Check, automaton: Automaton) -> dict[str, Judge]:
    """Per rule, why a state breaks it for this subject."""

    def judge(rule: Rule) -> Judge:
        known: dict[object, str] = {}

        def why(node: object) -> str:
            snapshot = automaton.snapshot(node)  # type: ignore[arg-type]
            cause = known.get(id(snapshot))
            if cause is None:
                breaches = rule.judge(snapshot, automaton.plant)
                cause = known[id(snapshot)] = next(
                    (b.cause for b in breaches if isinstance(b, Breach) and b.subject == check.subject), ""
                )
            return cause

        return why

    return {name: judge(RULES[name]) for name in check.rules}
