"""What a run comes to: the verdict in a line, the worst findings and what mends them, all others."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, NamedTuple, TypeAlias

from cyclesim.analysis.amounts import listed
from cyclesim.analysis.findings import SEVERITIES, Checked, Finding
from cyclesim.said.page import Line, Page
from cyclesim.said.words import count, hours, number, when
from cyclesim.scenario.reading.edit import Edit

if TYPE_CHECKING:  # who judges without a run needs no engine
    from cyclesim.analysis.trials import MendTrial

_A_LINE = 77
"""So many letters of a mend stand on one line; a longer one is told once."""
MOST_SHOWN, FIRST_SHOWN = 8, 2
"""So many findings are told unless all are asked for, and so many of them before all else."""
NOT_TRIED = "Mend, not tried"
_CLEARLY = 0.1
"""Times until frost that differ by less than this share are as good as one: a project choice."""
Trials: TypeAlias = "Sequence[MendTrial]"
"""The mends that were tried, in the order of their numbers."""


def verdict(findings: Sequence[Finding], checked: Checked) -> str:
    """The verdict in a sentence or two, which say how much was judged."""
    rules = {finding.rule: finding.severity for finding in findings}
    by_severity = [(list(rules.values()).count(severity), severity) for severity in SEVERITIES]
    parts = ", ".join(f"{n} {severity}" for n, severity in by_severity if n)
    broken = f"{count(len(rules), 'rule')} broken: {parts}." if rules else "No rule broken."
    tally = [f"{count(checked.apply, 'rule applies', 'rules apply')} to this plant"]
    if checked.nothing:
        tally.append(f"{count(len(checked.nothing), 'has', 'have')} nothing to judge here")
    open_ = list(dict.fromkeys(rule for rule, _ in checked.could_not))
    if open_:
        tally.append(f"{len(open_)} could not be checked: {listed(open_)}")
    return f"{broken} {'; '.join(tally)}."


def say_verdict(page: Page, findings: Sequence[Finding], checked: Checked) -> None:
    """The verdict alone."""
    page.line(verdict(findings, checked), tone=findings[0].severity if findings else "good")


def say_open(page: Page, checked: Checked) -> None:
    """What could not be checked, and why; nothing where all could."""
    if checked.could_not:
        page.heading("Not checked")
        for rule, why in checked.could_not:
            page.line(f"- {rule}: {why}", hang=2)


def say_first(page: Page, findings: Sequence[Finding], tried: Trials = ()) -> None:
    """The worst findings: what happened, how badly, and what mends it."""
    for k, group in enumerate(alike(findings)[:FIRST_SHOWN], start=1):
        _say_alike(page, k, group, tried)


def say_others(
    page: Page, findings: Sequence[Finding], *, everything: bool = False, tried: Trials = ()
) -> None:
    """The findings after the first; *everything*: none is left out, and each has its rule's own sentence."""
    groups = alike(findings)
    most = len(groups) if everything else MOST_SHOWN
    if len(groups) > FIRST_SHOWN:
        page.heading("More findings")
    for k, group in enumerate(groups[FIRST_SHOWN:most], start=FIRST_SHOWN + 1):
        _say_alike(page, k, group, tried)
    left_out = sum(map(len, groups[most:]))
    if left_out:
        page.line(f"... and {count(left_out, 'more finding')}: --all tells them, and --json FILE has them.")
    if any(trial.holds and trial.edits for trial in tried):
        page.line("A mend that was tried is written into a copy: --apply N --write NEW.yaml", command=True)
    if everything and findings:
        page.heading("The rules that are broken")
        for first in {finding.rule: finding for finding in findings}.values():
            page.line(f"- {first.rule}: {first.sentence.rstrip('.')} ({first.source}).", hang=2)
    elif findings:
        page.line("What a rule asks for, and why: cyclesim rules ID", command=True)


def say_untried(page: Page, findings: Sequence[Finding], tried: Trials) -> None:
    """For who reads a page and cannot press anything: how mends are tried that were not."""
    if any(mend.head == NOT_TRIED for group in alike(findings) for mend in told_mends(group, tried)):
        page.line(f"What is told as “{NOT_TRIED}”: cyclesim run FILE --all tries whatever it can.")


def alike(findings: Sequence[Finding]) -> list[list[Finding]]:
    """Findings that differ in nothing but their subject together, in the order in which they are told."""
    groups: dict[tuple[str, str, str], list[Finding]] = {}
    for finding in findings:
        groups.setdefault((finding.rule, finding.cause, finding.mend), []).append(finding)
    return list(groups.values())


def told_findings(findings: Sequence[Finding], *, everything: bool = False) -> list[Finding]:
    """The findings that a page tells, in its order."""
    groups = alike(findings)
    return [finding for group in groups[: None if everything else MOST_SHOWN] for finding in group]


