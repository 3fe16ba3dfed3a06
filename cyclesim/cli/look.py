"""Commands that look at one plant: run, check, verify, duty, states; and schema, rules, new."""

from __future__ import annotations

import sys
from datetime import date
from functools import partial
from pathlib import Path

import click

from cyclesim.cli.endings import say
from cyclesim.cli.shared import (
    BROKEN,
    MOST_DAYS,
    OK,
    STDOUT,
    Day,
    check_drawing,
    check_figure,
    check_outputs,
    check_sweep,
    cli,
    drawn_plant,
    in_us_units,
    loaded,
    output_file,
    picture_mark,
    scenario_file,
    show,
    show_page,
    sweep_options,
    sweeping,
    tell,
    told_file,
    write,
    write_text,
)
from cyclesim.errors import plain
from cyclesim.scenario.reading.starter import LIKE


@cli.command()
@told_file
@click.option("--days", type=click.IntRange(1, MOST_DAYS), metavar="N",
              help="How many days to simulate; a whole year unless given.")  # fmt: skip
@click.option("--from", "start", type=Day(), metavar="DATE",
              help="First day, e.g. 2027-03-01; 1 January of the file's year unless given.")  # fmt: skip
@click.option("--seed", type=click.IntRange(0), default=0, show_default=True,
              help="Number that every random draw starts from.")  # fmt: skip
@output_file("--json", "json_file", help="Write every number as JSON to FILE, with - to the screen.")
@output_file("--trace", "trace_file",
         help="Write everything that happened as CSV, or to a FILE.parquet as Parquet.")  # fmt: skip
@output_file("--figure", "figure_file",
         help="Draw the week with the worst finding, or the first, to FILE.svg, .pdf or .png.")  # fmt: skip
@click.option("--figure-from", type=Day(), metavar="DATE", help="Draw from this day on instead.")
@click.option("--figure-days", type=click.IntRange(1, 31), metavar="N", help="Draw N days, not 7.")
@output_file("--drawing", "drawing_file", help="Draw the plant and how old its water gets to FILE.svg.")
@click.option("--what-if", "what_ifs", multiple=True, metavar="WHAT=.../DURATION",
              help='Try a power cut, e.g. --what-if "outage=2027-01-12 03:00/8 h", with /CIRCUIT behind it '
                   'for that circuit alone, or days of frost at the worst date, e.g. '
                   '--what-if "cold=-18 degC/3 days".')  # fmt: skip
@click.option("--all", "everything", is_flag=True, help="Tell every finding, not only the worst.")
@click.option("--apply", "number", type=click.IntRange(min=1), metavar="N",
              help="Make the mend that is told as Mend N, in the file that --write names.")  # fmt: skip
@output_file("--write", "new_file", help="Write FILE anew with that mend, all else as it was.")
@click.option("--confidence", "asked_how_sure", is_flag=True,
              help="Tell how far the numbers may be off, and why: some eighty runs; "
                   "how they are made is said by --workers, --cluster, --afresh.")  # fmt: skip
