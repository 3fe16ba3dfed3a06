"""A mend that was tried, written into a copy of the file and verified there again."""

from __future__ import annotations

from pathlib import Path

from cyclesim.analysis.apply import with_mend
from cyclesim.errors import CycleSimError
from cyclesim.verification.answer import Verification
from cyclesim.verification.verifier import verify


def applied(verification: Verification, number: int, text: str, target: Path) -> tuple[str, str]:
    """The text with a mend in it, every other byte as it was, and what the rule then comes to.

    *text*: what the file said when it was verified. Raises CycleSimError as `with_mend`, and where the rule
    is broken all the same.
    """
    tried = verification.tried
    new, scenario = with_mend({k: mend for k, (_, mend) in enumerate(tried, 1)}, number, text, target)
    verdict, _ = tried[number - 1]
    again = verify(scenario, rule=verdict.rule, any_order=verification.any_order)
    now = next((v for v in again.verdicts if v.subject == verdict.subject), None)
    rule = f"{verdict.rule} ({verdict.subject})"
    if now is not None and (now.broken or now.is_open):
        raise CycleSimError(f"Written so, {rule} is broken all the same: {now.why}.")
    return new, f"no modelled order then breaks {rule} ({now.states if now else 0} states)"
