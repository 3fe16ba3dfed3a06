"""What one key of a file, one rule, one word or one number means: unit, default, spread and source."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from cyclesim.analysis.rules import RULES
from cyclesim.errors import CycleSimError, shorten
from cyclesim.said.glossary import WORDS
from cyclesim.said.numbers import MAPS, NUMBERS
from cyclesim.said.page import Page
from cyclesim.said.rules import rule_page
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.readings import Readings
from cyclesim.scenario.forms.forms import Declared, Quantity, did_you_mean
from cyclesim.scenario.reading.defaults import left_out, text_of_default
from cyclesim.scenario.text.refusals import keys_of, models_in, plain
from cyclesim.units import KINDS

_FILES = (Scenario, Readings)
_NAMES = dict.fromkeys(name.rpartition(".")[2] for name in NUMBERS)
"""Of the numbers, without their blocks."""
_LEAST_LETTERS, _TOLD_OF = 3, 3
"""Words so long are looked for in what is said of the keys, and so many keys are named that have them."""


def contents() -> Page:
    """The blocks of a file, for who knows no key yet."""
    page = Page()
    for key, field in Scenario.model_fields.items():
        page.line(f"{field.alias or key}: {field.description}", hang=2)
    page.line("One of them: cyclesim explain KEY, and so down to plant.tub.cover.foam.", command=True)
    return page


def explanation(about: str) -> Page:
    """The page on a key by its path, a rule by its id, a word or a number. CycleSimError for anything else.

    What a name is besides is told, too: `sessions` is a number of the JSON and a key of the file.
    """
    name = about.strip()
    if name in RULES:
        return rule_page((RULES[name],))
    top = {key for file in _FILES for key in keys_of(file)}
    told = list(_numbers(name))
    if word := WORDS.get(name.replace("_", " ")):
        told.insert(0, (name, word))
    places = () if "." in name or name in top else (*_places(name), *_of_kind(name))
    if not places and (not told or name.partition(".")[0] in top):
        try:
            places = ((name, tuple(_of_key(name))),)
            told = told if "." not in name else []
        except CycleSimError:
            if not told:
                raise
    page = Page()
    for title, said in told:
        page.line(title, tone="strong")
        page.line(said, indent=2, hang=2)
    for path, lines in places:
        page.line(path, tone="strong")
        for line in lines:
            page.line(line, indent=2, hang=2, as_written=True)  # units as the file may have them
    return page


def _numbers(path: str) -> Iterator[tuple[str, str]]:
    """What a path in the JSON leads to, by the block that it goes through; a name alone, in every block.

    The last step may be what people name, below a map that has one number of each.
    """
    *blocks, last = path.split(".")
    found = {name: said for name, said in NUMBERS.items() if name.rpartition(".")[2] == last}
    if not found and blocks and blocks[-1] in MAPS:
        last = blocks.pop()
        found = {name: said for name, said in NUMBERS.items() if name.rpartition(".")[2] == last}
    if blocks:
        within = {name: said for name, said in found.items() if name.partition(".")[0] in blocks}
        found = within or {name: said for name, said in found.items() if name == last} or found
    for name, said in found.items():
        yield path if blocks else name, said


def _places(key: str) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Where in a file a key may stand, each with what it means there; what means the same is told once."""
    told = set[tuple[str, ...]]()
    for path, field, annotation in _all_fields():
        if path.rpartition(".")[2] == key:
            lines = tuple(said_of(key, field, annotation))
            if lines not in told:
                told.add(lines)
                yield path, lines


def _of_kind(name: str) -> Iterator[tuple[str, tuple[str, ...]]]:
    """What has `kind: name`, by its place, with what it is and the keys that it may have."""
    told = set[type[BaseModel]]()
    for path, _, annotation in _all_fields():
        step, inner = _one_of(annotation)
        for model in models_in(inner):
            if model not in told and name in _kinds(model):
                told.add(model)
                what = (model.__doc__ or "").partition("\n")[0]
                yield f"{path}{step}, kind: {name}", (what, f"Its keys: {', '.join(keys_of(model))}.")


def _one_of(annotation: Any) -> tuple[str, Any]:
    """The step to one of several, and its type; no step and the type where there is one alone."""
    inner = plain(without_none(annotation))
    if get_origin(inner) is dict:
        return ".NAME", get_args(inner)[1]
    return (".0", get_args(inner)[0]) if get_origin(inner) is tuple else ("", inner)


def _all_fields() -> Iterator[tuple[str, FieldInfo, Any]]:
    for file in _FILES:
        yield from _fields_of(file, "", frozenset())


def _fields_of(annotation: Any, before: str, above: frozenset[Any]) -> Iterator[tuple[str, FieldInfo, Any]]:
    """Every field below a type by its path, in which NAME stands for what people name and 0 for an entry."""
    step, inner = _one_of(annotation)
    if step:
        yield from _fields_of(inner, f"{before}{step[1:]}.", above)
        return
    for model in models_in(inner):
        for name, field in model.model_fields.items() if model not in above else ():
            path, its_type = f"{before}{field.alias or name}", without_none(field.annotation)
            yield path, field, its_type
            yield from _fields_of(its_type, f"{path}.", above | {model})


