"""How a field refuses what it cannot use, and the forms that fields are made of."""

import math
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any, ClassVar, NamedTuple

from pydantic import BaseModel, ConfigDict, Field, GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic.config import JsonDict
from pydantic_core import CoreSchema, core_schema

from cyclesim.spreads import AnySpread
from cyclesim.units import (
    KINDS,
    NUMBER,
    QuantityError,
    also_in_us,
    due,
    format_quantity,
    pairs_pattern,
    parse,
)

Steps = tuple[str | int, ...]
_LONGEST = 200
"""Characters; no name, rule, date or price that a person writes is longer."""


class RefusedError(ValueError):
    """Why a value cannot be used: what it is, what is allowed, a hint; `at` leads to the part of it."""

    def __init__(self, what: str, allowed: str, hint: str = "", at: Steps = ()) -> None:
        super().__init__(what, allowed, hint, at)
        self.what, self.allowed, self.hint, self.at = what, allowed, hint, at


class SeveralError(ValueError):
    """More than one RefusedError from one place."""

    def __init__(self, *refusals: RefusedError) -> None:
        super().__init__(*refusals)
        self.refusals = refusals


JUDGED_BY = "what is judged by, no input"


class Assumed(NamedTuple):
    """A default worked out from other fields: its key, its value as text, its spread and source.

    *value* is the number itself, in SI, where the field stays empty but a spread is about it. *not_varied*
    says why `--confidence` leaves it alone, though it has a range.
    """

    key: str
    value_text: str
    spread: AnySpread
    source: str
    value: float | None = None
    not_varied: str = ""


@dataclass(frozen=True, slots=True)
class Declared:
    """How far practice strays from a field's default, and where it is from."""

    spread: AnySpread
    source: str

    def __call__(self, schema: JsonDict) -> None:
        """Add nothing to a field's schema: `scenario.reading.schema` says it, which knows the value."""


class Model(BaseModel):
    """Base of everything a file says: unknown keys are refused, nothing changes afterwards."""

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)

    not_varied: ClassVar[str] = ""
    """Why `--confidence` leaves the defaults of this block alone, though they have ranges."""

    def assumed(self) -> list[Assumed]:
        """Defaults that depend on other fields and were filled in."""
        return []

    def idle(self) -> frozenset[str]:
        """Fields whose default changes nothing beside what the file says, and is not listed."""
        return frozenset()

    def unsaid(self, *fields: str) -> list[str]:
        """The keys of those *fields* that the file leaves to their defaults."""
        known = type(self).model_fields
        return [known[name].alias or name for name in fields if name not in self.model_fields_set]


def default(value: Any, *, spread: AnySpread, source: str, description: str, alias: str | None = None) -> Any:
    """A field with a default that the report lists: how far practice strays from it, where it is from."""
    return Field(value, alias=alias, description=description, json_schema_extra=Declared(spread, source))


def what_is(value: object) -> str:
    """The plain word for the shape of a value."""
    if isinstance(value, bool):
        return "a yes or no"
    if isinstance(value, int | float):
        return "a bare number"
    if isinstance(value, list):
        return "a list"
    return "a block of keys" if isinstance(value, dict) else "a text"


def nearest(word: str, words: Iterable[str]) -> str:
    """The nearest spelling, or an empty text."""
    if len(word) > _LONGEST:
        return ""
    lower = {str(known).lower(): str(known) for known in words}
    near = get_close_matches(word.lower(), lower, n=1, cutoff=0.6)
    return lower[near[0]] if near else ""


def did_you_mean(word: str, words: Iterable[str]) -> str:
    """The nearest spelling as a hint, or an empty text."""
    near = nearest(word, words)
    return f"did you mean '{near}'?" if near else ""


def one_of(words: Iterable[object]) -> str:
    """The words as an enumeration for a message."""
    listed = [str(word) for word in words] or ["nothing"]
    return listed[0] if len(listed) == 1 else f"{', '.join(listed[:-1])} or {listed[-1]}"


