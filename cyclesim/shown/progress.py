"""A progress bar on standard error, for a run that takes more than a second at a terminal."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def progress(
    total: int | None, *, after_s: float = 1.0, does: str = "simulating"
) -> Iterator[Callable[..., None] | None]:
    """What to call after each day, or with how much is done and, where *total* was not known, of how much.

    None where nobody watches. The bar is gone when the run is over.
    """
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = "{task.description}", BarColumn(), MofNCompleteColumn(separator=" of "), TimeRemainingColumn()
    bar = Progress(*columns, TextColumn("left"), console=Console(stderr=True), transient=True)
    task = bar.add_task(does, total=total)
    begun, shown = time.monotonic(), False

    def on_day(days_done: int, of: int | None = None) -> None:
        nonlocal shown
        if not shown and time.monotonic() - begun > after_s:
            bar.start()
            shown = True
        bar.update(task, completed=days_done, total=of or total)

    try:
        yield on_day
    finally:
        if shown:
            bar.stop()


@contextmanager
def states_found(*, after_s: float = 1.0) -> Iterator[Callable[[str, int, int], None] | None]:
    """What to call while states are searched; None where nobody watches. The line is gone in the end."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.status import Status

    status = Status("", console=Console(stderr=True))
    begun, shown = time.monotonic(), False

    def tell(what: str, states: int, left: int) -> None:
        nonlocal shown
        if not shown and time.monotonic() - begun > after_s:
            status.start()
            shown = True
        still = f", {left} still to follow" if left else ""
        status.update(f"{what}: {states} states found{still}")

    try:
        yield tell
    finally:
        if shown:
            status.stop()
