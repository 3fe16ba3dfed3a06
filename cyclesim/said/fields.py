"""Every key that a file has or may have, as a form shows it: what is written and expected, what it means."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from cyclesim.said.explain import quantity_of, said_beside, without_none
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.forms.fields import PumpAt
from cyclesim.scenario.forms.forms import Count, Declared, Steps, Text
from cyclesim.scenario.reading.defaults import Default, text_of_default
from cyclesim.scenario.text.refusals import models_in
from cyclesim.scenario.text.tree import KEY, Tree, dotted
from cyclesim.units import KINDS

Kind = Literal["quantity", "number", "yes or no", "words", "one of", "list", "block", "blocks", "entries"]
"""What is expected. words: a text of its own form. list: values in brackets. block: keys of its own, which
follow. blocks: blocks under names that a person gives them. entries: blocks in a list, without names."""


_ZONES = (("place", "zones"),)
_NAMES: dict[str, tuple[Steps, ...]] = {
    "zone": _ZONES,
    "cover_zone": _ZONES,
    "after": (("plant", "heat_sources"),),
    "circulator": (("plant", "circulators"),),
    "valve": (("plant", "valves"), ("plant", "diverters")),
    "circuit": (("supply", "circuits"),),
    "legs": (("plant", "legs"),),
}
"""Keys that take one of the names that stand elsewhere in the file."""


@dataclass(frozen=True, slots=True)
class Field:
    """One key: *text* as written, None where it is left out; *line* in *file*, as the scenario names it."""

    path: str
    label: str
    kind: Kind
    text: str | None
    line: int | None
    file: str
    explain: str
    default: str | None = None
    spread: str = ""
    source: str = ""
    quantity: str = ""
    units: tuple[str, ...] = ()
    choices: tuple[str, ...] = ()
    required: bool = False


def fields(
    tree: Tree, filled: tuple[Default, ...] = (), raw: Mapping[Steps, str] | None = None
) -> Iterator[Field]:
    """Every key of a file, and every one that a block which is there may have, in the order of the format.

    *filled* are the defaults that a run would take, where the file can be run; *raw* the text of lists.
    """
    speaks = _Speaks(tree, {one.path: one.value_text for one in filled}, raw or {}, _pump_speeds(tree))
    yield from speaks.block(Scenario, tree.value, ())


def _pump_speeds(tree: Tree) -> tuple[str, ...]:
    """Every pump with each of its speeds, as other places name them."""
    named = list[str]()
    pumps = tree.get(("plant", "pumps"), default=None)
    for name, sheet in pumps.items() if isinstance(pumps, dict) else ():
        speeds = [key for key in ("low", "high") if isinstance(sheet, dict) and key in sheet]
        named += [f"{name} {speed}" for speed in speeds] or [str(name)]
    return tuple(named)


@dataclass(frozen=True, slots=True)
class _Speaks:
    tree: Tree
    filled: Mapping[str, str]
    raw: Mapping[Steps, str]
    pump_speeds: tuple[str, ...]

    def block(self, model: type[BaseModel], value: Any, path: Steps) -> Iterator[Field]:
        """The keys of one block."""
        for name, about in model.model_fields.items():
            key = about.alias or name
            annotation: Any = without_none(about.annotation)
            if about.metadata:
                annotation = Annotated[annotation, *about.metadata]
            there = isinstance(value, dict) and key in value
            yield from self.key((*path, key), about, annotation, value[key] if there else None)

    def key(self, path: Steps, about: FieldInfo, annotation: Any, value: Any) -> Iterator[Field]:
        """One key, and what stands under it."""
        made, named = models_in(annotation), _under(annotation, dict)
        if named is not None and isinstance(value, dict | None):
            yield self.field(path, about, annotation, "blocks")
            for name, inner in (value or {}).items():
                if models_in(named):
                    yield from self.element((*path, name), named, inner)
                else:
                    yield self.leaf((*path, name), about, named)
            return
        entries = _under(annotation, tuple)
        if entries is not None and models_in(entries):
            yield self.field(path, about, annotation, "entries")
            for k, inner in enumerate(value if isinstance(value, list) else ()):
                yield from self.element((*path, k), entries, inner)
            return
        if made and isinstance(value, dict | None):
            yield self.field(path, about, annotation, "block")
            if value is not None:
                yield from self.block(_fits(made, value), value, path)
            return
        yield self.leaf(path, about, annotation)

    def element(self, path: Steps, annotation: Any, value: Any) -> Iterator[Field]:
        """A block under a name of its own or in a list."""
        mark = self.tree.marks.get((*path, KEY)) or self.tree.mark(path)
        yield Field(dotted(path), str(path[-1]), "block", self._text(path), mark.line, mark.file, "")
        if isinstance(value, dict):
            yield from self.block(_fits(models_in(annotation), value), value, path)

    def leaf(self, path: Steps, about: FieldInfo, annotation: Any) -> Field:
        """A value."""
        if quantity_of(about, annotation) is not None:
            return self.field(path, about, annotation, "quantity")
        forms = list(_forms(annotation))
        listed = _under(annotation, tuple) is not None and not _is_text(annotation)
        words = next((_longest(form.words) for form in forms if isinstance(form, Text)), ())
        options = tuple(
            str(option) for form in forms if get_origin(form) is Literal for option in get_args(form)
        )
        if bool in forms:
            return self.field(path, about, annotation, "yes or no", ("true", "false"))
        if any(form in forms for form in _forms(PumpAt) if isinstance(form, Text)):
            return self.field(path, about, annotation, "list" if listed else "one of", self.pump_speeds)
        if path[-1] in _NAMES and not options:
            places = _NAMES[str(path[-1])]
            named = [self.tree.get(place, default=None) for place in places]
            own = {str(name): None for names in named if isinstance(names, dict) for name in names}
            choices = (*own, *(("outdoors",) if places == _ZONES and "outdoors" not in own else ()))
            return self.field(path, about, annotation, "list" if listed else "one of", choices)
        if listed or not forms:
            return self.field(path, about, annotation, "list", words or options)
        if options or words:
            return self.field(path, about, annotation, "one of", options or words)
        number = any(isinstance(form, Count) for form in forms)
        return self.field(path, about, annotation, "number" if number else "words")

    def field(
        self, path: Steps, about: FieldInfo, annotation: Any, kind: Kind, choices: tuple[str, ...] = ()
    ) -> Field:
        """What is known of a key."""
        declared, quantity = about.json_schema_extra, quantity_of(about, annotation)
        known = declared if isinstance(declared, Declared) else None
        name = dotted(path)
        mark = self.tree.marks.get((*path, KEY))
        return Field(
            path=name,
            label=str(path[-1]).replace("_", " "),
            kind=kind,
            text=self._text(path),
            line=mark.line if mark else None,
            file=mark.file if mark else "",
            explain=" ".join(filter(None, said_beside(about, annotation))),
            default=self.filled.get(name) or _default(about),
            spread=str(known.spread) if known else "",
            source=known.source if known else "",
            quantity=quantity.kind if quantity else "",
            units=tuple(KINDS[quantity.kind].units) if quantity else (),
            choices=choices,
            required=about.is_required(),
        )

    def _text(self, path: Steps) -> str | None:
        mark = self.tree.marks.get(path)
        if mark is None:
            return None
        return self.raw.get(path, "") if mark.text is None else mark.text


def _default(about: FieldInfo) -> str | None:
    """What a field is if it is left out, where that is a single value."""
    if about.is_required() or about.default is None or about.default_factory is not None:
        return None
    if isinstance(about.default, bool | int | float | str) or isinstance(about.json_schema_extra, Declared):
        return text_of_default(about)
    return None


def _under(annotation: Any, kind: type) -> Any:
    """The type of what stands under names (dict) or in a list (tuple), or None where it is neither."""
    if get_origin(annotation) is Annotated:
        return _under(annotation.__origin__, kind)
    if get_origin(annotation) in (Union, UnionType):
        return next((inner for arg in get_args(annotation) if (inner := _under(arg, kind)) is not None), None)
    if get_origin(annotation) is not kind:
        return None
    return get_args(annotation)[1 if kind is dict else 0]


def _is_text(annotation: Any) -> bool:
    """Whether a text of its own form stands for what is a list to the program."""
    return any(isinstance(form, Text) for form in getattr(annotation, "__metadata__", ()))


def _longest(words: tuple[str, ...]) -> tuple[str, ...]:
    """The words without their own short forms."""
    return tuple(w for w in words if not any(other != w and other.startswith(w) for other in words))


def _forms(annotation: Any) -> Iterator[Any]:
    """The forms and plain types that a value may have, those of the entries of a list among them."""
    origin = get_origin(annotation)
    if origin is Annotated:
        yield from annotation.__metadata__
        yield from _forms(annotation.__origin__)
    elif origin in (Union, UnionType, tuple):
        for arg in get_args(annotation):
            yield from _forms(arg)
    elif annotation not in (type(None), ...):
        yield annotation


def _fits(models: list[type[BaseModel]], value: Mapping[str, Any]) -> type[BaseModel]:
    """Of several kinds of a block, the one that has what is written: its kind, then the most of its keys."""

    def fit(model: type[BaseModel]) -> tuple[bool, int]:
        kinds = {
            option
            for name, about in model.model_fields.items()
            if (about.alias or name) == "kind"
            for option in get_args(about.annotation)
        }
        known = {about.alias or name for name, about in model.model_fields.items()}
        return not kinds or value.get("kind") in kinds, len(known & value.keys()) - len(value.keys() - known)

    return max(models, key=fit)
