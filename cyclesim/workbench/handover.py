"""What is handed over of a plant, as files to download: drawing, calendar, papers, fingerprint."""

from __future__ import annotations

import re
from base64 import b64encode
from datetime import date
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

from cyclesim import __version__
from cyclesim.errors import CycleSimError
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.fingerprint import fingerprint
from cyclesim.scenario.reading.load import load
from cyclesim.workbench.views import Values

if TYPE_CHECKING:
    from cyclesim.workbench.asked import Question, Tell


KNOWN = re.compile(r"fingerprint|drawing\.svg|week\.svg|calendar\.ics|papers/[a-z]+\.pdf")


def handed_over(question: Question, scenario: Scenario, us: bool, tell: Tell) -> Values:
    """One file: its name, kind and bytes in base 64; one without a name is shown, not kept."""
    path = question.option("path", str, "")
    tell(f"making {path}", 0, None)
    stem = re.sub(r"[^A-Za-z0-9_-]", "-", question.file.stem)
    day = date.fromisoformat(question.option("day", str, date.today().isoformat()))
    mark = picture_mark(question.file)
    match path.split("/"):
        case ["fingerprint"]:
            return _made("", "text/plain; charset=utf-8", _fingerprint(question.file).encode())
        case ["drawing.svg"]:
            return _made(f"{stem}.svg", "image/svg+xml", _drawing(scenario, us, mark).encode())
        case ["week.svg"]:
            return _made(f"{stem}-week.svg", "image/svg+xml", _week(scenario, us, mark))
        case ["calendar.ics"]:
            return _made(f"{stem}.ics", "text/calendar; charset=utf-8", _calendar(scenario, day).encode())
        case ["papers", paper]:
            made = _papers(scenario, _fingerprint(question.file), paper.removesuffix(".pdf"), us, day)
            return _made(f"{stem}-{paper}", "application/pdf", made)
    raise CycleSimError("There is nothing of that name to hand over.")


def _made(name: str, kind: str, data: bytes) -> Values:
    return {"name": name, "kind": kind, "data": b64encode(data).decode()}


def _fingerprint(file: Path) -> str:
    read = list[Path]()
    load(file, on_read=read.append)
    return fingerprint(read)


def picture_mark(*files: Path) -> str:
    """What stands in the corner of every picture: the fingerprint of each plant that it is of."""
    return f"file {'; '.join(map(_fingerprint, files))}"


def _drawing(scenario: Scenario, us: bool, mark: str) -> str:
    from cyclesim.analysis.rules import check_plant
    from cyclesim.said.drawing import drawing
    from cyclesim.shown.pictures.plant import write_plant
    from cyclesim.simulation.assembly import Assembly
    from cyclesim.simulation.programme import Programme

    plant = Assembly(scenario)
    findings, _ = check_plant(plant, Programme(scenario))
    return write_plant(drawing(plant, None, us, findings), mark)


def _week(scenario: Scenario, us: bool, mark: str) -> bytes:
    """The week with the worst finding of a year, or its first, as `run --figure` draws it."""
    from cyclesim.analysis.result import simulate
    from cyclesim.said.stretch import stretch
    from cyclesim.shown.pictures.run import write_figure

    stream = BytesIO()
    write_figure(stretch(simulate(scenario), spells=True), stream, ".svg", mark, us)
    return stream.getvalue()


def _calendar(scenario: Scenario, day: date) -> str:
    from cyclesim.said.calendar import owners_calendar
    from cyclesim.shown.calendar_file import as_icalendar

    return as_icalendar(owners_calendar(scenario), day)


def _papers(scenario: Scenario, digits: str, reader: str, us: bool, day: date) -> bytes:
    from cyclesim.said.papers.collected import HandOver
    from cyclesim.said.papers.paper import READERS
    from cyclesim.shown.papers.typeset import pdf

    readers = READERS if reader == "all" else tuple(one for one in READERS if one == reader)
    if not readers:
        raise CycleSimError("There is no paper for such a reader.")
    over = HandOver(scenario, digits, (), day.isoformat(), __version__, us, None, None)
    made, _ = pdf(over.papers(readers, {}), size="letter" if us else "a4", us=us)
    return made
