"""The command line: parse, call, print. Only click is imported until a command runs."""

from typing import NoReturn

from cyclesim.cli import compare, fits, look, measured, page, papers, savings, size, tune, workbench
from cyclesim.cli.shared import cli

__all__ = [
    "cli", "compare", "fits", "look", "main", "measured", "page", "papers", "savings", "size", "tune",
    "workbench",
]  # fmt: skip


def main() -> NoReturn:
    """The command `cyclesim`."""
    cli.main()