@sweep_options
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
    drawing_file: Path | None,
    what_ifs: tuple[str, ...],
    everything: bool,
    number: int | None,
    new_file: Path | None,
    asked_how_sure: bool,
    workers: int | None,
    cluster: str | None,
    afresh: bool,
) -> int:
    """Simulate FILE, say what breaks a rule and what to change."""
    for option, given in (("--workers", workers), ("--cluster", cluster), ("--afresh", afresh)):
        if given and not asked_how_sure:
            raise click.UsageError(f"{option} goes with --confidence.")
    check_sweep(workers, cluster)
    check_figure(figure_file, figure_from, figure_days)
    check_drawing(drawing_file)
    read = _text_to_mend(file, sets, number, new_file, *what_ifs)
    scenario = loaded(file, sets, json_file, trace_file, figure_file, drawing_file, new_file)
    from cyclesim.analysis.findings import is_broken
    from cyclesim.analysis.result import days_of_year, simulate
    from cyclesim.analysis.trials import MOST_RUNS, tried
    from cyclesim.cli.what_if import what_if_sets
    from cyclesim.said.run import run_page
    from cyclesim.said.stretch import check_first, stretch
    from cyclesim.said.values import result_values
    from cyclesim.said.verdict import told_findings
    from cyclesim.shown import trace_files
    from cyclesim.shown.as_json import as_text
    from cyclesim.shown.files import write_whole_bytes
    from cyclesim.shown.pictures.run import write_figure
    from cyclesim.shown.progress import progress

    start = start or date(scenario.place.year, 1, 1)
    days = days or days_of_year(start)
    check_first(figure_from, start, days)
    if what_ifs:
        scenario = loaded(file, (*sets, *what_if_sets(scenario, what_ifs, start, days)))
    parquet = trace_file is not None and trace_file.suffix.lower() == ".parquet"
    if parquet:
        trace_files.check_parquet()
    with progress(days) as on_day:
        result = simulate(scenario, days=days, start=start, seed=seed, on_day=on_day, left=True)
    sure = None
    if asked_how_sure:
        from cyclesim.decide.ranges.confidence import confidence

        with sweeping(workers, cluster, afresh, "varying inputs") as how:
            sure = confidence(scenario, days=days, start=start, seed=seed, how=how)
    warmed = None
    if any(finding.rule == "cold-at-end" for finding in result.findings):
        from cyclesim.decide.sizing.step_out import step_out

        warmed = step_out(result)
    told = told_findings(result.findings, everything=everything)
    most_runs = sys.maxsize if everything else MOST_RUNS
    with progress(None, does="trying mends") as on_run:
        trials = tried(result, told, most_runs=most_runs, on_run=on_run)
    if trace_file is not None and parquet:
        write_whole_bytes(trace_file, lambda stream: trace_files.write_parquet(result.trace, stream))
    elif trace_file is not None:
        write(trace_file, lambda stream: trace_files.write_trace(result.trace, stream))
    if figure_file is not None:
        form = figure_file.suffix.lower()
        drawn, us = stretch(result, figure_from, figure_days, spells=True), in_us_units()
        write_whole_bytes(figure_file, lambda stream: write_figure(drawn, stream, form, picture_mark(), us))
    if drawing_file is not None:
        write_text(drawing_file, drawn_plant(result.plant, result.findings, result.metrics.legs))
    if json_file is not None:
        write_text(json_file, as_text(result_values(result, sure, warmed, trials)))
    if STDOUT not in (json_file, trace_file, drawing_file):
        show_page(run_page(result, everything=everything, sure=sure, warmed=warmed, tried=trials))
    if number is not None and new_file is not None:
        from cyclesim.analysis.apply import applied_to_run

        text, comes_to = applied_to_run(result, trials, number, read, new_file)
        write_text(new_file, text)
        say(f"Written to {new_file}: {comes_to}. Verify it whole before anybody wires it.")
    return BROKEN if is_broken(result.findings) else OK


def _text_to_mend(
    file: Path, sets: tuple[str, ...], number: int | None, new_file: Path | None, *what_ifs: str
) -> str:
    """The text that a mend is to be written into; "" where none is."""
    if (number is None) != (new_file is None):
        raise click.UsageError("--apply N and --write NEW.yaml go together.")
    if new_file is None:
        return ""
    if sets or what_ifs:
        raise click.UsageError(
            "--write writes FILE anew and cannot take what --set and --what-if change into it: change FILE "
            "first, or leave one of the two out."
        )
    from cyclesim.scenario.reading.rewrite import text_of

    return text_of(file)


@cli.command()
@told_file
@output_file("--drawing", "drawing_file", help="Draw the plant to FILE.svg.")
@click.option("--fingerprint", "asked", is_flag=True,
              help="Print only the digits by which papers can be matched with FILE.")  # fmt: skip
def check(file: Path, sets: tuple[str, ...], drawing_file: Path | None, asked: bool) -> int:
    """Say whether FILE can be run, and what its plant alone breaks."""
    check_drawing(drawing_file)
    read: list[Path] = []
    scenario = loaded(file, sets, drawing_file, on_read=read.append)
    if asked:
        from cyclesim.scenario.reading.fingerprint import fingerprint

        show(f"{fingerprint(read, sets)}\n")
        return OK
    from cyclesim.analysis.findings import is_broken
    from cyclesim.analysis.rules import check_plant
    from cyclesim.said.check import check_page
    from cyclesim.simulation.assembly import Assembly
    from cyclesim.simulation.programme import Programme

    plant, programme = Assembly(scenario), Programme(scenario)
    findings, checked = check_plant(plant, programme)
    if drawing_file is not None:
        write_text(drawing_file, drawn_plant(plant, findings))
    if drawing_file != STDOUT:
        show_page(check_page(plain(str(file), 400), plant, programme, findings, checked))
    return BROKEN if is_broken(findings) else OK


@cli.command()
@told_file
@click.option("--faults", type=click.IntRange(0, 2), default=0, show_default=True,
              help="How many things may go wrong at once.")  # fmt: skip
@click.option(
    "--rule",
    metavar="ID",
    help="Verify this rule alone, e.g. heat-without-flow; mends are then tried against faults, too.",
)
@click.option("--workers", type=click.IntRange(1, 64), metavar="N",
              help="Share the searches among N processes; with faults one a core unless given.")  # fmt: skip
@click.option("--any-order", is_flag=True, help="Let demands come in any order, not by the calendar.")
@click.option("--apply", "number", type=click.IntRange(min=1), metavar="N",
              help="Make the mend that is told as Tried N, in the file that --write names.")  # fmt: skip
