"""The command that lays readings from the finished plant beside what its file predicts."""

from __future__ import annotations

from pathlib import Path

import click

from cyclesim.cli.shared import (
    BROKEN,
    MOST_DAYS,
    OK,
    STDOUT,
    cli,
    loaded,
    output_file,
    show_page,
    told_file,
    write_text,
)


@cli.command()
@told_file
@click.argument("readings", type=click.Path(path_type=Path))
@click.option("--days", type=click.IntRange(1, MOST_DAYS), metavar="N",
              help="How many days what follows is worked out for; a whole year unless given.")  # fmt: skip
@output_file("--json", "json_file", help="Write every number as JSON to FILE, with - to the screen.")
def measured(
    file: Path, sets: tuple[str, ...], readings: Path, days: int | None, json_file: Path | None
) -> int:
    """Lay what was measured at the finished plant (READINGS) beside what FILE predicts.

    Says what explains it, what to measure next and what follows. Exit status 1 where a reading differs by
    more than both may be off by.
    """
    _spared(readings, json_file)
    scenario = loaded(file, sets, json_file)
    from cyclesim.decide.readings.measured import measured as measured_
    from cyclesim.said.measured import measured_page, measured_values
    from cyclesim.scenario.reading.readings import load_readings
    from cyclesim.shown.as_json import as_text

    found = measured_(scenario, load_readings(readings, scenario), days=days)
    if json_file is not None:
        write_text(json_file, as_text(measured_values(found)))
    if json_file != STDOUT:
        show_page(measured_page(found))
    return OK if all(row.agrees for row in found.compared) else BROKEN


def _spared(readings: Path, *outputs: Path | None) -> None:
    """Refuse an output that is the file of readings."""
    for path in outputs:
        if (
            path is not None
            and path != STDOUT
            and path.exists()
            and readings.exists()
            and path.samefile(readings)
        ):
            raise click.UsageError(f"Writing to {path} would overwrite the readings.")
