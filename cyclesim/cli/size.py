"""The commands that size a machine."""

from __future__ import annotations

from pathlib import Path

import click

from cyclesim.cli.shared import (
    OK,
    check_figure,
    cli,
    in_us_units,
    loaded,
    output_file,
    tell,
    told_file,
)
from cyclesim.cli.size_heater import heater
from cyclesim.errors import shorten


@cli.group(name="size")
def size() -> None:
    """Say how large a heater, a pump or a blower must be, and why."""


size.add_command(heater)


@size.command()
@told_file
@click.option("--pump", "which", metavar="NAME", help="Whose place is filled; the jets' pump unless given.")
@output_file("--json", "json_file", help="Write every number as JSON to FILE, or with - to the screen.")
@output_file("--figure", "figure_file", help="Draw the curves to FILE.svg, .pdf or .png.")
def pump(
    file: Path, sets: tuple[str, ...], which: str | None, json_file: Path | None, figure_file: Path | None
) -> int:
    """Set FILE's candidates, and the pump as drawn, against what its jets ask for."""
    check_figure(figure_file, None, None)
    scenario = loaded(file, sets, json_file, figure_file)
    from cyclesim.decide.sizing.pump_sizing import size_pump
    from cyclesim.said.curves_drawn import pump_drawn
    from cyclesim.said.size_pump import pump_page, pump_values
    from cyclesim.shown.pictures.size import write_curves_figure

    tell(
        size_pump(scenario, which),
        page=pump_page,
        values=pump_values,
        figure=lambda sizing, *to: write_curves_figure(pump_drawn(sizing), *to, us=in_us_units()),
        json_file=json_file,
        figure_file=figure_file,
    )
    return OK


@size.command()
@told_file
@click.option("--blower", "which", metavar="NAME", help="Whose place is filled; the first unless given.")
@click.option("--flow", "wanted", metavar="FLOW", help='How much air is wanted, e.g. --flow "600 L/min".')
@output_file("--json", "json_file", help="Write every number as JSON to FILE, or with - to the screen.")
@output_file("--figure", "figure_file", help="Draw the curves to FILE.svg, .pdf or .png.")
def blower(
    file: Path,
    sets: tuple[str, ...],
    which: str | None,
    wanted: str | None,
    json_file: Path | None,
    figure_file: Path | None,
) -> int:
    """Set FILE's candidates, and the blower as drawn, against what water and pipe ask for."""
    check_figure(figure_file, None, None)

    wanted_m3_s = None if wanted is None else _flow(wanted)
    scenario = loaded(file, sets, json_file, figure_file)
    from cyclesim.decide.sizing.blower_sizing import size_blower
    from cyclesim.said.curves_drawn import blower_drawn
    from cyclesim.said.size_blower import blower_page, blower_values
    from cyclesim.shown.pictures.size import write_curves_figure

    tell(
        size_blower(scenario, which, wanted_m3_s=wanted_m3_s),
        page=blower_page,
        values=blower_values,
        figure=lambda sizing, *to: write_curves_figure(blower_drawn(sizing), *to, us=in_us_units()),
        json_file=json_file,
        figure_file=figure_file,
    )
    return OK


def _flow(text: str) -> float:
    """A flow with its unit, or a usage error."""
    from cyclesim.scenario.forms.forms import Quantity, RefusedError

    try:
        return Quantity("flow", gt=0.0, le=0.1, example="600 L/min or 21 cfm").validate(text)
    except RefusedError as error:
        hint = f"; {error.hint}" if error.hint else ""
        problem = f"--flow: found '{shorten(text)}', {error.what}"
        raise click.UsageError(f"{problem}; {error.allowed}{hint}") from None
