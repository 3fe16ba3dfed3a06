"""The command that lays readings from the finished plant beside what its file predicts."""

from __future__ import annotations

from pathlib import Path

import click

from cyclesim.cli.shared import (
    BROKEN,
    OK,
    STDOUT,
    cli,
    loaded,
    output_file,
    scenario_file,
    show_page,
    write_text,
)


@cli.command()
@scenario_file
@click.argument("readings", type=click.Path(path_type=Path))
@output_file("--json", "json_file", help="Write every number as JSON to FILE, or with - to the screen.")
def measured(file: Path, sets: tuple[str, ...], readings: Path, json_file: Path | None) -> int:
    """Lay what was measured at the finished plant (READINGS) beside what FILE predicts.

    Exit status 1 where a reading differs by more than both may be off by.
    """
    _spared(readings, json_file)
    scenario = loaded(file, sets, json_file)
    from cyclesim.decide.readings.measured import measured as measured_
    from cyclesim.said.measured import measured_page, measured_values
    from cyclesim.scenario.reading.readings import load_readings
    from cyclesim.shown.as_json import as_text

    found = measured_(scenario, load_readings(readings, scenario))
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
