"""The command that lays a programme beside another controller."""

from __future__ import annotations

from pathlib import Path

import click

from cyclesim.cli.shared import (
    BROKEN,
    MOST_DAYS,
    OK,
    check_spared,
    cli,
    loaded,
    output_file,
    sweep_options,
    sweeping,
    tell,
    told_file,
)


@cli.command()
@told_file
@click.option("--controller", "controller_file", type=click.Path(path_type=Path), required=True,
              metavar="NEW.yaml", help="The file with the new controller:, as in a scenario.")  # fmt: skip
@click.option("--days", type=click.IntRange(1, MOST_DAYS), metavar="N",
              help="Days that each programme is run for; a whole year unless given.")  # fmt: skip
@output_file("--json", "json_file", help="Write every number as JSON to FILE, or with - to the screen.")
@sweep_options
def fits(
    file: Path,
    sets: tuple[str, ...],
    controller_file: Path,
    days: int | None,
    json_file: Path | None,
    workers: int | None,
    cluster: str | None,
    afresh: bool,
) -> int:
    """Say whether the programme fits a new controller, and what to key in.

    Tells what can no longer be keyed in, the nearest programme that can, the best one by a tuning, which
    promises each no longer keeps and what it costs beside today's. Exit status 1 where something cannot be
    keyed in as it is, or is no longer kept.
    """
    check_spared((controller_file,), "the new controller", json_file)
    scenario = loaded(file, sets, json_file)
    from cyclesim.decide.tuning.fits import fits as fits_
    from cyclesim.said.fits import fits_page, fits_values
    from cyclesim.scenario.reading.controller import load_controller

    controller = load_controller(controller_file)
    with sweeping(workers, cluster, afresh, "running programmes") as how:
        found = fits_(scenario, controller, days=days, how=how)
    tell(found, page=fits_page, values=fits_values, json_file=json_file)
    return OK if found.fits else BROKEN
