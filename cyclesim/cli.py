"""The command line: parse, call, print. Only click is imported until a command runs."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn, TextIO, TypeVar

import click

if TYPE_CHECKING:
    from cyclesim.report.layout import Page

OK, BROKEN, WRONG, FAULT, INTERRUPTED = 0, 1, 2, 3, 130
MOST_DAYS = 3660
STDOUT = Path("-")
Command = TypeVar("Command", bound=Callable[..., Any])


class Commands(click.Group):
    """The commands, and what each way of ending means: see `Exit status` in the help."""

    def main(self, *args: Any, **extra: Any) -> NoReturn:
        """Run a command and leave with its status; a traceback is for us, never for a user."""
        extra |= {"standalone_mode": False, "prog_name": "cyclesim"}
        try:
            status = super().main(*args, **extra)
        except click.ClickException as error:
            error.show()
            status = WRONG
        except (click.Abort, KeyboardInterrupt):
            click.echo("Interrupted; no file was left half written.", err=True)
            status = INTERRUPTED
        except Exception as error:
            status = _failed(error)
        sys.exit(status or OK)


def _failed(error: Exception) -> int:
    from cyclesim.errors import CycleSimError

    if isinstance(error, CycleSimError):
        click.echo(str(error), err=True)
        return WRONG
    if os.environ.get("CYCLESIM_TRACEBACK") == "1":
        raise error
    said = " ".join(str(error).split())[:300]
    click.echo(
        f"Sorry, this is a fault of cyclesim, not of your file: {type(error).__name__}: {said}\n"
        "Please report it with the file and the command that you used, and with what\n"
        "CYCLESIM_TRACEBACK=1 in the environment makes the same command print.",
        err=True,
    )
    return FAULT


class Day(click.ParamType):  # type: ignore[type-arg]  # generic since click 8.5
    """A date such as 2027-03-01."""

    name = "date"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> date:
        """A date from 1970 to 2999, or a usage error."""
        if isinstance(value, date):
            return value
        try:
            found = date.fromisoformat(value)
        except ValueError as error:
            why = f" ({error})" if "day" in str(error) or "month" in str(error) else ""
            self.fail(f"{value!r} is no date{why}; write year-month-day, e.g. 2027-03-01.", param, ctx)
        if not 1970 <= found.year <= 2999:
            self.fail(f"{value!r} is too far off; a date from 1970 to 2999 is due.", param, ctx)
        return found


def _scenario(command: Command) -> Command:
    """The scenario file and `--set`, which most commands take."""
    sets = click.option(
        "--set", "sets", multiple=True, metavar="PATH=VALUE",
        help='Change a field for this run, e.g. --set "schedule.heating.keep_at=36 degC".',
    )  # fmt: skip
    return click.argument("file", type=click.Path(path_type=Path))(sets(command))


def _output(*names: str, help: str) -> Callable[[Command], Command]:
    return click.option(*names, type=click.Path(path_type=Path), metavar="FILE", help=help)


@click.group(
    cls=Commands, invoke_without_command=True, context_settings={"help_option_names": ["-h", "--help"]}
)
@click.version_option(package_name="cyclesim", message="%(prog)s %(version)s")
@click.pass_context
def cli(ctx: click.Context) -> None:
    """Simulate the pump programme of a small custom heated tub, and judge it by rules.

    Start with "cyclesim new tub.yaml", then "cyclesim run tub.yaml".

    It advises; it is no safety controller. Local codes and licensed people decide.

    Exit status: 0 no rule of severity danger or hygiene broken, 1 some broken, 2 the input or the call is
    wrong, 3 a fault of cyclesim, 130 interrupted.
    """
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


@cli.command()
@_scenario
@click.option("--days", type=click.IntRange(1, MOST_DAYS), metavar="N",
              help="How many days to simulate; a whole year unless given.")  # fmt: skip
@click.option("--from", "start", type=Day(), metavar="DATE",
              help="First day, e.g. 2027-03-01; 1 January of the file's year unless given.")  # fmt: skip
@click.option("--seed", type=click.IntRange(0), default=0, show_default=True,
              help="Number that every random draw starts from.")  # fmt: skip
@_output("--json", "json_file", help="Write every number as JSON to FILE, or with - to the screen instead.")
@_output("--trace", "trace_file",
         help="Write everything that happened as CSV, or to a FILE.parquet as Parquet.")  # fmt: skip
@_output("--figure", "figure_file",
         help="Draw the week with the worst finding, or the first, to FILE.svg or FILE.png.")  # fmt: skip
@click.option("--figure-from", type=Day(), metavar="DATE", help="Draw from this day on instead.")
@click.option("--figure-days", type=click.IntRange(1, 31), metavar="N", help="Draw N days, not 7.")
@click.option("--what-if", "what_ifs", multiple=True, metavar="outage=START/DURATION",
              help='Try a power cut in this run, e.g. --what-if "outage=2027-01-12 03:00/8 h".')  # fmt: skip
@click.option("--all", "everything", is_flag=True, help="Tell every finding, not only the worst.")
@click.option("--confidence", "asked_how_sure", is_flag=True,
              help="Tell how far the numbers may be off, and why: some eighty runs.")  # fmt: skip
@click.option("--workers", type=click.IntRange(1, 64), metavar="N",
              help="Share the runs of --confidence among N processes; one a core unless given.")  # fmt: skip
def run(
    file: Path,
    sets: tuple[str, ...],
    days: int | None,
    start: date | None,
    seed: int,
    json_file: Path | None,
    trace_file: Path | None,
    figure_file: Path | None,
    figure_from: date | None,
    figure_days: int | None,
    what_ifs: tuple[str, ...],
    everything: bool,
    asked_how_sure: bool,
    workers: int | None,
) -> int:
    """Simulate FILE and say what breaks a rule and what to change."""
    if workers and not asked_how_sure:
        raise click.UsageError("--workers goes with --confidence.")
    _check_figure(figure_file, figure_from, figure_days)
    _check_outputs(file, json_file, trace_file, figure_file)
    from cyclesim.scenario.load import load

    scenario = load(file, sets=sets)
    from cyclesim.analysis.result import days_of_year, simulate
    from cyclesim.report import as_json, trace_csv
    from cyclesim.report.figure import check_first, write_figure
    from cyclesim.report.files import write_whole_bytes
    from cyclesim.report.progress import progress
    from cyclesim.report.run_report import run_report
    from cyclesim.report.verdict import is_broken
    from cyclesim.report.what_if import outages_set

    start = start or date(scenario.place.year, 1, 1)
    days = days or days_of_year(start)
    check_first(figure_from, start, days)
    if what_ifs:
        scenario = load(file, sets=(*sets, outages_set(scenario, what_ifs, start, days)))
    parquet = trace_file is not None and trace_file.suffix.lower() == ".parquet"
    if parquet:
        trace_csv.check_parquet()
    with progress(days) as on_day:
        result = simulate(scenario, days=days, start=start, seed=seed, on_day=on_day, left=True)
    sure = None
    if asked_how_sure:
        from cyclesim.decide.confidence import confidence

        with progress(None, does="varying inputs") as on_run:
            sure = confidence(scenario, days=days, start=start, seed=seed, workers=workers, on_run=on_run)
    if trace_file is not None and parquet:
        write_whole_bytes(trace_file, lambda stream: trace_csv.write_parquet(result.trace, stream))
    elif trace_file is not None:
        _write(trace_file, lambda stream: trace_csv.write_trace(result.trace, stream))
    if figure_file is not None:
        form = figure_file.suffix.lower()
        write_whole_bytes(
            figure_file, lambda stream: write_figure(result, stream, form, figure_from, figure_days)
        )
    if json_file is not None:
        _write_text(json_file, as_json.as_text(as_json.result_values(result, sure)))
    if json_file != STDOUT and trace_file != STDOUT:
        page = _page()
        run_report(page, result, everything=everything, sure=sure)
        _print(page.text())
    return BROKEN if is_broken(result.findings) else OK


@cli.command()
@_scenario
def check(file: Path, sets: tuple[str, ...]) -> int:
    """Say whether FILE can be run, and what its plant alone breaks."""
    from cyclesim.scenario.load import load

    scenario = load(file, sets=sets)
    from cyclesim.report.check_report import check_report, plant_findings
    from cyclesim.report.verdict import is_broken

    findings, checked = plant_findings(scenario)
    page = _page()
    check_report(page, str(file), scenario, findings, checked)
    _print(page.text())
    return BROKEN if is_broken(findings) else OK


@cli.command()
@_scenario
@click.option("--faults", type=click.IntRange(0, 2), default=0, show_default=True,
              help="How many things may go wrong at once.")  # fmt: skip
@click.option(
    "--rule",
    metavar="ID",
    help="Verify this rule alone, e.g. heat-without-flow; mends are then tried against faults, too.",
)
@click.option("--any-order", is_flag=True, help="Let demands come in any order, not by the calendar.")
@_output("--json", "json_file", help="Write everything as JSON to FILE, or with - to the screen instead.")
def verify(
    file: Path, sets: tuple[str, ...], faults: int, rule: str | None, any_order: bool, json_file: Path | None
) -> int:
    """Look for any order of events in which FILE breaks a rule."""
    _check_outputs(file, json_file)
    from cyclesim.scenario.load import load

    scenario = load(file, sets=sets)
    from cyclesim.report.as_json import as_text
    from cyclesim.report.progress import states_found
    from cyclesim.report.verify_report import verification_values, verify_report
    from cyclesim.verification.verifier import verify as verify_

    with states_found() as on_progress:
        found = verify_(scenario, faults=faults, rule=rule, any_order=any_order, on_progress=on_progress)
    if json_file is not None:
        _write_text(json_file, as_text(verification_values(found)))
    if json_file != STDOUT:
        page = _page()
        verify_report(page, found)
        _print(page.text())
    return BROKEN if found.is_broken else OK


@cli.command()
@_scenario
@_output("--json", "json_file", help="Write every number as JSON to FILE, or with - to the screen instead.")
def duty(file: Path, sets: tuple[str, ...], json_file: Path | None) -> int:
    """Say what every pump, leg, jet and device of FILE gets."""
    _check_outputs(file, json_file)
    from cyclesim.scenario.load import load

    scenario = load(file, sets=sets)
    from cyclesim.report import as_json
    from cyclesim.report.duty_table import duty_report
    from cyclesim.simulation.assembly import Plant

    values = as_json.duty_values(Plant(scenario))
    if json_file is not None:
        _write_text(json_file, as_json.as_text(values))
    if json_file != STDOUT:
        page = _page()
        duty_report(page, scenario, values["duties"])
        _print(page.text())
    return OK


@cli.command()
@_scenario
@click.option("--as", "form", type=click.Choice(["text", "mermaid", "svg"]), default="text",
              show_default=True, help="How to draw; svg needs Graphviz.")  # fmt: skip
@_output("-o", "--output", "output", help="Write to FILE, not to the screen.")
def states(file: Path, sets: tuple[str, ...], form: str, output: Path | None) -> int:
    """Draw the state machines of FILE's pumps and heat sources."""
    _check_outputs(file, output)
    from cyclesim.scenario.load import load

    scenario = load(file, sets=sets)
    from cyclesim.report.states import drawn
    from cyclesim.simulation.programme import Programme

    programme = Programme(scenario)
    _write_text(output or STDOUT, drawn(programme.machines.values(), form, programme.past))
    return OK


