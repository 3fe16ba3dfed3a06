"""Small edits of a scenario's text: a value set, an entry added or taken out; every other byte as it was."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import NamedTuple

import yaml

from cyclesim.errors import shorten
from cyclesim.scenario.reading.rewrite import LOADER, RewriteError, end_of, line_start, no_aliases

_KEY = re.compile(r"[A-Za-z_][A-Za-z0-9_-]{0,79}")
_SIGNS = tuple("&*!|>%@`#?,]}")
"""What a typed value that begins so would mean to YAML, and to nobody who types it."""


class Edit(NamedTuple):
    """What is to stand at a path of keys and places in lists: *text*, or nothing where that is None.

    *adds*: the text becomes one more entry of the list there.
    """

    path: tuple[str | int, ...]
    text: str | None
    adds: bool = False


def edited(text: str, edits: Iterable[Edit]) -> str:
    """The text with these edits, one after another; blocks on the way that are left out are made.

    A value that YAML would take for something else is put in quotes, and one that stood in quotes keeps them.
    Raises RewriteError where the file itself has no place for one, or repeats it by an alias.
    """
    try:
        no_aliases(text)
        for edit in edits:
            text = _edited(text, edit)
    except (yaml.YAMLError, RecursionError):
        raise RewriteError("The file is no YAML as it stands: mend its text first.") from None
    return text


def _edited(text: str, edit: Edit) -> str:
    root = yaml.compose(text, Loader=LOADER)
    *above, last = edit.path
    parent, there = _reached(root, above)
    missing = above[there:]
    if edit.text is None:
        if missing:
            raise RewriteError(
                f"{_said(above)} is not in the file itself: change {_said(edit.path)} by hand."
            )
        return text if _at(parent, [last]) is None else _without(text, root, edit.path)
    flow = _in_flow(root, edit.path)
    if missing or (node := _at(parent, [last])) is None:
        value = _fitting(edit.text, flow=True)
        return _with_missing(text, parent, [*missing, last], f"[{value}]" if edit.adds else value, edit.path)
    if edit.adds:
        return _with_entry(text, node, _fitting(edit.text, flow))
    if _is_empty(node):  # "key:" with nothing behind it
        return f"{text[: node.start_mark.index]} {_fitting(edit.text, flow)}{text[node.start_mark.index :]}"
    value = _fitting(edit.text, flow, node.style if isinstance(node, yaml.ScalarNode) else None)
    end = end_of(node)
    if text[:end].endswith("\n"):  # of a text over several lines, whose last line end stays
        end -= 2 if text[:end].endswith("\r\n") else 1
    return text[: node.start_mark.index] + value + text[end:]


def _said(path: Iterable[str | int]) -> str:
    return shorten(".".join(map(str, path)))


def _reached(node: yaml.Node | None, path: Sequence[str | int]) -> tuple[yaml.Node | None, int]:
    """The last node that is there on a path, and how many steps lead to it."""
    for k, step in enumerate(path):
        inner = _at(node, [step])
        if inner is None or _is_empty(inner):
            return node, k
        node = inner
    return node, len(path)


def _is_empty(node: yaml.Node) -> bool:
    return isinstance(node, yaml.ScalarNode) and not node.value and not node.style


def _at(node: yaml.Node | None, path: Iterable[str | int]) -> yaml.Node | None:
    for step in path:
        if isinstance(node, yaml.MappingNode):
            node = next((value for key, value in node.value if key.value == str(step)), None)
        elif isinstance(node, yaml.SequenceNode) and isinstance(step, int) and step < len(node.value):
            node = node.value[step]
        else:
            return None
    return node


def _in_flow(node: yaml.Node | None, path: Iterable[str | int]) -> bool:
    """Whether what stands at a path stands within brackets."""
    for step in path:
        if isinstance(node, yaml.CollectionNode) and node.flow_style:
            return True
        node = _at(node, [step])
    return False


def _fitting(text: str, flow: bool, style: str | None = None) -> str:
    """A value as it can stand there: as it is, where YAML takes all of it for one value; else in quotes.

    *flow*: it stands within brackets. *style*: the sign of the quotes in which the old one stood.
    """
    text = text.strip()
    if any("\ud800" <= sign <= "\udfff" for sign in text):
        raise RewriteError("found a sign that no text has: write it anew by hand.")
    whole = text.isprintable() and _is_one_value(text, flow)
    if whole and (style not in ("'", '"') or text[0] in "[{'\""):
        return text
    if style == "'" and text.isprintable():
        return "'" + text.replace("'", "''") + "'"
    return '"' + "".join(map(_escaped, text)) + '"'


def _escaped(sign: str) -> str:
    """A sign as it stands between double quotes."""
    if sign in '"\\':
        return f"\\{sign}"
    return sign if sign.isprintable() else f"\\U{ord(sign):08X}" if sign != "\n" else "\\n"


def _is_one_value(text: str, flow: bool) -> bool:
    if not text or text.startswith(_SIGNS):
        return False
    start, end = ("{k: ", "}") if flow else ("k: ", "\n")
    try:
        root = yaml.compose(start + text + end, Loader=LOADER)
        no_aliases(text)
    except (yaml.YAMLError, RewriteError, RecursionError):
        return False
    if not isinstance(root, yaml.MappingNode) or len(root.value) != 1:
        return False
    value = root.value[0][1]
    return value.start_mark.index == len(start) and end_of(value) == len(start) + len(text)


def _with_missing(
    text: str, parent: yaml.Node | None, keys: Sequence[str | int], value: str, path: Sequence[str | int]
) -> str:
    """One more key of a block, as its last, with a block for each key between."""
    for key in keys:
        if not isinstance(key, str) or not _KEY.fullmatch(key):
            raise RewriteError(f"{_said(path)} is not in the file itself, and cannot be made: {key}.")
    if isinstance(parent, yaml.ScalarNode) and not _is_empty(parent):
        above = _said(path[: len(path) - len(keys)])
        raise RewriteError(f"{above} is one value, '{shorten(parent.value)}': change it as a whole, by hand.")
    first, *inner = keys
    for key in reversed(inner):
        value = f"{{{key}: {value}}}"
    if isinstance(parent, yaml.MappingNode) and (empty := _at(parent, [first])) is not None:
        return f"{text[: empty.start_mark.index]} {value}{text[empty.start_mark.index :]}"
    return _with_key(text, parent, str(first), value)


def _with_key(text: str, parent: yaml.Node | None, key: str, value: str) -> str:
    """One more key of a mapping, as its last."""
    if not isinstance(parent, yaml.MappingNode):
        raise RewriteError(f"the file has nothing beside which {key} could stand: write it by hand.")
    if not parent.value:
        at = parent.start_mark.index + 1
        return f"{text[:at]}{key}: {value}{text[at:]}"
    end = end_of(parent.value[-1][1])
    if parent.flow_style:
        return f"{text[:end]}, {key}: {value}{text[end:]}"
    return _new_line(text, end, " " * parent.start_mark.column + f"{key}: {value}")


def _with_entry(text: str, node: yaml.Node, value: str) -> str:
    """One more entry of a list, as its last; what stands there for a list of one becomes a list."""
    if not isinstance(node, yaml.SequenceNode):
        start, end = node.start_mark.index, end_of(node)
        if "\n" in text[start:end] or _is_empty(node):
            raise RewriteError("there is no list to add to: write it by hand.")
        return f"{text[:start]}[{text[start:end]}, {value}]{text[end:]}"
    if node.flow_style:
        at = end_of(node.value[-1]) if node.value else node.start_mark.index + 1
        return f"{text[:at]}{', ' if node.value else ''}{value}{text[at:]}"
    return _new_line(text, end_of(node.value[-1]), " " * node.start_mark.column + f"- {value}")


def _new_line(text: str, after: int, line: str) -> str:
    """A line more, behind the one in which something ends."""
    newline = "\r\n" if "\r\n" in text else "\n"
    at = after - 1 if text[:after].endswith("\n") else text.find("\n", after)
    if at < 0:
        return f"{text}{newline}{line}{newline}"
    return f"{text[: at + 1]}{line}{newline}{text[at + 1 :]}"


def _without(text: str, root: yaml.Node | None, path: Sequence[str | int]) -> str:
    """A key with its value, or an entry of a list, taken out; with the block or list that would be empty."""
    *above, step = path
    parent = _at(root, above)
    if isinstance(parent, yaml.MappingNode):
        entries = [(key.start_mark.index, end_of(value), key.value) for key, value in parent.value]
    else:
        assert isinstance(parent, yaml.SequenceNode)  # in which it stands
        entries = [(one.start_mark.index, end_of(one), k) for k, one in enumerate(parent.value)]
    if len(entries) == 1:
        if not above:
            raise RewriteError(f"{step} is all that stands there: take it out by hand.")
        return _without(text, root, above)
    k = next(k for k, entry in enumerate(entries) if entry[2] == step)
    start, end, _ = entries[k]
    if parent.flow_style:
        start, end = (start, entries[k + 1][0]) if k + 1 < len(entries) else (entries[k - 1][1], end)
        return text[:start] + text[end:]
    begins = line_start(text, start)
    own = "- " if isinstance(parent, yaml.SequenceNode) else ""
    if text[begins:start].strip() != own.strip():  # behind the dash or the key of what it is in
        return text[:start] + text[entries[k + 1][0] :]
    stop = end - 1 if text[:end].endswith("\n") else text.find("\n", end)
    return text[:begins] + ("" if stop < 0 else text[stop + 1 :])
