"""A scenario's text with some values changed: comments, units, quotes and layout stay as they are elsewhere.

PyYAML tells where each value begins and ends; only that stretch of the text is put anew.

`--write` puts new text in the place of values at PyYAML's marks, so that comments, units and layout stay byte
for byte; the result is loaded and compared before it is written.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any, NamedTuple

import yaml

from cyclesim.errors import CycleSimError
from cyclesim.scenario.blocks.schedule import Run
from cyclesim.scenario.forms.fields import read_pump_speed
from cyclesim.scenario.forms.pumping import Pumping
from cyclesim.scenario.text.yaml_file import MAX_DEPTH
from cyclesim.units import parse

LOADER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
"""Ten times as fast where PyYAML was built with libyaml; its marks are the same."""


class RewriteError(CycleSimError):
    """A file that cannot be changed where it is to be changed."""


class _Change(NamedTuple):
    start: int
    end: int
    text: str


def text_of(file: Path) -> str:
    """What a file says, its line ends as they are; nothing where it cannot be read."""
    try:
        with file.open(encoding="utf-8-sig", newline="") as stream:
            return stream.read()
    except (OSError, UnicodeError):
        return ""


def as_listed(text: str) -> dict[tuple[str | int, ...], str]:
    """The text of every list and block within the file, by its path; nothing of what is no YAML."""
    found = dict[tuple[str | int, ...], str]()

    def walk(node: yaml.Node, path: tuple[str | int, ...]) -> None:
        if not isinstance(node, yaml.CollectionNode) or len(path) > MAX_DEPTH:
            return
        found[path] = text[node.start_mark.index : end_of(node)]
        for k, inner in enumerate(node.value):
            if isinstance(node, yaml.MappingNode):
                walk(inner[1], (*path, inner[0].value if isinstance(inner[0], yaml.ScalarNode) else k))
            else:
                walk(inner, (*path, k))

    with suppress(yaml.YAMLError, RecursionError):
        root = yaml.compose(text, Loader=LOADER)
        if root is not None:
            walk(root, ())
    return found


def with_runs(text: str, lists: Mapping[str, Sequence[Run]], note: str = "") -> str:
    """The text with other runs in its schedule; *lists* has the new `filter_runs` and `line_flushes`.

    Runs after bathing stay as they are and are not among the new ones. *note* becomes a comment above the
    schedule. Raises RewriteError where the schedule is in another file or repeats itself by aliases.
    """
    root = yaml.compose(text, Loader=yaml.SafeLoader)
    key_and_node = _value(root, "schedule") if isinstance(root, yaml.MappingNode) else None
    if key_and_node is None or not isinstance(key_and_node[1], yaml.MappingNode):
        raise RewriteError(
            "The schedule is in a file of its own: put it into the scenario's file to change it."
        )
    key, schedule = key_and_node
    assert isinstance(schedule, yaml.MappingNode)
    no_aliases(text)
    newline = "\r\n" if "\r\n" in text else "\n"
    changes = [
        change for name, runs in lists.items() for change in _list(text, schedule, name, runs, newline)
    ]
    if note:
        start = line_start(text, key.start_mark.index)
        changes.append(_Change(start, start, f"# {note}{newline}"))
    for change in sorted(changes, reverse=True):
        text = text[: change.start] + change.text + text[change.end :]
    return text


def with_values(text: str, values: Mapping[str, str], note: str = "") -> str:
    """The text with other values at these dotted keys, each with *note* as a comment at the end of its line.

    Raises RewriteError for a key that the file itself does not have, and for one that an alias repeats.
    """
    no_aliases(text)
    root = yaml.compose(text, Loader=yaml.SafeLoader)
    changes = [_Change(*_stretch(root, path), new) for path, new in values.items()]
    ends = {_comment_at(text, change.end, note) for change in changes} if note else set[_Change]()
    for change in sorted([*changes, *ends], reverse=True):
        text = text[: change.start] + change.text + text[change.end :]
    return text


def no_aliases(text: str) -> None:
    """Refuse a text in which one change would change several things."""
    if any(isinstance(event, yaml.AliasEvent) for event in yaml.parse(text, Loader=LOADER)):
        raise RewriteError("The file repeats parts of itself by aliases (*): write them out to change it.")


def _stretch(root: yaml.Node | None, path: str) -> tuple[int, int]:
    """Where the value of a dotted key begins and ends."""
    node, reached = root, list[str]()
    for step in path.split("."):
        reached.append(step)
        inner = _value(node, step) if isinstance(node, yaml.MappingNode) else None
        if inner is None:
            raise RewriteError(f"{'.'.join(reached)} is not in the file itself: write {path} by hand.")
        node = inner[1]
    assert node is not None  # a path has at least one step
    return node.start_mark.index, end_of(node)


def _comment_at(text: str, after: int, note: str) -> _Change:
    """The end of a value's line, where its note goes: behind a comment that is there, or as a new one."""
    line_end = text.find("\n", after)
    line_end = len(text) if line_end < 0 else line_end
    line_end -= text[:line_end].endswith("\r")
    start = line_start(text, after)
    marks = (token.end_mark.index for token in yaml.scan(text, Loader=yaml.SafeLoader))
    code_end = max((index for index in marks if start < index <= line_end), default=after)
    commented = "#" in text[code_end:line_end]
    return _Change(line_end, line_end, f"; {note}" if commented else f"  # {note}")


