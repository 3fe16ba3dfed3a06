"""What the validation library reports, turned into faults in a tub builder's words."""

import re
from collections.abc import Iterator
from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError

from cyclesim.errors import Fault, shorten
from cyclesim.scenario.forms.forms import (
    Count,
    Form,
    Quantity,
    RefusedError,
    SeveralError,
    Steps,
    Text,
    did_you_mean,
    one_of,
    what_is,
)
from cyclesim.scenario.text.tree import KEY, Tree

TAGS = (
    "<none>",
    "<cover>",
    "<block>",
    "<keep>",
    "<climate>",
    "<monthly>",
    "<weatherfile>",
    "<tariff>",
    "<pricefile>",
    "<electric>",
    "<heatpump>",
    "<boiler>",
    "<wood>",
    "<solar>",
    "<gauge>",
    "<flowmeter>",
    "<bucket>",
    "<arrival>",
    "<amps>",
    "<watts>",
    "<warmup>",
    "<cooling>",
    "<energy>",
    "<running>",
)
"""Steps that the models put into a path to tell alternatives apart."""

RENAMED = {"air_purges": "air_line_flushes"}
"""Keys that had another name before."""


def explain(error: ValidationError, tree: Tree, root: Any) -> Iterator[Fault]:
    """One fault for each thing that is wrong, at its place in the files."""
    for detail in error.errors(include_url=False):
        cause = detail.get("ctx", {}).get("error")
        refusals = cause.refusals if isinstance(cause, SeveralError) else (cause,)
        yield from (_fault(dict(detail), refusal, tree, root) for refusal in refusals)


def _fault(detail: dict[str, Any], refusal: Any, tree: Tree, root: Any) -> Fault:
    loc: Steps = tuple(detail["loc"])
    path = _written(tuple(step for step in loc if step not in TAGS), tree)
    match detail["type"]:
        case "missing":
            return _missing(
                (*path, loc[-1]) if path[-1:] != loc[-1:] else path, annotation_at(root, loc), tree
            )
        case "extra_forbidden":
            keys = keys_of(annotation_at(root, loc[:-1]))
            word, path = shorten(str(loc[-1])), (*path[: len(path) - (loc[-1] not in TAGS)], loc[-1])
            hint = f"it is now called {RENAMED[word]}" if word in RENAMED else did_you_mean(word, keys)
            return tree.fault(
                path,
                f"an unknown key '{word}'",
                f"keys here are {', '.join(keys)}",
                hint,
                at=tree.mark((*path, KEY)),
            )
        case "literal_error":
            known = [
                word or number
                for word, number in re.findall(r"'([^']*)'|\b(\d+)\b", detail["ctx"]["expected"])
            ]
            return _unknown_key(path, known, tree) if loc[-1] == "[key]" else _word(path, known, tree)
        case "string_too_long" | "string_too_short":
            return tree.fault(path, quoted(path, tree), "a text that is too long or empty is not accepted")
    if isinstance(refusal, RefusedError):
        path = (*path, *refusal.at)
        mark = tree.marks.get(path) or tree.marks.get((*path[:-1], KEY)) or tree.mark(path)
        if path and path[-1] == KEY:
            found = f"'{shorten(str(path[-2]))}', {refusal.what}"
        elif refusal.what:
            found = quoted(path, tree, refusal.what)
        else:
            found = _present(path, tree)
        return tree.fault(path, found, refusal.allowed, refusal.hint, at=mark)
    shapes = {
        "dict_type": "a block of keys",
        "list_type": "a list",
        "tuple_type": "a list",
        "string_type": "a text",
        "model_type": "a block of keys",
        "model_attributes_type": "a block of keys",
    }
    shape = shapes.get(detail["type"], "something else")
    hint = "put it in quotes" if shape == "a text" else _keys_hint(annotation_at(root, loc))
    return tree.fault(path, quoted(path, tree), f"expected {shape}", hint)


def _written(path: Steps, tree: Tree) -> Steps:
    """The path as the file has it: one entry may stand for a list of one, one price for a tariff."""
    for end in range(1, len(path)):
        above = tree.get(path[:end], default=None)
        if above is not None and not isinstance(above, list | dict):
            return path[:end]
    return path


def _keys_hint(annotation: Any) -> str:
    keys = keys_of(annotation)
    return f"its keys are {', '.join(keys)}" if keys else ""


