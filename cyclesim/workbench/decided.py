"""Answers by which one decides: every order of events, better times, plants side by side, sizes, readings.

Each is what the command of that name prints and writes, with its picture, and with what can be applied.
"""

from __future__ import annotations

import sys
from base64 import b64encode
from collections.abc import Callable
from dataclasses import asdict, replace
from datetime import date
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from cyclesim.errors import CycleSimError, shorten
from cyclesim.said.as_done import as_done
from cyclesim.shown.reader import sentence
from cyclesim.units import QuantityError, parse
from cyclesim.workbench.handover import picture_mark
from cyclesim.workbench.views import Values, page_view

if TYPE_CHECKING:
    from cyclesim.decide.sweeps.sweep import How
    from cyclesim.scenario.blocks.model import Scenario
    from cyclesim.workbench.asked import Question, Tell


def verify(question: Question, scenario: Scenario, us: bool, tell: Tell) -> Values:
    """Every order of events; each story has a scene a step, and each mend its edits."""
    from cyclesim.said.verify import REPLAYED, matrix, overall, verification_values, verify_page
    from cyclesim.verification.verifier import verify as verify_

    found = verify_(
        scenario,
        faults=question.whole("faults", 0, 2, 0) or 0,
        rule=question.option("rule", str),
        any_order=question.option("any_order", bool, False),
        on_progress=lambda what, states, left: tell(f"{what}: {left} states still to follow", states, None),
    )
    shown, rows = matrix(found)
    values = verification_values(found)
    return {
        "page": page_view(verify_page(found), us),
        "values": values,
        "verdicts": in_units(values["verdicts"], us),
        "verdict": overall(found),
        "replayed": REPLAYED,
        "matrix": {
            "columns": [{"rule": verdict.rule, "subject": verdict.subject} for verdict in shown],
            "rows": [{"faults": row.faults, "marks": row.marks} for row in rows],
        },
    }


def mend(question: Question, scenario: Scenario, us: bool, tell: Tell) -> Values:
    """What `run` would try against what one rule finds, each on the same days."""
    from cyclesim.analysis.result import days_of_year, simulate
    from cyclesim.analysis.trials import tried
    from cyclesim.said.verdict import told_mends

    rule, subjects = question.option("rule", str, ""), question.option("subjects", list, [])
    start = date(scenario.place.year, 1, 1)
    days = question.whole("days", 1, 366) or days_of_year(start)
    result = simulate(scenario, days=days, start=start, on_day=lambda day: tell("simulating", day, days))
    found = [f for f in result.findings if f.rule == rule and f.subject in subjects]
    if not found:
        raise CycleSimError(f"This run finds nothing of '{shorten(rule)}' there.")
    trials = tried(result, found, most_runs=sys.maxsize, on_run=lambda runs: tell("trying mends", runs, None))
    return {"tried": in_units([mend._asdict() for mend in told_mends(found, trials)], us)}


def tune(question: Question, scenario: Scenario, us: bool, tell: Tell) -> Values:
    """Better times; each programme as a strip of the day, with the file as it would then be."""
    from cyclesim.decide.tuning.tuning import tune as tune_
    from cyclesim.decide.tuning.written import written
    from cyclesim.said.strips import shown_choices, strips
    from cyclesim.said.tune import tune_page, tune_values
    from cyclesim.scenario.reading.rewrite import text_of

    file, read = question.file, text_of(question.file)
    found = tune_(
        scenario,
        days=question.whole("days", 1, 366),
        seed=question.whole("seed", 0, 2**31, 0) or 0,
        how=how(question, tell, "running programmes"),
    )
    texts = list[str | None]()
    for choice in shown_choices(found):
        try:
            texts.append(
                None if choice is found.own else written(file, read, scenario, choice.programme, file)
            )
        except CycleSimError:
            texts.append(None)  # the file has no place for it
    return {
        "page": page_view(tune_page(found), us),
        "values": tune_values(found),
        "strips": asdict(strips(found)),
        "texts": texts,
    }