@cli.command()
@_output("-o", "--output", "output", help="Write to FILE, not to the screen.")
def schema(output: Path | None) -> int:
    """Print the JSON Schema with which editors check a scenario."""
    _check_outputs(None, output)
    from cyclesim.report.as_json import as_text
    from cyclesim.scenario.schema import json_schema

    _write_text(output or STDOUT, as_text(json_schema()))
    return OK


@cli.command()
@_output("--json", "json_file", help="Write the rules as JSON to FILE, or with - to the screen instead.")
def rules(json_file: Path | None) -> int:
    """List every rule: what must be so, its source, and what mends it."""
    _check_outputs(None, json_file)
    from cyclesim.report.rule_list import rule_report, rule_values

    if json_file is not None:
        from cyclesim.report.as_json import as_text

        _write_text(json_file, as_text(rule_values()))
    if json_file != STDOUT:
        page = _page()
        rule_report(page)
        _print(page.text())
    return OK


@cli.command()
@click.argument("file", type=click.Path(path_type=Path), required=False)
def new(file: Path | None) -> int:
    """Write a commented scenario to start from."""
    from cyclesim.report.starter import write_starter

    if file is None or file == STDOUT:
        from cyclesim.scenario.starter import starter_text

        _print(starter_text())
    else:
        _print(write_starter(file))
    return OK


