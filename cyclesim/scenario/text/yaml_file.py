"""YAML text to plain values with their places: YAML 1.2 scalars, bounded, nothing executed."""

import re
from contextlib import suppress
from pathlib import Path
from typing import Any

import yaml

from cyclesim.errors import Fault, shorten
from cyclesim.scenario.forms.forms import Steps, nearest
from cyclesim.scenario.text.tree import KEY, Mark, Tree
from cyclesim.units import WITH_COMMA

MAX_BYTES = 1_000_000
MAX_VALUES = 10_000
"""Thirty times the largest scenario that is shipped."""
MAX_DEPTH = 32
_HIDDEN = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069]")
"""Signs that a screen acts on and nobody sees: control codes, other line breaks, turns of direction."""


# The core scalars of YAML 1.2: no 60-based numbers, no yes/no/on/off, no octals, no dates.
_SCALARS = [
    ("null", re.compile(r"(~|null|Null|NULL|)\Z")),
    ("bool", re.compile(r"(true|True|TRUE|false|False|FALSE)\Z")),
    ("int", re.compile(r"[-+]?[0-9]+\Z")),
    ("float", re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?\Z")),
]


class _Loader(getattr(yaml, "CSafeLoader", yaml.SafeLoader)):  # type: ignore[misc]
    """Gives no node a tag of its own accord: a tag is one that the file writes."""

    def resolve(self, kind: Any, value: Any, implicit: Any) -> str:  # noqa: ARG002 - the library's own signature
        return ""


# What the YAML library says, and what a person can do about it.
_SYNTAX = [
    (r"tab character|'\\t'", "a tab", "YAML is indented with spaces"),
    (
        r"mapping values are not allowed",
        "a colon where none can stand",
        "check the indentation and the line before; put a text with ': ' in it in quotes",
    ),
    (
        r"did not find expected '-' indicator",
        "a line that is neither an entry nor further in",
        "every entry of a list starts with '- ' in the same column",
    ),
    (
        r"could not find expected ':'",
        "a line that is no key: value",
        "write key: value, with a space after the colon",
    ),
    (
        r"did not find expected ',' or '[}\]]'",
        "a bracket that is not closed",
        "close [ with ] and { with }, commas between",
    ),
    (
        r"did not find expected key",
        "a line that does not fit the ones above it",
        "check its indentation, brackets and quotes",
    ),
    (r"unknown escape", "an unknown escape", "use single quotes, or a double backslash"),
    (r"unexpected end of stream|quoted scalar", "a quote that is not closed", "close it with the same sign"),
    (
        r"undefined alias",
        "an alias for which there is no anchor",
        "write &name before the first use of *name",
    ),
    (r"cannot start any token", "a sign that cannot stand here", "put the text in quotes"),
    (r"expected a single document", "a second document", "a file is one document; remove the line ---"),
    (r"anchor", "a faulty anchor or alias", "write &name before the first use of *name"),
    (
        r"did not find expected node",
        "nothing, or a sign, where a value is expected",
        "check the brackets and commas",
    ),
    (r"nesting depth", "brackets nested too deep", f"at most {MAX_DEPTH} levels are allowed"),
]


_HIDDEN_REFUSED = ("signs that cannot be seen are not accepted", "write it anew by hand")


class _TooMuchError(Exception):
    """Stops the walk over a file that is not a scenario."""


class _Builder:
    def __init__(self, name: str, first: tuple[int, int] = (0, 0)) -> None:
        self.tree, self.name, self.first, self.values_built = Tree(), name, first, 0

    def mark(self, node: yaml.Node | yaml.Mark, text: str | None = None) -> Mark:
        position = node.start_mark if isinstance(node, yaml.Node) else node
        line, column = self.first
        if position.line == 0:
            return Mark(self.name, line + 1, position.column + column + 1, text)
        if column:  # a part of a longer text is one line: what is told as after it belongs to its start
            return Mark(self.name, line + 1, column + 1, text)
        return Mark(self.name, position.line + 1, position.column + 1, text)

    def refuse(self, node: yaml.Node, path: Steps, found: str, allowed: str, hint: str = "") -> None:
        self.tree.faults.append(self.tree.fault(path, found, allowed, hint, at=self.mark(node)))

    def build(self, node: yaml.Node, path: Steps) -> Any:
        self.values_built += 1
        text = node.value if isinstance(node, yaml.ScalarNode) else None
        self.tree.marks[path] = self.mark(node, text)
        if self.values_built > MAX_VALUES or len(path) > MAX_DEPTH:
            many = self.values_built > MAX_VALUES
            found = f"more than {MAX_VALUES} values" if many else f"more than {MAX_DEPTH} levels"
            self.refuse(
                node, path[:3], found, "a scenario is far smaller", "is an alias (*) repeated in itself?"
            )
            raise _TooMuchError
        if node.tag:
            self.tree.gone.add(path)
            tag = shorten(node.tag.replace("tag:yaml.org,2002:", "!!"))
            self.refuse(node, path, f"the tag '{tag}'", "tags are not accepted", "remove the word with !")
            return None
        if text is not None and _HIDDEN.search(text):
            self.tree.gone.add(path)
            self.refuse(node, path, f"'{shorten(text)}'", *_HIDDEN_REFUSED)
            return None
        if isinstance(node, yaml.MappingNode):
            return self.block(node, path)
        if not isinstance(node, yaml.ScalarNode):
            return [self.build(child, (*path, index)) for index, child in enumerate(node.value)]
        value = _scalar(node.value) if node.style in (None, "") else node.value
        if value is None and path:
            self.tree.gone.add(path)
            found = f"'{node.value}', nothing" if node.value else "nothing"
            self.refuse(node, path, found, "expected a value", "write one or leave the key out")
        return value

    def block(self, node: yaml.MappingNode, path: Steps) -> dict[str, Any]:
        out: dict[str, Any] = {}
        before: tuple[Steps, yaml.Node] | None = None
        for key, child in node.value:
            if before is not None and (written := _cut_at_comma(before[1], key, child)):
                what, hint = WITH_COMMA
                self.tree.gone.add(before[0])
                self.refuse(
                    before[1], before[0], f"'{shorten(written)}', {what}", "in { } a comma begins a key", hint
                )
                continue
            if not isinstance(key, yaml.ScalarNode) or key.tag:
                found = "a key with a tag" if key.tag else "a key that is a list or block"
                self.refuse(key, path, found, "a key is a plain word")
                continue
            word = str(key.value)
            if _HIDDEN.search(word):
                self.refuse(key, path, f"the key '{shorten(word)}'", *_HIDDEN_REFUSED)
                continue
            place = (*path, word)
            if word == "<<":
                self.refuse(
                    key, path, "a merge key '<<'", "merge keys are not accepted", "write the keys out"
                )
            elif word in out:
                first = self.tree.marks[(*place, KEY)].line
                self.refuse(
                    key,
                    place,
                    f"the key '{shorten(word)}' again",
                    "each key stands once",
                    f"the first is on line {first}",
                )
            else:
                self.tree.marks[(*place, KEY)] = self.mark(key)
                out[word] = self.build(child, place)
                before = place, child
        return out


def _cut_at_comma(value: yaml.Node, key: yaml.Node, after: yaml.Node) -> str:
    """The number that a decimal comma has made a value and the next key of, as `{foam: 0,06 m}`; or ""."""
    if not all(isinstance(node, yaml.ScalarNode) for node in (value, key, after)):
        return ""
    beside = key.start_mark.index == value.end_mark.index + 1
    cut = re.fullmatch(r"[-+]?\d+", value.value) and re.match(r"\d", key.value) and not after.value
    return f"{value.value},{key.value}" if beside and cut else ""


def _scalar(text: str) -> Any:
    kind = next((kind for kind, form in _SCALARS if form.match(text)), "str")
    if kind == "null":
        return None
    if kind == "bool":
        return text.lower() == "true"
    if kind == "int" and len(text) <= 18:
        return int(text)
    # a longer whole number is absurd anywhere; as a float it stays printable
    return float(text) if kind in ("int", "float") else text


def parse_text(text: str, name: str, first: tuple[int, int] = (0, 0)) -> Tree:
    """The tree of a YAML text; `first` shifts the places of a text that is part of a longer one."""
    builder = _Builder(name, first)
    tree = builder.tree
    tree.marks[()] = Mark(name, 1 + first[0], 1 + first[1])
    try:
        root = yaml.compose(text, Loader=_Loader)
        tree.value = builder.build(root, ()) if root is not None else None
    except _TooMuchError:
        tree.value = None
    except yaml.MarkedYAMLError as error:
        position = error.problem_mark or error.context_mark
        problem = " ".join(filter(None, (error.problem, error.context)))
        if "quoted scalar" in problem:
            position = error.context_mark or position  # where the quote opens, not where the file ends
        elif position and (opening := _left_open(text, position)):
            position, problem = opening, "did not find expected ',' or ']'"
        if (
            position
            and text.split("\n")[position.line : position.line + 1]
            and text.split("\n")[position.line][position.column :][:1] == "\t"
        ):
            problem = "tab character"
        tree.faults.append(_syntax(tree, problem, builder.mark(position) if position else None))
    except (yaml.YAMLError, RecursionError, UnicodeError) as error:
        before = text[: getattr(error, "position", 0) or 0]
        at_sign = Mark(name, before.count("\n") + 1 + first[0], len(before) - before.rfind("\n"))
        fault = tree.fault((), "a sign that no text has", "expected a text file in UTF-8", at=at_sign)
        tree.faults.append(fault)
    return tree


def _left_open(text: str, position: yaml.Mark) -> yaml.Mark | None:
    """The last bracket that is not closed, where nothing but comments comes after a place."""
    lines = text.split("\n")[position.line :]
    lines[:1] = [line[position.column :] for line in lines[:1]]
    if any(line.strip() and not line.lstrip().startswith("#") for line in lines):
        return None
    opened: list[yaml.Mark] = []
    with suppress(yaml.YAMLError):
        for token in yaml.scan(text, Loader=_Loader):
            if isinstance(token, yaml.FlowSequenceStartToken | yaml.FlowMappingStartToken):
                opened.append(token.start_mark)
            elif isinstance(token, yaml.FlowSequenceEndToken | yaml.FlowMappingEndToken) and opened:
                opened.pop()
    return opened[-1] if opened else None


def _syntax(tree: Tree, problem: str, mark: Mark | None) -> Fault:
    for form, found, hint in _SYNTAX:
        if re.search(form, problem):
            return tree.fault((), found, "this is not YAML", hint, at=mark)
    return tree.fault(
        (), "something that no scenario has", "this is not YAML", "is this the right file?", at=mark
    )


def read_file(path: Path, name: str) -> Tree:
    """The tree of a file; whatever is wrong with it is in the tree's faults."""
    text = read_text(path, name, "expected a scenario file, e.g. tub.yaml", MAX_BYTES, (".yaml", ".yml"))
    return Tree(faults=[text]) if isinstance(text, Fault) else parse_text(text, name)


def read_text(path: Path, name: str, due: str, most_bytes: int, suffixes: tuple[str, ...]) -> str | Fault:
    """The text of a file, or why there is none."""

    def fault(found: str, allowed: str, hint: str = "", line: int = 0, column: int = 0) -> Fault:
        return Fault(name, line, column, "", found, allowed, hint)

    try:
        if not path.is_file():
            what = "a folder" if path.is_dir() else "no ordinary file" if path.exists() else "no file"
            return fault(what, due, _file_meant(path, suffixes) if what == "no file" else "")
        with path.open("rb") as stream:
            data = stream.read(most_bytes + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "a name that no file can have"
        return fault(f"a file that cannot be read ({reason})", due.partition(",")[0])
    if len(data) > most_bytes:
        what = "a scenario" if most_bytes == MAX_BYTES else "such a file"
        return fault(
            f"more than {most_bytes // 1000} kB", f"{what} is far smaller", "is this the right file?"
        )
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        column = error.start - data.rfind(b"\n", 0, error.start)
        return fault(
            "bytes that are no text", "expected a text file in UTF-8", "save the file as UTF-8", line, column
        )


def _file_meant(path: Path, suffixes: tuple[str, ...]) -> str:
    """The file of this kind beside it whose name, without its ending, is nearest."""
    try:
        beside = {e.stem: e.name for e in sorted(path.parent.iterdir()) if e.suffix in suffixes}
    except OSError:
        return ""
    near = nearest(path.stem, beside)
    return f"did you mean '{beside[near]}'?" if near else ""
