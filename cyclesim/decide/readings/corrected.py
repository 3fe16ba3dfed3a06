"""The likeliest cause written into a copy of the file: what the plant is now, every other byte as it was."""

from __future__ import annotations

from pathlib import Path

from cyclesim.decide.readings.cause import Texts
from cyclesim.errors import CycleSimError, plain
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.rewrite import RewriteError, with_values

NOTE = "measured {date}"


def corrected_text(file: Path, read: str, scenario: Scenario, values: Texts, date: str, target: Path) -> str:
    """The text of the file with other values, each with a comment that tells the date.

    *read* is what the file said when the scenario was loaded, *target* where it is to be written. Raises
    RewriteError where the file said another plant, where it does not have one of the keys itself, and where
    the text would say anything else than the scenario with these keys set.
    """
    if _loaded(read, file) != scenario:
        raise RewriteError(f"{plain(str(file))} has changed since it was read: nothing is written.")
    text = with_values(read, values, NOTE.format(date=date))
    sets = [f"{path}={value}" for path, value in values.items()]
    if _loaded(text, target) != load_text(read, str(file), sets=sets, folder=file.parent):
        raise RewriteError(
            f"{plain(str(target))} would not be the same scenario with what was measured: it is not written. "
            f"Files that {plain(str(file))} refers to are looked for beside it: write there."
        )
    return text


def _loaded(text: str, file: Path) -> Scenario | None:
    try:
        return load_text(text, str(file), folder=file.parent)
    except CycleSimError:
        return None
