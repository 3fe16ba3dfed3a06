"""Runs written into a file: what is told is changed, and nothing else."""

import difflib
from datetime import time
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cyclesim.scenario.blocks.schedule import Run
from cyclesim.scenario.reading.load import load, load_text
from cyclesim.scenario.reading.rewrite import RewriteError, with_runs, with_values

FILES = sorted((Path(__file__).parents[2] / "schedules").glob("*.yaml"))
NAMES = ("filter_runs", "line_flushes")


def daily(runs: tuple[Run, ...]) -> list[Run]:
    """Runs that start by the clock."""
    return [run for run in runs if run.after is None]


def made(pump: str, lasts: str, *starts: str) -> Run:
    """A run as a file has it."""
    return Run.model_validate({"pump": pump, "start": list(starts), "lasts": lasts})


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_the_same_runs_change_nothing(file: Path) -> None:
    """Not a byte."""
    text = file.read_text("utf-8")
    schedule = load(file).schedule
    assert text == with_runs(text, {name: daily(getattr(schedule, name)) for name in NAMES})


@settings(max_examples=40)
@given(st.data(), st.sampled_from(FILES))
def test_other_runs_are_read_back_and_all_else_stays(data: st.DataObject, file: Path) -> None:
    """Numbers, lengths, starts and pumps of runs drawn at random, in every shipped file."""
    text, before = file.read_text("utf-8"), load(file)
    pumps = [
        str(pump) if speed == "on" else f"{pump} {speed}"
        for pump, about in before.plant.pumps.items()
        for speed in about.speeds
    ]
    clock = st.times(min_value=time(0), max_value=time(23, 59)).map(lambda t: f"{t:%H:%M}")
    run = st.builds(
        made,
        st.sampled_from(pumps),
        st.integers(1, 50_000).map(lambda s: f"{s} s"),
        clock,
    )
    new = {name: data.draw(st.lists(run, max_size=3), label=name) for name in NAMES}
    changed = with_runs(text, new, note="as tuned")
    after = load_text(changed, folder=file.parent)
    for name in NAMES:
        kept = [one for one in getattr(before.schedule, name) if one.after is not None]
        told = [one.model_copy(update={"name": None}) for one in getattr(after.schedule, name)]
        kept = [one.model_copy(update={"name": None}) for one in kept]
        assert sorted(map(repr, [*new[name], *kept])) == sorted(map(repr, told))
    same = {"schedule": before.schedule.model_copy(update=dict.fromkeys(NAMES, ()))}
    assert before.model_copy(update=same) == after.model_copy(
        update={"schedule": after.schedule.model_copy(update=dict.fromkeys(NAMES, ()))}
    )
    comments = [line for line in text.splitlines() if line.lstrip().startswith("#")]
    found = [line for line in changed.splitlines() if line.lstrip().startswith("#")]
    assert 1 == found.count("# as tuned")
    found.remove("# as tuned")
    assert comments == found


HAND = """format: 1
schedule:  # told to the owner
  # the long run is at night
  filter_runs:
    - pump: main low  # quiet
      start: "03:00"
      lasts: 3 h    # as long as the tariff
    - {pump: main low, after: bathing, lasts: 2 h}
  line_flushes: [{pump: main high, start: ["07:30", "19:30"], lasts: 45 s}]
limits: {}
"""


def changed_lines(new: str) -> list[str]:
    """What a comparison of texts shows."""
    return [line for line in difflib.ndiff(HAND.splitlines(), new.splitlines()) if line[0] in "+-"]


def test_only_the_values_change_in_block_and_flow() -> None:
    """Comments beside them stay; hours stay hours where they are whole."""
    new = with_runs(
        HAND,
        {
            "filter_runs": [made("main low", "7200 s", "01:00")],
            "line_flushes": [made("main high", "60 s", "07:00", "21:00")],
        },
    )
    assert [
        '-       start: "03:00"',
        '+       start: "01:00"',
        "-       lasts: 3 h    # as long as the tariff",
        "+       lasts: 2 h    # as long as the tariff",
        '-   line_flushes: [{pump: main high, start: ["07:30", "19:30"], lasts: 45 s}]',
        '+   line_flushes: [{pump: main high, start: ["07:00", "21:00"], lasts: 60 s}]',
    ] == changed_lines(new)