@dataclass(frozen=True)
class Text:
    """A text of its own form: `read` gives the value or raises RefusedError; the rest is for editors."""

    read: Callable[[str], Any]
    due: str
    pattern: str | None = None
    examples: tuple[str, ...] = ()
    words: tuple[str, ...] = ()

    def validate(self, value: object) -> Any:
        """The value that the text stands for."""
        if not isinstance(value, str):
            raise RefusedError(what_is(value), self.due)
        if len(value) > _LONGEST:
            raise RefusedError("a text that is too long", self.due)
        return self.read(value)

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.validate)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        shown = {"pattern": self.pattern, "examples": list(self.examples), "enum": list(self.words)}
        return {"type": "string", **{key: value for key, value in shown.items() if value}}


@dataclass(frozen=True, eq=False)
class Form:
    """A list of its own form: `read` gives the value or raises RefusedError; `schema` is for editors."""

    read: Callable[[object], Any]
    schema: Mapping[str, Any]

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return dict(self.schema)


class SingleOrList:
    """Lets one entry stand for a list of one."""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        def as_list(value: object) -> object:
            return value if isinstance(value, list | dict) else [value]

        return core_schema.no_info_before_validator_function(as_list, handler(source))

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        inner = handler(schema)
        return {"anyOf": [inner, inner["items"]]}


@dataclass(frozen=True)
class Quantity:
    """A number with a unit, kept as an SI float; the bounds are in SI too."""

    kind: str
    gt: float = -math.inf
    ge: float = -math.inf
    lt: float = math.inf
    le: float = math.inf
    example: str = ""
    """In place of the kind's own example."""
    whole: bool = False
    """Only whole units of what it is kept in: the controller's clock counts seconds."""

    @property
    def due(self) -> str:
        """The sentence that says what is expected."""
        return due(self.kind, self.example)

    def validate(self, value: object) -> float:
        """The SI float within the bounds."""
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            raise RefusedError(what_is(value), self.due)
        try:
            number = parse(value, self.kind, self.example)
        except QuantityError as error:
            raise RefusedError(error.what, error.allowed, error.hint) from None
        low = number <= self.gt or number < self.ge
        if low or number >= self.lt or number > self.le:
            what = KINDS[self.kind].words + (" that is too small" if low else " that is too large")
            raise RefusedError(what, self.bounds())
        if self.whole and abs(number - round(number)) > 1e-9:
            raise RefusedError("a time with part of a second", "expected whole seconds, e.g. 30 s")
        return float(round(number)) if self.whole else number

    def bounds(self) -> str:
        """The sentence that says what is allowed."""
        words = {"more than": self.gt, "at least": self.ge, "less than": self.lt, "at most": self.le}
        clauses = [
            f"{word} {format_quantity(bound, self.kind)}{also_in_us(bound, self.kind)}"
            for word, bound in words.items()
            if math.isfinite(bound)
        ]
        return f"{' and '.join(clauses)} is allowed"

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.validate)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        units = "|".join(sorted(map(re.escape, KINDS[self.kind].units), key=len, reverse=True))
        examples = re.split(r", | or ", self.example or KINDS[self.kind].example)
        both = f"|{pairs}" if (pairs := pairs_pattern(self.kind)) else ""
        pattern = rf"^\s*({NUMBER} ?({units}){both})\s*$".replace("(?:", "(")
        return {"type": "string", "pattern": pattern, "examples": examples}


@dataclass(frozen=True)
class Count:
    """A whole number, or any number if `whole` is False, between two bounds, without a unit."""

    low: float
    high: float
    whole: bool = True

    def validate(self, value: object) -> float:
        """The number within the bounds."""
        kinds = int if self.whole else (int, float)
        allowed = f"expected a {'whole ' * self.whole}number from {self.low:g} to {self.high:g}"
        if isinstance(value, bool) or not isinstance(value, kinds):
            raise RefusedError(what_is(value) if not isinstance(value, float) else "no whole number", allowed)
        if not self.low <= value <= self.high:
            raise RefusedError("a number out of range", allowed)
        return value

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.validate)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        kind = "integer" if self.whole else "number"
        return {"type": kind, "minimum": self.low, "maximum": self.high}
