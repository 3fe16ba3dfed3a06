"""What a run comes to: the verdict in a line, the broken rules, the worst findings and what mends them."""

from __future__ import annotations

from collections.abc import Sequence

from cyclesim.analysis.amounts import listed
from cyclesim.analysis.findings import SEVERITIES, Checked, Finding
from cyclesim.said.page import Page
from cyclesim.said.words import count, hours, number, when

MOST_SHOWN = 8


def verdict(findings: Sequence[Finding], checked: Checked) -> str:
    """The verdict in one sentence or two."""
    tally = f"{checked.checked} checked, {len({rule for rule, _ in checked.could_not})} could not be."
    rules = {finding.rule: finding.severity for finding in findings}
    if not rules:
        return f"No rule broken: {tally}"
    by_severity = [(list(rules.values()).count(severity), severity) for severity in SEVERITIES]
    parts = ", ".join(f"{n} {severity}" for n, severity in by_severity if n)
    return f"{count(len(rules), 'rule')} broken: {parts}. {tally[0].upper()}{tally[1:]}"


def say_verdict(
    page: Page, findings: Sequence[Finding], checked: Checked, not_considered: Sequence[str] = ()
) -> None:
    """The verdict, a line for each broken rule, what could not be checked and why, what was left aside."""
    page.line(verdict(findings, checked), tone=findings[0].severity if findings else "good")
    for rule in dict.fromkeys(finding.rule for finding in findings):
        broken = [finding for finding in findings if finding.rule == rule]
        subjects = listed(list(dict.fromkeys(finding.subject for finding in broken)))
        page.line(f"{broken[0].severity:<8} {rule}: {subjects}", indent=2, hang=9)
    for rule, why in checked.could_not:
        page.line(f"not checked: {rule}: {why}", indent=2, hang=9)
    for what in not_considered:
        page.line(f"{what} not considered", indent=2, hang=9)


def say_findings(page: Page, findings: Sequence[Finding], *, everything: bool = False) -> None:
    """The worst findings: what happened, why, what mends it; told together where only subjects differ."""
    if not findings:
        return
    page.heading("What to change first")
    groups = alike(findings)
    most = len(groups) if everything else MOST_SHOWN
    for k, group in enumerate(groups[:most], start=1):
        _say_alike(page, k, group)
    left_out = sum(map(len, groups[most:]))
    if left_out:
        page.line()
        page.line(
            f"... and {count(left_out, 'lesser finding')} more; --all tells them, and --json FILE has them."
        )


def alike(findings: Sequence[Finding]) -> list[list[Finding]]:
    """Findings that differ in nothing but their subject together, in the order in which they are told."""
    groups: dict[tuple[str, str, str], list[Finding]] = {}
    for finding in findings:
        groups.setdefault((finding.rule, finding.cause, finding.mend), []).append(finding)
    return list(groups.values())


def _say_alike(page: Page, k: int, group: Sequence[Finding]) -> None:
    first = group[0]
    page.line()
    title = f"{k}. {listed([finding.subject for finding in group])}: {first.cause}"
    page.line(title, tone=first.severity, hang=3)
    if len(group) == 1:
        page.line("; ".join(filter(None, (f"{first.severity}, {first.rule}", how_bad(first)))), indent=3)
    else:
        page.line(f"{first.severity}, {first.rule}", indent=3)
        for finding in group:
            if how_bad(finding):
                page.line(f"{finding.subject}: {how_bad(finding)}", indent=3, hang=6)
    page.line(f"Mend: {first.mend}", indent=3, hang=6)
    page.line(f"Rule: {first.sentence.rstrip('.')} ({first.source}).", indent=3, hang=6)


def how_bad(finding: Finding) -> str:
    """How often, how long, the worst and the first times, as far as they are known."""
    clauses = []
    if finding.first:
        clauses.append(count(finding.times, "time"))
        if finding.total_h is not None:
            clauses[-1] += f", {hours(finding.total_h)} in all"
    if finding.worst_text:
        clauses.append(f"worst: {finding.worst_text}")
    elif finding.worst is not None:
        clauses.append(f"worst: {number(finding.worst)} {finding.worst_unit}".rstrip())
    if finding.first:
        clauses.append(f"{'first' if finding.times > 1 else 'on'} {', '.join(map(when, finding.first))}")
    return "; ".join(clauses)
