"""Where findings are mended: in the drawing, in the file, and by what mends of them are tried."""

from pathlib import Path

from cyclesim.analysis.result import simulate
from cyclesim.analysis.rules import RULES
from cyclesim.said.explain import explanation
from cyclesim.said.mended import _KEYS, placed
from cyclesim.scenario.reading.load import load, load_text

FILE = Path(__file__).resolve().parents[2] / "schedules" / "walled-garden-circulator.yaml"


def text(old: str, new: str) -> str:
    """The shipped plant with something else in its schedule."""
    said = FILE.read_text(encoding="utf-8")
    assert 1 == said.count(old), old
    return said.replace(old, new)


def test_every_rule_has_a_key_that_is_explained():
    """For a thing of the kind that it is of, by a name of the starter's."""
    assert set(RULES) == set(_KEYS)
    for key in {key for keys in _KEYS.values() for key in keys}:
        assert explanation(key.format("main")).blocks, key


def test_findings_are_placed_in_drawing_and_file():
    """Alike ones together, with the key that mends them, as far as the plant has such a thing."""
    scenario = load_text(text("lasts: 45 s", "lasts: 15 s"), str(FILE), folder=FILE.parent)
    (found,) = placed(simulate(scenario, days=2))
    assert (1, "flush-too-short", ("schedule.line_flushes",), "run") == (
        found.number, found.rule, found.keys, found.tries,
    )  # fmt: skip


def test_things_that_may_mend_are_named_one_by_one():
    """The plant has one diverter and no valve: a key of several things is that of each."""
    scenario = load(FILE.parent / "harbour-steps.yaml")
    found = placed(simulate(scenario, days=2))
    (keys,) = {one.keys for one in found if one.rule == "left-without-flush"}
    assert keys == ("plant.diverters.seats",)
