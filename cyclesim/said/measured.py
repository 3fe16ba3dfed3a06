"""What readings from the finished plant say, for a person: each beside the prediction, worst first."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from cyclesim.decide.readings.measured import Compared, Measured
from cyclesim.said.cautions import ADVICE, say_cautions
from cyclesim.said.explained import (
    follows_values,
    next_values,
    say_drift,
    say_explained,
    say_follows,
    say_log,
    say_next,
)
from cyclesim.said.page import Column, Page, words
from cyclesim.said.reading_units import unit_of, with_off
from cyclesim.said.words import count, day

CAUSE = (
    "A cause is what fits these readings best, not a diagnosis: look at the part before you change it, with "
    "the power off and locked, and let licensed people open what is electrical or under pressure."
)
_OFF = (
    "± holds 90 of 100. A prediction's is what drawings, data sheets and the model's numbers are usually off "
    "by."
)


def measured_page(found: Measured) -> Page:
    """Everything that readings say, in the order in which one asks."""
    page = Page()
    page.line(f"{found.title}: what was measured, {day(found.date)}", tone="strong")
    if found.about:
        page.line(found.about)
    for log in found.logs:
        say_log(page, log)
    _say_compared(page, found)
    if found.explained is not None:
        say_explained(page, found.explained)
        if found.next_readings or found.explained.best:
            say_next(page, found.next_readings)
    if found.follows is not None:
        say_follows(page, found.follows)
        _say_corrected(page, found)
    if found.drift is not None:
        say_drift(page, found.drift)
    say_cautions(page, [CAUSE, ADVICE])
    return page


def _say_corrected(page: Page, found: Measured) -> None:
    if not found.corrected:
        page.line("No key of the file says that cause, or so much of it.")
        page.line("--write would write nothing.", command=True)
        return
    keys = "; ".join(f"{path}: {value}" for path, value in found.corrected.items())
    page.line(f"A file that says so has {keys}.")
    page.line("--write NEW.yaml writes such a copy.", command=True)


def _say_compared(page: Page, found: Measured) -> None:
    if not found.compared:
        page.line("Nothing was read.")
        return
    differ = [row for row in found.compared if not row.agrees]
    page.line()
    if not differ:
        page.line("Every reading agrees with the file.", tone="good")
    else:
        of_all = f"{len(differ)} of {count(len(found.compared), 'reading')}"
        page.line(f"{of_all} differ from what the file predicts.", tone="mind")
    page.table(
        [
            words("reading", "reading"),
            words("measured"),
            words("the file predicts"),
            Column("apart\n{unit}", "apart", "x"),
            words(""),
        ],
        ([row.reading, *both(row), row.apart, verdict(row)] for row in found.compared),
        "Readings, worst first",
        [f"apart: distance over what both may be off by, at most 1 where they agree. {_OFF}"],
    )
    if any(row.quantity == "head" for row in found.compared):
        page.line("A gauge is told in metres of cold water: 100 kPa, which is 1 bar, are 10.2 m.")
    for row in found.compared:
        if row.impossible:
            page.line(f"This reading cannot be true of the plant: {row.reading}: {row.impossible}. "
                      "Read it again; it is left out of what follows.", tone="mind", hang=2)  # fmt: skip
    usual = dict.fromkeys(
        f"{row.reading.split(',')[0].split(' ')[0]} {row.tolerance} ({row.tolerance_source})"
        for row in found.compared
        if row.tolerance_source
    )
    if usual:
        page.line(f"Where the file does not say what a reading may be off by: {'; '.join(usual)}.")


def both(row: Compared) -> tuple[str, str]:
    """What was measured and what the file predicts, each with what it may be off by."""
    predicted = with_off(row.quantity, row.predicted, row.predicted_off)
    return with_off(row.quantity, row.read, row.read_off), predicted


def verdict(row: Compared) -> str:
    """Whether they agree, in a word or two."""
    return "cannot be" if row.impossible else "agrees" if row.agrees else "differs"


def measured_values(found: Measured) -> dict[str, Any]:
    """The same as plain values; each reading in the unit that it names."""
    return {
        "title": found.title,
        "about": found.about,
        "date": found.date,
        "logs": [asdict(log) for log in found.logs],
        "readings": [_values(row) for row in found.compared],
        "explained": None if found.explained is None else asdict(found.explained),
        "next_readings": [next_values(reading) for reading in found.next_readings],
        "drift": None if found.drift is None else asdict(found.drift),
        "corrected": dict(found.corrected),
        "follows": None if found.follows is None else follows_values(found.follows),
    }


def _values(row: Compared) -> dict[str, Any]:
    unit, each = unit_of(row.quantity, row.read)
    return {
        "reading": row.reading,
        "unit": unit,
        "read": row.read * each,
        "read_off": row.read_off * each,
        "predicted": row.predicted * each,
        "predicted_off": row.predicted_off * each,
        "apart": row.apart,
        "agrees": row.agrees,
        "impossible": row.impossible,
        "tolerance_source": row.tolerance_source,
    }
