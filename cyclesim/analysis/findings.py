"""Rules, what breaks them, and the findings in which what belongs together is counted as one."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal, NamedTuple

from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.edit import Edit
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme

CHOICE, PRACTICE = "project choice, no standard", "common practice, no source"
SHEET = "the limit is the data sheet's"

Severity = Literal["danger", "hygiene", "wear", "comfort"]
SEVERITIES: tuple[Severity, ...] = ("danger", "hygiene", "wear", "comfort")
"""The worst first. danger: somebody or the plant may come to harm. hygiene: water may go bad. wear: a machine
lasts less long. comfort: people do not get what they asked for."""

Kind = Literal["plant", "state", "history"]


@dataclass(frozen=True, slots=True)
class Breach:
    """One time that a rule was broken. A plant breaks a rule at no time in particular: `at_s` is None."""

    subject: str
    cause: str
    worst: float | None
    unit: str
    text: str
    mend: str = ""
    """What would mend it; the rule's own words where it is left out."""
    at_s: float | None = None
    lasts_s: float | None = None
    less_is_worse: bool = False


@dataclass(frozen=True, slots=True)
class NotJudged:
    """Why a rule, or a part of it, could not be judged."""

    why: str


Judged = Iterator[Breach | NotJudged]


class Change(NamedTuple):
    """What might mend a rule, as a sentence, and what it makes of a scenario, so that it can be tried."""

    sentence: str
    of: Callable[[Scenario], Scenario]
    edits: tuple[Edit, ...] = ()
    """The same in the text of its file."""


@dataclass(frozen=True, slots=True)
class Subject:
    """One thing that a rule of state is about, and what a search must know to judge it."""

    name: str
    machines: tuple[str, ...]
    """What the rule looks at: the search has these, and all that can block, keep or feed them."""
    watched: tuple[str, ...] = ()
    """Devices of which grace and flow are followed through time."""
    hot: tuple[str, ...] = ()
    """Heat sources that nobody switches: they may be hot at any time."""
    late: bool = False
    """Whether contacts that open late matter."""
    people: bool = False
    """Whether it matters who is in the water."""
    flush: bool = False
    """Whether only what demands decide matters, and which of them are line flushes."""
    kept_out: str = ""
    """Why water should be kept out of it, a set of steered collectors: `cold` or `stop`."""
    by_fault: bool = False
    """Whether it can be broken by a fault only, so that without faults there is nothing to verify."""


Programmes = Literal["nothing", "as now", "no more often", "always"]


def _none(*_: object) -> Iterator[Any]:
    return iter(())


@dataclass(frozen=True, slots=True)
class Rule:
    """What must be so, whatever was wired: everything that is known of it, for all that reads it."""

    id: str
    kind: Kind
    severity: Severity
    sentence: str
    source: str
    mend: str
    """What mends it, where a breach does not say it more exactly."""
    judge: Callable[..., Judged]
    """Of (plant, programme), of (snapshot, plant) or of (history,), by kind."""
    programmes: Programmes = "nothing"
    """What is asked of a programme that is recommended, besides that it breaks no rule of danger or hygiene
    that another programme keeps. nothing: whether the rule is kept is no matter of programmes. as now: it is
    kept where the file's own programme keeps it. no more often: nor is it broken more often than by that.
    always: it is kept whatever the file's own does."""
    principles: tuple[str, ...] = ()
    """Published principles that stand behind it, each with how well it is known."""
    subjects: Callable[[Assembly, Programme], Iterator[Subject]] = _none
    """Of a rule of state: what it is about in a plant."""
    nothing: str = ""
    """Of a rule of state: why it may be about nothing, as a clause."""
    applies: Callable[[Assembly, Programme], bool] | None = None
    """Whether a plant has anything for it to judge; left out where subjects tell that, or it always has."""
    changes: Callable[[Assembly, Programme, Subject], Iterator[Change]] = _none
    """What might mend it for a subject, the smallest change first; what is not here is never tried."""
    limited: bool = False
    """Of a rule of state: whether an independent high limit that trips ends what breaks it."""
    continuous: bool = False
    """Of a rule of state: whether it counts what has run for hours."""
    by_plant: Callable[[Assembly, Programme], Iterator[Breach]] | None = None
    """Of a rule of state: what breaks it by the plant alone, whether a run comes to it or not."""


def has_matter(rule: Rule, plant: Assembly, programme: Programme) -> bool:
    """Whether a rule has anything to judge in a run of this plant."""
    if rule.applies is not None:
        return rule.applies(plant, programme)
    if rule.kind != "state":
        return True
    return any(not subject.by_fault for subject in rule.subjects(plant, programme))


@dataclass(frozen=True, slots=True)
class Finding:
    """One rule broken by one subject for one cause: how often, how long, the worst, what would mend it."""

    rule: str
    severity: Severity
    subject: str
    cause: str
    times: int
    total_h: float | None
    worst: float | None
    worst_unit: str
    worst_text: str
    first: tuple[str, ...]
    """Local time of the first three, ISO 8601."""
    mend: str
    sentence: str
    source: str


@dataclass(frozen=True, slots=True)
class Checked:
    """How many rules were judged whole, which were not, or only in part, and why, and which judge nothing.

    A rule that has nothing to judge in this plant counts as judged whole: nothing there breaks it.
    """

    checked: int
    could_not: tuple[tuple[str, str], ...]
    nothing: tuple[str, ...] = ()

    @property
    def apply(self) -> int:
        """How many rules have something to judge here."""
        return self.checked + len({rule for rule, _ in self.could_not}) - len(self.nothing)


def grouped(rule: Rule, breaches: Sequence[Breach], local: Callable[[float], datetime]) -> list[Finding]:
    """The breaches of one rule as findings: one per subject and cause, the worst of each shown."""
    groups: dict[tuple[str, str], list[Breach]] = {}
    for breach in breaches:
        groups.setdefault((breach.subject, breach.cause), []).append(breach)
    findings = []
    for (subject, cause), group in groups.items():
        worst = max(group, key=_badness)
        times = [b.lasts_s for b in group if b.lasts_s is not None]
        findings.append(
            Finding(
                rule.id,
                rule.severity,
                subject,
                cause,
                len(group),
                sum(times) / 3600.0 if times else None,
                worst.worst,
                worst.unit,
                worst.text,
                tuple(
                    local(at_s).isoformat(timespec="seconds")
                    for at_s in sorted(b.at_s for b in group if b.at_s is not None)[:3]
                ),
                worst.mend or rule.mend,
                rule.sentence,
                rule.source,
            )
        )
    return findings


def _badness(breach: Breach) -> float:
    if breach.worst is None:
        return 0.0
    return -breach.worst if breach.less_is_worse else breach.worst


def in_order(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """The most severe first, then the most frequent; equals in the order they were found."""
    return tuple(sorted(findings, key=lambda f: (SEVERITIES.index(f.severity), -f.times)))


def is_broken(findings: Sequence[Finding]) -> bool:
    """Whether a rule of severity danger or hygiene is broken: what the exit status says."""
    return any(finding.severity in ("danger", "hygiene") for finding in findings)
