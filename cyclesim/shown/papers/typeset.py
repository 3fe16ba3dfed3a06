"""Papers to PDF by Typst: all that is said goes in as JSON, so that no text is ever read as markup."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from importlib.resources import files
from io import BytesIO
from pathlib import Path
from shutil import copy
from tempfile import TemporaryDirectory
from typing import Any, Literal

from cyclesim.errors import CycleSimError
from cyclesim.said.drawing import Drawing
from cyclesim.said.drawing.shapes import TEXT_PX
from cyclesim.said.page import Column, Heading, Line, Table
from cyclesim.said.papers.hand_test import WrittenTest
from cyclesim.said.papers.paper import Checklist, Drawn, NewPage, Paper, PaperBlock, Papers
from cyclesim.said.stretch import Stretch
from cyclesim.said.words import day, plain
from cyclesim.scenario.reading.done_tests import DoneTest
from cyclesim.shown.cells import heading, shown
from cyclesim.shown.pictures.plant import sheet_of
from cyclesim.shown.pictures.run import write_week
from cyclesim.shown.reader import in_units, sentence

PaperSize = Literal["a4", "letter"]
STANDARDS = ("ua-1", "a-2a")
"""Readable by machines that read aloud (PDF/UA-1), and kept readable (PDF/A-2a)."""
_SIZES = {"a4": "a4", "letter": "us-letter"}
_SIDES_MM = {"a4": (210, 297), "letter": (216, 279)}
_AROUND_MM = 20, 31
"""What a page leaves to a drawing that it holds alone: less by so much across, and so much up and down."""
_LEAST_PT = 7.0
"""Smaller letters nobody reads in print."""
_INCH_MM, _INCH_PT = 25.4, 72.0


def pdf(papers: Papers, *, size: PaperSize = "a4", us: bool = False) -> tuple[bytes, str]:
    """The papers as one PDF, the same bytes for the same papers, and what has to be told about it, or "".

    Where some letter is in none of the fonts that come along, those of this machine are taken too; where it
    is in none at all, the PDF is made without the standards, which ask for every letter.
    Raises CycleSimError where the file's logo cannot be drawn.
    """
    pictures: dict[str, bytes] = {}
    values = as_values(papers, size=size, us=us, pictures=pictures)
    made_at = int(datetime.fromisoformat(papers.day).replace(tzinfo=UTC).timestamp())
    with TemporaryDirectory() as folder:  # the typesetter sees these files and no others
        for name, data in {"main.typ": (files(__package__) / "paper.typ").read_bytes(), **pictures}.items():
            (Path(folder) / name).write_bytes(data)
        for font in _fonts():
            copy(font, folder)
        return _compiled(Path(folder), json.dumps(values, ensure_ascii=False), made_at)


def _compiled(folder: Path, data: str, made_at: int) -> tuple[bytes, str]:
    """The PDF of `main.typ` in a folder, by the strictest standards that its letters allow; and a note."""
    import typst

    def compiled(standards: Sequence[Any], *, of_this_machine: bool) -> bytes:
        return typst.compile(
            str(folder / "main.typ"),
            root=str(folder),
            format="pdf",
            font_paths=[str(folder)],
            ignore_system_fonts=not of_this_machine,
            sys_inputs={"data": data},
            pdf_standards=list(standards),
            timestamp=made_at,
        )

    try:
        return compiled(STANDARDS, of_this_machine=False), ""
    except typst.TypstError as error:
        if "decode" in str(error) or "image" in str(error):
            raise CycleSimError("The logo cannot be drawn: its file is damaged.") from None
        if "could not be displayed" not in str(error):
            raise
    try:
        note = "Some letters are in no font that comes along; fonts of this machine were taken for them."
        return compiled(STANDARDS, of_this_machine=True), note
    except typst.TypstError:
        note = "Some letters are in no font of this machine: boxes stand for them in a PDF without tags."
        return compiled((), of_this_machine=True), note


def _fonts() -> list[Path]:
    """Letters that the typesetter's own fonts lack, from fonts that the drawing library brings along.

    Not all of those: one of them has a box for every letter there is, so that none would seem to be missing.
    """
    import matplotlib

    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    return [folder / "DejaVuSans.ttf", folder / "DejaVuSans-Bold.ttf"]


def as_values(
    papers: Papers, *, size: PaperSize, us: bool, pictures: dict[str, bytes] | None = None
) -> dict[str, Any]:
    """All that the papers say, as texts in the reader's units; *pictures* takes bytes by their names."""
    pictures = {} if pictures is None else pictures
    logo = None
    if papers.logo is not None:
        logo = f"logo.{papers.logo.form}"
        pictures[logo] = papers.logo.data
    return {
        "title": plain(papers.title),
        "about": [[plain(name), plain(value)] for name, value in papers.about],
        "logo": logo,
        "fingerprint": papers.fingerprint,
        "changed": [plain(text) for text in papers.changed],
        "day": day(papers.day),
        "date": [int(part) for part in papers.day.split("-")],
        "version": papers.version,
        "size": _SIZES[size],
        "papers": [_paper(paper, us, size, pictures) for paper in papers.papers],
    }


