"""The schema that editors read: it takes what loads and refuses what they can see is wrong."""

import json
from pathlib import Path

import pytest
import yaml
from jsonschema import Draft202012Validator

from cyclesim.scenario.reading.schema import json_schema
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.scenario.text.yaml_file import parse_text

SCHEMA = json_schema()
VALIDATOR = Draft202012Validator(SCHEMA)
HERE = Path(__file__).parent
BASE = (HERE / "broken" / "base.yaml").read_text(encoding="utf-8")
CASES = yaml.safe_load((HERE / "broken" / "cases.yaml").read_text(encoding="utf-8"))
SHIPPED = sorted((HERE.parents[1] / "schedules").glob("*.yaml"))
FILES = [starter_text(), BASE, *(path.read_text(encoding="utf-8") for path in SHIPPED)]

# what an editor sees: shapes, keys, words and units, but neither names nor numbers against each other
SEEN = """
off is a text, not false
a time without its colon
a format that is not known
no format
a title that is a number
a misspelt key, and what it leaves out
an unknown fitting
a fitting that is not counted
an unknown word
two pipes in one leg
a volume without its surface
a zone of no kind
a volume where a time is due
bare numbers
unknown units
a decimal comma and a fraction
numbers that are none
half a jet
a price without its currency
a curve of two points
a share of a speed that is not there
a head without a flow
proof without a time
a split with one branch
times that do not exist
a day that is none
a section of the wrong shape does not make its names unknown
a month short of a year, and a mean without its unit
monthly means and a yearly one
air as no air is
weather and prices from files where there are none
water care without units
what no controller takes
"""


def test_the_shipped_schema_is_what_the_command_prints():
    """The file that shipped schedules point at; `cyclesim schema -o` renews it."""
    shipped = json.loads((HERE.parents[1] / "schedules" / "scenario.schema.json").read_text(encoding="utf-8"))
    assert json.loads(json.dumps(SCHEMA)) == shipped


def test_the_schema_is_one_of_its_dialect():
    """JSON Schema 2020-12, by its own meta-schema."""
    assert SCHEMA["$schema"] == Draft202012Validator.META_SCHEMA["$id"]
    Draft202012Validator.check_schema(SCHEMA)


@pytest.mark.parametrize(
    "text", [starter_text(), BASE, *(path.read_text(encoding="utf-8") for path in SHIPPED)]
)
def test_what_loads_validates(text):
    """The starter, the base of the broken files, and every shipped schedule."""
    assert [error.message for error in VALIDATOR.iter_errors(parse_text(text, "x.yaml").value)] == []


def test_a_reference_to_a_file_validates():
    """Every section that may stand in its own file, as the path of one."""
    value = parse_text(BASE, "x.yaml").value | {"plant": "plants/x.yaml", "limits": "limits.yaml"}
    value["place"]["weather"] = "town.yaml"
    assert VALIDATOR.is_valid(value)
    assert not VALIDATOR.is_valid(value | {"plant": "/etc/x.yaml"})
    assert not VALIDATOR.is_valid(value | {"plant": "x.txt"})
    value["place"]["weather"] = {"file": "weather/town.csv", "times": "utc", "wind_at_water": "40 %"}
    value["supply"]["tariff"] = {"file": "prices.csv"}
    assert VALIDATOR.is_valid(value)
    value["supply"]["tariff"] = {"file": "prices.yaml"}
    assert not VALIDATOR.is_valid(value)


@pytest.mark.parametrize("name", SEEN.strip().split("\n"))
def test_what_an_editor_can_see_is_refused(name):
    """Each of these broken files is marked while one types."""
    case = next(case for case in CASES if case["name"] == name)
    text = BASE
    for old, new in case["edits"]:
        text = text.replace(old, new, 1)
    assert not VALIDATOR.is_valid(parse_text(text, "x.yaml").value)


def fields(schema):
    """Every property with its path."""
    for block_name, block in [("", schema), *schema["$defs"].items()]:
        for key, field in block.get("properties", {}).items():
            yield f"{block_name}.{key}", field


def test_every_key_is_described_and_nothing_of_the_library_shows():
    """The description is what an editor shows; defaults in SI and nulls would mislead."""
    for path, field in fields(SCHEMA):
        assert len(field.get("description", "")) > 6, path
        assert not field.keys() & {"default", "spread", "source"}, path
        assert {"type": "null"} not in field.get("anyOf", []), path