# -- output ------------------------------------------------------------------------------------------------


def _page() -> Page:
    from shutil import get_terminal_size

    from cyclesim.report.layout import Page

    dumb = os.environ.get("TERM") == "dumb" or bool(os.environ.get("NO_COLOR"))
    return Page(get_terminal_size((80, 24)).columns, sys.stdout.isatty() and not dumb)


def _check_outputs(source: Path | None, *outputs: Path | None) -> None:
    """Refuse what cannot be written before anything is done."""
    from cyclesim.report.files import check_writable, is_stream

    files = [path for path in outputs if path is not None]
    named = [path.resolve() for path in files if not is_stream(path)]
    if len(set(named)) < len(named):
        raise click.UsageError("Two outputs cannot go to the same file.")
    if source is not None and source.resolve() in named:
        raise click.UsageError(f"Writing to {source} would overwrite the scenario.")
    for path in files:
        if path != STDOUT:
            check_writable(path)


def _check_figure(figure: Path | None, first: date | None, days: int | None) -> None:
    if figure is None:
        if first is not None or days is not None:
            raise click.UsageError("--figure-from and --figure-days go with --figure FILE.svg or FILE.png.")
        return
    if figure.suffix.lower() not in (".svg", ".png"):
        raise click.UsageError(f"A figure is drawn as svg or png: end the name {figure} with .svg or .png.")


def _write(path: Path, write: Callable[[TextIO], object]) -> None:
    if path == STDOUT:
        from io import StringIO

        text = StringIO()
        write(text)
        _print(text.getvalue())
        return
    from cyclesim.report.files import write_whole

    write_whole(path, write)


def _write_text(path: Path, text: str) -> None:
    _write(path, lambda stream: stream.write(text))


def _print(text: str) -> None:
    """Print, quietly ending where the reader has closed the pipe; the status stays what it is."""
    reconfigure = getattr(sys.stdout, "reconfigure", None)
    if reconfigure is not None:
        reconfigure(errors="replace")
    try:
        sys.stdout.write(text)
        sys.stdout.flush()
    except OSError as error:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # what is left has nowhere to go
        if not isinstance(error, BrokenPipeError):
            raise click.ClickException(f"The screen cannot be written to: {error.strerror}.") from None


def main() -> NoReturn:
    """The command `cyclesim`."""
    cli.main()
