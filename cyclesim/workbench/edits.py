"""Edits of a plant's files: where each goes, whether it still can, and the journal of every file.

A section may lie in a file of its own; an edit of it goes there, and is undone there. Of several files, what
was done last is undone first.
"""

from __future__ import annotations

import json
import time
from collections import OrderedDict
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Literal

from cyclesim.errors import CycleSimError, InputError
from cyclesim.said.explain import without_none
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.edit import Edit, edited
from cyclesim.scenario.reading.references import REFERABLE
from cyclesim.scenario.reading.rewrite import as_listed
from cyclesim.scenario.text.refusals import annotation_at, plain
from cyclesim.scenario.text.yaml_file import parse_text
from cyclesim.workbench.folder import Folder, Written
from cyclesim.workbench.journal import Journal, NothingLeftError, journal_file
from cyclesim.workbench.views import Opened, Values

MOST_CHANGES = 200
_VERSIONS = 64
_SETTLES_S = 0.5
"""So long a file must stand before what an editor did is taken up: it may be half written."""


class ConflictError(CycleSimError):
    """A file was changed meanwhile where an edit is to be made."""

    def __init__(self, message: str, differs: Sequence[Values]) -> None:
        super().__init__(message)
        self.differs = tuple(differs)


class OthersError(CycleSimError):
    """What would be undone or redone was done by another window since this one opened the plant."""


class Edits:
    """What was done to the files of a folder; *kept*: where the journals lie. One caller at a time."""

    def __init__(self, folder: Folder, kept: Path) -> None:
        self.folder, self.kept = folder, kept
        self._journals = dict[Path, Journal]()
        self._texts = OrderedDict[str, dict[Path, str]]()
        """What the files of a plant said at a version that a page may still show."""

    def shown(self, plant: Opened) -> Values:
        """What can be undone and redone; takes up what editors did, and remembers what the page shows."""
        self._texts[plant.version] = {path: written.text for path, written in plant.files.items()}
        self._texts.move_to_end(plant.version)
        while len(self._texts) > _VERSIONS:
            self._texts.popitem(last=False)
        for path, journal in self._of(plant):
            if time.time() - path.stat().st_mtime > _SETTLES_S:
                journal.follow(plant.files[path].text)
        journals = [journal for _, journal in self._of(plant)]
        can = {does: sum(journal.can[does] for journal in journals) for does in ("undo", "redo")}
        note = next((journal.note for journal in journals if journal.note), "")
        return {"can": can, "note": note, "last": max(journal.last for journal in journals)}

    def told(self, plant: Opened) -> Values:
        """What was done to a plant, the last first."""
        entries = [
            {"does": e.does, "paths": e.paths, "why": e.why, "when": e.when, "file": path.name,
             "old": [s.old for s in e.splices], "new": [s.new for s in e.splices]}
            for path, journal in self._of(plant) for e in journal.entries
        ]  # fmt: skip
        return {"entries": sorted(entries, key=lambda e: e["when"], reverse=True), **self.shown(plant)}

    def make(self, plant: Opened, version: str, edits: Sequence[Edit], why: str, by: str) -> None:
        """Change values, as window *by* asks; ConflictError where one was changed there since *version*."""
        if len(edits) > MOST_CHANGES:
            raise CycleSimError(f"More than {MOST_CHANGES} changes at once are not taken.")
        placed = [(edit, *self._place(plant, edit)) for edit in edits]
        if version != plant.version:
            self._check(plant, version, placed)
        by_file = dict[Path, list[Edit]]()
        for _, path, inner in placed:
            by_file.setdefault(path, []).append(inner)
        for path, inners in by_file.items():
            names = [_dotted(edit) for edit, at, _ in placed if at == path]
            self._write(path, plant.files[path], edited(plant.files[path].text, inners), names, why, by)

    def put(self, plant: Opened, version: str, after: str, why: str, by: str) -> None:
        """Put another text into a plant's own file; ConflictError unless it still is at *version*."""
        if version != plant.version:
            raise ConflictError("The file was changed meanwhile: ask again, then apply that.", [])
        self._write(plant.file, plant.written, after, [], why, by)

    def turn(self, plant: Opened, does: Literal["undo", "redo"], by: str, since: str | None) -> None:
        """Undo the last edit that stands, or redo the one that was last undone.

        OthersError where another window than *by* did it later than *since*; None asks for it all the same.
        """
        for path, journal in self._of(plant):
            journal.follow(plant.files[path].text)
        able = [(path, journal) for path, journal in self._of(plant) if journal.can[does]]
        if not able:
            raise NothingLeftError(f"There is nothing left to {does}.")
        path, journal = max(able, key=lambda pair: pair[1].next(does).when)
        turned, before = journal.next(does), plant.files[path]
        if since is not None and turned.by != by and turned.when > since:
            what = f": {turned.why}" if turned.why else ""
            raise OthersError(
                f"What was {'done' if does == 'undo' else 'undone'} last was another window's{what}."
            )
        after, entry = (journal.undone if does == "undo" else journal.redone)(before.text, by)
        self.folder.write(path, before.with_text(after), before.data)
        journal.took(entry, after)

    def _of(self, plant: Opened) -> Iterator[tuple[Path, Journal]]:
        return ((path, self._journal(path)) for path in plant.files)

    def _journal(self, path: Path) -> Journal:
        if path not in self._journals:
            self._journals[path] = Journal(journal_file(self.kept, path))
        return self._journals[path]

    def _place(self, plant: Opened, edit: Edit) -> tuple[Path, Edit]:
        """The file that an edit goes into, and the edit as it counts there."""
        edit, path = _as_typed(edit), plant.file
        value, above = parse_text(plant.written.text, "").value, 0
        for k, step in enumerate(edit.path[:-1], start=1):
            value = _under(value, step)
            if edit.path[:k] in REFERABLE and isinstance(value, str) and value.endswith((".yaml", ".yml")):
                path, above = self.folder.inside(value), k
                if path not in plant.files:
                    raise CycleSimError(f"{value} cannot be read: mend that first.")
                value = parse_text(plant.files[path].text, "").value
        return path, edit._replace(path=edit.path[above:])

    def _check(self, plant: Opened, version: str, placed: Sequence[tuple[Edit, Path, Edit]]) -> None:
        """Refuse edits of what somebody else has changed since a version."""
        was = self._texts.get(version)
        if was is None:
            raise ConflictError("The file is another than this page shows: look at it again.", [])
        differs = []
        for edit, path, inner in placed:
            then, there = _values(was.get(path, "")), _values(plant.files[path].text)
            place = _rests_on(inner)
            if then.get(place) != there.get(place):
                told = {"path": ".".join(map(str, _rests_on(edit))), "wanted": edit.text}
                differs.append(told | {"was": then.get(place), "is": there.get(place)})
        if differs:
            raise ConflictError("The file was changed meanwhile in the same place.", differs)

    def _write(
        self, path: Path, before: Written, after: str, names: Sequence[str], why: str, by: str
    ) -> None:
        if not before.is_text:
            raise CycleSimError("The file has bytes that are no text: save it as UTF-8 first.")
        _still_yaml(before.text, after)
        if after != before.text:
            self.folder.write(path, before.with_text(after), before.data)
            self._journal(path).edit(before.text, after, names, why, by)


