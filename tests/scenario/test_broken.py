"""The table of broken files: each says exactly what a person needs."""

import re
from pathlib import Path

import pytest
import yaml

from cyclesim.errors import InputError
from cyclesim.scenario.load import load_text

FOLDER = Path(__file__).parent / "broken"
BASE = (FOLDER / "base.yaml").read_text(encoding="utf-8")
CASES = yaml.safe_load((FOLDER / "cases.yaml").read_text(encoding="utf-8"))


def test_the_base_of_the_table_is_sound():
    """The file that the cases edit loads, so that each message is due to the edit alone."""
    assert load_text(BASE).title == "Two pumps"


@pytest.mark.parametrize("case", CASES, ids=[case["name"] for case in CASES])
def test_a_broken_file_is_told_in_full(case):
    """Every fault of the file, with its line and column, and nothing else."""
    text = BASE
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
