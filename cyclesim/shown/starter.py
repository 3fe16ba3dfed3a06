"""Writing the starter file, and saying what to do with it."""

from __future__ import annotations

from pathlib import Path

from cyclesim.errors import Fault, InputError
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.shown.files import check_writable, write_whole


def write_starter(path: Path, like: str | None = None) -> str:
    """Write the starter to *path* and say what to run next; InputError where something is there already.

    *like*: as in `starter_text`.
    """
    if path.exists() or path.is_symlink():
        raise InputError(
            Fault(
                str(path), 0, 0, "", "something of that name", "expected a new name", "nothing is overwritten"
            )
        )
    check_writable(path)
    write_whole(path, lambda stream: stream.write(starter_text(like)))
    return (
        f"Wrote {path}: an invented tub with a comment on every part. Change it line after line to yours.\n"
        f"Next: cyclesim run {path}\n"
    )
