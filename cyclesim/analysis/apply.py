"""A mend that was tried, written into a copy of the file, every other byte as it was."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Protocol

from cyclesim.analysis.amounts import listed
from cyclesim.analysis.result import Result
from cyclesim.analysis.trials import MendTrial, run_again
from cyclesim.errors import CycleSimError, plain
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.edit import Edit, edited
from cyclesim.scenario.reading.load import load_text


class TriedMend(Protocol):
    """A mend as a run or a verification has tried it."""

    @property
    def said(self) -> str:
        """The mend in words."""

    @property
    def holds(self) -> bool:
        """Whether it was enough."""

    @property
    def edits(self) -> tuple[Edit, ...]:
        """The same in the text of the file."""


def with_mend(tried: Mapping[int, TriedMend], number: int, text: str, target: Path) -> tuple[str, Scenario]:
    """The text with a mend in it, and the scenario that it then is.

    *tried*: the mends by the numbers that they are told with. *target*: where the text is to stand; files
    that it refers to are looked for beside it. Raises CycleSimError for a number that no mend has, for a mend
    that was not enough or is to be made by hand, and for a text that would not be a scenario.
    """
    if number not in tried:
        have = f"{len(tried)} mends were tried" if len(tried) != 1 else "one mend was tried"
        raise CycleSimError(f"There is no mend {number}: {have}.")
    mend = tried[number]
    if not mend.holds:
        raise CycleSimError(f"Mend {number} was not enough, and is not written: {mend.said}.")
    if not mend.edits:
        raise CycleSimError(f"Mend {number} is to be made by hand: {mend.said}.")
    new = edited(text, mend.edits)
    try:
        return new, load_text(new, str(target), folder=target.parent)
    except CycleSimError as error:
        raise CycleSimError(
            f"{plain(str(target))} would not be a scenario that can be run, and is not written. Make the "
            f"change by hand: {mend.said}.\n{error}"
        ) from error


def applied_to_run(
    result: Result, trials: Sequence[MendTrial], number: int, text: str, target: Path
) -> tuple[str, str]:
    """The text of a run's file with a mend in it, and what the same days then come to.

    Raises CycleSimError as `with_mend` does, and where the same rules would be broken all the same.
    """
    told = {trial.number: trial for trial in sorted(trials, key=lambda trial: trial.holds)}
    new, scenario = with_mend(told, number, text, target)
    trial, after = told[number], run_again(result, scenario).broken
    mended = [(one.rule, one.subject) for one in trials if one.number == number and one.holds]
    rules = listed([f"{rule} ({subject})" for rule, subject in mended])
    if not after.isdisjoint(mended):
        raise CycleSimError(f"Written so, {rules} would be broken all the same, and nothing is written.")
    also = f"; they then break {listed(list(trial.breaks))}" if trial.breaks else ""
    also += f"; they make {listed(list(trial.worsens))} worse" if trial.worsens else ""
    return new, f"the same days no longer break {rules}{also}"
