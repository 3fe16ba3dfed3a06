"""Every rule in words: what must be so, how that is judged, where the limit is from, what mends it."""

from __future__ import annotations

from typing import Any

from cyclesim.analysis.findings import SEVERITIES, Kind, Severity
from cyclesim.analysis.rules import RULES
from cyclesim.said.cautions import ADVICE, say_cautions
from cyclesim.said.page import Page
from cyclesim.said.words import count

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


def rule_values() -> dict[str, Any]:
    """Every rule as plain values, the most severe first."""
    fields = ("id", "severity", "kind", "sentence", "source", "mend")
    return {
        "rules": [
            {**{name: getattr(rule, name) for name in fields}, "judged": JUDGED[rule.kind]}
            for severity in SEVERITIES
            for rule in RULES.values()
            if rule.severity == severity
        ]
    }


def rule_page() -> Page:
    """Every rule by severity, the most severe first."""
    page = Page()
    page.line(f"{count(len(RULES), 'rule')}, each of which must hold whatever was wired.", tone="strong")
    for severity in SEVERITIES:
        page.heading(f"{severity}: {MEANS[severity]}")
        for rule in RULES.values():
            if rule.severity == severity:
                page.line()
                page.line(rule.id, tone="strong", indent=2)
                page.line(rule.sentence, indent=4)
                page.line(f"Judged: {JUDGED[rule.kind]}.", indent=4, hang=2)
                page.line(f"Source: {rule.source}.", indent=4, hang=2)
                page.line(f"Mend: {rule.mend}.", indent=4, hang=2)
    say_cautions(page, [ADVICE])
    return page
