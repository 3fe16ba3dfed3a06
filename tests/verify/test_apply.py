"""Mends written into a file: the text says what was tried, and every other byte is as it was."""

from difflib import unified_diff
from pathlib import Path

import pytest

from cyclesim.analysis.mends import changes
from cyclesim.analysis.rules import of_kind
from cyclesim.errors import CycleSimError, InputError
from cyclesim.scenario.reading.edit import Edit, edited
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.rewrite import RewriteError
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from cyclesim.verification.apply import applied
from cyclesim.verification.verifier import verify
from tests.verify.conftest import TEXT
from tests.verify.test_defects import PAIRS

FILE = """# a plant
plant:
  pumps:
    main: {low: 1, rest: 75 s}  # the old one
  heat_sources:
    element:
      volume: 2 L  # off its plate
      zone: room

interlocks:
  - {block: element, while: main high}  # the breaker
  - {keep: main low, after: element}
ranks: [a, b]
"""


@pytest.mark.parametrize(
    ("edit", "old", "new"),
    [
        (Edit(("plant", "pumps", "main", "rest"), "9 s"), "rest: 75 s", "rest: 9 s"),
        (Edit(("plant", "pumps", "main", "lock"), "true"), "rest: 75 s}", "rest: 75 s, lock: true}"),
        (
            Edit(("plant", "heat_sources", "element", "own"), "5 s"),
            "zone: room\n",
            "zone: room\n      own: 5 s\n",
        ),
        (
            Edit(("interlocks",), "{block: pump}", adds=True),
            "after: element}\n",
            "after: element}\n  - {block: pump}\n",
        ),
        (Edit(("ranks",), "c", adds=True), "[a, b]", "[a, b, c]"),
        (Edit(("ranks", 0), None), "[a, b]", "[b]"),
        (Edit(("interlocks", 0), None), "  - {block: element, while: main high}  # the breaker\n", ""),
        (
            Edit(("plant", "heat_sources", "element", "volume"), None),
            "      volume: 2 L  # off its plate\n",
            "",
        ),
        (Edit(("plant", "pumps", "main", "low"), None), "{low: 1, rest", "{rest"),
        (Edit(("plant", "pumps", "main", "rest"), None), "{low: 1, rest: 75 s}", "{low: 1}"),
        (Edit(("limits",), "[1]", adds=False), "ranks: [a, b]\n", "ranks: [a, b]\nlimits: [1]\n"),
        (Edit(("limits", "age"), "12 h"), "ranks: [a, b]\n", "ranks: [a, b]\nlimits: {age: 12 h}\n"),
        (
            Edit(("plant", "legs", "a", "zone"), "soil"),
            "zone: room\n",
            "zone: room\n  legs: {a: {zone: soil}}\n",
        ),
        (Edit(("care", "runs"), "{a: 1}", adds=True), "b]\n", "b]\ncare: {runs: [{a: 1}]}\n"),
        (Edit(("plant", "heat_sources", "element", "zone"), "a: b # c"), "zone: room", 'zone: "a: b # c"'),
        (Edit(("plant", "pumps", "main", "low"), "2, 3"), "low: 1", 'low: "2, 3"'),
        (Edit(("plant", "pumps", "main", "rest"), "*x"), "rest: 75 s", 'rest: "*x"'),
        (Edit(("plant", "heat_sources", "element", "zone"), "a\nb: c"), "zone: room", 'zone: "a\\nb: c"'),
        (Edit(("interlocks", 1, "keep"), " x "), "keep: main low", "keep: x"),
        (Edit(("plant", "pumps", "main", "low"), "[1, 2]"), "low: 1", "low: [1, 2]"),
        (Edit(("ranks", 1), None), "[a, b]", "[a]"),
    ],
)
def test_an_edit_changes_its_own_place_alone(edit, old, new):
    """By hand: what stands there before and after, with either kind of line end."""
    assert edited(FILE, [edit]) == FILE.replace(old, new)
    windows = FILE.replace("\n", "\r\n")
    assert edited(windows, [edit]) == windows.replace(old.replace("\n", "\r\n"), new.replace("\n", "\r\n"))