def _of_key(path: str) -> Iterator[str]:
    field, annotation = _field_at(path)
    if _file_of(path) is Readings:
        yield "In a file of readings, which stands beside that of the plant."
    yield from said_of(path.rpartition(".")[2], field, annotation)


def said_of(key: str, field: FieldInfo | None, annotation: Any) -> Iterator[str]:
    """What a key means, sentence by sentence; an element that a person has named has no *field*."""
    if field is not None and field.description:
        yield field.description
    quantity = quantity_of(field, annotation)
    if quantity is not None:
        kind = KINDS[quantity.kind]
        yield f"Write {kind.words} with its unit: {', '.join(kind.units)}."
        example = re.split(" or |, ", quantity.example or kind.example)[0]
        declared = field.json_schema_extra if field is not None else None
        if isinstance(declared, Declared) and field is not None:
            example = text_of_default(field)
        if not _has_example(field):
            yield f"Example: {key}: {example}"
    step, inner = _one_of(annotation)
    if keys := keys_of(inner):
        yield f"{'The keys of each' if step else 'Its keys'}: {', '.join(dict.fromkeys(keys))}."
    kinds = [kind for model in models_in(inner) for kind in _kinds(model)] if step else ()
    if kinds:
        yield f"Its kinds, each of which can be asked for: {', '.join(kinds)}."
    if field is None:
        return
    if default := left_out(field):
        yield default
    elif field.is_required():
        yield "It must be given."
    else:
        yield "It may be left out."


def _kinds(model: type[BaseModel]) -> tuple[str, ...]:
    """The words that a model may have as its kind."""
    kind = model.model_fields.get("kind")
    return () if kind is None else get_args(kind.annotation)


def said_beside(field: FieldInfo, annotation: Any) -> Iterator[str]:
    """The same as a form has it beside a field, which shows by itself what must be given."""
    if field.description:
        yield field.description
    quantity = quantity_of(field, annotation)
    if quantity is not None and not _has_example(field):
        yield f"Write it with its unit, e.g. {quantity.example or KINDS[quantity.kind].example}."
    yield left_out(field)


def _has_example(field: FieldInfo | None) -> bool:
    return field is not None and "e.g." in (field.description or "")


def quantity_of(field: FieldInfo | None, annotation: Any) -> Quantity | None:
    """The form of the quantity that a field takes, if it takes one."""
    return next(filter(None, map(_quantity, (*(field.metadata if field else ()), annotation))), None)


def _quantity(thing: object) -> Quantity | None:
    """The form of a quantity, also where a type has it beside it."""
    if isinstance(thing, Quantity):
        return thing
    return next((form for form in getattr(thing, "__metadata__", ()) if isinstance(form, Quantity)), None)


def _field_at(path: str) -> tuple[FieldInfo | None, Any]:
    """The field where a path leads, None for an element by its name, and its type."""
    annotation: Any = _file_of(path)
    field: FieldInfo | None = None
    for step in path.split("."):
        while get_origin(plain(annotation)) is tuple and not step.isdigit():
            annotation = get_args(plain(annotation))[0]
        origin = get_origin(plain(annotation))
        if origin is dict:
            field, annotation = None, get_args(plain(annotation))[1]
            if step in keys_of(annotation):  # the name that stands between has been left out
                field, annotation = _step(path, step, annotation)
        elif origin is tuple:
            field, annotation = None, get_args(plain(annotation))[0]
        else:
            field, annotation = _step(path, step, annotation)
    return field, annotation


def _file_of(path: str) -> type[BaseModel]:
    """The file that has the key with which a path begins; that of the plant where none has it."""
    first = path.partition(".")[0]
    return next((file for file in _FILES if first in keys_of(file)), Scenario)


def _step(path: str, step: str, annotation: Any) -> tuple[FieldInfo, Any]:
    for model in models_in(annotation):
        for name, field in model.model_fields.items():
            if (field.alias or name) == step:
                return field, without_none(field.annotation)
    beside = () if "." in path else (*RULES, *WORDS, *_NAMES)
    known = [*keys_of(annotation), *beside]
    hints = [did_you_mean(step, known), "" if "." in path else _told_of(step)]
    told = "".join(f"; {hint}" for hint in hints if hint)
    expected = (
        "expected a key of the file such as limits.water_age, the id of a rule, a word of the reports, or a "
        "number of the JSON"
    )
    raise CycleSimError(f"PATH: found '{shorten(step)}', which is none; {expected}{told}")


def _told_of(words: str) -> str:
    """Keys whose descriptions have these words, those first that begin with them; "" where none has.

    A description names the thing itself early, and what it is about besides late.
    """
    word, at = re.compile(rf"\b{re.escape(words)}", re.IGNORECASE), dict[str, int]()
    for path, field, _ in _all_fields():
        if found := word.search(field.description or ""):
            at[path] = found.start()
    if not at or len(words) < _LEAST_LETTERS:
        return ""
    return f"told of at {', '.join(sorted(at, key=lambda path: at[path])[:_TOLD_OF])}"


def without_none(annotation: Any) -> Any:
    """The type without None beside it, so that its keys are found."""
    args = [arg for arg in get_args(annotation) if arg is not type(None)]
    if type(None) in get_args(annotation) and len(args) == 1:
        return args[0]
    return annotation
