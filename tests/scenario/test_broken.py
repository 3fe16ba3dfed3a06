"""The tables of broken files: each says exactly what a person needs."""

import re
from pathlib import Path

import pytest
import yaml

from cyclesim.errors import InputError
from cyclesim.scenario.reading.load import load_text

FOLDER = Path(__file__).parent / "broken"


def table(base, cases):
    """The file that a table edits, with each of its cases."""
    text = (FOLDER / base).read_text(encoding="utf-8")
    return [(text, case) for case in yaml.safe_load((FOLDER / cases).read_text(encoding="utf-8"))]


CASES = [
    *table("base.yaml", "cases.yaml"),
    *table("base.yaml", "wiring_cases.yaml"),
    *table("base.yaml", "money_cases.yaml"),
    *table("base.yaml", "pumps_cases.yaml"),
    *table("winter_base.yaml", "winter_cases.yaml"),
    *table("winter_base.yaml", "sun_cases.yaml"),
    *table("own_water_base.yaml", "own_water_cases.yaml"),
]


@pytest.mark.parametrize(
    ("base", "title"),
    [
        ("base", "Two pumps"),
        ("winter_base", "Fjell tub, everything in it"),
        ("own_water_base", "A boiler behind plates"),
    ],
)
def test_the_base_of_a_table_is_sound(base, title):
    """The file that the cases edit loads, so that each message is due to the edit alone."""
    assert title == load_text((FOLDER / f"{base}.yaml").read_text(encoding="utf-8")).title


@pytest.mark.parametrize(("base", "case"), CASES, ids=[case["name"] for _, case in CASES])
def test_a_broken_file_is_told_in_full(base, case):
    """Every fault of the file, with its line and column, and nothing else."""
    text = base
    for old, new in case["edits"]:
        assert old in text
        text = text.replace(old, new, 1)
    with pytest.raises(InputError) as caught:
        load_text(text, "tub.yaml")
    assert case["says"].splitlines() == str(caught.value).splitlines()
    lines = text.split("\n")
    for fault in caught.value.faults:
        quoted = re.match(r"(?:an unknown \w+ |the key |the name )?'(.+?)'", fault.found)
        if quoted and not fault.path.endswith("network"):
            assert lines[fault.line - 1][fault.column - 1 :].lstrip("'").startswith(quoted[1])
