"""What is handed over of a plant, as files to download: drawing, calendar, papers, fingerprint."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path

from cyclesim import __version__
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.fingerprint import fingerprint
from cyclesim.scenario.reading.load import load
from cyclesim.workbench.folder import Folder


@dataclass(frozen=True, slots=True)
class Made:
    """A file to hand over; one without a name is shown, not kept."""

    name: str
    kind: str
    data: bytes


def handed_over(folder: Folder, name: str, what: str, units: str | None = None) -> Made | None:
    """What is asked for of a plant; None where there is nothing of that name."""
    read = list[Path]()
    scenario = load(folder.path(name), on_read=read.append)
    us = scenario.in_us_units if units is None else units == "us"
    stem = "".join(
        sign if sign.isascii() and (sign.isalnum() or sign in "-_") else "-" for sign in Path(name).stem
    )
    match what.split("/"):
        case ["fingerprint"]:
            return Made("", "text/plain; charset=utf-8", fingerprint(read).encode())
        case ["drawing.svg"]:
            return Made(f"{stem}.svg", "image/svg+xml", _drawing(scenario, us).encode())
        case ["calendar.ics"]:
            return Made(f"{stem}.ics", "text/calendar; charset=utf-8", _calendar(scenario).encode())
        case ["papers", paper] if paper.endswith(".pdf"):
            made = _papers(scenario, fingerprint(read), paper.removesuffix(".pdf"), us)
            return None if made is None else Made(f"{stem}-{paper}", "application/pdf", made)
    return None


def _drawing(scenario: Scenario, us: bool) -> str:
    from cyclesim.analysis.rules import check_plant
    from cyclesim.said.drawing import drawing
    from cyclesim.shown.pictures.plant import write_plant
    from cyclesim.simulation.assembly import Assembly
    from cyclesim.simulation.programme import Programme

    plant = Assembly(scenario)
    findings, _ = check_plant(plant, Programme(scenario))
    return write_plant(drawing(plant, None, us, findings))


def _calendar(scenario: Scenario) -> str:
    from cyclesim.said.calendar import owners_calendar
    from cyclesim.shown.calendar_file import as_icalendar

    return as_icalendar(owners_calendar(scenario), date.today())


def _papers(scenario: Scenario, digits: str, reader: str, us: bool) -> bytes | None:
    from cyclesim.said.papers.collected import HandOver
    from cyclesim.said.papers.paper import READERS
    from cyclesim.shown.papers.typeset import pdf

    readers = READERS if reader == "all" else tuple(one for one in READERS if one == reader)
    if not readers:
        return None
    over = HandOver(scenario, digits, (), date.today().isoformat(), __version__, us, None, None)
    made, _ = pdf(over.papers(readers, {}), size="letter" if us else "a4", us=us)
    return made
