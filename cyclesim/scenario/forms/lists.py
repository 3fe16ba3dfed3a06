"""Short lists of their own form: two values of one kind, and the points of a falling curve."""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, core_schema

from cyclesim.scenario.forms.forms import Count, Quantity, RefusedError, SeveralError, Steps, Text, what_is

ValueForm = Quantity | Count | Text


def _all_validated(forms: Mapping[int, ValueForm], values: list[Any], steps: Steps = ()) -> list[Any]:
    """Every value by its own form; all that are refused are refused together."""
    read, wrong = [], []
    for index, value in enumerate(values):
        try:
            read.append(forms[index].validate(value))
        except RefusedError as error:
            wrong.append(RefusedError(error.what, error.allowed, error.hint, (*steps, index)))
    if wrong:
        raise SeveralError(*wrong)
    return read


def _shown(form: ValueForm, handler: GetJsonSchemaHandler) -> dict[str, Any]:
    return form.__get_pydantic_json_schema__({"type": "any"}, handler)


@dataclass(frozen=True, eq=False)
class Pair:
    """Two values of one kind, e.g. [20 degC, 45 degC]; `words` name them in messages."""

    form: ValueForm
    words: str
    example: str
    rises: bool = True
    """The lower one stands first."""
    equal: bool = True
    """Both may be the same."""

    def validate(self, value: object) -> tuple[Any, Any]:
        """The two values."""
        due = f"expected {self.words}, e.g. {self.example}"
        if not isinstance(value, list):
            raise RefusedError(what_is(value), due)
        if len(value) != 2:
            raise RefusedError(f"a list of {len(value)}", due)
        first, second = _all_validated({0: self.form, 1: self.form}, value)
        if self.rises and second < first:
            raise RefusedError(f"{self.words} out of order", "the lower one stands first")
        if not self.equal and second == first:
            raise RefusedError(f"{self.words} that are the same", "they must differ")
        return first, second

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.validate)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return {"type": "array", "items": _shown(self.form, handler), "minItems": 2, "maxItems": 2}


@dataclass(frozen=True, eq=False)
class Points:
    """At least three points of a data sheet's curve: the first value rises, the second falls."""

    flow: Quantity
    force: Quantity
    whose: str
    named: str
    """What the second value is called: head or pressure."""
    examples: tuple[tuple[str, str], ...]

    def validate(self, value: object) -> tuple[tuple[float, float], ...]:
        """The points, flow (m3/s) and the other value in SI."""
        written = f"[{', '.join(self.examples[0])}]"
        if not isinstance(value, list) or len(value) < 3:
            what = f"{len(value)} points" if isinstance(value, list) else what_is(value)
            raise RefusedError(what, f"expected at least three points [flow, {self.named}], e.g. {written}")
        points: list[tuple[float, float]] = []
        wrong: list[RefusedError] = []
        for index, pair in enumerate(value):
            if not isinstance(pair, list) or len(pair) != 2:
                due = f"expected a point [flow, {self.named}], e.g. {written}"
                wrong.append(RefusedError(what_is(pair), due, at=(index,)))
                continue
            try:
                flow, force = _all_validated({0: self.flow, 1: self.force}, pair, (index,))
                points.append((flow, force))
            except SeveralError as error:
                wrong += error.refusals
        wrong = wrong or list(self._out_of_order(points))
        if wrong:
            raise SeveralError(*wrong)
        return tuple(points)

    def _out_of_order(self, points: list[tuple[float, float]]) -> list[RefusedError]:
        wrong = []
        for index, ((flow_1, force_1), (flow_2, force_2)) in enumerate(pairwise(points), start=1):
            if flow_2 <= flow_1:
                due = "the flows of a curve rise from point to point"
                wrong.append(RefusedError("a flow out of order", due, at=(index, 0)))
            if force_2 >= force_1:
                due = f"{self.whose} {self.named} falls as its flow rises"
                wrong.append(RefusedError(f"a {self.named} that does not fall", due, at=(index, 1)))
        return wrong

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.validate)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        pair = {"type": "array", "prefixItems": [{"type": "string"}] * 2, "minItems": 2, "maxItems": 2}
        return {"type": "array", "minItems": 3, "items": pair, "examples": [[list(p) for p in self.examples]]}
