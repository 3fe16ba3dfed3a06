"""`cyclesim run`: what it prints and writes, and runs with a power cut or days of frost put in."""

import csv
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from click.testing import Result

from cyclesim.analysis.rules import RULES
from cyclesim.said.words import number
from tests.cli.called import ENV, call, start

Week = tuple[Result, dict[str, Any], list[str]]


@pytest.fixture(scope="module")
def week(tub: Path) -> Week:
    """A week of the starter: what was printed, its JSON, the lines of its trace."""
    out, csv = tub.with_name("week.json"), tub.with_name("week.csv")
    result = call("run", tub, "--days", "7", "--json", out, "--trace", csv)
    assert result.exit_code in (0, 1), result.output
    return result, json.loads(out.read_text("utf-8")), csv.read_text("utf-8").splitlines()


def test_confidence_is_told_where_it_is_asked_for(
    tub: Path, tmp_path: Path, week: Week, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A real process: the ranges on 80 columns and in the JSON, its runs kept; none where nobody asked."""
    monkeypatch.setitem(ENV, "XDG_CACHE_HOME", str(tmp_path))
    out = tmp_path / "out.json"
    process = start("run", tub, "--days", "1", "--confidence", "--workers", "1", "--json", out)
    told, err = process.communicate(timeout=100)
    assert process.returncode in (0, 1), err
    assert err == ""
    assert "How far these numbers may be off" in told
    assert max(map(len, told.splitlines())) <= 80
    values = json.loads(out.read_text("utf-8"))
    sure = values["confidence"]
    assert sure["days"] == 1
    assert sure["runs"] > len(sure["inputs"]) > 20
    [cost] = [one for one in sure["estimates"] if one["number"] == "cost"]
    assert cost["low"] < values["energy"]["cost"] == cost["value"] < cost["high"]
    assert cost["most_sensitive_to"][0]["input"] in [one["input"] for one in sure["inputs"]]
    assert {flush["few_tanks_percent"] > flush["in_order_percent"] for flush in sure["flushes"]} == {True}
    [kept] = (tmp_path / "cyclesim").iterdir()
    assert sure["runs"] == len(list(filter(None, kept.read_text("utf-8").splitlines())))
    printed, values, _ = week
    assert "confidence" not in values
    assert "How far" not in printed.stdout


def test_run_starts_with_the_verdict(week: Week) -> None:
    """Title and span, then how many rules are broken and how many were checked; the status follows."""
    result, values, _ = week
    lines = result.stdout.splitlines()
    assert lines[0] == values["about"]["title"]
    assert lines[1].startswith("7 days from 1 January 2027")
    broken = {finding["rule"] for finding in values["findings"]}
    assert lines[2].startswith(f"{len(broken)} rule" if broken else "No rule broken")
    apply = len(RULES) - len(values["checked"]["nothing_to_judge"])
    assert f"{apply} rules apply to this plant" in lines[2]
    assert lines[2] in lines[-2:], "the last lines say it again"
    grave = [f for f in values["findings"] if f["severity"] in ("danger", "hygiene")]
    assert result.exit_code == (1 if grave else 0)


def test_broken_hygiene_is_1_and_says_what_mends_it(tub: Path) -> None:
    """A limit that no schedule can keep is broken, told with its mend, and the status is 1."""
    result = call("run", tub, "--days", "2", "--set", "limits.water_age=10 min")
    assert result.exit_code == 1
    assert "hygiene, stale-water" in result.stdout
    assert "Tried 1, not enough: " in result.stdout
    assert "Not known to be enough: " in result.stdout


def test_a_mend_of_a_run_is_written_and_nothing_else(tub: Path, tmp_path: Path) -> None:
    """The starter without its keep: the mend is a line more. --set cannot be written, one without the other
    makes no sense."""
    broken, target = tmp_path / "broken.yaml", tmp_path / "new.yaml"
    kept = "".join(line for line in tub.read_text().splitlines(True) if "keep: " not in line)
    broken.write_text(kept)
    result = call("run", broken, "--days", "2", "--apply", "1", "--write", target)
    assert "Mend 1, tried: wire {keep: " in " ".join(result.stdout.split())
    more = [line for line in target.read_text().splitlines() if line not in kept.splitlines()]
    assert len(more) == 1
    assert "keep: " in more[0]
    assert "no longer break no-run-on" in result.stderr
    target.unlink()
    for also in (["--apply", "1"], ["--apply", "1", "--write", target, "--set", "limits.run_on=9 s"]):
        assert call("run", broken, "--days", "2", *also).exit_code == 2
    assert not target.exists()


def test_json_has_every_part_with_mappings_by_name(week: Week) -> None:
    """The parts of the JSON, in a stable order; legs, pumps and heat sources by name."""
    _, values, _ = week
    assert list(values) == [
        "about", "legs", "pumps", "heat_sources", "blowers", "tub", "energy", "outages", "treatment",
        "own_water", "water_care", "sessions", "cold_spell", "suction", "pump_room", "promises", "findings",
        "checked", "valves_left", "duties", "defaults", "clock_changes", "mends",
    ]  # fmt: skip
    assert values["about"]["days"] == 7
    assert {"suction_left", "left_bench", "left_bench, last jet"} <= set(values["legs"])
    assert set(values["pumps"]) == {"main"}
    assert set(values["heat_sources"]) == {"element"}
    assert set(values["energy"]["by_device"]) == {"main", "element"}


def test_screen_shows_the_numbers_of_the_json(week: Week) -> None:
    """Oldest water and volume of each leg, hours of the pump and the energy are the same in both."""
    result, values, _ = week
    rows = [line.split() for line in result.stdout.splitlines()]
    for name, leg in values["legs"].items():
        if not name.endswith("last jet") and leg["oldest_water_h"] is not None:
            told = [number(leg["volume_l"]), number(leg["oldest_water_h"])]
            assert [name, *told] in [row[:3] for row in rows] or f"{name}," in result.stdout
    assert ["main", number(values["pumps"]["main"]["running_h"])] in [row[:2] for row in rows]
    energy = values["energy"]
    assert ["all", number(energy["energy_kwh"]), f"{energy['cost']:.2f}"] in rows


def test_every_default_and_caution_is_on_the_screen(week: Week, tub: Path) -> None:
    """What was filled in is listed with value and spread, a few always and the others with --all.

    The report says what it is not.
    """
    result, values, _ = week
    said = " ".join(result.stdout.split())
    told = [f"{default['value']}; spread {default['spread']}" for default in values["defaults"]]
    assert 5 == sum(
        f"{default['path']}: {text}" in said for default, text in zip(values["defaults"], told, strict=True)
    )
    in_full = " ".join(call("run", tub, "--days", "7", "--all").stdout.split())
    plain = [text.replace("degC", "°C") for text in told]  # what is no range is told in its own words
    assert all(text in in_full or text.replace("; spread ", "; ") in in_full for text in plain)
    assert "no safety controller" in said
    assert "licensed people decide" in said
    assert "Flushing does not remove biofilm" in said
    assert "as good as the tub's own water" in said


def test_trace_file_has_the_days_asked_for(week: Week) -> None:
    """The rows of the pump cover the week from its first to its last second."""
    _, _, lines = week
    pump = [line.split(",") for line in lines if line.startswith("main,pump,")]
    assert pump[0][2] == "2027-01-01T00:00:00+00:00"
    assert pump[-1][5] == str(7 * 86_400)


def test_json_to_the_screen_is_json_alone(tub: Path) -> None:
    """With --json - nothing but JSON is on stdout, and a second run writes the same bytes."""
    first = call("run", tub, "--days", "2", "--json", "-")
    assert json.loads(first.stdout)["about"]["days"] == 2
    assert call("run", tub, "--days", "2", "--json", "-").stdout == first.stdout


def test_from_before_the_epoch_of_no_clock(tub: Path) -> None:
    """A run may start on the first day of 1970."""
    result = call("run", tub, "--days", "1", "--from", "1970-01-01")
    assert result.exit_code in (0, 1)
    assert "1 day from 1 January 1970" in result.stdout


def test_clock_changes_are_explained(tub: Path) -> None:
    """A filter run at a time that the spring change skips is said to be shifted, also in JSON."""
    args = ("run", tub, "--days", "2", "--from", "2027-03-28", "--set", "schedule.filter_runs.0.start=01:30")
    assert "01:30 does not exist on 28 March 2027" in " ".join(call(*args).stdout.split())
    [note] = json.loads(call(*args, "--json", "-").stdout)["clock_changes"]
    assert "does not exist" in note


@pytest.mark.parametrize(
    ("more", "coloured"), [({}, True), ({"NO_COLOR": "1"}, False), ({"TERM": "dumb"}, False)]
)
def test_colour_at_a_terminal_unless_declined(tub: Path, more: dict[str, str], coloured: bool) -> None:
    """A real terminal gets colour; NO_COLOR or a dumb terminal does not."""
    ours, theirs = os.openpty()
    env = {key: value for key, value in ENV.items() if key != "NO_COLOR"} | {"TERM": "xterm"} | more
    command = [sys.executable, "-m", "cyclesim", "check", str(tub)]
    done = subprocess.run(command, stdout=theirs, stderr=subprocess.DEVNULL, env=env, timeout=30, check=False)
    os.close(theirs)
    said = os.read(ours, 65_536).decode()
    os.close(ours)
    assert done.returncode in (0, 1)
    assert "can be run" in said
    assert ("\x1b[" in said) is coloured


def test_figure_is_written_whole_and_the_same_each_time(tub: Path, tmp_path: Path) -> None:
    """Two runs give the same SVG and the same PDF, a PNG begins as one does, and nothing else is left."""
    for name in ("a.svg", "b.svg", "c.png", "d.pdf", "e.pdf"):
        args = (
            "--days",
            "2",
            "--figure",
            tmp_path / name,
            "--figure-from",
            "2027-01-02",
            "--figure-days",
            "1",
        )
        assert call("run", tub, *args).exit_code in (0, 1)
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()
    assert (tmp_path / "d.pdf").read_bytes() == (tmp_path / "e.pdf").read_bytes()
    assert (tmp_path / "d.pdf").read_bytes().startswith(b"%PDF-")
    ElementTree.fromstring((tmp_path / "a.svg").read_text("utf-8"))
    assert (tmp_path / "c.png").read_bytes().startswith(b"\x89PNG\r\n")
    assert {path.name for path in tmp_path.iterdir()} == {"a.svg", "b.svg", "c.png", "d.pdf", "e.pdf"}


def test_figure_from_a_day_that_is_not_run_is_2_before_the_run(tub: Path, tmp_path: Path) -> None:
    """The days of the run are named, and no file is written."""
    figure = ("--figure", tmp_path / "a.svg", "--figure-from", "2027-02-01")
    result = call("run", tub, "--days", "31", *figure)
    assert result.exit_code == 2
    assert "from 2027-01-01 to 2027-01-31" in result.stderr
    assert list(tmp_path.iterdir()) == []


def test_parquet_has_the_rows_of_the_csv(tub: Path, tmp_path: Path) -> None:
    """The same columns and rows; what is empty in the CSV is null."""
    parquet = pytest.importorskip("pyarrow.parquet")
    for name in ("t.csv", "t.parquet"):
        assert call("run", tub, "--days", "1", "--trace", tmp_path / name).exit_code in (0, 1)
    with (tmp_path / "t.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    table = parquet.read_table(tmp_path / "t.parquet").to_pylist()
    assert list(rows[0]) == list(table[0])
    numbers = [key for key in rows[0] if key not in ("element", "kind", "start_local", "end_local", "state")]
    for row in rows:
        row |= {key: float(row[key]) if row[key] else None for key in numbers}
    assert rows == table


def test_parquet_without_its_library_is_2_before_the_run(
    tub: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What to install is said at once."""
    monkeypatch.setattr("cyclesim.shown.trace_files.find_spec", lambda _: None)
    result = call("run", tub, "--days", "3660", "--trace", tmp_path / "t.parquet")
    assert result.exit_code == 2
    assert "pip install 'cyclesim[parquet]'" in result.stderr


def test_what_if_adds_a_power_cut_to_those_of_the_file(tub: Path, tmp_path: Path) -> None:
    """The cuts of the file, of --set and of two --what-if all happen, and the report tells them."""
    trace = tmp_path / "t.csv"
    own = "schedule.outages=[{from: 2027-01-01 01:00, lasts: 30 min}]"
    cuts = ("--what-if", "outage=2027-01-01 12:00/2 h", "--what-if", "outage=2027-01-02T12:00/90 min")
    result = call("run", tub, "--days", "2", "--set", own, *cuts, "--trace", trace)
    with trace.open(encoding="utf-8", newline="") as stream:
        power = [row for row in csv.DictReader(stream) if row["kind"] == "power" and row["state"] == "lost"]
    lost = [(int(row["start_s"]), int(row["end_s"])) for row in power]
    assert [(3600, 5400), (43_200, 50_400), (129_600, 135_000)] == lost
    assert "from 1 Jan 2027 12:00 for 2 h" in result.stdout


def test_what_if_cuts_one_circuit(tub: Path, tmp_path: Path) -> None:
    """Behind the duration stands the circuit that alone has no power; a wrong name is told."""
    fed = "{water: {breaker: 10 A, feeds: main}, heat: {breaker: 16 A, feeds: element}}"
    two = ("--set", f"supply={{voltage: 230 V, circuits: {fed}, tariff: 0.20 EUR/kWh}}")
    trace = tmp_path / "t.csv"
    cut = "outage=2027-01-01 12:00/2 h"
    result = call("run", tub, "--days", "1", *two, "--what-if", f"{cut}/heat", "--trace", trace)
    with trace.open(encoding="utf-8", newline="") as stream:
        lost = [row for row in csv.DictReader(stream) if row["kind"] == "circuit" and row["state"] == "lost"]
    assert [("heat", "43200", "50400")] == [(row["element"], row["start_s"], row["end_s"]) for row in lost]
    assert "circuit heat alone, from 1 Jan 2027 12:00 for 2 h" in result.stdout
    wrong = call("run", tub, "--days", "1", *two, "--what-if", f"{cut}/haet")
    assert wrong.exit_code == 2
    assert "'haet' is no circuit; known circuits: water, heat; did you mean 'heat'?" in wrong.stderr


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("drought=2027-01-01 12:00/2 h", "expected outage=START/DURATION or cold=LOWEST/DURATION"),
        ("dry=2027-01-01 12:00/2 h", "is in the file: schedule.low_water, schedule.valves_turned"),
        ("clock=midnight", "controller.after_power_cut"),
        ("outage=2027-01-01 12:00", "expected outage=START/DURATION or cold=LOWEST/DURATION"),
        ("cold=-18 degC", "or cold=LOWEST/DURATION, e.g."),
        ("cold=-18 degC/3 days/2027-01-01/2", "or cold=LOWEST/DURATION, e.g."),
        ("cold=-18/3 days", "expected a temperature"),
        ("cold=-18 degC/3 dys", "expected a time"),
        ("cold=-61 degC/3 days", "-60 to 60 degC"),
        ("cold=-18 degC/20 min", "1 h to 30 days"),
        ("cold=-18 degC/3 days/2027-02-30", "a date that does not exist"),
        ("outage=noon/2 h", "2027-01-12 03:00"),
        ("outage=2027-02-30 12:00/2 h", "a date that does not exist"),
        ("outage=2027-01-01 12:00/2 m", "expected a time"),
        ("outage=2027-01-01 12:00/31 days", "30 days"),
        ("outage=2027-01-01 12:00/2 h/shed", "'shed' is no circuit; the file has no supply.circuits"),
        ("outage=2027-01-03 00:00/2 h", "outside the run, which is from 2027-01-01 to 2027-01-02"),
    ],
)
def test_what_if_that_says_no_power_cut_is_2(tub: Path, text: str, said: str) -> None:
    """What is wrong is said with what is due."""
    result = call("run", tub, "--days", "2", "--what-if", text)
    assert result.exit_code == 2
    assert f"--what-if {text}" in result.stderr
    assert said in result.stderr


