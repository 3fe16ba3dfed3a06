"""No output takes the place of a file that the scenario is read from, whatever the command and option."""

import os
from datetime import datetime, timedelta
from pathlib import Path

import pytest
import yaml
from click.testing import CliRunner

from cyclesim.cli import cli
from cyclesim.errors import InputError
from cyclesim.scenario.reading.load import load
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.scenario.text.yaml_file import parse_text

WRITES = [
    ("run", "--days", "1", "--json"),
    ("run", "--days", "1", "--trace"),
    ("run", "--days", "1", "--figure"),
    ("run", "--days", "1", "--drawing"),
    ("check", "--drawing"),
    ("page", "--days", "1", "--no-faults", "--no-savings", "--out"),
    ("verify", "--json"),
    ("duty", "--json"),
    ("states", "-o"),
    ("tune", "--json"),
    ("tune", "--figure"),
    ("tune", "--write"),
    ("fits", "--controller", "{file}", "--json"),
    ("fits", "--controller", "{file}", "--write"),
    ("compare", "{file}", "--json"),
    ("compare", "{file}", "--figure"),
    ("size", "pump", "--json"),
    ("size", "pump", "--figure"),
    ("size", "blower", "--json"),
    ("size", "blower", "--figure"),
    ("size", "heater", "--json"),
    ("size", "heater", "--figure"),
    ("papers", "--json"),
    ("papers", "--out"),
    ("calendar", "--out"),
]


@pytest.fixture
def split(tmp_path: Path) -> Path:
    """The starter with its plant and its electricity prices in files of their own."""
    whole = parse_text(starter_text(), "tub.yaml").value
    (tmp_path / "plant.yaml").write_text(yaml.safe_dump(whole["plant"]), encoding="utf-8")
    (tmp_path / "prices.csv").write_text("time,price [EUR/kWh]\n2027-01-01 00:00,0.30\n", encoding="utf-8")
    whole["plant"] = "plant.yaml"
    path = tmp_path / "tub.yaml"
    path.write_text(yaml.safe_dump(whole), encoding="utf-8")
    return path


def test_loading_tells_every_file_that_it_reads(split: Path) -> None:
    """The scenario's own file first, then what it refers to, also where that cannot be used."""
    read: list[Path] = []
    load(split, on_read=read.append)
    assert ["tub.yaml", "plant.yaml"] == [path.name for path in read]
    with pytest.raises(InputError):
        load(split, sets=("supply.tariff={file: prices.csv}",), on_read=read.append)
    assert "prices.csv" in [path.name for path in read]


@pytest.mark.parametrize("words", WRITES, ids=" ".join)
@pytest.mark.parametrize("how", ["itself", "link", "hard link"])
def test_no_output_overwrites_what_is_read(split: Path, words: tuple[str, ...], how: str) -> None:
    """Refused with status 2 before any work; the section file has the bytes that it had."""
    section = split.with_name("plant.yaml")
    before = section.read_bytes()
    endings = {
        "--figure": ".svg",
        "--drawing": ".svg",
        "papers --out": ".pdf",
        "calendar --out": ".ics",
        "page --out": ".html",
    }
    suffix = endings.get(words[-1], endings.get(f"{words[0]} {words[-1]}", ".yaml"))
    out = section if how == "itself" and suffix == ".yaml" else split.with_name(f"other{suffix}")
    if out != section:
        out.symlink_to(section) if how == "link" else os.link(section, out)
    command = [word.format(file=split) for word in words]
    at = 2 if words[0] == "size" else 1
    result = CliRunner().invoke(cli, [*command[:at], str(split), *command[at:], str(out)])
    assert 2 == result.exit_code, result.output
    assert f"Writing to {out} would overwrite" in result.output
    assert before == section.read_bytes()


def test_a_series_that_a_set_replaces_is_not_overwritten(split: Path) -> None:
    """The file still names its prices, whatever this run pays."""
    text = split.read_text(encoding="utf-8")
    whole = parse_text(text, "tub.yaml").value
    whole["supply"]["tariff"] = {"file": "prices.csv"}
    split.write_text(yaml.safe_dump(whole), encoding="utf-8")
    prices = split.with_name("prices.csv")
    before = prices.read_bytes()
    sets = ("--set", "supply.tariff=0.30 EUR/kWh")
    result = CliRunner().invoke(cli, ["run", str(split), *sets, "--days", "1", "--json", str(prices)])
    assert 2 == result.exit_code, result.output
    assert f"Writing to {prices} would overwrite" in result.output
    assert before == prices.read_bytes()


@pytest.mark.parametrize("how", ["itself", "link", "hard link"])
def test_two_outputs_that_are_one_file_are_refused(split: Path, how: str) -> None:
    """By another name of the file too, which the second would take from the first."""
    out, other = split.with_name("out.json"), split.with_name("trace.csv")
    out.write_text("old", encoding="utf-8")
    if how == "link":
        other.symlink_to(out)
    elif how == "hard link":
        os.link(out, other)
    other = out if how == "itself" else other
    call = ["run", str(split), "--days", "1", "--json", str(out), "--trace", str(other)]
    result = CliRunner().invoke(cli, call)
    assert 2 == result.exit_code, result.output
    assert "Two outputs cannot go to the same file." in result.output
    assert "old" == out.read_text(encoding="utf-8")


@pytest.mark.parametrize("words", [WRITES[0], WRITES[2], WRITES[8]], ids=" ".join)
def test_no_output_overwrites_the_weather(split: Path, words: tuple[str, ...]) -> None:
    """A CSV file of weather that the scenario names keeps the bytes that it had."""
    whole = parse_text(split.read_text(encoding="utf-8"), "tub.yaml").value
    whole["place"]["weather"] = {"file": "weather.csv"}
    split.write_text(yaml.safe_dump(whole), encoding="utf-8")
    hours = (f"{datetime(2027, 1, 1) + timedelta(hours=k):%Y-%m-%d %H:%M},9" for k in range(365 * 24))
    series = split.with_name("weather.csv")
    series.write_text("time,temperature [degC]\n" + "\n".join(hours), encoding="utf-8")
    before, out = series.read_bytes(), series
    if words[-1] == "--figure":
        out = split.with_name("other.svg")
        os.link(series, out)
    command = [word.format(file=split) for word in words]
    at = 2 if words[0] == "size" else 1
    result = CliRunner().invoke(cli, [*command[:at], str(split), *command[at:], str(out)])
    assert 2 == result.exit_code, result.output
    assert f"Writing to {out} would overwrite {series}, which the scenario refers to" in result.output
    assert before == series.read_bytes()
