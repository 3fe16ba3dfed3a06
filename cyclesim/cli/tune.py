"""The command that searches for the best programme."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from cyclesim.cli.endings import say
from cyclesim.cli.shared import (
    BROKEN,
    OK,
    WRONG,
    check_figure,
    check_unset,
    cli,
    loaded,
    output_file,
    sweep_options,
    sweeping,
    tell,
    told_file,
    write_text,
)

if TYPE_CHECKING:
    from cyclesim.decide.tuning.programmes import Daily
    from cyclesim.scenario.blocks.model import Scenario


@cli.command()
@told_file
@click.option("--seed", type=click.IntRange(0), default=0, show_default=True,
              help="Number that every random draw starts from.")  # fmt: skip
@output_file("--write", "new_file", help="Write the scenario with the best programme in it to FILE.yaml.")
@output_file("--json", "json_file", help="Write every number as JSON to FILE, or with - to the screen.")
@output_file("--figure", "figure_file", help="Draw the programmes to FILE.svg, .pdf or .png.")
@sweep_options
def tune(
    file: Path,
    sets: tuple[str, ...],
    seed: int,
    new_file: Path | None,
    json_file: Path | None,
    figure_file: Path | None,
    workers: int | None,
    cluster: str | None,
    afresh: bool,
) -> int:
    """Find the best times to filter and flush that can be keyed in."""
    check_figure(figure_file, None, None)
    check_unset(new_file, sets)
    from cyclesim.scenario.reading.rewrite import text_of

    read = text_of(file)
    scenario = loaded(file, sets, new_file, json_file, figure_file)
    from cyclesim.decide.tuning.space import UnevenStepError
    from cyclesim.decide.tuning.tuning import tune as tune_
    from cyclesim.errors import InputError
    from cyclesim.said.strips import strips
    from cyclesim.said.tune import tune_page, tune_values
    from cyclesim.scenario.reading.load import written as as_written
    from cyclesim.shown.pictures.tune import write_tune_figure

    with sweeping(workers, cluster, afresh, "running programmes") as how:
        try:
            tuning = tune_(scenario, seed=seed, how=how)
        except UnevenStepError:
            tree, at = as_written(file, sets), ("controller", "time_step")
            due = "expected a step of which a whole number fills a day, e.g. 15 min"
            raise InputError(tree.fault(at, f"'{tree.mark(at).text}'", due)) from None
    status = OK if tuning.recommended is not None and not tuning.standing else BROKEN
    after = ""
    if new_file is not None and tuning.recommended is None:
        after = f"\n{new_file} is not written: there is no programme to write.\n"
    elif new_file is not None and tuning.recommended is not None:
        written, after = _write(file, read, scenario, tuning.recommended.programme, new_file)
        status = status if written else WRONG
    tell(
        tuning,
        page=tune_page,
        values=tune_values,
        figure=lambda tuning, *to: write_tune_figure(strips(tuning), *to),
        json_file=json_file,
        figure_file=figure_file,
        after=after,
    )
    return status


def _write(file: Path, read: str, scenario: Scenario, programme: Daily, new_file: Path) -> tuple[bool, str]:
    """Write the scenario with the programme in it; whether it is there, and what is to be said of it.

    Where the file was changed meanwhile, the programme goes beside it with the plant that it is for.
    """
    from cyclesim.decide.tuning.written import ChangedError, written

    try:
        write_text(new_file, written(file, read, scenario, programme, new_file))
    except ChangedError as error:
        beside = new_file.with_stem(f"{new_file.stem}-as-read")
        message = f"{error} The programme is for the plant as it was, and {new_file} is not written."
        if error.as_read is not None and not beside.exists():
            write_text(beside, error.as_read)
            message += f"\nThat plant and its programme are in {beside}."
        say(f"{message}\nThe same command tunes the plant as it is now; runs that were done are kept.")
        return False, ""
    after = f"\nWritten to {new_file}: try it with cyclesim run {new_file}\n"
    after += "Comments are as they were: read those beside what has changed.\n"
    schedule = scenario.schedule
    if any(run.days or run.repeats for run in (*schedule.filter_runs, *schedule.line_flushes)):
        after += "Runs that were on some days only are now on every day.\n"
    return True, after
