"""The command that sizes a heater."""

from __future__ import annotations

from pathlib import Path

import click

from cyclesim.cli.shared import (
    BROKEN,
    OK,
    check_figure,
    in_us_units,
    loaded,
    output_file,
    sweep_options,
    sweeping,
    tell,
    told_file,
)
from cyclesim.errors import shorten


def _quantity(option: str, text: str, kind: str, example: str) -> float:
    from cyclesim.errors import Fault, InputError
    from cyclesim.units import QuantityError, parse

    try:
        return parse(text.strip(), kind, example)
    except QuantityError as error:
        problem = f"'{shorten(text.strip())}', {error.what}"
        raise InputError(Fault(option, 0, 0, "", problem, error.allowed, error.hint)) from None


@click.command()
@told_file
@click.option("--sizes", metavar="LIST",
              help='Sizes to try, e.g. "2 kW, 3 kW"; usual ones near the file\'s if not given.')  # fmt: skip
@click.option("--source", metavar="NAME",
              help="The heat source; the first electric one that heating uses unless given.")  # fmt: skip
@click.option("--from", "from_", metavar="TEMPERATURE",
              help='The set-back to warm up from, e.g. "30 degC"; the file\'s own unless given.')  # fmt: skip
@click.option("--within", metavar="TIME",
              help='How long warming up may take, e.g. "8 h": from the set-back where the file has a '
              "ready_by, else of a tub just filled; 36 h then unless given.")  # fmt: skip
@click.option("--seed", type=click.IntRange(0), default=0, show_default=True,
              help="Number that every random draw starts from.")  # fmt: skip
@output_file("--json", "json_file", help="Write every number as JSON to FILE, or with - to the screen.")
@output_file("--figure", "figure_file", help="Draw times and costs to FILE.svg, .pdf or .png.")
@sweep_options
def heater(
    file: Path,
    sets: tuple[str, ...],
    sizes: str | None,
    source: str | None,
    from_: str | None,
    within: str | None,
    seed: int,
    json_file: Path | None,
    figure_file: Path | None,
    workers: int | None,
    cluster: str | None,
    afresh: bool,
) -> int:
    """Say how large a heater FILE's tub needs: warming up, a year, the supply."""
    check_figure(figure_file, None, None)
    sizes_w = None
    if sizes is not None:
        sizes_w = [_quantity("--sizes", size, "power", "3 kW") for size in sizes.split(",")]
    from_c = None if from_ is None else _quantity("--from", from_, "temperature", "30 degC")
    within_s = None if within is None else _quantity("--within", within, "time", "8 h")
    if within is not None and within_s is not None and within_s < 60.0:
        raise click.UsageError(f"--within: found '{shorten(within)}'; expected a minute or more, e.g. 8 h")
    scenario = loaded(file, sets, json_file, figure_file)
    from cyclesim.decide.sizing.heater_sizing import size_heater
    from cyclesim.said.heater_drawn import heater_drawn
    from cyclesim.said.size_heater import heater_page, heater_values
    from cyclesim.shown.pictures.heater import write_heater_figure

    with sweeping(workers, cluster, afresh, "running sizes") as how:
        sizing = size_heater(
            scenario,
            sizes_w=sizes_w,
            source=source,
            from_c=from_c,
            within_s=within_s,
            seed=seed,
            how=how,
        )
    tell(
        sizing,
        page=heater_page,
        values=heater_values,
        figure=lambda sized, *to: write_heater_figure(heater_drawn(sized), *to, us=in_us_units()),
        json_file=json_file,
        figure_file=figure_file,
    )
    return OK if sizing.recommended is not None else BROKEN
