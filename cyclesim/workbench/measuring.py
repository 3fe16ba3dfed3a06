"""Readings as they are taken: kept in files beside the plant, each checked before it is written."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

import yaml

from cyclesim.errors import CycleSimError, InputError, shorten
from cyclesim.said.reading_form import reading_kinds
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.edit import Edit, edited
from cyclesim.scenario.reading.readings import load_readings, load_readings_text
from cyclesim.scenario.reading.rewrite import as_listed, text_of
from cyclesim.shown.reader import sentence
from cyclesim.workbench.folder import Folder
from cyclesim.workbench.views import Values, problem

_PLAIN = re.compile(r"[A-Za-z0-9.+-][A-Za-z0-9_.%/+ -]{0,99}")
_MOST = 300


def readings_view(folder: Folder, scenario: Scenario, us: bool) -> Values:
    """The files of readings that lie there, the latest of this plant first, and what can be read at it."""
    files = [_file(folder, name, scenario) for name in folder.readings()]
    kinds = [asdict(kind) for kind in reading_kinds(scenario)]
    for kind in kinds:
        kind["tolerance"] = sentence(kind["tolerance"], us)
        for field in kind["fields"]:
            field["explain"] = sentence(field["explain"], us)
    files.sort(key=lambda file: str(file["date"]), reverse=True)
    files.sort(key=lambda file: bool(file["problems"]))
    return {"files": files, "kinds": kinds}


def _file(folder: Folder, name: str, scenario: Scenario) -> Values:
    """One file: its date and title, each reading as it is written, and what does not fit the plant."""
    path = folder.inside(name)
    told: Values = {"file": name, "date": "", "title": "", "readings": [], "problems": []}
    text = text_of(path)
    listed = as_listed(text)
    told["readings"] = [
        {"text": listed["readings", k]} for k in range(_MOST) if ("readings", k) in listed
    ]  # fmt: skip
    try:
        taken = load_readings(path, scenario)
    except InputError as error:
        told["problems"] = list(map(problem, error.faults))
        return told
    told |= {"date": taken.measured.isoformat(), "title": taken.title}
    for entry, reading in zip(told["readings"], taken.readings, strict=False):
        entry["words"] = reading.words
    return told


def take_reading(folder: Folder, plant: str, scenario: Scenario, asked: Mapping[str, Any]) -> str:
    """Write one reading, or take one out, and give the name of its file.

    *asked*: `file`, or else `date` and `title` of a new one; `place` of a reading that is put anew, or taken
    out where there is no `reading`; `reading` with its keys. Raises CycleSimError where that cannot be,
    InputError with the key that is at fault; then nothing is written.
    """
    entry = None if asked.get("reading") is None else _entry(asked["reading"])
    place, name = asked.get("place"), asked.get("file")
    if place is not None and (not isinstance(place, int) or not 0 <= place < _MOST):
        raise CycleSimError("Found something else for place; expected the number of a reading.")
    if name is None:
        return _begun(folder, plant, scenario, asked, entry)
    if not isinstance(name, str):
        raise CycleSimError("Found something else for file; expected the name of one.")
    path = folder.inside(name)
    written = folder.read(path)
    if not written.is_text:
        raise CycleSimError("The file has bytes that are no text: save it as UTF-8 first.")
    before = written.text
    edit = Edit(("readings",), entry, adds=True) if place is None else Edit(("readings", place), entry)
    if entry is None and place is None:
        raise CycleSimError("Found no reading; expected one.")
    text = edited(before, [edit])
    if entry is None and text == before:
        raise CycleSimError(f"{shorten(name)} has no such reading.")
    if entry is not None:
        _check(text, path, scenario, before)
    folder.write(path, written.with_text(text), written.data)
    return name


def _begun(
    folder: Folder, plant: str, scenario: Scenario, asked: Mapping[str, Any], entry: str | None
) -> str:
    """A file of readings that was not there, with its first reading."""
    day, title = asked.get("date"), asked.get("title", "")
    if not isinstance(day, str) or not isinstance(title, str) or entry is None:
        raise CycleSimError("A new file of readings needs its date, and a reading.")
    if not re.fullmatch(r"\d{4}-\d\d-\d\d", day, re.ASCII):
        raise CycleSimError(f"Found '{shorten(day)}' for the date; expected one such as 2027-05-02.")
    head = f"measured: {day}\n" + (f"title: {json.dumps(title, ensure_ascii=False)}\n" if title else "")
    text = f"{head}readings:\n  - {entry}\n"
    load_readings_text(text, scenario)
    stem = re.sub(r"[^A-Za-z0-9_-]+", "-", Path(plant).stem).strip("-") or "plant"
    return folder.new(f"{stem}-readings-{day}", text)


def _check(text: str, path: Path, scenario: Scenario, before: str) -> None:
    """Refuse what would be at fault and was not before."""
    try:
        load_readings_text(text, scenario, path.name)
    except InputError as error:
        try:
            load_readings_text(before, scenario, path.name)
            known = set[tuple[str, str]]()
        except InputError as earlier:
            known = {(fault.path, fault.found) for fault in earlier.faults}
        new = [fault for fault in error.faults if (fault.path, fault.found) not in known]
        if new:
            raise InputError(*new) from None


def _entry(reading: Any) -> str:
    """A reading's keys as one line of a file."""
    if not isinstance(reading, dict) or not reading or len(reading) > 20:
        raise CycleSimError("Found something else for reading; expected its keys.")
    return f"{{{', '.join(f'{_value(key)}: {_value(value)}' for key, value in reading.items())}}}"


def _value(value: Any) -> str:
    """A text as a file has it: as it stands where that is plain, or a list or block; else in quotes."""
    if isinstance(value, list):
        return f"[{', '.join(map(_value, value))}]"
    if not isinstance(value, str) or len(value) > 200:
        raise CycleSimError(f"Found {shorten(repr(value))} in a reading; expected a text.")
    text = value.strip()
    if _PLAIN.fullmatch(text):
        return text
    if text[:1] in "[{" and "\n" not in text:
        try:
            node = yaml.compose(text, Loader=yaml.SafeLoader)
        except yaml.YAMLError:
            node = None
        if isinstance(node, yaml.CollectionNode):
            return text
    return json.dumps(text, ensure_ascii=False)
