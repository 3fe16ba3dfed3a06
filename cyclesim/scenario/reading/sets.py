"""`--set PATH=VALUE`: one key of the file changed for one run; `PATH=null` leaves it out.

A step `*` stands for every name or entry that is there: `plant.legs.*.insulation=40 mm`.
"""

from typing import Any, get_origin

from cyclesim.errors import Fault, shorten
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.forms.forms import Steps, did_you_mean
from cyclesim.scenario.text.refusals import annotation_at, keys_of, plain
from cyclesim.scenario.text.tree import KEY, Mark, Tree, dotted
from cyclesim.scenario.text.yaml_file import parse_text

FILE = "--set"
EVERY = "*"


def apply(tree: Tree, text: str, number: int) -> list[str]:
    """Put one PATH=VALUE into the tree, and tell which paths it changed; a fault's line is its number."""
    written, equals, value = text.partition("=")
    written = written.strip()
    if not equals or not written:
        tree.faults.append(
            Fault(
                FILE,
                number,
                1,
                "",
                f"'{shorten(text)}'",
                "expected PATH=VALUE",
                "e.g. plant.tub.water=1500 L",
            )
        )
        return []
    leaves_out = value.strip() == "null"
    changed = []
    for words in reversed(_spread(tree, written.split("."))):  # the last first: entries move up
        if leaves_out and EVERY in written and not _is_there(tree, words):
            continue
        path = _reach(tree, words, leaves_out)
        if path is None:
            continue
        changed.append(dotted(path))
        if leaves_out:
            continue
        part = parse_text(value.strip(" "), FILE, (number - 1, len(text) - len(value.lstrip(" "))))
        if part.value is None and not part.faults:
            part.faults.append(
                Fault(FILE, number, len(text) + 1, dotted(path), "nothing", "expected a value")
            )
        tree.marks.setdefault((*path, KEY), Mark(FILE, number, 1))
        tree.graft(path, part)
    if not changed:
        hint = did_you_mean(written, _paths(tree))
        found = f"'{shorten(written)}', a path that leads nowhere"
        expected = "expected the path of a key of the file"
        tree.faults.append(Fault(FILE, number, 1, "", found, expected, hint))
    return changed[::-1]


def _steps(words: list[str]) -> Steps:
    return tuple(int(word) if word.isdecimal() and len(word) < 6 else word for word in words)


def _is_there(tree: Tree, words: list[str]) -> bool:
    return bool(tree.get(_steps(words), default=EVERY) != EVERY)


def _spread(tree: Tree, words: list[str]) -> list[list[str]]:
    """The paths that these words mean: `*` is every name and entry that is there."""
    if EVERY not in words:
        return [words]
    at = words.index(EVERY)
    above = tree.get(_steps(words[:at]), default=None)
    names = list(above) if isinstance(above, dict) else range(len(above)) if isinstance(above, list) else ()
    return [more for name in names for more in _spread(tree, [*words[:at], str(name), *words[at + 1 :]])]


def _reach(tree: Tree, words: list[str], leaves_out: bool) -> Steps | None:
    """The steps to a key that is there or may be there; blocks on the way that are left out are made.

    One that *leaves_out* takes the key or entry out, as if nobody had written it, with any block made for it.
    """
    value: Any = tree.value
    path: Steps = ()
    first_made: tuple[dict[str, Any], str] | None = None
    for index, word in enumerate(words):
        last = index == len(words) - 1
        if isinstance(value, list) and word.isdecimal() and len(word) < 6 and int(word) < len(value):
            value, path = value[int(word)], (*path, int(word))
        elif isinstance(value, dict) and word in value:
            value, path = value[word], (*path, word)
        elif isinstance(value, dict):
            annotation = annotation_at(Scenario, path)
            by_name = last and get_origin(plain(annotation)) is dict
            if word not in keys_of(annotation) and not by_name:
                break
            block: dict[str, Any] = {}
            first_made = first_made or (value, word)
            value[word] = block
            value, path = block, (*path, word)
        else:
            break
    else:
        if leaves_out and first_made:
            del first_made[0][first_made[1]]
        elif leaves_out:
            tree.remove(path)
        return path
    if first_made:
        del first_made[0][first_made[1]]
    return None


def _paths(tree: Tree) -> set[str]:
    """Every path that is in the file or may be."""
    paths = {dotted(path) for path in tree.marks if path and path[-1] != KEY}
    for path in tree.marks:
        if isinstance(tree.get(path, default=None), dict):
            paths |= {dotted((*path, key)) for key in keys_of(annotation_at(Scenario, path))}
    return paths