def test_what_if_lays_days_of_frost_over_the_weather(tub: Path, tmp_path: Path) -> None:
    """At the date that is told, as cold as that; on days that are not run it has no effect, which is said."""
    out = tmp_path / "cold.json"
    frost = ("--what-if", "cold=14 degF/36 h/2027-02-03")
    result = call("run", tub, "--days", "3", "--from", "2027-02-02", *frost, "--json", out)
    spell = json.loads(out.read_text(encoding="utf-8"))["cold_spell"]
    assert ("2027-02-03T00:00:00+00:00", 36.0) == (spell["from_local"], spell["lasts_h"])
    assert pytest.approx(-10.0) == spell["lowest_c"]
    assert "From 3 Feb 2027 00:00 for 36 h, down to -10.0" in result.stdout
    elsewhere = call("run", tub, "--days", "1", "--from", "2027-03-01", *frost)
    assert "without effect: the cold spell from 2027-02-03" in elsewhere.stdout


def test_what_would_warm_a_cold_end_is_tried_where_it_is_cold(week: Week, tub: Path, tmp_path: Path) -> None:
    """The starter loses some 1.2 K in a session: within 2.5 K of the set point, beyond 1 K of it."""
    assert "What would warm it" not in week[0].output
    assert "step_out" not in week[1]
    out = tmp_path / "cold.json"
    result = call("run", tub, "--days", "7", "--set", "limits.cold_end=1 K", "--json", out)
    assert "What would warm it, tried on 2 sessions of 7 days" in result.output
    tried = json.loads(out.read_text(encoding="utf-8"))["step_out"]["tried"]
    assert all(one["change"].replace("degC", "°C") in result.output for one in tried)
    assert len(tried) == 3


def test_disinfectant_is_considered_only_where_the_file_tells_of_it(week: Week) -> None:
    """The verdict says so without the block; with it that line goes and a section comes."""
    left_aside = "Not included    disinfectant (no water_care in the file)"
    assert left_aside in week[0].output.splitlines()
    assert "Water care" not in week[0].output
    told = call("run", Path(__file__).parents[2] / "schedules" / "walled-garden.yaml", "--days", "2", "--all")
    assert "Not included" not in told.output
    assert "Water care" in told.output.splitlines()