def compare(question: Question, scenario: Scenario, us: bool, tell: Tell) -> Values:
    """Plants side by side."""
    from cyclesim.decide.comparing.comparison import compare as compare_
    from cyclesim.said.compare import compare_page, compare_values
    from cyclesim.said.compare_drawn import drawn
    from cyclesim.scenario.reading.load import load
    from cyclesim.shown.pictures.compare import write_compare_figure

    files = (question.file, *question.others)
    if not 2 <= len(files) <= 6:
        raise CycleSimError("Two to six plants are compared.")
    found = compare_(
        [scenario, *map(load, question.others)],
        [file.name for file in files],
        years=question.whole("years", 1, 50),
        futures=question.whole("futures", 0, 10_000, 0) or 0,
        sensitivity=question.option("sensitivity", bool, False) or None,
        tuned=question.option("tuned", bool, False),
        how=how(question, tell, "running plants"),
    )
    return {
        "page": page_view(compare_page(found), us),
        "values": compare_values(found),
        "figure": _picture(question, lambda *to: write_compare_figure(drawn(found), *to), *question.others),
    }


def size(question: Question, scenario: Scenario, us: bool, tell: Tell) -> Values:
    """How large a heater, a pump or a blower must be."""
    from cyclesim.said.curves_drawn import blower_drawn, pump_drawn
    from cyclesim.said.heater_drawn import heater_drawn
    from cyclesim.shown.pictures.size import write_curves_figure

    which, named = question.option("machine", str, "heater"), question.option("name", str)
    if which == "pump":
        from cyclesim.decide.sizing.pump_sizing import size_pump
        from cyclesim.said.size_pump import pump_page, pump_values

        pump = size_pump(scenario, named)
        figure = _picture(question, lambda *to: write_curves_figure(pump_drawn(pump), *to, us=us))
        return {"page": page_view(pump_page(pump), us), "values": pump_values(pump), "figure": figure}
    if which == "blower":
        from cyclesim.decide.sizing.blower_sizing import size_blower
        from cyclesim.said.size_blower import blower_page, blower_values

        blower = size_blower(scenario, named, wanted_m3_s=_quantity(question, "flow", "flow", "600 L/min"))
        figure = _picture(question, lambda *to: write_curves_figure(blower_drawn(blower), *to, us=us))
        return {"page": page_view(blower_page(blower), us), "values": blower_values(blower), "figure": figure}
    if which != "heater":
        raise CycleSimError(f"Found '{shorten(which)}' for machine; expected heater, pump or blower.")
    from cyclesim.decide.sizing.heater_sizing import size_heater
    from cyclesim.said.size_heater import heater_page, heater_values
    from cyclesim.shown.pictures.heater import write_heater_figure

    heater = size_heater(
        scenario,
        sizes_w=_sizes_w(question),
        source=named,
        from_c=_quantity(question, "from", "temperature", "30 degC"),
        within_s=_quantity(question, "within", "time", "8 h"),
        how=how(question, tell, "running sizes"),
    )
    figure = _picture(question, lambda *to: write_heater_figure(heater_drawn(heater), *to, us=us))
    return {"page": page_view(heater_page(heater), us), "values": heater_values(heater), "figure": figure}


def savings(question: Question, scenario: Scenario, us: bool, tell: Tell) -> Values:
    """What would save most."""
    from cyclesim.decide.sizing.savings import savings as savings_
    from cyclesim.said.savings import savings_page, savings_values

    found = savings_(scenario, how=how(question, tell, "running changes"))
    return {"page": page_view(savings_page(found), us), "values": savings_values(found)}


