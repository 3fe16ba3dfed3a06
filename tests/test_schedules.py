"""Every shipped schedule: it loads, fits the schema, and a year of it breaks what its comment announces."""

import re
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from cyclesim.analysis.result import simulate
from cyclesim.scenario.reading.load import load
from cyclesim.scenario.reading.schema import json_schema
from cyclesim.scenario.text.yaml_file import parse_text

FILES = sorted((Path(__file__).parents[1] / "schedules").glob("*.yaml"))
EACH = pytest.mark.parametrize("file", FILES, ids=[file.stem for file in FILES])
WIRED = {"orchard-wall", "orchard-wall-mended", "harbour-steps", "mill-race"}
BEHIND_PLATES = {"slate-barn", "slate-barn-left-off"}
NEW = {"high-valley", "long-table", "cedar-yard", "moss-cellar", "walnut-court"} | WIRED | BEHIND_PLATES
ANNOUNCES = re.compile(r"# announces: (?:none|([a-z-]+) \(([^()]+)\))")
QUANTITY = re.compile(r"(?<![\w.\"])-?\d+(?:\.\d+)? ?([A-Za-z][A-Za-z0-9/]*)")
METRIC = {"mm", "cm", "m", "m2", "L", "L/min", "L/s", "kPa", "bar", "mbar", "degC", "K", "m/s", "kW"}


def announced(text):
    """The rule and subject of each line `# announces: rule-id (subject)`."""
    lines = [line for line in text.splitlines() if line.startswith("# announces:")]
    matches = [ANNOUNCES.fullmatch(line) for line in lines]
    assert None not in matches, lines
    return sorted({(found[1], found[2]) for found in matches if found and found[1]})


def test_all_are_there():
    """The pair of the walled garden, and three plants that need winter, people and several heat sources."""
    assert {"walled-garden", "walled-garden-circulator"} | NEW <= {file.stem for file in FILES}


@EACH
def test_a_schedule_fits_the_schema(file):
    """What an editor would say about the file: nothing."""
    value = parse_text(file.read_text(encoding="utf-8"), file.name).value
    assert [] == [error.message for error in Draft202012Validator(json_schema()).iter_errors(value)]


@EACH
def test_a_year_breaks_what_the_comment_announces_and_nothing_else(file):
    """Rules and subjects over the whole year; every rule is judged."""
    result = simulate(load(file))
    assert 365 == result.about.days
    found = sorted({(finding.rule, finding.subject) for finding in result.findings})
    assert announced(file.read_text(encoding="utf-8")) == found
    assert () == result.checked.could_not


def test_the_orchard_wall_and_its_mended_twin_differ_by_what_is_mended():
    """A flow switch of the heat pump's own and a contact that starts the pump: nothing else is told apart."""
    unsafe, mended = (load(FILES[0].parent / f"orchard-wall{x}.yaml") for x in ("", "-mended"))
    pump = unsafe.plant.pumps["circulator"].model_copy(
        update={"also_started_by": mended.plant.pumps["circulator"].also_started_by}
    )
    source = unsafe.plant.heat_sources["heat_pump"].model_copy(update={"own_flow_switch_s": 10.0})
    plant = unsafe.plant.model_copy(
        update={
            "pumps": {**unsafe.plant.pumps, "circulator": pump},
            "heat_sources": {"heat_pump": source},
        }
    )
    assert mended == unsafe.model_copy(update={"plant": plant, "title": mended.title})


def test_a_comment_is_read_as_it_is_written():
    """One line a finding; none; a line that says neither is no announcement."""
    two = "# announces: stale-water (left_bench)\n# announces: jets-weak (jets of a)\nformat: 1\n"
    assert [("jets-weak", "jets of a"), ("stale-water", "left_bench")] == announced(two)
    assert [] == announced("# announces: none\n")
    with pytest.raises(AssertionError):
        announced("# announces: something\n")


@pytest.mark.parametrize("name", sorted(NEW))
def test_a_new_schedule_is_narrow_and_says_what_it_announces(name):
    """At most 100 columns, and a line that says which findings are there on purpose, or none."""
    text = (FILES[0].parent / f"{name}.yaml").read_text(encoding="utf-8")
    assert [] == [line for line in text.splitlines() if len(line) > 100]
    assert "\n# announces: " in text
    assert "What it teaches" in text


def test_the_cedar_yard_is_told_in_us_units():
    """No metric unit of length, volume, flow, pressure or temperature below its comment."""
    text = (FILES[0].parent / "cedar-yard.yaml").read_text(encoding="utf-8").partition("format: 1")[2]
    units = set(QUANTITY.findall(text))
    assert {"gal", "ft", "in", "gpm", "psi", "degF"} <= units
    assert set() == units & METRIC