def steps(path: str) -> tuple[str | int, ...]:
    """A dotted path as its steps; a number is a place in a list."""
    return tuple(int(step) if step.isdecimal() and len(step) < 6 else step for step in path.split("."))


def _dotted(edit: Edit) -> str:
    return ".".join(map(str, edit.path))


def _under(value: Any, step: str | int) -> Any:
    if isinstance(value, dict):
        return value.get(str(step))
    return value[step] if isinstance(value, list) and isinstance(step, int) and step < len(value) else None


def _as_typed(edit: Edit) -> Edit:
    """The same edit; digits that are typed for a text, such as a title, are put in quotes."""
    if edit.text is None or not _is_words(annotation_at(Scenario, edit.path)):
        return edit
    value = parse_text(edit.text, "").value
    is_text = not isinstance(value, bool | int | float)
    return edit if is_text else edit._replace(text=json.dumps(edit.text.strip()))


def _is_words(annotation: Any) -> bool:
    """Whether any text may stand at this type."""
    return plain(without_none(plain(annotation))) is str


def _rests_on(edit: Edit) -> tuple[str | int, ...]:
    """What must be as it was for an edit to mean the same: its value, or the list that it counts in."""
    path = edit.path
    first = next((k for k, step in enumerate(path) if isinstance(step, int)), None)
    return path if first is None else path[:first]


def _values(text: str) -> dict[tuple[str | int, ...], str]:
    """Every value of a file as written, by its path."""
    tree = parse_text(text, "")
    scalars = {path: mark.text for path, mark in tree.marks.items() if mark.text is not None}
    return {**as_listed(text), **scalars}


def _still_yaml(before: str, after: str) -> None:
    """Refuse a text that no longer is YAML, where the one before was."""
    now = parse_text(after, "file")
    broken = [fault for fault in now.faults if "YAML" in fault.allowed]
    if broken:
        raise InputError(*broken)
    if now.value is None and parse_text(before, "file").value is not None:
        raise CycleSimError("Nothing would be left of the file.")