def measured(question: Question, scenario: Scenario, us: bool, tell: Tell) -> Values:
    """What explains the readings, what to measure next and what follows; with the keys that would say so."""
    from cyclesim.decide.readings.measured import measured as measured_
    from cyclesim.said.measured import measured_page, measured_values
    from cyclesim.said.measured_drawn import readings_drawn
    from cyclesim.scenario.reading.readings import load_readings
    from cyclesim.shown.pictures.measured import write_measured_figure

    if not question.others:
        raise CycleSimError("No file of readings is named.")
    taken = [load_readings(path, scenario) for path in question.others]
    found = measured_(
        scenario, *taken, days=question.whole("days", 1, 366), how=how(question, tell, "predicting readings")
    )
    return {
        "page": page_view(measured_page(found), us),
        "values": measured_values(found),
        "figure": _picture(question, lambda *to: write_measured_figure(readings_drawn(found), us, *to)),
    }


def whole_page(question: Question, scenario: Scenario, us: bool, tell: Tell) -> Values:
    """The page of a plant as one file: a year, mends, every single fault, and what would save most."""
    from cyclesim.analysis.result import days_of_year, simulate
    from cyclesim.analysis.trials import tried
    from cyclesim.decide.sizing.savings import savings as savings_
    from cyclesim.said.inputs import inputs
    from cyclesim.said.report import report
    from cyclesim.said.verdict import told_findings
    from cyclesim.scenario.reading.load import written
    from cyclesim.shown.page import page
    from cyclesim.verification.verifier import verify as verify_

    start = date(scenario.place.year, 1, 1)
    days = question.whole("days", 1, 366) or days_of_year(start)
    result = simulate(
        scenario, days=days, start=start, left=True, on_day=lambda day: tell("simulating", day, days)
    )
    looked_at = verify_(
        scenario, faults=1,
        on_progress=lambda what, states, left: tell(f"{what}: {left} states still to follow", states, None),
    )  # fmt: skip
    saved = savings_(scenario, days=days, start=start, how=how(question, tell, "trying what saves"))
    trials = tried(
        result, told_findings(result.findings), on_run=lambda runs: tell("trying mends", runs, None)
    )
    told = report(result, tuple(inputs(written(question.file))), looked_at, saved, trials, us=us)
    return {"html": page([told], us=us), "verdict": told.verdict}


def in_units(values: Any, us: bool) -> Any:
    """Plain values with their sentences in the reader's units and words; edits stay the file's own text."""
    match values:
        case str():
            return sentence(as_done(values), us)
        case dict():
            return {key: inner if key == "edits" else in_units(inner, us) for key, inner in values.items()}
        case list() | tuple():
            return [in_units(inner, us) for inner in values]
    return values


def how(question: Question, tell: Tell, does: str) -> How:
    """How a sweep is run: kept in the user's cache, told as it goes on, on a cluster if one is named."""
    from cyclesim.decide.sweeps.kept import kept_file
    from cyclesim.decide.sweeps.sweep import How

    cluster = question.option("cluster", str)
    return How(None, cluster, kept_file(), lambda done, of: tell(does, done, of))


def _quantity(question: Question, name: str, kind: str, example: str) -> float | None:
    """An option that is a quantity with its unit; CycleSimError where it is none."""
    text = question.option(name, str, "").strip()
    if not text:
        return None
    try:
        return parse(text, kind, example)
    except QuantityError as error:
        hint = f" ({error.hint})" if error.hint else ""
        raise CycleSimError(
            f"{name}: found '{shorten(text)}', {error.what}; {error.allowed}{hint}."
        ) from None


def _sizes_w(question: Question) -> list[float] | None:
    """Sizes parted by commas; CycleSimError where one is none."""
    texts = question.option("sizes", str, "").split(",")
    of = [_quantity(replace(question, options={"sizes": t}), "sizes", "power", "3 kW") for t in texts]
    return [watts for watts in of if watts is not None] or None


def _picture(question: Question, draw: Callable[[BinaryIO, str, str], Any], *others: Path) -> str:
    """A picture as an address that holds it whole, marked by the plants that it is of as a command's is."""
    stream = BytesIO()
    draw(stream, ".svg", picture_mark(question.file, *others))
    return f"data:image/svg+xml;base64,{b64encode(stream.getvalue()).decode()}"