def _paper(paper: Paper, us: bool, size: PaperSize, pictures: dict[str, bytes]) -> dict[str, Any]:
    return {
        "reader": paper.reader,
        "heading": paper.heading,
        "blocks": list(_blocks(paper, us, pictures)),
        "cautions": list(paper.cautions),
        "plant": None if paper.plant is None else _plant(paper.plant, size, pictures),
    }


def _plant(of: Drawing, size: PaperSize, pictures: dict[str, bytes]) -> dict[str, Any]:
    """The plant on a page of its own, turned where it is larger so."""
    svg, (wide_px, high_px) = sheet_of(of)
    name = f"picture{len(pictures)}.svg"
    pictures[name] = svg.encode()
    across, up = _AROUND_MM
    sides = _SIDES_MM[size], _SIDES_MM[size][::-1]
    mm_a_px, turned = max(
        (min((wide - across) / wide_px, (high - up) / high_px), k == 1)
        for k, (wide, high) in enumerate(sides)
    )
    letters_pt = TEXT_PX * mm_a_px * _INCH_PT / _INCH_MM
    small = f"Letters of {letters_pt:.1f} pt: cyclesim check FILE --drawing PLANT.svg draws it larger."
    return {
        "file": name,
        "says": plain(" ".join(of.alternative)),
        "heading": "The plant as drawn from its file",
        "turned": turned,
        "note": small if letters_pt < _LEAST_PT else "",
    }


def _blocks(paper: Paper, us: bool, pictures: dict[str, bytes]) -> Iterator[dict[str, Any]]:
    for block in paper.blocks:
        yield _block(block, us, pictures)


def _block(block: PaperBlock, us: bool, pictures: dict[str, bytes]) -> dict[str, Any]:
    match block if isinstance(block, Checklist | Drawn | NewPage | WrittenTest) else in_units(block, us):
        case Heading(text):
            return {"kind": "heading", "text": plain(text)}
        case Line(text, tone):
            return {"kind": "line", "text": plain(text), "strong": tone == "strong"}
        case Checklist(items):
            return {"kind": "checks", "items": [plain(sentence(item, us)) for item in items]}
        case Drawn(of, says, high_mm):
            name = f"picture{len(pictures)}.svg"
            pictures[name] = _week(of, us)
            return {"kind": "picture", "file": name, "says": plain(says), "high_mm": high_mm}
        case NewPage():
            return {"kind": "page"}
        case WrittenTest() as test:
            return _test(test)
        case Table() as table:
            return _table(table)
    raise TypeError(f"no paper shows {block!r}")


def _week(of: Stretch, us: bool) -> bytes:
    svg = BytesIO()
    write_week(of, svg, us)
    return svg.getvalue()


def _table(table: Table) -> dict[str, Any]:
    heads = [plain(_headed(column)) for column in table.columns]
    rows = []
    for row in table.rows:
        cells = [plain(shown(cell, column)) for cell, column in zip(row.cells, table.columns, strict=False)]
        rows.append({"level": row.level, "cells": cells + [""] * (len(heads) - len(cells))})
    return {
        "kind": "table",
        "title": plain(table.title),
        "heads": heads,
        "left": [column.kind in ("words", "month") for column in table.columns],
        "rows": rows,
        "notes": [plain(note) for note in table.notes],
    }


def _headed(column: Column) -> str:
    """A heading in one line, its unit behind a comma."""
    one_line = re.sub(r"\s+", " ", re.sub(r"\s*\{unit\}", ", {unit}", column.heading))
    return heading(replace(column, heading=one_line))


def _done(done: DoneTest) -> dict[str, Any]:
    return {
        "as_expected": done.as_expected,
        "reading": plain(done.reading),
        "by": plain(done.by),
        "when": day(done.when),
    }


def _test(test: WrittenTest) -> dict[str, Any]:
    done = test.done
    return {
        "kind": "test",
        "id": test.id,
        "name": plain(test.name),
        "why": plain(test.why),
        "steps": [
            *(["Set up" if not k else "", plain(step)] for k, step in enumerate(test.set_up)),
            ["Do", plain(test.do)],
            ["See", plain(test.see)],
            ["If not", plain(test.if_not)],
        ],
        "reading": plain(test.reading),
        "done": None if done is None else _done(done),
    }