def quoted(path: Steps, tree: Tree, what: str = "") -> str:
    """What stands at this path, as written, and what that is."""
    try:
        value = tree.get(path)
    except KeyError:
        return what or "nothing"
    what = what or what_is(value)
    mark = tree.marks.get(path)
    if isinstance(value, list | dict) or mark is None or mark.text is None:
        return what
    return f"'{shorten(mark.text)}', {what}"


def _present(path: Steps, tree: Tree) -> str:
    """What a refusal of a whole block found: the keys that it has, or the value."""
    try:
        value = tree.get(path)
    except KeyError:
        return "nothing"
    if isinstance(value, dict):
        return f"the keys {', '.join(shorten(str(key)) for key in value)}" if value else "an empty block"
    mark = tree.marks.get(path)
    return f"'{shorten(mark.text)}'" if mark and mark.text is not None else "a list that does not fit"


def _missing(path: Steps, annotation: Any, tree: Tree) -> Fault:
    mark = tree.marks.get((*path[:-1], KEY)) or tree.mark(path[:-1])
    zones = tree.get(("place", "zones"), default=None)
    due = _due(annotation, path[-1]) or f"expected {path[-1]}"
    if path[-1] == "zone" and isinstance(zones, dict):
        due = f"expected a zone: {one_of([*map(shorten, map(str, zones)), 'outdoors'])}"
    return tree.fault(path, "nothing", due, at=mark)


def _due(annotation: Any, key: object) -> str:
    """What is expected of this type, in words."""
    for form in _forms(annotation):
        if isinstance(form, Quantity | Text):
            return form.due
        if isinstance(form, Count):
            return f"expected a number from {form.low:g} to {form.high:g}"
        if isinstance(form, Form):
            return "expected a list"
    if plain(annotation) is str:
        return "expected a text"
    if get_origin(annotation) is Literal:
        return f"expected {key}: {one_of(get_args(annotation))}"
    keys = keys_of(annotation)
    return f"expected a block with {', '.join(keys)}" if keys else ""


def _forms(annotation: Any) -> list[Any]:
    forms = []
    if get_origin(annotation) is Annotated:
        forms += annotation.__metadata__
        annotation = annotation.__origin__
    if get_origin(annotation) in (Union, UnionType):
        for arg in get_args(annotation):
            forms += _forms(arg)
    return forms


def _unknown_key(path: Steps, known: list[str], tree: Tree) -> Fault:
    word = shorten(str(path[-1]))
    mark = tree.mark((*path, KEY))
    return tree.fault(
        path, f"an unknown name '{word}'", f"expected {one_of(known)}", did_you_mean(word, known), at=mark
    )


def _word(path: Steps, known: list[str], tree: Tree) -> Fault:
    text = tree.get(path, default=None)
    hint = did_you_mean(text, known) if isinstance(text, str) else ""
    what = "an unknown word" if isinstance(text, str) else ""
    return tree.fault(path, quoted(path, tree, what), f"expected {one_of(known)}", hint)


def models_in(annotation: Any) -> list[type[BaseModel]]:
    """The models that may stand at this type."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    if get_origin(annotation) is Annotated:
        return models_in(annotation.__origin__)
    if get_origin(annotation) in (Union, UnionType):
        return [model for arg in get_args(annotation) for model in models_in(arg)]
    return []


def plain(annotation: Any) -> Any:
    """The type without what is annotated to it."""
    while get_origin(annotation) is Annotated:
        annotation = annotation.__origin__
    return annotation


def keys_of(annotation: Any) -> list[str]:
    """The keys that the file may have at this type."""
    return [
        field.alias or name for model in models_in(annotation) for name, field in model.model_fields.items()
    ]


def annotation_at(annotation: Any, loc: Steps) -> Any:
    """The type that is expected where these steps lead, or None."""
    for step in loc:
        annotation = _step_into(annotation, step)
    return annotation


def _step_into(annotation: Any, step: str | int) -> Any:
    if step in TAGS:
        wanted = str(step).strip("<>")
        return next((m for m in models_in(annotation) if m.__name__.lower() == wanted), None)
    for model in models_in(annotation):
        for name, field in model.model_fields.items():
            if (field.alias or name) == step:
                inner = field.annotation
                return Annotated[inner, *field.metadata] if field.metadata else inner
    annotation = plain(annotation)
    if get_origin(annotation) in (Union, UnionType):
        inner_types = [_step_into(arg, step) for arg in get_args(annotation)]
        return next((inner for inner in inner_types if inner is not None), None)
    args = get_args(annotation)
    if get_origin(annotation) is dict:
        return args[1]
    return args[0] if get_origin(annotation) in (tuple, list) and isinstance(step, int) else None
