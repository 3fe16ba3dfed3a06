"""A mend that was tried, written into a copy of the file and verified there again."""

from __future__ import annotations

from pathlib import Path

from cyclesim.errors import CycleSimError, plain
from cyclesim.scenario.reading.edit import edited
from cyclesim.scenario.reading.load import load_text
from cyclesim.verification.answer import Verification
from cyclesim.verification.verifier import verify


def applied(verification: Verification, number: int, text: str, target: Path) -> tuple[str, str]:
    """The text with a mend in it, every other byte as it was, and what the rule then comes to.

    *number*: as the mends are told, from 1. *text*: what the file said when it was verified. *target*: where
    the new text is to stand; files that it refers to are looked for beside it.
    Raises CycleSimError for a number that no mend has, for a mend that was not enough, for one that is to be
    made by hand, and for a text that would not be a scenario or in which the rule is broken all the same.
    """
    tried = verification.tried
    if not 1 <= number <= len(tried):
        have = f"{len(tried)} mends were tried" if len(tried) != 1 else "one mend was tried"
        raise CycleSimError(f"There is no mend {number}: {have}.")
    verdict, mend = tried[number - 1]
    if not mend.holds:
        raise CycleSimError(f"Mend {number} was not enough, and is not written: {mend.said}.")
    if not mend.edits:
        raise CycleSimError(f"Mend {number} is to be made by hand: {mend.said}.")
    new = edited(text, mend.edits)
    try:
        scenario = load_text(new, str(target), folder=target.parent)
    except CycleSimError as error:
        raise CycleSimError(
            f"{plain(str(target))} would not be a scenario that can be run, and is not written. Make the "
            f"change by hand: {mend.said}.\n{error}"
        ) from error
    again = verify(scenario, rule=verdict.rule, any_order=verification.any_order)
    now = next((v for v in again.verdicts if v.subject == verdict.subject), None)
    rule = f"{verdict.rule} ({verdict.subject})"
    if now is not None and (now.broken or now.is_open):
        raise CycleSimError(f"Written so, {rule} is broken all the same: {now.why}.")
    return new, f"no modelled order then breaks {rule} ({now.states if now else 0} states)"
