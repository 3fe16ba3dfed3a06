"""The command line: parse, call, print. Only click is imported until a command runs."""

import atexit
import gc
import os
from typing import NoReturn

from cyclesim.cli import compare, fits, look, measured, page, papers, savings, size, tune, workbench
from cyclesim.cli.shared import cli

__all__ = [
    "cli", "compare", "fits", "look", "main", "measured", "page", "papers", "savings", "size", "tune",
    "workbench",
]  # fmt: skip


def main() -> NoReturn:
    """The command `cyclesim`."""
    # each costs a start a tenth: looking for rings among what was just loaded, and for plugins in all that is
    # installed
    gc.set_threshold(300_000, 20, 20)
    atexit.register(gc.freeze)  # nor is anything looked through once more as all of it is let go
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # a second one would only spin: matrices are small
    cli.main()
