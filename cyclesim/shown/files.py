"""Files that are written whole or not at all."""

from __future__ import annotations

import os
import stat
from collections.abc import Callable
from io import TextIOWrapper
from pathlib import Path
from typing import BinaryIO, TextIO

from cyclesim.errors import Fault, InputError


def is_stream(path: Path) -> bool:
    """Whether *path* is a device or a pipe, which is written to and never replaced."""
    mode = _mode(path)
    return mode is not None and not stat.S_ISREG(mode) and not stat.S_ISDIR(mode)


def check_writable(path: Path) -> None:
    """Raise InputError, before any work is done, where *path* cannot be written later."""
    mode = _mode(path)
    if mode is not None and stat.S_ISDIR(mode):
        raise _refused(path, "a folder")
    if mode is not None and not os.access(path, os.W_OK):
        raise _refused(path, "a file that may not be written")
    if not is_stream(path):
        try:
            beside = _beside(path)
            beside.open("x").close()
            beside.unlink()
        except OSError as error:
            raise _unwritable(path, error) from None


def write_whole(path: Path, write: Callable[[TextIO], object]) -> None:
    """Let *write* fill a new file beside *path*, then put it in the place of *path* in one step."""

    def as_text(stream: BinaryIO) -> None:
        text = TextIOWrapper(stream, encoding="utf-8", newline="\n")
        write(text)
        text.detach()  # flushed, and left open

    write_whole_bytes(path, as_text)


def write_whole_bytes(path: Path, write: Callable[[BinaryIO], object]) -> None:
    """As `write_whole`, for files that are no text."""
    if is_stream(path):
        try:
            with path.open("wb") as stream:
                write(stream)
        except OSError as error:
            raise _unwritable(path, error) from None
        return
    beside = _beside(path)
    try:
        with beside.open("xb") as stream:
            write(stream)
        beside.replace(path.resolve())
    except OSError as error:
        raise _unwritable(path, error) from None
    finally:
        beside.unlink(missing_ok=True)


def _mode(path: Path) -> int | None:
    """Kind and rights of what is there; None if nothing is."""
    try:
        return path.stat().st_mode
    except FileNotFoundError:
        return None
    except OSError as error:
        raise _unwritable(path, error) from None


def _beside(path: Path) -> Path:
    return path.resolve().with_name(f".cyclesim-{os.getpid()}.part")


def _unwritable(path: Path, error: OSError) -> InputError:
    return _refused(path, f"a place that cannot be written ({error.strerror})")


def _refused(path: Path, problem: str) -> InputError:
    return InputError(Fault(str(path), 0, 0, "", problem, "expected a file to write", "nothing was written"))