def _say_alike(page: Page, k: int, group: Sequence[Finding], tried: Trials) -> None:
    first = group[0]
    title = f"{k}. {listed([finding.subject for finding in group])}: {first.cause}"
    page.line(title, tone=first.severity, hang=3)
    if len(group) == 1:
        page.line("; ".join(filter(None, (f"{first.severity}, {first.rule}", how_bad(first)))), indent=3)
    else:
        page.line(f"{first.severity}, {first.rule}", indent=3)
        for finding in group:
            if how_bad(finding):
                page.line(f"{finding.subject}: {how_bad(finding)}", indent=3, hang=6)
    told = {block.text for block in page.blocks if isinstance(block, Line) and len(block.text) > _A_LINE}
    for line in (mend.line for mend in told_mends(group, tried)):
        page.line(f"{line.partition(':')[0]}: as above." if line in told else line, indent=3, hang=6)


class ToldMend(NamedTuple):
    """A mend as it is told, whether it was tried or not."""

    head: str
    """Its number, and whether it was tried and is enough: `Mend 1, tried`."""
    said: str
    """The mend in words."""
    then: str
    """What this run comes to with it; "" where it is not enough, or was not tried."""
    edits: tuple[Edit, ...]
    holds: bool

    @property
    def line(self) -> str:
        """All of it in a line."""
        return f"{self.head}: {self.said}{f'. {self.then}' if self.then else ''}"


def told_mends(group: Sequence[Finding], tried: Trials) -> Iterator[ToldMend]:
    """What mends findings that are told together: what was tried, enough or not; else what was not tried."""
    first, about = group[0], {(finding.rule, finding.subject) for finding in group}
    mine = [trial for trial in tried if (trial.rule, trial.subject) in about]
    enough = [trial for trial in mine if trial.holds]
    same: dict[tuple[object, ...], list[MendTrial]] = {}
    for trial in enough or mine:
        same.setdefault((trial.number, trial.idle, trial.breaks, trial.worsens), []).append(trial)
    for trial, *more in same.values():
        whole = len(more) + 1 == len(about)
        of = "" if whole else f" for {listed([one.subject for one in (trial, *more)])}"
        why = "no mend, for it then never comes on" if trial.idle else "not enough"
        head, then = f"Tried {trial.number}{of}, {why}", ""
        if trial.holds:
            harms = [f"breaks {listed(list(trial.breaks))}"] if trial.breaks else []
            harms += [f"makes {listed(list(trial.worsens))} worse"] if trial.worsens else []
            but = f", but {', and '.join(harms)}" if harms else ""
            then = f"This run then keeps the rule{but}.{_costs(trial)}{_freezes(trial)}"
            head = f"Mend {trial.number}, tried{of}"
        yield ToldMend(head, trial.said, then, trial.edits, trial.holds)
    if not enough:
        yield ToldMend("Not known to be enough" if mine else NOT_TRIED, first.mend, "", (), False)


def _costs(trial: MendTrial) -> str:
    """What the run costs with a mend, where that is not what it costs without."""
    with_it, without = number(trial.cost), number(trial.cost_before)
    return f" It then costs {with_it}, not {without} {trial.currency}." if with_it != without else ""


def _freezes(trial: MendTrial) -> str:
    """How soon it then freezes without power, where that is clearly another time."""
    now, was = trial.at_zero, trial.at_zero_before
    if now == was or (now and was and abs(now.after_h - was.after_h) < _CLEARLY * was.after_h):
        return ""
    now_said, was_said = (
        f"{of.part} is at 0 °C {f'after {hours(of.after_h)}' if of.after_h else 'already'}"
        if of
        else "no part is at 0 °C within ten days"
        for of in (now, was)
    )
    return f" With no power from the coldest hour on {now_said}; without the mend {was_said}."


def worst_said(finding: Finding) -> str:
    """The cause, and the worst of it where a run came to it."""
    return f"{finding.cause}; {_worst(finding)}" if finding.first and _worst(finding) else finding.cause


def _worst(finding: Finding) -> str:
    if finding.worst_text:
        return f"worst: {finding.worst_text}"
    return "" if finding.worst is None else f"worst: {number(finding.worst)} {finding.worst_unit}".rstrip()


def how_bad(finding: Finding) -> str:
    """How often, how long, the worst and the first times, as far as they are known."""
    clauses = []
    if finding.first:
        clauses.append(count(finding.times, "time"))
        if finding.total_h is not None:
            clauses[-1] += f", {hours(finding.total_h)} in all"
    if worst := _worst(finding):
        clauses.append(worst)
    if finding.first:
        clauses.append(f"{'first' if finding.times > 1 else 'on'} {', '.join(map(when, finding.first))}")
    return "; ".join(clauses)
