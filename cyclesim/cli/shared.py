"""What every command shares: its arguments, its ways to end, and how it writes. Only click is imported."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, NoReturn, TextIO, TypeVar

import click

from cyclesim.cli.endings import Ended, close_streams, lose, open_streams, say, say_usage, signals_end

if TYPE_CHECKING:
    from cyclesim.analysis.findings import Finding
    from cyclesim.analysis.metrics import LegMetrics
    from cyclesim.decide.sweeps.sweep import How
    from cyclesim.said.page import Page
    from cyclesim.scenario.blocks.model import Scenario
    from cyclesim.simulation.assembly import Assembly

OK, BROKEN, WRONG, FAULT, INTERRUPTED = 0, 1, 2, 3, 130
MOST_DAYS = 3660
STDOUT = Path("-")
Command = TypeVar("Command", bound=Callable[..., Any])
Found = TypeVar("Found")


WANTED = {
    "Work in a browser": ("workbench",),
    "Write a file": ("new", "check", "explain", "schema"),
    "Look at what it does": ("run", "duty", "states"),
    "Verify it": ("verify", "rules"),
    "Decide": ("tune", "compare", "size", "savings"),
    "Show and hand over": ("page", "papers", "calendar"),
    "As built": ("measured", "fits"),
}
"""What one wants, and the commands for it."""


class Commands(click.Group):
    """The commands, and what each way of ending means: see `Exit status` in the help."""

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The commands under what one wants."""
        for wanted, names in WANTED.items():
            known = [(name, command) for name in names if (command := self.get_command(ctx, name))]
            with formatter.section(wanted):
                formatter.write_dl([(n, c.get_short_help_str(formatter.width)) for n, c in known])

    def main(self, *args: Any, **extra: Any) -> NoReturn:
        """Run a command and leave with its status; a traceback is for us, never for a user."""
        extra |= {"standalone_mode": False, "prog_name": "cyclesim"}
        open_streams()
        status: int | None
        try:
            with signals_end():
                status = super().main(*args, **extra)
        except click.ClickException as error:
            say_usage(error)
            status = WRONG
        except (click.Abort, KeyboardInterrupt) as error:
            say("Interrupted; no file was left half written.")
            ended = error if isinstance(error, Ended) else error.__cause__
            status = ended.status if isinstance(ended, Ended) else INTERRUPTED
        except (BrokenPipeError, SystemExit):
            status = OK  # nobody reads on; what printed help or version has left by itself then
        except Exception as error:
            status = _failed(error)
        close_streams()
        sys.exit(status or OK)


