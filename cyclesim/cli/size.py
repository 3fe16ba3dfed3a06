"""The commands that size one thing: a group, each command in a file of its own."""

from __future__ import annotations

from cyclesim.cli.shared import cli
from cyclesim.cli.size_heater import heater


@cli.group()
def size() -> None:
    """Try one thing of FILE in several sizes, and advise one."""


size.add_command(heater)
