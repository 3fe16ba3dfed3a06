"""What is done at the workbench: plants opened, edited, undone and asked about, one change at a time."""

from __future__ import annotations

import json
import secrets
import threading
import time
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from cyclesim.decide.sweeps.kept import kept_folder
from cyclesim.errors import CycleSimError, InputError, shorten
from cyclesim.said.explain import without_none
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.edit import Edit, edited
from cyclesim.scenario.reading.rewrite import as_listed
from cyclesim.scenario.reading.starter import LIKE, starter_text
from cyclesim.scenario.text.refusals import annotation_at, plain
from cyclesim.scenario.text.yaml_file import parse_text
from cyclesim.workbench.asked import WHATS, Question
from cyclesim.workbench.folder import Folder
from cyclesim.workbench.journal import Journal, journal_file
from cyclesim.workbench.measuring import readings_view, take_reading
from cyclesim.workbench.views import Opened, Values, opened, plant_view, title_of
from cyclesim.workbench.work import Job, Workers

Stamp = tuple[str, tuple[int, int, int]]
MOST_CHANGES = 200
_KNOWN = 64
_SETTLES_S = 0.5
"""So long a file must stand before what an editor did is taken up: it may be half written."""


class ConflictError(CycleSimError):
    """A file was changed meanwhile where an edit is to be made."""

    def __init__(self, message: str, differs: Sequence[Values]) -> None:
        super().__init__(message)
        self.differs = tuple(differs)


