"""A programme written into a copy of the file that it was found for."""

from __future__ import annotations

from pathlib import Path

from cyclesim.decide.tuning.programmes import Daily, runs, scheduled
from cyclesim.decide.tuning.space import FILTER, FLUSH
from cyclesim.errors import CycleSimError
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.rewrite import RewriteError, with_runs

NOTE = "Filter runs and line flushes as cyclesim tune found them for {name}."


def written(file: Path, scenario: Scenario, programme: Daily, target: Path) -> str:
    """The text of the file with the programme in it, to be written to the target.

    Raises RewriteError where the text cannot be changed so that it says just that: nothing is to be written.
    """
    schedule = scenario.schedule
    new = {
        "filter_runs": runs(programme, FILTER, schedule.filter_runs),
        "line_flushes": runs(programme, FLUSH, schedule.line_flushes),
    }
    with file.open(encoding="utf-8-sig", newline="") as stream:
        text = with_runs(stream.read(), new, NOTE.format(name=file.name))
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
