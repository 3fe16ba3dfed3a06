"""What readings tell: the page beside its JSON, and the calls that are refused."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from cyclesim.cli import cli
from cyclesim.said.explained import _few

LOOP = Path(__file__).parents[1] / "decide" / "loop.yaml"
READINGS = """measured: 2027-05-02
title: as handed over
readings:
  - {kind: current, reads: 13.3 A, of: element}
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
    return CliRunner().invoke(cli, ["measured", *map(str, args), "--days", "2"])


def test_the_page_tells_the_numbers_of_its_json(readings: Path, tmp_path: Path) -> None:
    """Worst first, in the units that the JSON names; the impossible one first of all, and why."""
    data = tmp_path / "o.json"
    shown = measured(LOOP, readings, "--json", data)
    assert 1 == shown.exit_code, shown.output
    assert 80 >= max(map(len, shown.stdout.splitlines()))
    values = json.loads(data.read_text("utf-8"))
    rows = values["readings"]
    assert ["m", "A", "L/min"] == [row["unit"] for row in rows]
    assert [30.0, 13.3, 280.0] == [pytest.approx(row["read"]) for row in rows]
    assert [False, False, True] == [row["agrees"] for row in rows]
    for row in rows:
        for value in ("read", "predicted"):
            told = f"{row[value]:.3g} ±{row[f'{value}_off']:.2g} {row['unit']}"
            assert told in shown.stdout
        assert row["impossible"] in " ".join(shown.stdout.split())
    assert "at most 16 m" in rows[0]["impossible"]
    assert "2 of 3 readings differ" in shown.stdout
    explained = values["explained"]
    flat = " ".join(shown.stdout.split())
    for explanation in explained["best"]:
        assert all(amount["cause"][:20] in flat for amount in explanation["amounts"])
        assert f"{explanation['share']:.0%}" in shown.stdout
    assert all(cause in flat for cause in explained["unseen"])
    assert values["follows"]["explanation"] == explained["best"][0]["amounts"][0]["cause"]
    assert f"{values['follows']['corrected']['cost']:.2f}" in shown.stdout
    assert "not a diagnosis" in flat


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
    assert "readings.yaml:4:40: readings.0.of: found 'elment'" in shown.stderr


def test_the_shipped_readings_say_what_the_readme_shows() -> None:
    """Every line of the README's excerpt stands on the page."""
    schedules = Path(__file__).parents[2] / "schedules"
    shown = measured(schedules / "walled-garden.yaml", schedules / "readings" / "walled-garden.yaml")
    assert 1 == shown.exit_code, shown.output
    readme = (schedules.parent / "README.md").read_text("utf-8")
    excerpt = readme.split("cyclesim measured schedules/walled-garden.yaml schedules/readings")[1].split(
        "```"
    )[0]
    for line in excerpt.splitlines()[1:]:
        assert line in shown.stdout.splitlines()
    assert "A gauge is told in metres of cold water: 100 kPa, which is 1 bar, are 10.2 m." in shown.stdout


@pytest.mark.parametrize(("amps", "writes"), [("13.3 A", True), ("20 A", False)])
def test_the_likeliest_cause_is_written_into_a_copy(tmp_path: Path, amps: str, writes: bool) -> None:
    """Two thirds of 4.6 kW, with the date beside it; where nothing is wrong, nothing is written."""
    readings, new = tmp_path / "readings.yaml", tmp_path / "new.yaml"
    line = f"kind: current, reads: {amps}, of: element, give_or_take: 1 %"
    readings.write_text(f"measured: 2027-05-02\nreadings:\n  - {{{line}}}\n", "utf-8")
    shown = measured(LOOP, readings, "--write", new)
    assert shown.exit_code in (0, 1), shown.output
    if not writes:
        assert not new.exists()
        assert "is not written" in shown.stdout
        return
    old, text = LOOP.read_text("utf-8"), new.read_text("utf-8")
    changed = [(a, b) for a, b in zip(old.split("\n"), text.split("\n"), strict=True) if a != b]
    assert ["  # measured 2027-05-02"] == [b[b.index("  #") :] for _, b in changed]
    assert "output: 3.067 kW" in changed[0][1]
    assert "A file that says so has plant.heat_sources.element.output: 3.067 kW" in " ".join(
        shown.stdout.split()
    )


def test_writing_refuses_sets_and_the_files_that_were_read(readings: Path) -> None:
    """Before anything is run."""
    assert "leave one of the two out" in measured(LOOP, readings, "--write", "n.yaml", "--set", "a=b").stderr
    assert "overwrite the readings" in measured(LOOP, readings, "--write", readings).stderr
    assert "overwrite the scenario" in measured(LOOP, readings, "--write", LOOP).stderr


@pytest.mark.slow
def test_several_files_tell_how_the_plant_changes(tmp_path: Path) -> None:
    """In whatever order they are named: the last by its date is explained, both stand in the table."""
    schedules, data = Path(__file__).parents[2] / "schedules", tmp_path / "o.json"
    files = [schedules / "readings" / f"walled-garden{name}.yaml" for name in ("", "-at-hand-over")]
    shown = measured(schedules / "walled-garden.yaml", *files, "--json", data)
    assert 1 == shown.exit_code, shown.output
    drift = json.loads(data.read_text("utf-8"))["drift"]
    assert "The jets have become weak" in shown.stdout
    assert ["2027-04-10", "2028-04-09"] == [at["date"] for at in drift["at"]]
    assert "filter clogged" == drift["cause"]
    for at in drift["at"]:
        assert f"{at['value']:.2g} {drift['unit']}" in shown.stdout
    assert f"It changes by {drift['per_year']:+.2g} ±{drift['per_year_off']:.2g}" in shown.stdout
    assert f"at {drift['limit_value']:.2g} {drift['unit']}" in " ".join(shown.stdout.split())


def test_single_jets_that_nothing_shows_are_told_together() -> None:
    """By leg; other names stand as they are."""
    names = ["jet 2 of bench blocked", "filter clogged", "jet 3 of bench blocked", "jet 1 of seat blocked"]
    assert ["jet 2 or 3 of bench blocked", "filter clogged", "jet 1 of seat blocked"] == _few(names)
