"""What is done at the workbench: plants opened, edited, undone and asked about, one change at a time."""

from __future__ import annotations

import json
import math
import re
import secrets
import threading
import time
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, Literal

from cyclesim.decide.sweeps.kept import kept_folder
from cyclesim.errors import CycleSimError, InputError, shorten
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.edit import Edit
from cyclesim.scenario.reading.starter import LIKE, starter_text
from cyclesim.workbench.asked import WHATS, Question
from cyclesim.workbench.edits import Edits
from cyclesim.workbench.folder import Folder
from cyclesim.workbench.measuring import readings_view, take_reading
from cyclesim.workbench.views import Values, in_a_line, opened, plant_view, title_of
from cyclesim.workbench.work import AskedJob, Workers

_MOMENT_S = 0.5
Stamp = tuple[str, tuple[tuple[Path, int, int, int], ...]]


class Desk:
    """One folder's plants, what was done to them, and who works out what is asked."""

    def __init__(
        self, folder: Folder, workers: Workers, opens: str | None = None, kept: Path | None = None
    ) -> None:
        self.folder, self.workers, self.opens = folder, workers, opens
        self.closing = False
        """Whether the server is to end, so that nobody is told anything more."""
        self._lock = threading.RLock()
        self._edits = Edits(folder, kept or kept_folder())

    def shelf(self, after: str | None = None) -> Values:
        """Every plant of the folder by its name and title, with what keeps one from being run.

        *after*: what comes after this name, as many as are checked in a moment; `left` counts the rest.
        """
        names = [name for name in self.folder.names() if after is None or name > after]
        plants, ends_s = list[Values](), time.monotonic() + (math.inf if after is None else _MOMENT_S)
        for name in names:
            plants.append(self._named(name))
            if time.monotonic() > ends_s:
                break
        told = {"folder": str(self.folder.root), "opens": self.opens, "like": LIKE, "plants": plants}
        return told | {"left": len(names) - len(plants)}

    def _named(self, name: str) -> Values:
        try:
            plant = opened(self.folder, name)
        except (CycleSimError, OSError) as error:
            return {"name": name, "title": name, "problem": str(error)}
        told = {"name": name, "title": title_of(plant)}
        return told | ({"problem": in_a_line(plant.faults[0])} if plant.faults else {})

    def plant(self, name: str, units: str | None = None) -> Values:
        """One plant with all that its views show."""
        with self._lock:
            plant = opened(self.folder, name)
            return plant_view(plant, units) | self._edits.shown(plant)

    def edit(self, name: str, version: str, edits: Sequence[Edit], why: str, by: str = "") -> None:
        """Change values of a plant's files; ConflictError where one was changed there since *version*."""
        with self._lock:
            self._edits.make(opened(self.folder, name), version, edits, why, by)

    def put(self, name: str, version: str, after: str, why: str, by: str = "") -> None:
        """Put another text into a plant's file; ConflictError unless it still is at *version*."""
        with self._lock:
            self._edits.put(opened(self.folder, name), version, after, why, by)

    def turn(self, name: str, does: Literal["undo", "redo"], by: str = "", since: str | None = None) -> None:
        """Undo the last edit that stands, or redo the one that was last undone.

        OthersError where another window than *by* did it later than *since*, if that is told.
        """
        with self._lock:
            self._edits.turn(opened(self.folder, name), does, by, since)

    def journal(self, name: str) -> Values:
        """What was done to a plant, the last first."""
        with self._lock:
            return self._edits.told(opened(self.folder, name))

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

    def stamp(self, name: str, before: Stamp | None = None) -> Stamp:
        """The version of a plant, and by what it is seen that it may have another since *before*."""
        if before is not None and before[1] == _seen([path for path, *_ in before[1]]):
            return before
        plant = opened(self.folder, name)
        return plant.version, _seen(plant.files)

    def new(self, name: str, source: Any) -> str:
        """Write a plant that was not there: the starter, one like it, or a copy of one on the shelf."""
        if not isinstance(source, dict) or len(source) > 1:
            raise CycleSimError("Found something else for from; expected like or copy.")
        if "copy" in source:
            text = self.folder.read(self.folder.path(str(source["copy"]))).text
        else:
            like = source.get("like") or None
            if like not in (None, *LIKE):
                known = ", ".join(LIKE)
                raise CycleSimError(f"Found '{shorten(str(like))}' for like; expected one of {known}.")
            # its papers carry the title: an invented one would be signed as that of another plant
            title = json.dumps(name.removesuffix(".yaml").strip(), ensure_ascii=False)
            text = re.sub("^title: .*", lambda _: f"title: {title}", starter_text(like), count=1, flags=re.M)
        return self.folder.new(name, text)

    def card(self, name: str, units: str | None = None, window: str = "") -> Values:
        """What a card of the shelf shows, with the job that works out the rest of it where there is one."""
        plant = opened(self.folder, name)
        told: Values = {"name": name, "title": title_of(plant), "version": plant.version}
        if plant.scenario is None:
            return told | {"problem": in_a_line(plant.faults[0])}
        return told | {"job": self.ask(name, "card", {}, units, window=window).id}

    def ask(
        self,
        name: str,
        what: str,
        options: Mapping[str, Any],
        units: str | None = None,
        version: str = "",
        window: str = "",
    ) -> AskedJob:
        """Have a question worked on; an older one of its kind about the same plant is dropped by its window.

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
        return self.workers.ask(asked, f"{name}\0{what}\0{options.get('path', '')}", window)


def _named(options: Mapping[str, Any], key: str) -> list[str]:
    names = options.get(key, [])
    if not isinstance(names, list) or not all(isinstance(name, str) for name in names) or len(names) > 20:
        raise CycleSimError(f"Found something else for {key}; expected a list of files.")
    return names


def _seen(files: Iterable[Path]) -> tuple[tuple[Path, int, int, int], ...]:
    """By what it is seen that a file may have changed."""
    return tuple((path, (at := path.stat()).st_mtime_ns, at.st_size, at.st_ino) for path in files)
