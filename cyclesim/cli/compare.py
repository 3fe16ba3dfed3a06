"""The command that sets plants side by side."""

from __future__ import annotations

from pathlib import Path

import click

from cyclesim.cli.shared import (
    BROKEN,
    OK,
    check_figure,
    cli,
    loaded,
    output_file,
    sweep_options,
    sweeping,
    tell,
    units_option,
)
from cyclesim.errors import plain


@cli.command()
@click.argument("files", nargs=-1, required=True, metavar="A B [C ...]", type=click.Path(path_type=Path))
@click.option("--set", "sets", multiple=True, metavar="PATH=VALUE",
              help="Change a field of every file for this call.")  # fmt: skip
@click.option("--futures", type=click.IntRange(0, 10_000), default=0, show_default=True, metavar="N",
              help="Try N futures: other weather, bathers, prices, ratings; the same for all.")  # fmt: skip
@click.option(
    "--sensitivity", is_flag=True, help="Put each assumption alone to its ends; with futures anyway."
)
@click.option("--tuned", is_flag=True, help="Tune the programme of each first, and compare them so.")
@click.option("--years", type=click.IntRange(1, 50), metavar="N",
              help="Count money over N years; as the files say unless given.")  # fmt: skip
@click.option("--seed", type=click.IntRange(0), default=0, show_default=True,
              help="Number that every random draw starts from.")  # fmt: skip
@output_file("--json", "json_file", help="Write every number as JSON to FILE, or with - to the screen.")
@output_file("--figure", "figure_file", help="Draw what differs to FILE.svg, .pdf or .png.")
@units_option
@sweep_options
def compare(
    files: tuple[Path, ...],
    sets: tuple[str, ...],
    futures: int,
    sensitivity: bool,
    tuned: bool,
    years: int | None,
    seed: int,
    json_file: Path | None,
    figure_file: Path | None,
    workers: int | None,
    cluster: str | None,
    afresh: bool,
) -> int:
    """Set two plants or more side by side, for a year and over the years."""
    if not 2 <= len(files) <= 6:
        raise click.UsageError("Two to six files are compared: cyclesim compare A.yaml B.yaml")
    check_figure(figure_file, None, None)
    scenarios = [loaded(file, sets, json_file, figure_file) for file in files]
    from cyclesim.decide.comparing.comparison import compare as compare_
    from cyclesim.said.compare import compare_page, compare_values
    from cyclesim.said.compare_drawn import drawn
    from cyclesim.shown.pictures.compare import write_compare_figure

    with sweeping(workers, cluster, afresh, "running plants") as how:
        comparison = compare_(
            scenarios,
            [plain(file.name) for file in files],
            seed=seed,
            years=years,
            futures=futures,
            sensitivity=sensitivity or None,
            tuned=tuned,
            how=how,
        )
    tell(
        comparison,
        page=compare_page,
        values=compare_values,
        figure=lambda plants, *to: write_compare_figure(drawn(plants), *to),
        json_file=json_file,
        figure_file=figure_file,
    )
    broken = any(side.outcome.broken("danger", "hygiene") for side in comparison.sides)
    return BROKEN if broken else OK
