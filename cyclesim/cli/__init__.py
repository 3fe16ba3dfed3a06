"""The command line: parse, call, print. Only click is imported until a command runs."""

from typing import NoReturn

from cyclesim.cli import compare, look, papers, size, tune
from cyclesim.cli.shared import cli

__all__ = ["cli", "compare", "look", "main", "papers", "size", "tune"]


def main() -> NoReturn:
    """The command `cyclesim`."""
    cli.main()