def _value(node: yaml.MappingNode, name: str) -> tuple[yaml.Node, yaml.Node] | None:
    return next(((key, value) for key, value in node.value if key.value == name), None)


def _list(
    text: str, schedule: yaml.MappingNode, name: str, runs: Sequence[Run], newline: str
) -> list[_Change]:
    """What changes in one list of runs."""
    key_and_node = _value(schedule, name)
    if key_and_node is None:
        return [_new_list(text, schedule, name, runs, newline)] if runs else []
    key, node = key_and_node
    if not isinstance(node, yaml.SequenceNode):
        raise RewriteError(f"schedule.{name} is no list in the file.")
    after_bathing = [entry for entry in node.value if _value(entry, "after")]
    by_clock = [entry for entry in node.value if not _value(entry, "after")]
    pairs, unmatched, new_runs = _matched(by_clock, runs)
    changes = [change for entry, run in pairs for change in _entry(entry, run)]
    if not runs and not after_bathing:
        return [_Change(key.end_mark.index, end_of(node), ": []")]
    if node.flow_style:
        if not unmatched and not new_runs:
            return changes
        parts = [text[entry.start_mark.index : end_of(entry)] for entry in after_bathing]
        whole = ", ".join([*(_written(run) for run in runs), *parts])
        return [_Change(node.start_mark.index, end_of(node), f"[{whole}]")]
    for entry in unmatched:
        start = line_start(text, entry.start_mark.index)
        after = text.find("\n", end_of(entry))
        changes.append(_Change(start, len(text) if after < 0 else after + 1, ""))
    if new_runs:
        first = node.value[0]
        start = line_start(text, first.start_mark.index)
        dash = text[start : first.start_mark.index]  # the indent and "- " of the list's own
        lines = "".join(f"{dash}{_written(run)}{newline}" for run in new_runs)
        changes.append(_Change(start, start, lines))
    return changes


def _matched(
    entries: list[yaml.MappingNode], runs: Sequence[Run]
) -> tuple[list[tuple[yaml.MappingNode, Run]], list[yaml.MappingNode], list[Run]]:
    """Entries with the runs that take their place, of the same pump first; entries left over; runs to add."""
    free, pairs, new_runs = list(entries), [], []
    for run in runs:
        same = [entry for entry in free if _pumping(entry) == run.pumping]
        other = [entry for entry in free if _pumping(entry).names == run.pumping.names]
        chosen = next(iter(same or other), None)
        if chosen is None:
            new_runs.append(run)
        else:
            free.remove(chosen)
            pairs.append((chosen, run))
    return pairs, free, new_runs


def _pumping(entry: yaml.MappingNode) -> Pumping:
    """What an entry that could be read says of its pumps."""
    found = {key: pair[1] for key in ("pump", "pumps", "stagger", "in_turn") if (pair := _value(entry, key))}
    texts = found["pumps"].value if "pumps" in found else [found["pump"]]
    stagger_s = parse(str(found["stagger"].value), "time") if "stagger" in found else 0.0
    in_turn = "in_turn" in found and found["in_turn"].value == "true"
    return Pumping(tuple(read_pump_speed(str(text.value)) for text in texts), round(stagger_s), in_turn)


