"""What a tuning tells: on the screen, as JSON, as a picture, and as a file that runs."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from cyclesim.cli import cli
from cyclesim.decide.tuning import space as space_module
from cyclesim.decide.tuning import tuning as module
from cyclesim.scenario.reading.load import load

FILE = Path(__file__).parents[2] / "schedules" / "walled-garden-circulator.yaml"
NO_WISHES = "tuning: {margin: 0 %, filter_runs_a_day: 0, flushes_a_day: 0, filter_hours: 0 s}\n"
COARSE = FILE.read_text("utf-8").replace("time_step: 15 min", "time_step: 6 h").replace("  heating: ", "  # ")
COARSE += NO_WISHES
"""Four times of day and no heating, so that there is little to run."""


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The coarse file; a year is two days, and what is run is kept apart from the user's own."""
    monkeypatch.setattr(module, "days_of_year", lambda _: 2)
    monkeypatch.setattr(space_module, "USUAL_STEP_S", 3 * 3600)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    path = tmp_path / "tub.yaml"
    path.write_text(COARSE, "utf-8")
    return path


def tune(*args: object) -> Result:
    """The command in this process."""
    return CliRunner().invoke(cli, ["tune", *map(str, args), "--workers", "1"])


def test_screen_json_picture_and_file_agree(file: Path, tmp_path: Path) -> None:
    """Fit for 80 columns; what is written runs as it is, and says what was recommended."""
    new, data, picture = tmp_path / "new.yaml", tmp_path / "o.json", tmp_path / "o.svg"
    shown = tune(file, "--write", new, "--json", data, "--figure", picture)
    assert 0 == shown.exit_code, shown.output
    lines = shown.stdout.splitlines()
    assert 80 >= max(len(line) for line in lines if str(new) not in line)
    assert "Key this in" in lines
    assert "sun not" not in shown.stdout  # it has no collectors
    values = json.loads(data.read_text("utf-8"))
    told = values["recommended"]["programme"]
    schedule = load(new).schedule
    assert [("filter run", "circulator"), ("line flush", "jets")] == [(e["does"], e["pump"]) for e in told]
    for runs, entry in zip((schedule.filter_runs, schedule.line_flushes), told, strict=True):
        assert entry["starts"] == [f"{clock:%H:%M}" for run in runs for clock in run.start or ()]
        assert all(entry["lasts_s"] == run.lasts_s for run in runs)
        assert any(all(start in line for start in entry["starts"]) for line in lines)
    assert values["fewest_flushes_a_day"] <= len(told[1]["starts"])
    assert values["limits"]
    assert values["rules_of_thumb"]
    assert "# Filter runs and line flushes as cyclesim tune found them for tub.yaml." in new.read_text(
        "utf-8"
    )
    assert picture.read_bytes().startswith(b"<?xml")
    again = tmp_path / "again.svg"
    assert 0 == tune(file, "--figure", again).exit_code
    assert picture.read_bytes() == again.read_bytes()


def test_what_the_files_own_programme_breaks_too_is_told(file: Path) -> None:
    """No pump rests for a day between two runs, whose ever they are; the row alone looks as if all held."""
    file.write_text(COARSE.replace("limits:\n", "limits:\n  pump_rest: 23 h\n"), "utf-8")
    said = " ".join(tune(file).stdout.split())
    assert "No reason to refuse a programme, for the file's own breaks it too: short-cycling." in said


def test_sun_that_goes_unused_is_a_measure_of_each_programme(file: Path, tmp_path: Path) -> None:
    """Two days' worth as a year's, beside the oldest water; nothing of it where there are no collectors."""
    roof = "\n    roof: {kind: solar, summer_peak: 4 kW, winter_peak: 2 kW, drop: 0.3 m at 300 L/min,"
    roof += " volume: 6 L, needs_flow: 9 L/min, zone: outdoors}\n\n  network:"
    text = COARSE.replace("\n\n  network:", roof).replace("filter, element,", "filter, roof, element,")
    file.write_text(text, "utf-8")
    data = tmp_path / "o.json"
    shown = tune(file, "--json", data)
    assert 0 == shown.exit_code, shown.output
    assert "sun not" in shown.stdout
    assert "that of the average day" in shown.stdout
    own = json.loads(data.read_text("utf-8"))["own"]["outcome"]["devices"]["roof"]["sun_unused_kwh"]
    row = next(line for line in shown.stdout.splitlines() if line.startswith("as in the file"))
    assert float(row.split()[-1].replace(",", "")) == pytest.approx(own * 365 / 2, rel=5e-3)


def test_json_alone_goes_to_the_screen(file: Path) -> None:
    """With a dash."""
    assert json.loads(tune(file, "--json", "-").stdout)["recommended"]


def test_where_no_programme_holds_nothing_is_written(file: Path, tmp_path: Path) -> None:
    """The reason is told, and the status is that of a broken rule."""
    new = tmp_path / "new.yaml"
    quiet = ["--set", "schedule.quiet_hours.from=13:00", "--set", "schedule.quiet_hours.to=11:00"]
    shown = tune(file, *quiet, "--set", "limits.water_age=13 h")
    assert 1 == shown.exit_code
    assert "No programme can do it" in shown.stdout
    assert "quiet hours" in shown.stdout
    file.write_text(COARSE.replace('"22:00", to: "07:00", applies', '"13:00", to: "11:00", applies'), "utf-8")
    file.write_text(file.read_text("utf-8").replace("water_age: 24 h", "water_age: 13 h"), "utf-8")
    shown = tune(file, "--write", new)
    assert 1 == shown.exit_code
    assert "is not written" in shown.stdout
    assert not new.exists()


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (("--write", "new.yaml", "--set", "plant.tub.water=1500 L"), "cannot take what --set changes"),
        (("--figure", "a.jpg"), "svg, pdf or png"),
        (("--workers", "2", "--cluster", "tcp://127.0.0.1:9"), "Either --workers or --cluster"),
    ],
)
def test_calls_that_make_no_sense_are_refused(file: Path, args: tuple[str, ...], said: str) -> None:
    """Before anything is run."""
    shown = CliRunner().invoke(cli, ["tune", str(file), *args])
    assert 2 == shown.exit_code
    assert said in shown.output


def test_a_step_that_fills_no_day_is_told_with_its_place(file: Path) -> None:
    """1440 minutes have no factor of 7; file, line and column are those of the value."""
    file.write_text(COARSE.replace("time_step: 6 h", "time_step: 7 min"), "utf-8")
    lines = file.read_text("utf-8").splitlines()
    line = next(k for k, text in enumerate(lines, 1) if "time_step: 7 min" in text)
    column = lines[line - 1].index("7 min") + 1
    shown = tune(file)
    assert 2 == shown.exit_code
    found = f"{file}:{line}:{column}: controller.time_step: found '7 min'"
    assert f"{found}; expected a step of which a whole number fills a day" in " ".join(shown.stderr.split())


def test_a_schedule_in_a_file_of_its_own_is_told(file: Path, tmp_path: Path) -> None:
    """It cannot be changed from here."""
    head, rest = COARSE.split("schedule:\n", 1)
    body, tail = rest.split("interlocks:\n", 1)
    (tmp_path / "plan.yaml").write_text(body.replace("\n  ", "\n").removeprefix("  "), "utf-8")
    file.write_text(f"{head}schedule: plan.yaml\ninterlocks:\n{tail}", "utf-8")
    shown = tune(file, "--write", tmp_path / "new.yaml")
    assert 2 == shown.exit_code
    assert "a file of its own" in shown.output
    assert not (tmp_path / "new.yaml").exists()
