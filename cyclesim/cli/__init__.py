"""The command line: parse, call, print. Only click is imported until a command runs."""

from typing import NoReturn

from cyclesim.cli import look, tune
from cyclesim.cli.shared import cli

__all__ = ["cli", "look", "main", "tune"]


def main() -> NoReturn:
    """The command `cyclesim`."""
    cli.main()
