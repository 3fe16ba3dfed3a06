"""Every rule in words: what must be so, how that is judged, where the limit is from, what mends it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from cyclesim.analysis.findings import SEVERITIES, Kind, Rule, Severity
from cyclesim.analysis.rules import RULES
from cyclesim.errors import CycleSimError, shorten
from cyclesim.said.cautions import ADVICE, say_cautions
from cyclesim.said.page import Page
from cyclesim.said.words import count
from cyclesim.scenario.forms.forms import did_you_mean

JUDGED: dict[Kind, str] = {
    "plant": "on the plant and its programme as drawn, without a run",
    "state": "at every instant of a run",
    "history": "over a whole run",
}
MEANS: dict[Severity, str] = {
    "danger": "somebody or the plant may come to harm",
    "hygiene": "water may go bad",
    "wear": "a machine lasts less long",
    "comfort": "people do not get what they asked for",
}


def chosen(name: str | None = None) -> tuple[Rule, ...]:
    """The rule of that id, or all of them; CycleSimError with the nearest id where there is none."""
    if name is None:
        return tuple(RULES.values())
    if name not in RULES:
        near = did_you_mean(name, RULES)
        hint = f"; {near}" if near else ""
        found = f"'{shorten(name)}' is no rule, expected one that cyclesim rules lists{hint}"
        raise CycleSimError(f"ID: {found}")
    return (RULES[name],)


def rule_values(told: Sequence[Rule] | None = None) -> dict[str, Any]:
    """Rules as plain values, the most severe first; all of them unless some are given."""
    fields = ("id", "severity", "kind", "sentence", "source", "mend")
    return {
        "rules": [
            {**{name: getattr(rule, name) for name in fields}, "judged": JUDGED[rule.kind]}
            for severity in SEVERITIES
            for rule in told or chosen()
            if rule.severity == severity
        ]
    }


def rule_page(told: Sequence[Rule] | None = None) -> Page:
    """Rules by severity, the most severe first; all of them unless some are given."""
    page, told = Page(), told or chosen()
    if len(told) > 1:
        page.line(f"{count(len(told), 'rule')}, each of which must hold whatever was wired.", tone="strong")
    for severity in SEVERITIES:
        of_it = [rule for rule in told if rule.severity == severity]
        if of_it:
            page.heading(f"{severity}: {MEANS[severity]}")
        for rule in of_it:
            page.line()
            page.line(rule.id, tone="strong", indent=2)
            page.line(rule.sentence, indent=4)
            page.line(f"Judged: {JUDGED[rule.kind]}.", indent=4, hang=2)
            page.line(f"Source: {rule.source}.", indent=4, hang=2)
            for principle in rule.principles:
                page.line(f"Principle: {principle}.", indent=4, hang=2)
            page.line(f"Mend: {rule.mend}.", indent=4, hang=2)
    say_cautions(page, [ADVICE])
    return page
