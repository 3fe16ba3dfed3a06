"""What runs came to, kept in a file, one a line, so that nothing finished is run again.

A line is a checksum, the key of its run and what was read off it; it is written at once. What is damaged,
cut off or foreign does not fit its checksum and is skipped. Where nothing can be kept that is said, and all
goes on.
"""

from __future__ import annotations

import json
import os
import shutil
import time
from collections.abc import Callable, Collection, Iterator
from contextlib import suppress
from hashlib import sha256
from pathlib import Path
from typing import Any

from platformdirs import user_cache_path

from cyclesim.decide.sweeps.pool import program

_KEPT_FOR_S = 30 * 86_400
MOST_KEPT_BYTES = 128_000_000
"""Some twenty thousand runs; of a file that grows beyond it the newer half is kept."""
_LONGEST_LINE = 1_000_000
"""Characters; an outcome has some six thousand. What has no line ends is read in pieces."""


def kept_folder() -> Path:
    """Where runs are kept: the user's cache."""
    return user_cache_path("cyclesim", appauthor=False)


def kept_file(afresh: bool = False) -> Path:
    """Where this version of the program keeps its runs.

    Files of other versions are removed once nobody has written to them for a month, or the newest of them are
    larger together than one may be; this one with *afresh*.
    """
    path = kept_folder() / f"runs-{program()[:16]}.jsonl"
    with suppress(OSError):  # what cannot be removed stays, and what is not there need not be
        if afresh:
            path.unlink(missing_ok=True)
        others = [(other.stat(), other) for other in path.parent.glob("runs-*") if other != path]
        size = 0
        for about, other in sorted(others, key=lambda pair: pair[0].st_mtime, reverse=True):
            size += about.st_size
            if size > MOST_KEPT_BYTES or time.time() - about.st_mtime > _KEPT_FOR_S:
                other.unlink(missing_ok=True)
    return path


class KeptRuns:
    """Plain values in a file, each under the key of its run; of those, *readings* are the wanted ones.

    *on_note* is told once where nothing can be kept.
    """

    def __init__(
        self, path: Path, wanted: Collection[str], on_note: Callable[[str], object] = lambda _: None
    ) -> None:
        self.path, self.on_note = path, on_note
        self.works = True
        self.readings = dict[str, Any]()
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            if path.exists() and not path.is_file():
                raise OSError(0, "something else is there")
            self.readings = dict(_whole(path, wanted))
            os.close(self._opened())  # before hours of work, not after
        except OSError as error:
            self._cannot(error)

    def put(self, run_key: str, values: object) -> None:
        """Append one run's values, at once: sweeps that share the file do not tear each other's lines."""
        if not self.works:
            return
        entry = f"{run_key}\t{json.dumps(values)}"
        # begins a line of its own, whatever was left half written before it
        line = f"\n{_checksum(entry)}\t{entry}\n".encode()
        try:
            stream = self._opened()
            try:
                size = os.fstat(stream).st_size
                if os.write(stream, line) < len(line):
                    raise OSError(0, "the disk is full")
            finally:
                os.close(stream)
            if size > MOST_KEPT_BYTES:
                _keep_newer_half(self.path)
        except OSError as error:
            self._cannot(error)

    def _opened(self) -> int:
        return os.open(self.path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o666)

    def _cannot(self, error: OSError) -> None:
        self.works = False
        self.on_note(f"Runs cannot be kept in {self.path}: {error.strerror}. All goes on without.")


def _checksum(entry: str) -> str:
    return sha256(entry.encode()).hexdigest()[:16]


def _whole(path: Path, wanted: Collection[str]) -> Iterator[tuple[str, Any]]:
    """The wanted values of every line that is whole."""
    with suppress(FileNotFoundError), path.open(encoding="utf-8", errors="replace", newline="\n") as stream:
        while line := stream.readline(_LONGEST_LINE):
            checksum, _, entry = line.rstrip("\n").partition("\t")
            run_key, _, text = entry.partition("\t")
            if run_key in wanted and checksum == _checksum(entry):
                with suppress(ValueError):  # whole, but no values
                    yield run_key, json.loads(text)


def _keep_newer_half(path: Path) -> None:
    """Another process that writes meanwhile may lose a line, which is then run again."""
    newer = path.with_suffix(f".{os.getpid()}")
    try:
        with path.open("rb") as old, newer.open("wb") as stream:
            old.seek(-MOST_KEPT_BYTES // 2, os.SEEK_END)
            old.readline()
            shutil.copyfileobj(old, stream)
        newer.replace(path)
    finally:
        newer.unlink(missing_ok=True)
