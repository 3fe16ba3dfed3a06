"""The command that lays a programme beside another controller."""

from __future__ import annotations

from pathlib import Path

import click

from cyclesim.cli.shared import (
    BROKEN,
    MOST_DAYS,
    OK,
    check_spared,
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


@cli.command()
@told_file
@click.option("--controller", "controller_file", type=click.Path(path_type=Path), required=True,
              metavar="NEW.yaml", help="The file with the new controller:, as in a scenario.")  # fmt: skip
@click.option("--days", type=click.IntRange(1, MOST_DAYS), metavar="N",
              help="Days that each programme is run for; a whole year unless given.")  # fmt: skip
@output_file(
    "--write", "new_file", help="Write FILE with the new controller and the nearest programme to it."
)
@output_file("--json", "json_file", help="Write every number as JSON to FILE, or with - to the screen.")
@sweep_options
def fits(
    file: Path,
    sets: tuple[str, ...],
    controller_file: Path,
    days: int | None,
    new_file: Path | None,
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
    check_unset(new_file, sets)
    check_spared((controller_file,), "the new controller", new_file, json_file)
    from cyclesim.scenario.reading.rewrite import text_of

    read = text_of(file)
    scenario = loaded(file, sets, new_file, json_file)
    from cyclesim.decide.tuning.fits import fits as fits_
    from cyclesim.decide.tuning.moved_onto import moved_onto
    from cyclesim.decide.tuning.moved_written import moved_text
    from cyclesim.said.fits import fits_page, fits_values
    from cyclesim.scenario.reading.controller import load_controller

    controller = load_controller(controller_file)
    new_text = ""
    if new_file is not None:
        moved, _ = moved_onto(scenario, controller)
        new_text = moved_text(file, read, scenario, moved, text_of(controller_file), new_file)
    with sweeping(workers, cluster, afresh, "running programmes") as how:
        found = fits_(scenario, controller, days=days, how=how)
    after = ""
    if new_file is not None:
        write_text(new_file, new_text)
        after = f"\nThe nearest programme is in {new_file}: try it with cyclesim run {new_file}\n"
        after += "Comments are as they were: read those beside what has changed.\n"
    tell(found, page=fits_page, values=fits_values, json_file=json_file, after=after)
    return OK if found.fits else BROKEN
