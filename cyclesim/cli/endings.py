"""How a command ends, whatever ends it: streams that are gone, signals, and messages that are plain.

Nothing heavy is imported. A report that nobody reads is no fault: a closed pipe or a closed stream is quiet.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from io import StringIO
from types import FrameType
from typing import NoReturn, TextIO

import click

from cyclesim.errors import plain

_ENDING = ("SIGTERM", "SIGHUP")
"""Signals that end a command as Ctrl-C does; not every system has them all."""


class Ended(KeyboardInterrupt):
    """A signal that ends the command, so that whatever undoes itself at Ctrl-C does."""

    def __init__(self, number: int) -> None:
        super().__init__(number)
        self.status = 128 + number


@contextmanager
def signals_end() -> Iterator[None]:
    """Inside, a signal that would end the process raises `Ended`; one that is ignored stays so."""

    def end(number: int, _: FrameType | None) -> NoReturn:
        raise Ended(number)

    here = [number for name in _ENDING if (number := getattr(signal, name, None)) is not None]
    main = threading.current_thread() is threading.main_thread()
    ours = [number for number in here if main and signal.getsignal(number) == signal.SIG_DFL]
    for number in ours:
        signal.signal(number, end)
    try:
        yield
    finally:
        for number in ours:
            signal.signal(number, signal.SIG_DFL)


def open_streams() -> None:
    """Put a place for lost text where a standard stream is closed, so that no file takes its number."""
    for number, name, mode in ((0, "stdin", "r"), (1, "stdout", "w"), (2, "stderr", "w")):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # takes the lowest number that is free, which is this one
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: PTH123, SIM115


def close_streams() -> None:
    """Write out what is left, so that the interpreter does not fail at it after all is done."""
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except (OSError, ValueError):
            lose(stream)


def lose(stream: TextIO) -> None:
    """What is left to write to a stream has nowhere to go."""
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def say(message: str) -> None:
    """A message on standard error, each line of it plain; lost where nobody can read it."""
    try:
        click.echo("\n".join(plain(line, 400) for line in message.split("\n")), err=True)
    except OSError:
        lose(sys.stderr)


def say_usage(error: click.ClickException) -> None:
    """A wrong call, with what the command takes; what it quotes is made plain."""
    shown = StringIO()
    error.show(shown)
    say(shown.getvalue().rstrip().replace(error.message or "\0", plain(error.message or "", 400)))
