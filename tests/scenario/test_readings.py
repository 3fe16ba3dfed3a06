"""Files of readings: each that is broken says exactly what a person needs."""

from pathlib import Path

import pytest
import yaml

from cyclesim.errors import InputError
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.readings import KINDS_OF_READING
from cyclesim.scenario.reading.load import load
from cyclesim.scenario.reading.readings import load_readings, load_readings_text

FOLDER = Path(__file__).parent / "broken"
BASE = (FOLDER / "readings.yaml").read_text(encoding="utf-8")
CASES = yaml.safe_load((FOLDER / "readings_cases.yaml").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def garden() -> Scenario:
    """The plant that the readings were taken at."""
    return load("schedules/walled-garden.yaml")


def test_the_base_has_every_kind(garden: Scenario) -> None:
    """The file that the cases edit loads, so that each message is due to the edit alone."""
    readings = load_readings_text(BASE, garden).readings
    assert list(KINDS_OF_READING) == [reading.kind for reading in readings]


@pytest.mark.parametrize("case", CASES, ids=[case["edit"][1] for case in CASES])
def test_a_broken_reading_is_told_in_full(garden: Scenario, case: dict[str, str]) -> None:
    """With its line and column, and nothing else."""
    old, new = case["edit"]
    assert old in BASE
    with pytest.raises(InputError) as caught:
        load_readings_text(BASE.replace(old, new, 1), garden, "r.yaml")
    assert case["says"] == str(caught.value)


def test_a_tolerance_is_an_amount_or_a_share(garden: Scenario) -> None:
    """Half a metre, 4 % of 1.2 bar, or the usual larger of 0.3 m and 3 %: 1.2 bar are 12.24 m of water."""
    head = "at: after main, with: main high"
    for written, off in ((", give_or_take: 0.5 m", 0.5), (", give_or_take: 4 %", 0.4896), ("", 0.3672)):
        text = BASE.replace(head, head + written)
        assert load_readings_text(text, garden).readings[0].give_or_take == pytest.approx(off, rel=2e-3)


@pytest.mark.parametrize("text", ["", "- a list", "just words"])
def test_no_readings_at_all(garden: Scenario, text: str) -> None:
    """The first line that is due is named."""
    with pytest.raises(InputError, match="expected measured: 2027-05-02 first"):
        load_readings_text(text, garden)


def test_a_file_that_is_not_there(garden: Scenario) -> None:
    """It is said, not raised."""
    with pytest.raises(InputError, match="no file"):
        load_readings("nowhere.yaml", garden)
