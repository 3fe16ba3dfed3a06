"""The command line: parse, call, print. Only click is imported until a command runs."""

from typing import NoReturn

from cyclesim.cli import decide, look, size
from cyclesim.cli.shared import cli

__all__ = ["cli", "decide", "look", "main", "size"]


def main() -> NoReturn:
    """The command `cyclesim`."""
    cli.main()
