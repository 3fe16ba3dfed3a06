"""A programme written into a copy of the file that it was found for."""

from __future__ import annotations

from pathlib import Path

from cyclesim.decide.tuning.programmes import Daily, runs, scheduled
from cyclesim.decide.tuning.space import FILTER, FLUSH
from cyclesim.errors import CycleSimError, plain
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.rewrite import RewriteError, text_of, with_runs

NOTE = "Filter runs and line flushes as cyclesim tune found them for {name}."


class ChangedError(CycleSimError):
    """The file says another plant than the one that was tuned, or nothing any more.

    *as_read* is the text with the programme in it as the file was, where that alone says the plant.
    """

    def __init__(self, file: Path, as_read: str | None) -> None:
        super().__init__(f"{plain(str(file))} has changed since it was read.")
        self.as_read = as_read


def written(file: Path, read: str, scenario: Scenario, programme: Daily, target: Path) -> str:
    """The text of the file with the programme in it, to be written to the target.

    *read* is what the file said when the scenario was loaded. Raises ChangedError where it now says another
    plant, and RewriteError where the text cannot be changed so that it says just that.
    """
    now = text_of(file)
    if not _says(now, scenario, file):
        same = _says(read, scenario, file)
        raise ChangedError(file, _with(read, file, scenario, programme, target) if same else None)
    return _with(now, file, scenario, programme, target)


def _says(text: str, scenario: Scenario, file: Path) -> bool:
    """Whether a text in the place of the file is this scenario, whatever its comments say."""
    try:
        return load_text(text, str(file), folder=file.parent) == scenario
    except CycleSimError:
        return False


def _with(text: str, file: Path, scenario: Scenario, programme: Daily, target: Path) -> str:
    schedule = scenario.schedule
    new = {
        "filter_runs": runs(programme, FILTER, schedule.filter_runs),
        "line_flushes": runs(programme, FLUSH, schedule.line_flushes),
    }
    text = with_runs(text, new, NOTE.format(name=file.name))
    try:
        again = load_text(text, str(target), folder=target.parent)
    except CycleSimError as error:
        raise RewriteError(
            f"{target} would not be a scenario that can be run, and is not written. Files that\n"
            f"{file} refers to are looked for beside it: write into the same folder.\n{error}"
        ) from error
    wanted = scheduled(scenario, programme).schedule
    for name in ("filter_runs", "line_flushes"):
        if sorted(map(repr, getattr(again.schedule, name))) != sorted(map(repr, getattr(wanted, name))):
            raise RewriteError(f"schedule.{name} of {file} cannot be changed; key the programme in by hand.")
    return text
