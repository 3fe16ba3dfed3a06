"""The file that `cyclesim new` writes, for every test of the command line."""

from pathlib import Path

import pytest

from tests.cli.called import call


@pytest.fixture(scope="module")
def tub(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The starter file."""
    path = tmp_path_factory.mktemp("tub") / "tub.yaml"
    assert call("new", path).exit_code == 0
    return path