def test_runs_are_added_and_taken_out() -> None:
    """A second filter run of another length; no flush at all."""
    runs = [made("main low", "7200 s", "01:00"), made("main low", "900 s", "13:00")]
    new = with_runs(HAND, {"filter_runs": runs, "line_flushes": []})
    assert '    - {pump: main low, start: ["13:00"], lasts: 15 min}\n' in new
    assert "  line_flushes: []\n" in new
    assert "after: bathing" in new
    gone = with_runs(HAND, {"filter_runs": [], "line_flushes": []})
    assert "03:00" not in gone
    assert "    - {pump: main low, after: bathing, lasts: 2 h}\n" in gone


def test_lists_that_are_not_there_are_put_in() -> None:
    """In a block and in a flow."""
    run = {"line_flushes": [made("jets", "45 s", "07:00")]}
    block = with_runs("schedule:\n    quiet_hours: {}\nlimits: {}\n", run)
    assert (
        "schedule:\n    line_flushes:\n"
        '      - {pump: jets, start: ["07:00"], lasts: 45 s}\n'
        "    quiet_hours: {}\nlimits: {}\n"
    ) == block
    flow = with_runs("schedule: {quiet_hours: {}}", run)
    assert 'schedule: {line_flushes: [{pump: jets, start: ["07:00"], lasts: 45 s}], quiet_hours: {}}' == flow


def test_ends_of_lines_stay_as_they_are() -> None:
    """A file from another system, and one without a last end of line."""
    runs = {"filter_runs": [made("main low", "3 h", "03:00"), made("main low", "1 h", "12:00")]}
    dos = with_runs(HAND.replace("\n", "\r\n"), runs)
    assert dos.count("\n") == dos.count("\r\n")
    last = with_runs(
        "schedule:\n  filter_runs:\n    - {pump: a, start: '03:00', lasts: 1 h}", {"filter_runs": []}
    )
    assert "schedule:\n  filter_runs: []" == last


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("schedule: plans/winter.yaml\n", "a file of its own"),
        ("schedule: {filter_runs: &a [], line_flushes: *a}\n", "aliases"),
        ("title: nothing\n", "a file of its own"),
    ],
)
def test_what_cannot_be_changed_is_refused(text: str, said: str) -> None:
    """By name, and not at all."""
    with pytest.raises(RewriteError, match=said):
        with_runs(text, {"filter_runs": []})


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_another_value_changes_its_line_alone(file: Path, newline: str) -> None:
    """The foam of the cover, with a note at the line's end; read back, nothing else is another."""
    text = file.read_text("utf-8").replace("\n", newline)
    path = "plant.tub.cover.foam"
    if "foam:" not in text:
        with pytest.raises(RewriteError, match="by hand"):
            with_values(text, {path: "21 mm"})
        return
    changed = with_values(text, {path: "21 mm"}, note="measured 2027-05-02")
    before, after = text.split("\n"), changed.split("\n")
    lines = [(old, new) for old, new in zip(before, after, strict=True) if old != new]
    assert 1 == len(lines)
    assert lines[0][1].rstrip("\r").endswith("measured 2027-05-02")
    assert changed.count("\r") == text.count("\r")
    wanted = load_text(text, folder=file.parent, sets=[f"{path}=21 mm"])
    assert wanted == load_text(changed, folder=file.parent)


def test_a_note_stands_behind_a_comment_that_is_there() -> None:
    """Also where a quoted text has the sign of one; two values of a line share a note."""
    text = 'a: {b: 1 m, c: "x # y", d: 2}  # as drawn\ne: 3'
    changed = with_values(text, {"a.b": "4 m", "a.d": "5", "e": "6"}, note="measured")
    assert 'a: {b: 4 m, c: "x # y", d: 5}  # as drawn; measured\ne: 6  # measured' == changed


def test_a_value_that_an_alias_repeats_is_left_alone() -> None:
    """One change would be two."""
    with pytest.raises(RewriteError, match="aliases"):
        with_values("a: &x {b: 1}\nc: *x", {"a.b": "2"})