@pytest.mark.parametrize(
    ("text", "edit", "expected"),
    [
        ("a: '7'\n", Edit(("a",), "it's"), "a: 'it''s'\n"),
        ('a: "07:30"\n', Edit(("a",), "08:00"), 'a: "08:00"\n'),
        ('a: "07:30"\n', Edit(("a",), '["08:00"]'), 'a: ["08:00"]\n'),
        ("a:\nb: 1\n", Edit(("a",), "2"), "a: 2\nb: 1\n"),
        ("a:\nb: 1\n", Edit(("a", "c"), "2"), "a: {c: 2}\nb: 1\n"),
        ("a: {}\nb: 1\n", Edit(("a", "c"), "2"), "a: {c: 2}\nb: 1\n"),
        ("a: []\n", Edit(("a",), "2", adds=True), "a: [2]\n"),
        ("a: x\n", Edit(("a",), "y", adds=True), "a: [x, y]\n"),
        ("a: >\n  long\n  text\nb: 1\n", Edit(("a",), "short"), "a: short\nb: 1\n"),
        ("a: >\n  long\n  text\n", Edit(("b",), "1"), "a: >\n  long\n  text\nb: 1\n"),
        ("a: >\n  long\n\nb: 1\n", Edit(("a",), None), "b: 1\n"),
        ("a:\n  - b: 1\n    c: 2\n", Edit(("a", 0, "b"), None), "a:\n  - c: 2\n"),
        ("a:\n  - b: 1\n    c: 2\n", Edit(("a", 0, "c"), None), "a:\n  - b: 1\n"),
        ("a:\n  - b: 1\nd: 2\n", Edit(("a", 0, "b"), None), "d: 2\n"),
        ("a:\n  - b\n  # why\n  - c\n", Edit(("a", 1), None), "a:\n  - b\n  # why\n"),
        ("- - a\n  - b\n", Edit((0, 0), None), "- - b\n"),
        ("a:\n  b: 1", Edit(("a", "c"), "2"), "a:\n  b: 1\n  c: 2\n"),
        ("# 日本 😀\na: ü  # ü\n", Edit(("a",), "é"), "# 日本 😀\na: é  # ü\n"),
    ],
)
def test_an_edit_fits_what_stands_there(text, edit, expected):
    """By hand: quotes stay, what was left out is made, what would be empty goes, texts over several lines."""
    assert expected == edited(text, [edit])


def test_an_edit_without_its_place_is_refused():
    """A part in another file, an alias, the last entry: to be changed by hand."""
    for text, edit in (
        ("plant: elsewhere.yaml\n", Edit(("plant", "pumps", "main", "rest"), "9 s")),
        ("a: &x {b: 1}\nc: *x\n", Edit(("a", "b"), "2")),
        ("a: {b: 1}\n", Edit(("a", "b"), None)),
        ("a: [1\n", Edit(("a",), "2")),
        ("", Edit(("a",), "2")),
    ):
        with pytest.raises(RewriteError, match=r"by hand|write them out|no YAML"):
            edited(text, [edit])


def told(scenario):
    """All that a scenario says, whatever the order of its interlocks."""
    interlocks = tuple(sorted(scenario.interlocks, key=repr))
    return repr(scenario.model_copy(update={"interlocks": interlocks}))


@pytest.mark.parametrize("pair", PAIRS.values(), ids=PAIRS)
def test_every_mend_says_in_the_text_what_was_tried(pair):
    """Each change of the catalogue, read back from the file, is the change; two lines differ at most."""
    text = TEXT
    for old, new in pair.defect:
        text = text.replace(old, new)
    scenario = load_text(text, "plant.yaml")
    plant, programme = Assembly(scenario), Programme(scenario)
    rule = of_kind("state")[pair.rule]
    about = next(subject for subject in rule.subjects(plant, programme) if subject.name == pair.subject)
    written = 0
    for change in changes(rule, plant, programme, about):
        try:
            new = edited(text, change.edits) if change.edits else ""
            again = load_text(new, "plant.yaml") if new else None
        except (RewriteError, InputError):  # it is refused: to be made by hand
            continue
        if again:
            assert told(again) == told(change.of(scenario)), change.sentence
            diff = [line for line in unified_diff(text.split("\n"), new.split("\n"), n=0) if line[0] in "+-"]
            assert 3 <= len(diff) <= 2 + 2 * len(change.edits), change.sentence
            written += 1
    assert written or pair.rule in ("flush-onto-people", "dry-running"), "but for what is taken out by hand"


def test_a_mend_is_applied_and_verified_again(tmp_path):
    """The file with it breaks the rule no more; what was not enough, or is not there, is not written."""
    text = TEXT.replace("  - {block: element, unless: flow proven, for: 5 s}\n", "")
    found = verify(load_text(text, "plant.yaml"), rule="heat-without-flow")
    target = tmp_path / "new.yaml"
    holds = [k for k, (_, mend) in enumerate(found.tried, 1) if mend.holds]
    new, said = applied(found, holds[0], text, target)
    assert not verify(load_text(new, "new.yaml"), rule="heat-without-flow").is_broken
    assert "no modelled order then breaks heat-without-flow (element)" in said
    for number in (len(found.tried) + 1, *[k for k in range(1, len(found.tried) + 1) if k not in holds][:1]):
        with pytest.raises(CycleSimError, match=r"no mend|not enough"):
            applied(found, number, text, target)
    assert not Path(target).exists()
