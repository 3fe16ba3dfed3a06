"""What readings tell: the page beside its JSON, and the calls that are refused."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from cyclesim.cli import cli

LOOP = Path(__file__).parents[1] / "decide" / "loop.yaml"
READINGS = """measured: 2027-05-02
title: as handed over
readings:
  - {kind: current, reads: 17 A, of: element}
  - {kind: flow, reads: 280 L/min, through: filter, with: main high}
  - {kind: gauge, reads: 30 m, at: after main, with: main high}
"""


@pytest.fixture
def readings(tmp_path: Path) -> Path:
    """A file of readings of the loop."""
    path = tmp_path / "readings.yaml"
    path.write_text(READINGS, "utf-8")
    return path


def measured(*args: object) -> Result:
    """The command in this process."""
    return CliRunner().invoke(cli, ["measured", *map(str, args)])


def test_the_page_tells_the_numbers_of_its_json(readings: Path, tmp_path: Path) -> None:
    """Worst first, in the units that the JSON names; the impossible one first of all, and why."""
    data = tmp_path / "o.json"
    shown = measured(LOOP, readings, "--json", data)
    assert 1 == shown.exit_code, shown.output
    assert 80 >= max(map(len, shown.stdout.splitlines()))
    rows = json.loads(data.read_text("utf-8"))["readings"]
    assert ["m", "A", "L/min"] == [row["unit"] for row in rows]
    assert [30.0, 17.0, 280.0] == [pytest.approx(row["read"]) for row in rows]
    assert [False, False, True] == [row["agrees"] for row in rows]
    for row in rows:
        assert f"{row['read']:.3g} {row['unit']} ±{row['read_off']:.2g}" in shown.stdout
        assert f"{row['predicted']:.3g} {row['unit']} ±{row['predicted_off']:.2g}" in shown.stdout
        assert row["impossible"] in " ".join(shown.stdout.split())
    assert "at most 16 m" in rows[0]["impossible"]
    assert "2 of 3 readings differ" in shown.stdout


def test_readings_that_agree_end_with_0(readings: Path) -> None:
    """And say so."""
    readings.write_text("\n".join(READINGS.split("\n")[:3]) + "\n  - " + READINGS.split("  - ")[2], "utf-8")
    shown = measured(LOOP, readings)
    assert 0 == shown.exit_code, shown.output
    assert "Every reading agrees" in shown.stdout


def test_an_output_never_overwrites_the_readings(readings: Path) -> None:
    """Nor is anything run before that is refused."""
    shown = measured(LOOP, readings, "--json", readings)
    assert 2 == shown.exit_code
    assert "would overwrite the readings" in shown.stderr
    assert READINGS == readings.read_text("utf-8")


def test_a_broken_file_of_readings_is_2_with_its_line(readings: Path) -> None:
    """As for a scenario."""
    readings.write_text(READINGS.replace("of: element", "of: elment"), "utf-8")
    shown = measured(LOOP, readings)
    assert 2 == shown.exit_code
    assert "readings.yaml:4:38: readings.0.of: found 'elment'" in shown.stderr
