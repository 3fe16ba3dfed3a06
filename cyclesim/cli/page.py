"""The command that makes a page of a plant, or of two."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from cyclesim.cli.shared import (
    BROKEN,
    MOST_DAYS,
    OK,
    STDOUT,
    Day,
    cli,
    in_us_units,
    loaded,
    output_file,
    show,
    sweeping,
    told_file,
    write_text,
)

if TYPE_CHECKING:
    from cyclesim.analysis.result import Result
    from cyclesim.analysis.trials import MendTrial
    from cyclesim.said.report import Report
    from cyclesim.scenario.blocks.model import Scenario


@cli.command()
@told_file
@output_file("--out", "out", help="Where the page goes; the scenario's name with .html, here, unless given.")
@click.option("--with", "other", type=click.Path(path_type=Path), metavar="OTHER.yaml",
              help="A second plant to set beside it; --set changes FILE alone.")  # fmt: skip
@click.option("--days", type=click.IntRange(1, MOST_DAYS), metavar="N",
              help="How many days to simulate; a whole year unless given.")  # fmt: skip
@click.option("--from", "start", type=Day(), metavar="DATE",
              help="First day, e.g. 2027-03-01; 1 January of each file's year unless given.")  # fmt: skip
@click.option("--seed", type=click.IntRange(0), default=0, show_default=True,
              help="Number that every random draw starts from.")  # fmt: skip
@click.option("--faults/--no-faults", default=True, show_default=True,
              help="Whether to look at each single fault, which takes longest.")  # fmt: skip
@click.option("--mends/--no-mends", default=True, show_default=True,
              help="Whether to try mends of what is broken, as run does: up to six more runs.")  # fmt: skip
@click.option("--savings/--no-savings", default=True, show_default=True,
              help="Whether to try what would save most: a run for each, kept for next time.")  # fmt: skip
def page(
    file: Path,
    sets: tuple[str, ...],
    out: Path | None,
    other: Path | None,
    days: int | None,
    start: date | None,
    seed: int,
    faults: bool,
    mends: bool,
    savings: bool,
) -> int:
    """Make one page of FILE for a browser: answer, plant, a zooming year."""
    path = out or Path(f"{file.stem}.html")
    if path != STDOUT and path.suffix.lower() not in (".html", ".htm"):
        raise click.UsageError(f"A page is HTML: end the name {path} with .html.")
    scenarios = [(file, sets, loaded(file, sets, path))]
    if other is not None:
        scenarios.append((other, (), loaded(other, (), path)))
    if out is None:
        _check_ours(path)
    from cyclesim.analysis.findings import is_broken
    from cyclesim.said.side_by_side import side_by_side
    from cyclesim.shown.page import page as drawn

    results, reports = list["Result"](), list["Report"]()
    for source, changed, scenario in scenarios:
        result, report = _told(source, changed, scenario, days, start, seed, faults, mends, savings)
        results.append(result)
        reports.append(report)
    beside = side_by_side(*results) if len(results) == 2 else None
    write_text(path, drawn(reports, beside, in_us_units()))
    if path != STDOUT:
        for report in reports:
            show(f"{report.title}: {report.verdict}\n")
        show(f"{path} is written: open it in a browser.\n")
    return BROKEN if any(is_broken(result.findings) for result in results) else OK


def _told(
    source: Path,
    sets: tuple[str, ...],
    scenario: Scenario,
    days: int | None,
    start: date | None,
    seed: int,
    faults: bool,
    mends: bool,
    savings: bool,
) -> tuple[Result, Report]:
    """Run a scenario, and verify it, try what mends it and what saves, where that is asked for."""
    from cyclesim.analysis.result import days_of_year, simulate
    from cyclesim.analysis.trials import tried
    from cyclesim.said.inputs import inputs
    from cyclesim.said.report import report
    from cyclesim.said.verdict import told_findings
    from cyclesim.scenario.reading.load import written
    from cyclesim.shown.progress import progress, states_found

    start = start or date(scenario.place.year, 1, 1)
    with progress(days or days_of_year(start)) as on_day:
        result = simulate(scenario, days=days, start=start, seed=seed, on_day=on_day, left=True)
    verification = None
    if faults:
        from cyclesim.verification.verifier import verify

        with states_found() as on_progress:
            verification = verify(scenario, faults=1, on_progress=on_progress)
    trials: Sequence[MendTrial] = ()
    if mends:
        with progress(None, does="trying mends") as on_run:
            trials = tried(result, told_findings(result.findings), on_run=on_run)
    saved = None
    if savings:
        from cyclesim.decide.sizing.savings import savings as savings_

        with sweeping(None, None, False, "trying what saves") as how:
            saved = savings_(scenario, days=result.about.days, start=start, seed=seed, how=how)
    given = tuple(inputs(written(source, sets)))
    return result, report(result, given, verification, saved, trials, us=in_us_units())


def _check_ours(path: Path) -> None:
    """Refuse to take the place of a page that somebody else has made, where no name was given."""
    from cyclesim.shown.page import MADE_BY

    if path.exists() and MADE_BY not in path.read_text(encoding="utf-8", errors="replace")[:4000]:
        raise click.UsageError(f"{path} is there and no page of cyclesim: name another with --out FILE.html.")
