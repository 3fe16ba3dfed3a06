"""What a programme must keep, judged by what its run broke.

What every programme breaks belongs to the plant: it is told and does not keep a programme from being
recommended; a rule that says something is asked of programmes does.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from cyclesim.analysis.history import HALTED
from cyclesim.analysis.keyed_in import AIR, PLAN
from cyclesim.analysis.rules import RULES
from cyclesim.decide.sweeps.outcome import Broken, Outcome

_SERIOUS = ("danger", "hygiene")


def of_the_plant(outcomes: Iterable[Outcome]) -> tuple[Broken, ...]:
    """What every run broke and no programme mends: of plant, wiring and power cuts."""
    runs = list(outcomes)
    common = set.intersection(*({_key(f) for f in run.findings if _stands(f)} for run in runs))
    return tuple(f for f in runs[0].findings if _key(f) in common and f.severity in _SERIOUS)


def refused_for(outcome: Outcome, before: Outcome, standing: Iterable[Broken]) -> tuple[Broken, ...]:
    """Why a programme is refused: danger or hygiene, or a rule of programmes that the file's own keeps."""
    known = {_key(f) for f in standing}
    owns, times = _times(before), _times(outcome)
    return tuple(
        f
        for f in outcome.findings
        if _key(f) not in known and not _is_halted(f) and (f.severity in _SERIOUS or _worse(f, times, owns))
    )


def _times(outcome: Outcome) -> Counter[tuple[str, str]]:
    """How often each rule is broken by each subject, for whatever cause."""
    times = Counter[tuple[str, str]]()
    for finding in outcome.findings:
        times[finding.rule, finding.subject] += finding.times
    return times


def _worse(finding: Broken, times: Counter[tuple[str, str]], owns: Counter[tuple[str, str]]) -> bool:
    """Whether less is kept than the rule asks of a programme, beside how often the file's own breaks it."""
    about, asked = (finding.rule, finding.subject), RULES[finding.rule].programmes
    if finding.subject in (AIR, PLAN) and about in owns:
        return False  # no other runs mend it
    if asked in ("nothing", "always") or about not in owns:
        return asked != "nothing"
    return asked == "no more often" and times[about] > owns[about]


def _key(finding: Broken) -> tuple[str, str, str]:
    return finding.rule, finding.subject, finding.cause


def _stands(finding: Broken) -> bool:
    return RULES[finding.rule].programmes == "nothing" or _is_halted(finding)


def _is_halted(finding: Broken) -> bool:
    return finding.cause in HALTED
