"""Calling a command, in this process or in one of its own."""

import os
import subprocess
import sys
from pathlib import Path

from click.testing import CliRunner, Result

from cyclesim.cli import cli

ENV = {**os.environ, "COLUMNS": "80", "PYTHONIOENCODING": "utf-8"}


def call(*args: str | Path) -> Result:
    """Run a command in this process at 80 columns."""
    return CliRunner(env={"COLUMNS": "80"}).invoke(cli, [str(arg) for arg in args])


def start(*args: str | Path) -> "subprocess.Popen[str]":
    """Start a command in a process of its own."""
    command = [sys.executable, "-m", "cyclesim", *map(str, args)]
    return subprocess.Popen(command, text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=ENV)
