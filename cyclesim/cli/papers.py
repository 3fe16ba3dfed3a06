"""The command that writes the papers of a hand-over."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from cyclesim.cli.endings import say
from cyclesim.cli.shared import (
    OK,
    STDOUT,
    Day,
    check_outputs,
    cli,
    in_us_units,
    loaded,
    output_file,
    scenario_file,
    show,
    sweeping,
    told_file,
    write_text,
)

if TYPE_CHECKING:
    from cyclesim.said.papers.paper import Reader


@cli.command()
@told_file
@click.option("--for", "asked", type=click.Choice(["client", "electrician", "plumber", "owner", "all"]),
              multiple=True, default=("all",), show_default=True,
              help="Who reads it; may be given again.")  # fmt: skip
@output_file("--out", "out", help="Write the PDF to FILE.pdf; FILE-papers.pdf in this folder unless given.")
@click.option(
    "--paper", "size", type=click.Choice(["a4", "letter"]), help="Its size: letter in US units, else a4."
)
@click.option("--with", "other", type=click.Path(path_type=Path), metavar="OTHER.yaml",
              help="Set this plant beside FILE in the client's paper.")  # fmt: skip
@click.option("--confidence", "asked_how_sure", is_flag=True,
              help="Tell the client how far the cost may be off: some eighty runs.")  # fmt: skip
@click.option("--faults", "asked_faults", is_flag=True,
              help="Tell the electrician what each single fault breaks: seconds to a minute.")  # fmt: skip
@click.option("--date", "day", type=Day(), metavar="DATE", help="The date on the papers; today unless given.")
@click.option("--done", "done_file", type=click.Path(path_type=Path), metavar="FILE.yaml",
              help="Print these tests as done: a filled-in copy of what --json writes.")  # fmt: skip
@output_file("--json", "json_file",
             help="Write the commissioning tests as JSON to FILE, with - to the screen; "
                  "without --out that is all.")  # fmt: skip
def papers(
    file: Path,
    sets: tuple[str, ...],
    asked: tuple[Reader | Literal["all"], ...],
    out: Path | None,
    size: Literal["a4", "letter"] | None,
    other: Path | None,
    asked_how_sure: bool,
    asked_faults: bool,
    day: date | None,
    done_file: Path | None,
    json_file: Path | None,
) -> int:
    """Write the papers with which FILE is handed over."""
    if asked_faults and {"electrician", "all"}.isdisjoint(asked):
        raise click.UsageError(
            "--faults tells of single faults in the electrician's paper: --for electrician."
        )
    to = out
    if out is None and json_file is None:
        to = Path(f"{file.stem}-papers.pdf")
        if to.exists():
            raise click.UsageError(f"{to} is there already; name it by --out to write over it.")
    if to is not None and to.suffix.lower() != ".pdf":
        raise click.UsageError(f"Papers are a PDF: end the name {to} with .pdf.")
    check_outputs(done_file, to, json_file)
    beside = loaded(other, (), to, json_file) if other is not None else None
    read: list[Path] = []
    scenario = loaded(file, sets, to, json_file, on_read=read.append)
    from cyclesim import __version__
    from cyclesim.said.papers.collected import HandOver
    from cyclesim.said.papers.paper import READERS
    from cyclesim.scenario.reading.done_tests import read_done_tests
    from cyclesim.scenario.reading.fingerprint import fingerprint

    digits = fingerprint(read, sets)
    sure = None
    if asked_how_sure:
        from cyclesim.decide.ranges.confidence import confidence

        with sweeping(None, None, False, "varying inputs") as how:
            sure = confidence(scenario, how=how)
    found = None
    if asked_faults:
        from cyclesim.shown.progress import states_found
        from cyclesim.verification.verifier import verify

        with states_found() as on_progress:
            found = verify(scenario, faults=1, on_progress=on_progress)
    made_on = (day or date.today()).isoformat()
    over = HandOver(scenario, digits, sets, made_on, __version__, in_us_units(), beside, sure, found)
    done = read_done_tests(done_file, [test.id for test in over.tests], digits) if done_file else {}
    if json_file is not None:
        from cyclesim.shown.as_json import as_text

        write_text(json_file, as_text(over.values(done)))
    if to is not None:
        from cyclesim.shown.files import write_whole_bytes
        from cyclesim.shown.papers.typeset import pdf

        made, note = pdf(
            over.papers([reader for reader in READERS if not {reader, "all"}.isdisjoint(asked)], done),
            size=size or ("letter" if in_us_units() else "a4"),
            us=in_us_units(),
        )
        write_whole_bytes(to, lambda stream: stream.write(made))
        if note:
            say(note)
        show(f"{to} is written.\n")
    return OK


@cli.command()
@scenario_file
@output_file("--out", "out", help="Write the calendar to FILE.ics, with - to the screen.")
@click.option("--date", "day", type=Day(), metavar="DATE", help="The day it is made on; today unless given.")
def calendar(file: Path, sets: tuple[str, ...], out: Path | None, day: date | None) -> int:
    """Write the runs and chores of FILE as a calendar."""
    if out is None:
        raise click.UsageError("Name the file to write: --out FILE.ics")
    if out != STDOUT and out.suffix.lower() != ".ics":
        raise click.UsageError(f"A calendar is an .ics file: end the name {out} with .ics.")
    scenario = loaded(file, sets, out)
    from cyclesim.said.calendar import owners_calendar
    from cyclesim.shown.calendar_file import as_icalendar

    write_text(out, as_icalendar(owners_calendar(scenario), day or date.today()))
    if out != STDOUT:
        show(f"{out} is written.\n")
    return OK
