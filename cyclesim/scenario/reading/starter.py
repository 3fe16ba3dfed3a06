"""The starter file that a new user changes line after line."""

from importlib.resources import files


def starter_text() -> str:
    """The text of a commented scenario that runs as it is."""
    return files("cyclesim.scenario.reading").joinpath("starter.yaml").read_text(encoding="utf-8")
