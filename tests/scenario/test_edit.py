"""Whatever is typed into whichever place of a file: that place alone says it, and all else is as it was."""

import copy
import json

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from cyclesim.scenario.reading.edit import Edit, edited
from cyclesim.scenario.reading.rewrite import LOADER, RewriteError, as_listed
from cyclesim.scenario.reading.starter import LIKE, starter_text
from tests.verify.test_apply import FILE

TEXTS = [FILE, *(starter_text(like) for like in (None, *LIKE))]
TYPED = st.one_of(
    st.text(st.characters(exclude_categories=["Cs"]), max_size=12),
    st.text(":#[]{},&*!|>'\"%@`- \n\tab1", max_size=8),
    st.sampled_from(["45 s", "[a, b]", "{a: 1, b: [2]}", '"07:30"', "main high", "null", "~", "- a", "a: b"]),
)


def read(text):
    """The file as the YAML library reads it, every value as its text."""
    return yaml.load(text, Loader=getattr(yaml, "CBaseLoader", yaml.BaseLoader))


def places(value, path=()):
    """Every place of a file, with what stands there."""
    if path:
        yield path, value
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, one in inner:
        yield from places(one, (*path, key))


PLACES = [(text, path, value) for text in TEXTS for path, value in places(read(text))]


def at(value, path):
    """What stands at a path."""
    for step in path:
        value = value[step]
    return value


def meant(typed):
    """What somebody means who types that: a list or block where it is one, else the text itself."""
    typed = typed.strip()
    if typed[:1] in ("[", "{", '"', "'"):
        try:
            value = yaml.load(f"k: {typed}\n", Loader=yaml.BaseLoader)["k"]
            if not isinstance(value, str) or json.dumps(value) == typed:
                return value
        except (yaml.YAMLError, TypeError, KeyError):
            pass
    return typed


@given(st.sampled_from(PLACES), TYPED)
@settings(max_examples=60, deadline=None)
def test_a_value_that_is_typed_stands_at_its_place_and_nothing_else_changes(place, typed):
    """The second way: the values that the YAML library reads before and after, and the comments."""
    text, path, value = place
    before = read(text)
    after_text = edited(text, [Edit(path, typed)])
    after = read(after_text)
    at(before, path[:-1])[path[-1]] = at(after, path)
    assert before == after, "nothing but the place"
    if meant(typed) == typed.strip() and typed.strip()[:1] not in ("'", '"'):
        assert at(after, path) == typed.strip()
    comments = [line for line in text.splitlines() if line.startswith("#")]
    assert isinstance(value, dict | list) or [c for c in comments if c in after_text] == comments


@given(st.sampled_from(PLACES), st.data())
@settings(max_examples=40, deadline=None)
def test_what_is_taken_out_is_gone_and_nothing_else_changes(place, data):
    """With the list or block that would be empty; then one more is added to a list that is left."""
    text, path, _ = place
    before = read(text)
    try:
        gone = edited(text, [Edit(path, None)])
    except RewriteError:
        assert len(path) == 1
        return
    after, expected = read(gone), copy.deepcopy(before)
    for end in range(len(path), 0, -1):
        del at(expected, path[: end - 1])[path[end - 1]]
        if at(expected, path[: end - 1]):
            break
    assert after == expected
    lists = [where for where, value in places(after) if isinstance(value, list)]
    if lists:
        where = data.draw(st.sampled_from(lists))
        more = read(edited(gone, [Edit(where, "{new: 1}", adds=True)]))
        at(expected, where).append({"new": "1"})
        assert more == expected


@pytest.mark.parametrize("text", TEXTS, ids=range(len(TEXTS)))
def test_both_loaders_see_the_same_places(text):
    """The quick one is built on another parser; where it is not there, the slow one takes its place."""

    def marks(node):
        yield node.start_mark.index, node.end_mark.index, type(node).__name__
        for inner in node.value if isinstance(node, yaml.CollectionNode) else ():
            for one in inner if isinstance(inner, tuple) else (inner,):
                yield from marks(one)

    signs = f"# ü 日本 😀\n{text}last: ü  # 😀\n"
    slow, quick = (yaml.compose(signs, Loader=loader) for loader in (yaml.SafeLoader, LOADER))
    assert list(marks(slow)) == list(marks(quick))
    listed = as_listed(signs)
    assert all(yaml.load(listed[path], Loader=yaml.BaseLoader) for path in listed if listed[path][:1] in "[{")
