"""What a programme must keep, judged by what its run broke.

What every programme breaks belongs to the plant: it is told and does not keep a programme from being
recommended; stale water, turnovers, quiet hours, what can be keyed in, and more people in cold water than
with the file's own programme do.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from cyclesim.analysis.history import POWERLESS
from cyclesim.decide.sweeps.outcome import Broken, Outcome

OF_THE_PROGRAMME = frozenset(
    {
        "stale-water",
        "warm-stagnation",
        "residual-lost",
        "too-few-turnovers",
        "never-flushed",
        "flush-too-short",
        "flush-onto-people",
        "quiet-hours",
        "demand-not-served",
        "short-cycling",
        "too-many-starts",
        "programme-does-not-fit",
        "cold-at-session",
    }
)
"""Rules that another programme may keep where one breaks them; the rest is of the plant."""
_SERIOUS = ("danger", "hygiene")
_NEVER = ("quiet-hours", "programme-does-not-fit")
"""Rules that no programme may break, whether or not the file's own does."""
_WITHOUT_POWER = frozenset(cause for cause, _ in POWERLESS.values())


def of_the_plant(outcomes: Iterable[Outcome]) -> tuple[Broken, ...]:
    """What every run broke and no programme mends: of plant, wiring and power cuts."""
    runs = list(outcomes)
    common = set.intersection(*({_key(f) for f in run.findings if _stands(f)} for run in runs))
    return tuple(f for f in runs[0].findings if _key(f) in common and f.severity in _SERIOUS)


def refused_for(outcome: Outcome, before: Outcome, standing: Iterable[Broken]) -> tuple[Broken, ...]:
    """Why a programme is refused: danger or hygiene, or a rule of programmes that the file's own keeps."""
    known = {_key(f) for f in standing}
    times = {(f.rule, f.subject): f.times for f in before.findings}
    return tuple(
        f
        for f in outcome.findings
        if _key(f) not in known
        and not _stands_for_want_of_power(f)
        and (
            f.severity in _SERIOUS or (f.rule in OF_THE_PROGRAMME and (f.rule in _NEVER or _worse(f, times)))
        )
    )


def _worse(finding: Broken, times: Mapping[tuple[str, str], int]) -> bool:
    """Whether the file's own programme keeps the rule, or has fewer people in cold water."""
    own = times.get((finding.rule, finding.subject))
    return own is None or (finding.rule == "cold-at-session" and finding.times > own)


def _key(finding: Broken) -> tuple[str, str, str]:
    return finding.rule, finding.subject, finding.cause


def _stands(finding: Broken) -> bool:
    return finding.rule not in OF_THE_PROGRAMME or _stands_for_want_of_power(finding)


def _stands_for_want_of_power(finding: Broken) -> bool:
    return finding.cause in _WITHOUT_POWER
