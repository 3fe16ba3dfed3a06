"""The command that lays readings from the finished plant beside what its file predicts."""

from __future__ import annotations

from pathlib import Path

import click

from cyclesim.cli.shared import (
    BROKEN,
    MOST_DAYS,
    OK,
    check_figure,
    check_spared,
    check_unset,
    cli,
    in_us_units,
    loaded,
    output_file,
    sweeping,
    tell,
    told_file,
    write_text,
)


@cli.command()
@told_file
@click.argument("readings", type=click.Path(path_type=Path), nargs=-1, required=True)
@click.option("--days", type=click.IntRange(1, MOST_DAYS), metavar="N",
              help="How many days what follows is worked out for; a whole year unless given.")  # fmt: skip
@click.option("--workers", type=click.IntRange(1, 64), metavar="N",
              help="Share runs between two dates among N processes; one a core unless given.")  # fmt: skip
@output_file("--write", "new_file", help="Write the scenario with the likeliest cause in it to FILE.yaml.")
@output_file("--json", "json_file", help="Write every number as JSON to FILE, with - to the screen.")
@output_file("--figure", "figure_file", help="Draw readings beside predictions to FILE.svg, .pdf or .png.")
def measured(
    file: Path,
    sets: tuple[str, ...],
    readings: tuple[Path, ...],
    days: int | None,
    workers: int | None,
    new_file: Path | None,
    json_file: Path | None,
    figure_file: Path | None,
) -> int:
    """Lay READINGS of the plant beside FILE, and say what explains them.

    Says what to measure next and what follows, too; of several files of READINGS, the last by
    its date, and how the plant changes from one to the next. Exit status 1 where a reading differs by
    more than both may be off by.
    """
    check_figure(figure_file, None, None)
    check_unset(new_file, sets)
    from cyclesim.scenario.reading.rewrite import text_of

    read = text_of(file)
    check_spared(readings, "the readings", new_file, json_file, figure_file)
    scenario = loaded(file, sets, new_file, json_file, figure_file)
    from cyclesim.decide.readings.corrected import corrected_text
    from cyclesim.decide.readings.measured import measured as measured_
    from cyclesim.said.measured import measured_page, measured_values
    from cyclesim.said.measured_drawn import readings_drawn
    from cyclesim.scenario.reading.readings import load_readings
    from cyclesim.shown.pictures.measured import write_measured_figure

    taken = [load_readings(path, scenario) for path in readings]
    with sweeping(workers, None, False, "predicting readings") as how:
        found = measured_(scenario, *taken, days=days, how=how)
    after = ""
    if new_file is not None and found.corrected:
        text = corrected_text(file, read, scenario, found.corrected, found.date, new_file)
        write_text(new_file, text)
        after = f"\nWritten to {new_file}: try it with cyclesim run {new_file}\n"
    elif new_file is not None:
        after = f"\n{new_file} is not written: no cause stands out that a key of the file could say.\n"
    tell(
        found,
        page=measured_page,
        values=measured_values,
        figure=lambda found, *to: write_measured_figure(readings_drawn(found), in_us_units(), *to),
        json_file=json_file,
        figure_file=figure_file,
        after=after,
    )
    return OK if all(row.agrees for row in found.compared) else BROKEN