@output_file("--write", "new_file", help="Write FILE anew with that mend, all else as it was.")
@output_file("--json", "json_file", help="Write everything as JSON to FILE, with - to the screen.")
def verify(
    file: Path,
    sets: tuple[str, ...],
    faults: int,
    rule: str | None,
    workers: int | None,
    any_order: bool,
    number: int | None,
    new_file: Path | None,
    json_file: Path | None,
) -> int:
    """Look for any order of events in which FILE breaks a rule."""
    read = _text_to_mend(file, sets, number, new_file)
    scenario = loaded(file, sets, new_file, json_file)
    from cyclesim.said.verify import verification_values, verify_page
    from cyclesim.shown.progress import states_found
    from cyclesim.verification.verifier import verify as verify_

    share = None
    if workers != 1 and (faults or workers):
        from cyclesim.decide.sweeps.pool import each

        share = partial(each, workers=workers)
    with states_found() as on_progress:
        verification = verify_(
            scenario, faults=faults, rule=rule, any_order=any_order, on_progress=on_progress, share=share
        )
    tell(verification, page=verify_page, values=verification_values, json_file=json_file)
    if number is not None and new_file is not None:
        from cyclesim.verification.apply import applied

        text, comes_to = applied(verification, number, read, new_file)
        write_text(new_file, text)
        say(f"Written to {new_file}: {comes_to}. Verify it whole before anybody wires it.")
    return BROKEN if verification.is_broken or verification.is_open else OK


@cli.command()
@told_file
@output_file("--json", "json_file", help="Write every number as JSON to FILE, with - to the screen.")
@click.option("--all", "everything", is_flag=True,
              help="Tell every combination of pump speeds and valve positions that can occur.")  # fmt: skip
def duty(file: Path, sets: tuple[str, ...], json_file: Path | None, everything: bool) -> int:
    """Say what every pump, leg and jet of FILE gets."""
    scenario = loaded(file, sets, json_file)
    from cyclesim.analysis.combinations import asked_for
    from cyclesim.said.duty import duty_page
    from cyclesim.said.values import duty_values
    from cyclesim.shown.as_json import as_text
    from cyclesim.simulation.assembly import Assembly
    from cyclesim.simulation.programme import Programme

    plant = Assembly(scenario)
    values = duty_values(plant)
    if json_file is not None:
        write_text(json_file, as_text(values))
    if json_file != STDOUT:
        asked = None if everything else asked_for(plant, Programme(scenario))
        show_page(duty_page(scenario, values["duties"], asked))
    return OK


@cli.command()
@scenario_file
@click.option("--as", "form", type=click.Choice(["text", "mermaid", "svg"]), default="text",
              show_default=True, help="How to draw; svg needs Graphviz.")  # fmt: skip
@output_file("-o", "--output", "output", help="Write to FILE, not to the screen.")
def states(file: Path, sets: tuple[str, ...], form: str, output: Path | None) -> int:
    """Draw the state machines of FILE's pumps and heat sources."""
    scenario = loaded(file, sets, output)
    from cyclesim.shown.states import drawn
    from cyclesim.simulation.programme import Programme

    programme = Programme(scenario)
    write_text(output or STDOUT, drawn(programme.machines.values(), form, programme.past))
    return OK


@cli.command()
@output_file("-o", "--output", "output", help="Write to FILE, not to the screen.")
def schema(output: Path | None) -> int:
    """Print the JSON Schema with which editors check a scenario."""
    check_outputs(None, output)
    from cyclesim.scenario.reading.schema import json_schema
    from cyclesim.shown.as_json import as_text

    write_text(output or STDOUT, as_text(json_schema()))
    return OK


@cli.command()
@click.argument("about", metavar="[PATH]", nargs=-1)
def explain(about: tuple[str, ...]) -> int:
    """Explain a key of the file, a rule, a word or a number of the JSON."""
    from cyclesim.said.explain import contents, explanation

    show_page(explanation(" ".join(about)) if about else contents())
    return OK


@cli.command()
@click.argument("rule", metavar="[ID]", required=False)
@output_file("--json", "json_file", help="Write the rules as JSON to FILE, with - to the screen.")
def rules(rule: str | None, json_file: Path | None) -> int:
    """Tell one rule or all: what must be so, why, what mends it."""
    check_outputs(None, json_file)
    from cyclesim.said.rules import chosen, rule_page, rule_values

    told = chosen(rule)
    tell(told, page=rule_page, values=rule_values, json_file=json_file)
    return OK


@cli.command()
@click.argument("file", type=click.Path(path_type=Path), required=False)
@click.option(
    "--like", type=click.Choice(LIKE), help="For such a plant; else an element and a pump of two speeds."
)
def new(file: Path | None, like: str | None) -> int:
    """Write a commented scenario to start from."""
    from cyclesim.shown.starter import write_starter

    if file is None or file == STDOUT:
        from cyclesim.scenario.reading.starter import starter_text

        show(starter_text(like))
    else:
        show(write_starter(file, like))
    return OK
