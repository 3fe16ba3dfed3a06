"""No output takes the place of a file that the scenario is read from, whatever the command and option."""

import os
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
    ("verify", "--json"),
    ("duty", "--json"),
    ("states", "-o"),
    ("tune", "--json"),
    ("tune", "--figure"),
    ("tune", "--write"),
    ("compare", "{file}", "--json"),
    ("compare", "{file}", "--figure"),
    ("size", "pump", "--json"),
    ("size", "pump", "--figure"),
    ("size", "blower", "--json"),
    ("size", "blower", "--figure"),
    ("size", "heater", "--json"),
    ("size", "heater", "--figure"),
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
    suffix = ".svg" if words[-1] == "--figure" else ".yaml"
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
