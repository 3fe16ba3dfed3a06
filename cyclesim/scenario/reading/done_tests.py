"""Commissioning tests that were done: a copy of what `papers --json` writes, filled in by a person."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from pathlib import Path
from typing import Any, NamedTuple

from cyclesim.errors import Fault, InputError
from cyclesim.scenario.forms.forms import RefusedError, Steps, did_you_mean
from cyclesim.scenario.forms.times import read_date
from cyclesim.scenario.text.refusals import quoted
from cyclesim.scenario.text.tree import KEY, Tree
from cyclesim.scenario.text.yaml_file import MAX_BYTES, parse_text, read_text

_LONGEST = 200
FILLED = ("as_expected", "reading", "by", "when")
"""What a person fills in; all of it stays empty where a test is not done."""


class DoneTest(NamedTuple):
    """What somebody found when a test was done."""

    as_expected: bool
    reading: str
    by: str
    when: str
    """An ISO date."""


def read_done_tests(path: Path, known: Collection[str], fingerprint: str) -> dict[str, DoneTest]:
    """The tests of a file that were done, by their names; *known* are those that there are.

    *fingerprint* is that of the scenario now: tests of another plant are refused. Raises InputError with
    every fault of the file.
    """
    due = "expected a filled-in copy of what papers --json writes, e.g. tests.yaml"
    text = read_text(path, str(path), due, MAX_BYTES, (".yaml", ".yml", ".json"))
    tree = Tree(faults=[text]) if isinstance(text, Fault) else parse_text(text, str(path))
    done, faults = dict[str, DoneTest](), list(tree.faults)
    if not faults:
        faults += _head(tree, fingerprint)
    if not faults:
        for k, entry in enumerate(tree.value["tests"]):
            one, wrong = _one(tree, ("tests", k), entry, known, done)
            faults += wrong
            if one is not None:
                done[str(entry["id"])] = one
    if faults:
        raise InputError(*sorted(set(faults)))
    return done


def _head(tree: Tree, fingerprint: str) -> Iterator[Fault]:
    due = "expected a filled-in copy of what cyclesim papers FILE --json tests.yaml writes"
    value = tree.value if isinstance(tree.value, dict) else {}
    if not isinstance(value.get("tests"), list):
        yield tree.fault((), "no list of tests", due)
    elif value.get("fingerprint") != fingerprint:
        at: Steps = ("fingerprint",) if "fingerprint" in value else ()
        found = quoted(at, tree, "the fingerprint of another file") if at else "no fingerprint"
        hint = f"the scenario's is {fingerprint}: it has changed, and the tests are done anew"
        yield tree.fault(at, found, "expected tests of this very scenario", hint)


def _one(
    tree: Tree, path: Steps, entry: Any, known: Collection[str], done: Collection[str]
) -> tuple[DoneTest | None, list[Fault]]:
    """One test, or None where nothing is filled in; and what is wrong with it."""
    if not isinstance(entry, dict) or not isinstance(entry.get("id"), str):
        return None, [tree.fault(path, quoted(path, tree), "expected a test with its id")]
    name, faults = entry["id"], list[Fault]()

    def no(key: str, what: str, allowed: str, hint: str = "") -> None:
        at = (*path, key)
        mark = tree.marks.get(at) or tree.mark((*path, KEY))
        faults.append(
            tree.fault(at, quoted(at, tree, what) if key in entry else what, allowed, hint, at=mark)
        )

    if name not in known:
        no("id", "no test of this plant", "expected the id of one of its tests", did_you_mean(name, known))
    elif name in done:
        no("id", "a test that stands here already", "each test stands once")
    filled = {key: entry.get(key, "") for key in FILLED}
    if all(value == "" for value in filled.values()):
        return None, faults
    expected = {"yes": True, "no": False}.get(str(filled["as_expected"]).lower(), filled["as_expected"])
    if not isinstance(expected, bool):
        no("as_expected", "neither", "expected true or false")
    texts = {}
    for key in ("reading", "by"):
        value = filled[key]
        texts[key] = str(value)
        if not isinstance(value, str | int | float) or isinstance(value, bool) or not str(value).strip():
            no(key, "nothing to read", "expected a text, e.g. 4 s or A. B.")
        elif len(str(value)) > _LONGEST:
            no(key, "a text that is too long", f"at most {_LONGEST} characters are allowed")
    when = str(filled["when"])
    try:
        when = read_date(when).isoformat()
    except RefusedError as error:
        no("when", error.what, error.allowed)
    return (None if faults else DoneTest(bool(expected), texts["reading"], texts["by"], when)), faults
