"""Changes of the schedule that are run against a finding: what is tried, and what is told of it."""

from functools import cache
from pathlib import Path

import pytest

from cyclesim.analysis.result import simulate
from cyclesim.analysis.rules import RULES
from cyclesim.decide.tuning.mended import Mending, mending, schedule_changes
from cyclesim.errors import CycleSimError
from cyclesim.said.explain import explanation
from cyclesim.said.mended import _KEYS, mending_page, placed
from cyclesim.said.page import Line, Table
from cyclesim.scenario.reading.edit import edited
from cyclesim.scenario.reading.load import load, load_text

FILE = Path(__file__).resolve().parents[2] / "schedules" / "walled-garden-circulator.yaml"
DAYS = 8


def text(old: str, new: str) -> str:
    """The shipped plant with something else in its schedule."""
    said = FILE.read_text(encoding="utf-8")
    assert 1 == said.count(old), old
    return said.replace(old, new)


@cache
def tried(changed: str, rule: str) -> Mending:
    """What is tried against the findings of a rule, all told together."""
    scenario = load_text(changed, str(FILE), folder=FILE.parent)
    findings = [f for f in simulate(scenario, days=DAYS).findings if f.rule == rule]
    subjects = [f.subject for f in findings]
    return mending(scenario, changed, FILE, rule, subjects, cause=findings[0].cause, days=DAYS)


def test_a_flush_leaves_the_quiet_hours_by_either_end():
    """Quiet from 22:00 to 07:00, a grid of 15 minutes: the nearest are 07:00 and 21:45."""
    found = tried(text('"07:30"', '"03:00"'), "quiet-hours")
    assert {
        'start: ["07:00", "19:30"]', 'start: ["19:30", "21:45"]',
    } == {f"{one.edits[0].path[-1]}: {one.edits[0].text}" for one in found.tried}  # fmt: skip
    assert all(one.mends for one in found.tried)


def test_a_flush_on_two_days_is_let_run_on_every_day():
    """On Monday and Thursday alone water stands for 3 or 4 days; another hour of those days is not enough."""
    changed = text(
        'start: ["07:30", "19:30"], lasts: 45 s', 'start: ["07:30"], days: [Mon, Thu], lasts: 45 s'
    )
    found = tried(changed, "stale-water")
    first, *others = found.tried
    assert "let line flush run on every day" == first.said
    assert first.mends
    assert 24.0 == pytest.approx(first.oldest_water_h, abs=0.1)  # once a day
    assert edited(changed, first.edits) == changed.replace("days: [Mon, Thu], ", "")
    both = next(one for one in others if "on every day, at" in one.said)
    assert both.mends
    assert edited(changed, both.edits).count('start: ["07:30", "19:30"], lasts: 45 s') == 1
    longer = next(one for one in others if "last 60 s" in one.said)
    assert not longer.gone, "longer flushes on the same days come as seldom"
    added = next(one for one in others if "add a line flush" in one.said)
    assert added.mends, "two more a day"
    assert 12.0 == pytest.approx(added.oldest_water_h, abs=0.5)


def test_a_filter_run_is_lengthened_to_the_turnovers_that_are_asked_for():
    """30 minutes a day are lengthened so that the filter passes what two turnovers need."""
    changed = text('start: ["03:00", "15:00"], lasts: 3 h', 'start: ["03:00"], lasts: 15 min')
    changed = changed.replace("heating: {with: [element], ", "# heating: {")
    scenario = load_text(changed, str(FILE), folder=FILE.parent)
    (change, *_) = schedule_changes(scenario, "too-few-turnovers", ["tub"])
    findings = simulate(
        load_text(edited(changed, change.edits), str(FILE), folder=FILE.parent), days=2
    ).findings
    assert "too-few-turnovers" in {f.rule for f in simulate(scenario, days=2).findings}
    assert "too-few-turnovers" not in {f.rule for f in findings}


def test_a_leg_that_no_flush_moves_gets_one_of_another_pump():
    """The jets' pump moves the benches; 24 h are allowed, so it starts twice."""
    changed = text("- {pump: jets, start", "- {pump: circulator, start")
    found = tried(changed, "never-flushed")
    (added,) = found.tried
    assert added.edits[0].adds
    assert (added.mends, 2) == (True, added.edits[0].text.count(":00"))


def test_what_is_tried_is_told_with_what_it_comes_to():
    """A row a change, in the order in which they were found to help."""
    found = tried(text('"07:30"', '"03:00"'), "quiet-hours")
    page = mending_page(found)
    (table,) = (block for block in page.blocks if isinstance(block, Table))
    assert [one.said for one in found.tried] == [row.cells[0] for row in table.rows]
    assert {"mended"} == {row.cells[1] for row in table.rows}
    assert any("2 of them mend it" in block.text for block in page.blocks if isinstance(block, Line))


def test_a_rule_for_which_nothing_is_tried_is_refused():
    """It says for which rules something is."""
    scenario = load_text(FILE.read_text(encoding="utf-8"), str(FILE), folder=FILE.parent)
    with pytest.raises(CycleSimError, match="stale-water"):
        mending(scenario, "", FILE, "room-floods", ["pump_room"], days=1)


def test_every_rule_has_a_key_that_is_explained():
    """For a thing of the kind that it is of, by a name of the starter's."""
    assert set(RULES) == set(_KEYS)
    for key in {key for keys in _KEYS.values() for key in keys}:
        assert explanation(key.format("main")).blocks, key


def test_findings_are_placed_in_drawing_and_file():
    """Alike ones together, with the key that mends them, as far as the plant has such a thing."""
    scenario = load_text(text("lasts: 45 s", "lasts: 15 s"), str(FILE), folder=FILE.parent)
    (found,) = placed(simulate(scenario, days=2).findings, scenario)
    assert (1, "flush-too-short", ("schedule.line_flushes",), "schedule") == (
        found.number, found.rule, found.keys, found.tries,
    )  # fmt: skip


def test_things_that_may_mend_are_named_one_by_one():
    """The plant has one diverter and no valve: a key of several things is that of each."""
    scenario = load(FILE.parent / "harbour-steps.yaml")
    found = placed(simulate(scenario, days=2).findings, scenario)
    (keys,) = {one.keys for one in found if one.rule == "left-without-flush"}
    assert keys == ("plant.diverters.seats",)
