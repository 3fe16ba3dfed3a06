"""What sizing tells: advice in words, tables of 80 columns, pictures, and the calls that make no sense."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from cyclesim.cli import cli

SCHEDULES = Path(__file__).parents[2] / "schedules"
GARDEN, TABLE = SCHEDULES / "walled-garden.yaml", SCHEDULES / "long-table.yaml"


def size(*args: object) -> Result:
    """The command in this process."""
    return CliRunner().invoke(cli, ["size", *map(str, args)])


@pytest.mark.parametrize(("what", "file"), [("pump", GARDEN), ("blower", TABLE)])
def test_screen_json_and_picture(what: str, file: Path, tmp_path: Path) -> None:
    """The advice stands on the screen as in the JSON."""
    data, picture = tmp_path / "o.json", tmp_path / "o.svg"
    shown = size(what, file, "--json", data, "--figure", picture)
    assert 0 == shown.exit_code, shown.output
    assert 80 >= max(map(len, shown.stdout.splitlines()))
    values = json.loads(data.read_text("utf-8"))
    flat = " ".join(shown.stdout.split())
    assert values["advice"]
    assert all(sentence in flat for sentence in values["advice"])
    assert picture.read_bytes().startswith(b"<?xml")
    again = tmp_path / "again.svg"
    size(what, file, "--figure", again)
    assert picture.read_bytes() == again.read_bytes()


def test_series_is_never_advised_for_more_flow() -> None:
    """It is named once, to be refused."""
    shown = size("pump", GARDEN).stdout
    assert "Two in series are not offered: they add head, not flow." in " ".join(shown.split())
    assert 1 == shown.count("series")


def test_a_plant_whose_pumps_are_all_too_weak_gets_told(tmp_path: Path) -> None:
    """Which comes nearest, and by how much."""
    weak = tmp_path / "weak.yaml"
    weak.write_text(GARDEN.read_text("utf-8").replace("38 L/min at 6 m", "90 L/min at 6 m"), "utf-8")
    shown = " ".join(size("pump", weak).stdout.split())
    assert "None gives every jet enough: large at high comes nearest" in shown


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (("pump", GARDEN, "--pump", "mian"), "'mian' is no pump of the plant"),
        (("blower", GARDEN), "There is no blower"),
        (("blower", TABLE, "--flow", "600"), "say the unit: 600 L/min"),
        (("blower", TABLE, "--flow", "a lot"), "expected a flow"),
        (("pump", GARDEN, "--figure", "o.gif"), "svg, pdf or png"),
        (("pmup", GARDEN), "No such command"),
        (("pump", "gardn.yaml"), "no file"),
    ],
)
def test_calls_that_make_no_sense_are_refused(args: tuple[object, ...], said: str) -> None:
    """In a line that says what is due."""
    shown = size(*args)
    assert 2 == shown.exit_code
    assert said in shown.output
