"""The command that says what would save most."""

from __future__ import annotations

from pathlib import Path

import click

from cyclesim.cli.shared import (
    OK,
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
@click.option("--seed", type=click.IntRange(0), default=0, show_default=True,
              help="Number that every random draw starts from.")  # fmt: skip
@output_file("--json", "json_file", help="Write every number as JSON to FILE, or with - to the screen.")
@sweep_options
def savings(
    file: Path,
    sets: tuple[str, ...],
    seed: int,
    json_file: Path | None,
    workers: int | None,
    cluster: str | None,
    afresh: bool,
) -> int:
    """Say what would save most: insulation, cover, frost, set points."""
    scenario = loaded(file, sets, json_file)
    from cyclesim.decide.sizing.savings import savings as savings_
    from cyclesim.said.savings import savings_page, savings_values

    with sweeping(workers, cluster, afresh, "running changes") as how:
        found = savings_(scenario, seed=seed, how=how)
    tell(found, page=savings_page, values=savings_values, json_file=json_file)
    return OK