def _entry(entry: yaml.MappingNode, run: Run) -> list[_Change]:
    """One entry's new start, length and pump; one that tells days, which a daily run has not, anew."""
    alike, alone = _pumping(entry) == run.pumping, run.pump is not None and bool(_value(entry, "pump"))
    if _value(entry, "days") or _value(entry, "repeats") or not (alike or alone):
        return [_Change(entry.start_mark.index, end_of(entry), _written(run))]
    changes, lasts_s = [], round(run.lasts_s)
    if not alike:
        node = _node_of(entry, "pump")
        changes.append(_Change(node.start_mark.index, end_of(node), str(run.pumping)))
    node = _node_of(entry, "lasts")
    if parse(str(node.value), "time") != lasts_s:
        new = in_unit_of(str(node.value), lasts_s)
        changes.append(_Change(node.start_mark.index, end_of(node), new))
    node = _node_of(entry, "start")
    before = [clock.value for clock in node.value] if isinstance(node, yaml.SequenceNode) else [node.value]
    if before != _clocks(run):
        clocks = [f'"{clock}"' for clock in _clocks(run)]
        alone = not isinstance(node, yaml.SequenceNode) and len(clocks) == 1
        new = clocks[0] if alone else f"[{', '.join(clocks)}]"
        if isinstance(node, yaml.SequenceNode) and not node.flow_style:  # one clock a line
            return [_Change(entry.start_mark.index, end_of(entry), _written(run))]
        changes.append(_Change(node.start_mark.index, end_of(node), new))
    return changes


def _node_of(entry: yaml.MappingNode, name: str) -> yaml.Node:
    key_and_node = _value(entry, name)
    assert key_and_node is not None, name  # a run that has been read has them all
    return key_and_node[1]


def _clocks(run: Run) -> list[str]:
    return [f"{clock:%H:%M}" for clock in run.start or ()]


def _written(run: Run) -> str:
    """A run as an entry of its own."""
    clocks = ", ".join(f'"{clock}"' for clock in _clocks(run))
    name = f", name: {run.name}" if run.name and re.fullmatch(r"[A-Za-z][\w ]*", run.name) else ""
    lasts = in_unit_of("", round(run.lasts_s))
    return f"{{{run.pumping.written}, start: [{clocks}], lasts: {lasts}{name}}}"


def in_unit_of(written: str, seconds: int) -> str:
    """A time in the unit that another was written in, if it is whole in it, else in the one that fits.

    >>> in_unit_of("45 s", 60), in_unit_of("3 h", 7200), in_unit_of("3 h", 1800), in_unit_of("", 5400)
    ('60 s', '2 h', '30 min', '90 min')
    """
    match = re.fullmatch(r"\s*[\d.]+( ?)(s|min|h)\s*", written)
    sizes = {"s": 1, "min": 60, "h": 3600}
    if match and seconds % sizes[match[2]] == 0:
        return f"{seconds // sizes[match[2]]}{match[1]}{match[2]}"
    unit = "h" if seconds % 3600 == 0 else "min" if seconds % 60 == 0 and seconds > 60 else "s"
    return f"{seconds // sizes[unit]} {unit}"


def _new_list(text: str, schedule: yaml.MappingNode, name: str, runs: Sequence[Run], newline: str) -> _Change:
    """A list that the schedule did not have, as its first key."""
    begins = schedule.start_mark.index
    if schedule.flow_style:
        entries = ", ".join(map(_written, runs))
        return _Change(begins + 1, begins + 1, f"{name}: [{entries}]" + (", " if schedule.value else ""))
    start = line_start(text, begins)
    indent = text[start:begins]
    lines = "".join(f"{indent}  - {_written(run)}{newline}" for run in runs)
    return _Change(start, start, f"{indent}{name}:{newline}{lines}")


def line_start(text: str, index: int) -> int:
    """Where the line begins in which a place lies."""
    return text.rfind("\n", 0, index) + 1


def end_of(node: yaml.Node) -> int:
    """Where a value's own text ends; PyYAML has a block end where the next thing begins."""
    if not isinstance(node, yaml.CollectionNode) or node.flow_style or not node.value:
        end: int = node.end_mark.index
        return end
    last = node.value[-1]
    return end_of(last[1] if isinstance(node, yaml.MappingNode) else last)