def _failed(error: Exception) -> int:
    from cyclesim.errors import CycleSimError

    if isinstance(error, CycleSimError):
        say(str(error))
        return WRONG
    if isinstance(error, OSError):
        say(f"This machine refused: {error.strerror or error}{f', {error.filename}' * bool(error.filename)}.")
        return WRONG
    if os.environ.get("CYCLESIM_TRACEBACK") == "1":
        raise error
    message = " ".join(str(error).split())[:300]
    say(
        f"Sorry, this is a fault of cyclesim, not of your file: {type(error).__name__}: {message}\n"
        "Please report it with the file and the command that you used, and with what\n"
        "CYCLESIM_TRACEBACK=1 in the environment makes the same command print."
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
            day = date.fromisoformat(value)
        except ValueError as error:
            why = f" ({error})" if "day" in str(error) or "month" in str(error) else ""
            self.fail(f"{value!r} is no date{why}; write year-month-day, e.g. 2027-03-01.", param, ctx)
        if not 1970 <= day.year <= 2999:
            self.fail(f"found {value!r}, expected a date from 1970 to 2999.", param, ctx)
        return day


def scenario_file(command: Command) -> Command:
    """The scenario file and `--set`, which most commands take."""
    sets = click.option(
        "--set", "sets", multiple=True, metavar="PATH=VALUE",
        help='Change a field for this run, e.g. --set "schedule.heating.keep_at=36 degC".',
    )  # fmt: skip
    return click.argument("file", type=click.Path(path_type=Path))(sets(command))


_US = "cyclesim.us"
_READ = "cyclesim.read"
"""Where a call remembers in which units it is told."""


def units_option(command: Command) -> Command:
    """`--units`, which `show_page` asks for."""

    def remember(ctx: click.Context, _: click.Parameter, value: str | None) -> None:
        if value is not None:
            ctx.meta[_US] = value == "us"

    return click.option(
        "--units", type=click.Choice(["us", "metric"]), expose_value=False, callback=remember,
        help="Tell quantities in these units; in those that the file is mostly written in unless given.",
    )(command)  # fmt: skip


def told_file(command: Command) -> Command:
    """`scenario_file` of a command that prints a report, in the units that its reader wants."""
    return scenario_file(units_option(command))


def output_file(*names: str, help: str) -> Callable[[Command], Command]:
    """An option that names a file to write."""
    return click.option(*names, type=click.Path(path_type=Path), metavar="FILE", help=help)


class _Afresh(click.Option):
    """Says where runs are kept, which is found out when help is asked for."""

    def get_help_record(self, ctx: click.Context) -> tuple[str, str] | None:
        """The option with its help."""
        from platformdirs import user_cache_path

        folder = user_cache_path("cyclesim", appauthor=False)
        self.help = f"Run everything again, also what an earlier call kept in {folder}."
        return super().get_help_record(ctx)


def sweep_options(command: Command) -> Command:
    """How many runs of one command are shared out: `workers`, `cluster` and `afresh`."""
    for option in (
        click.option("--afresh", is_flag=True, cls=_Afresh),
        click.option("--cluster", metavar="ADDRESS",
                     help="Share the runs on a dask cluster, e.g. tcp://10.0.0.5:8786."),
        click.option("--workers", type=click.IntRange(1, 64), metavar="N",
                     help="Share the runs among N processes; one a core unless given."),
    ):  # fmt: skip
        command = option(command)
    return command


def check_sweep(workers: int | None, cluster: str | None) -> None:
    """Refuse two answers to who is to run."""
    if workers and cluster:
        raise click.UsageError("Either --workers or --cluster is allowed.")


@contextmanager
def sweeping(
    workers: int | None, cluster: str | None, afresh: bool, does: str = "simulating"
) -> Iterator[How]:
    """How the runs of a command are made: kept in the user's cache, with a bar that tells the time left."""
    from cyclesim.decide.sweeps.kept import kept_file
    from cyclesim.decide.sweeps.sweep import How
    from cyclesim.shown.progress import progress

    check_sweep(workers, cluster)
    notes = list[str]()  # one that every sweep repeats is said once

    def on_note(note: str) -> None:
        if note not in notes:
            notes.append(note)
            say(note)

    with progress(None, does=does) as on_run:
        try:
            yield How(workers, cluster, kept_file(afresh), on_run, on_note)
        except KeyboardInterrupt:
            if not notes:
                say("Runs that were done are kept: the same command goes on from there.")
            raise


@click.group(
    cls=Commands, invoke_without_command=True, context_settings={"help_option_names": ["-h", "--help"]}
)
@click.version_option(package_name="cyclesim", message="%(prog)s %(version)s")
@click.pass_context
def cli(ctx: click.Context) -> None:
    """Simulate the pump programme of a small custom heated tub, and judge it by rules.

    Start with "cyclesim new tub.yaml", then "cyclesim run tub.yaml".

    It advises; it is no safety controller. Local codes and licensed people decide.

    Exit status: 0 no rule of severity danger or hygiene broken, 1 some broken (verify: or not decided), 2 the
    input or the call is wrong, 3 a fault of cyclesim, 130 interrupted, 143 ended by the system.
    """
    if ctx.invoked_subcommand is None:
        show(ctx.get_help() + "\n")


def in_us_units() -> bool:
    """Whether this call is told in US units: as it asks for, else as the file is written."""
    return bool(click.get_current_context().meta.get(_US, False))


def show_page(page: Page, after: str = "") -> None:
    """Print a page, as wide and as coloured as the screen, and what comes *after* it."""
    from shutil import get_terminal_size

    from cyclesim.shown.terminal import printed

    dumb = os.environ.get("TERM") == "dumb" or bool(os.environ.get("NO_COLOR"))
    colour = sys.stdout.isatty() and not dumb
    show(printed(page, get_terminal_size((80, 24)).columns, colour, in_us_units()) + after)


def check_outputs(source: Path | None, *outputs: Path | None) -> None:
    """Refuse what cannot be written before anything is done."""
    from cyclesim.shown.files import check_writable, is_stream

    files = [path for path in outputs if path is not None]
    named = [(path, _identity(path)) for path in files if not is_stream(path)]
    if len({identity for _, identity in named}) < len(named):
        raise click.UsageError("Two outputs cannot go to the same file.")
    for path, identity in named:
        if source is not None and identity == _identity(source):
            raise click.UsageError(f"Writing to {path} would overwrite the scenario.")
    for path in files:
        if path != STDOUT:
            check_writable(path)


def check_spared(read: Sequence[Path], what: str, *outputs: Path | None) -> None:
    """Refuse an output that is one of these files."""
    for path in outputs:
        if path is None or path == STDOUT or not path.exists():
            continue
        if any(file.exists() and path.samefile(file) for file in read):
            raise click.UsageError(f"Writing to {path} would overwrite {what}.")


def check_unset(new_file: Path | None, sets: Sequence[str]) -> None:
    """Refuse to write FILE anew where --set changes what it says."""
    if new_file is not None and sets:
        raise click.UsageError(
            "--write writes FILE anew and cannot take what --set changes into it: change FILE first, or "
            "leave one of the two out."
        )


def _identity(path: Path) -> object:
    """What two names of one file share, links of either kind followed."""
    try:
        there = path.stat()
    except OSError:  # it is yet to be written
        return path.resolve()
    return there.st_dev, there.st_ino


def loaded(
    file: Path, sets: Sequence[str], *outputs: Path | None, on_read: Callable[[Path], None] = lambda _: None
) -> Scenario:
    """The scenario of a file; refused, before any work, where an output is a file that it is read from.

    *on_read* is called with each file that it is read from.
    """
    check_outputs(file, *outputs)
    from cyclesim.scenario.reading.load import load
    from cyclesim.shown.files import is_stream

    read: list[Path] = []
    scenario = load(file, sets=sets, on_read=read.append, on_set=_tell_spread)
    click.get_current_context().meta.setdefault(_US, scenario.in_us_units)
    click.get_current_context().meta.setdefault(_READ, {})[file] = tuple(read), tuple(sets)
    for path in read:
        on_read(path)
    there = [p for p in outputs if p is not None and p != STDOUT and p.exists() and not is_stream(p)]
    for path in there:
        for source in read:
            if path.samefile(source):
                what = "the scenario" if source == file else f"{source}, which the scenario refers to"
                raise click.UsageError(f"Writing to {path} would overwrite {what}.")
    return scenario


def _tell_spread(text: str, paths: list[str]) -> None:
    """Say on the side what a set with a `*` has changed."""
    if "*" in text.partition("=")[0]:
        from cyclesim.errors import plain

        click.echo(f"--set {plain(text, 100)} changed {len(paths)}: {', '.join(paths)}", err=True)


def check_figure(figure: Path | None, first: date | None, days: int | None) -> None:
    """Refuse a figure of an unknown form, and what goes with a figure alone."""
    if figure is None:
        if first is not None or days is not None:
            raise click.UsageError("--figure-from and --figure-days go with --figure FILE.svg, .pdf or .png.")
        return
    if figure.suffix.lower() not in (".svg", ".pdf", ".png"):
        raise click.UsageError(
            f"A figure is drawn as svg, pdf or png: end the name {figure} with .svg, .pdf or .png."
        )


def check_drawing(drawing: Path | None) -> None:
    """Refuse a drawing of the plant of an unknown form."""
    if drawing is not None and drawing != STDOUT and drawing.suffix.lower() != ".svg":
        raise click.UsageError(f"The plant is drawn as svg: end the name {drawing} with .svg.")


def drawn_plant(
    plant: Assembly, findings: Sequence[Finding], ages: Mapping[str, LegMetrics] | None = None
) -> str:
    """The plant as a drawing in a file of its own."""
    from cyclesim.said.drawing import drawing
    from cyclesim.shown.pictures.plant import write_plant

    return write_plant(drawing(plant, ages, in_us_units(), findings), picture_mark())


def picture_mark() -> str:
    """What stands in the corner of every picture: the fingerprint of each file that it is of."""
    from cyclesim.errors import CycleSimError
    from cyclesim.scenario.reading.fingerprint import fingerprint

    try:
        marks = [fingerprint(*read) for read in click.get_current_context().meta.get(_READ, {}).values()]
    except CycleSimError:  # a pipe cannot be read twice
        return ""
    return f"file {'; '.join(marks)}" if marks else ""


def write(path: Path, put: Callable[[TextIO], object]) -> None:
    """Write a whole file, or to the screen."""
    if path == STDOUT:
        from io import StringIO

        text = StringIO()
        put(text)
        show(text.getvalue())
        return
    from cyclesim.shown.files import write_whole

    write_whole(path, put)


def write_text(path: Path, text: str) -> None:
    """Likewise, a text."""
    write(path, lambda stream: stream.write(text))


def tell(
    result: Found,
    *,
    page: Callable[[Found], Page],
    values: Callable[[Found], object],
    json_file: Path | None,
    figure: Callable[[Found, BinaryIO, str, str], None] | None = None,
    figure_file: Path | None = None,
    after: str = "",
) -> None:
    """Write and print what was found: the picture, the JSON, and unless that is on the screen the report."""
    if figure is not None and figure_file is not None:
        from cyclesim.shown.files import write_whole_bytes

        form = figure_file.suffix.lower()
        write_whole_bytes(figure_file, lambda stream: figure(result, stream, form, picture_mark()))
    if json_file is not None:
        from cyclesim.shown.as_json import as_text

        write_text(json_file, as_text(values(result)))
    if json_file != STDOUT:
        show_page(page(result), after)


def show(text: str) -> None:
    """Print, quietly ending where the reader has closed the pipe; the status stays what it is."""
    reconfigure = getattr(sys.stdout, "reconfigure", None)
    if reconfigure is not None:
        reconfigure(errors="replace")
    try:
        sys.stdout.write(text)
        sys.stdout.flush()
    except OSError as error:
        lose(sys.stdout)
        if not isinstance(error, BrokenPipeError):
            raise click.ClickException(f"The screen cannot be written to: {error.strerror}.") from None