class Desk:
    """One folder's plants, what was done to them, and who works out what is asked."""

    def __init__(
        self, folder: Folder, workers: Workers, opens: str | None = None, kept: Path | None = None
    ) -> None:
        self.folder, self.workers, self.opens = folder, workers, opens
        self.kept = kept or kept_folder()
        self.closing = False
        """Whether the server is to end, so that nobody is told anything more."""
        self._lock = threading.RLock()
        self._journals = dict[str, Journal]()
        self._texts = OrderedDict[tuple[str, str], str]()
        """What a file said at a version that a page may still show."""

    def shelf(self) -> Values:
        """Every plant of the folder by its name and title, with what keeps one from being run."""
        plants = [self._named(name) for name in self.folder.names()]
        return {"folder": str(self.folder.root), "opens": self.opens, "like": LIKE, "plants": plants}

    def _named(self, name: str) -> Values:
        try:
            plant = opened(self.folder, name)
        except (CycleSimError, OSError) as error:
            return {"name": name, "title": name, "problem": str(error)}
        told = {"name": name, "title": title_of(plant)}
        return told | ({"problem": str(plant.faults[0])} if plant.faults else {})

    def plant(self, name: str, units: str | None = None) -> Values:
        """One plant with all that its views show."""
        with self._lock:
            plant = self._opened(name)
            journal = self._journal(name)
            if time.time() - plant.file.stat().st_mtime > _SETTLES_S:
                journal.follow(plant.written.text)
            return plant_view(plant, units) | {"can": journal.can, "note": journal.note}

    def _opened(self, name: str) -> Opened:
        plant = opened(self.folder, name)
        self._texts[name, plant.version] = plant.written.text
        while len(self._texts) > _KNOWN:
            self._texts.popitem(last=False)
        return plant

    def _journal(self, name: str) -> Journal:
        if name not in self._journals:
            file = journal_file(self.kept, self.folder.path(name))
            self._journals[name] = Journal(file)
        return self._journals[name]

    def edit(self, name: str, version: str, edits: Sequence[Edit], why: str) -> None:
        """Change values of a file; ConflictError where it was changed there since *version*."""
        if len(edits) > MOST_CHANGES:
            raise CycleSimError(f"More than {MOST_CHANGES} changes at once are not taken.")
        with self._lock:
            plant = self._opened(name)
            if not plant.written.is_text:
                raise CycleSimError("The file has bytes that are no text: save it as UTF-8 first.")
            before = plant.written.text
            if version != plant.version:
                self._check(name, version, before, edits)
            after = edited(before, list(map(_as_typed, edits)))
            _still_yaml(before, after)
            if after == before:
                return
            self.folder.write(name, plant.written.with_text(after), plant.written.data)
            self._journal(name).edit(before, after, [_dotted(edit) for edit in edits], why)

    def _check(self, name: str, version: str, now: str, edits: Sequence[Edit]) -> None:
        """Refuse edits of what somebody else has changed since a version."""
        was = self._texts.get((name, version))
        if was is None:
            raise ConflictError("The file is another than this page shows: look at it again.", [])
        then, there = _values(was), _values(now)
        differs = []
        for edit in edits:
            place = _rests_on(edit)
            if then.get(place) != there.get(place):
                told = {"path": ".".join(map(str, place)), "was": then.get(place), "is": there.get(place)}
                differs.append(told | {"wanted": edit.text})
        if differs:
            raise ConflictError("The file was changed meanwhile in the same place.", differs)

    def put(self, name: str, version: str, after: str, why: str) -> None:
        """Put another text into a file; ConflictError unless it still is at *version*."""
        with self._lock:
            plant = self._opened(name)
            if version != plant.version or not plant.written.is_text:
                raise ConflictError("The file was changed meanwhile: ask again, then apply that.", [])
            before = plant.written.text
            _still_yaml(before, after)
            if after != before:
                self.folder.write(name, plant.written.with_text(after), plant.written.data)
                self._journal(name).edit(before, after, [], why)

    def readings(self, name: str, units: str | None = None) -> Values:
        """What was measured at a plant, and what can be."""
        scenario = self._scenario(name)
        us = scenario.in_us_units if units is None else units == "us"
        return readings_view(self.folder, scenario, us)

    def take_reading(self, name: str, asked: Mapping[str, Any]) -> str:
        """Write one reading, and give the name of its file."""
        with self._lock:
            return take_reading(self.folder, name, self._scenario(name), asked)

    def _scenario(self, name: str) -> Scenario:
        plant = opened(self.folder, name)
        if plant.scenario is None:
            raise InputError(*plant.faults)
        return plant.scenario

    def turn(self, name: str, does: str) -> None:
        """Undo the last edit that stands, or redo the one that was last undone."""
        with self._lock:
            plant, journal = self._opened(name), self._journal(name)
            before = plant.written.text
            after, entry = journal.undone(before) if does == "undo" else journal.redone(before)
            self.folder.write(name, plant.written.with_text(after), plant.written.data)
            journal.took(entry, after)

    def journal(self, name: str) -> Values:
        """What was done to a plant, the last first."""
        with self._lock:
            journal = self._journal(name)
            entries = [
                {"does": e.does, "paths": e.paths, "why": e.why, "when": e.when,
                 "old": [s.old for s in e.splices], "new": [s.new for s in e.splices]}
                for e in reversed(journal.entries)
            ]  # fmt: skip
            return {"entries": entries, "can": journal.can, "note": journal.note}

    def stamp(self, name: str, before: Stamp | None = None) -> Stamp:
        """The version of a file, and by what it is seen that it may have another since *before*."""
        about = self.folder.path(name).stat()
        seen = (about.st_mtime_ns, about.st_size, about.st_ino)
        if before is not None and before[1] == seen:
            return before
        return opened(self.folder, name).version, seen

    def new(self, name: str, source: Any) -> str:
        """Write a plant that was not there: the starter, one like it, or a copy of one on the shelf."""
        if not isinstance(source, dict) or len(source) > 1:
            raise CycleSimError("Found something else for from; expected like or copy.")
        if "copy" in source:
            text = self.folder.read(str(source["copy"])).text
        else:
            like = source.get("like") or None
            if like not in (None, *LIKE):
                known = ", ".join(LIKE)
                raise CycleSimError(f"Found '{shorten(str(like))}' for like; expected one of {known}.")
            text = starter_text(like)
        return self.folder.new(name, text)

    def card(self, name: str, units: str | None = None) -> Values:
        """What a card of the shelf shows, with the job that works out the rest of it where there is one."""
        plant = opened(self.folder, name)
        told: Values = {"name": name, "title": title_of(plant), "version": plant.version}
        if plant.scenario is None:
            return told | {"problem": str(plant.faults[0])}
        return told | {"job": self.ask(name, "card", {}, units).id}

    def ask(
        self, name: str, what: str, options: Mapping[str, Any], units: str | None = None, version: str = ""
    ) -> Job:
        """Have a question worked on; an older one of its kind about the same plant is asked no more.

        Where the file no longer is at *version*, nobody needs the answer: the question is over at once.
        """
        if what not in WHATS:
            raise CycleSimError(f"Found '{shorten(what)}'; expected one of {', '.join(WHATS)}.")
        plant = opened(self.folder, name)
        if version not in ("", plant.version):
            return self.workers.decline(
                Question(what, plant.file), "The file was changed meanwhile: ask again."
            )
        if plant.scenario is None:
            raise InputError(*plant.faults)
        others = [self.folder.path(other) for other in _named(options, "with")]
        beside = ",".join(opened(self.folder, path.name).version for path in others)
        if what == "measured":
            others = [self.folder.inside(other) for other in _named(options, "readings")]
            beside = secrets.token_hex(8)  # they may name logs: whoever asks again wants them read again
        us = None if units is None else units == "us"
        asked = Question(what, plant.file, dict(options), tuple(others), beside, us, plant.version)
        return self.workers.ask(asked, f"{name}\0{what}\0{options.get('path', '')}")


def _named(options: Mapping[str, Any], key: str) -> list[str]:
    names = options.get(key, [])
    if not isinstance(names, list) or not all(isinstance(name, str) for name in names) or len(names) > 20:
        raise CycleSimError(f"Found something else for {key}; expected a list of files.")
    return names


def steps(path: str) -> tuple[str | int, ...]:
    """A dotted path as its steps; a number is a place in a list."""
    return tuple(int(step) if step.isdecimal() and len(step) < 6 else step for step in path.split("."))


def _as_typed(edit: Edit) -> Edit:
    """The same edit; digits that are typed for a text, such as a title, are put in quotes."""
    if edit.text is None or not _is_words(annotation_at(Scenario, edit.path)):
        return edit
    value = parse_text(edit.text, "").value
    return (
        edit._replace(text=json.dumps(edit.text.strip())) if isinstance(value, bool | int | float) else edit
    )


def _is_words(annotation: Any) -> bool:
    """Whether any text may stand at this type."""
    return plain(without_none(plain(annotation))) is str


def _dotted(edit: Edit) -> str:
    return ".".join(map(str, edit.path))


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
