"""JSON texts."""

import json
import math

from hypothesis import given
from hypothesis import strategies as st

from cyclesim.shown.as_json import as_text


def test_unknown_numbers_are_null() -> None:
    """Neither NaN nor Infinity is JSON; both are written as null, wherever they stand."""
    text = as_text({"a": math.nan, "b": [math.inf, {"c": (-math.inf, 1.5)}]})
    assert json.loads(text) == {"a": None, "b": [None, {"c": [None, 1.5]}]}


@given(st.dictionaries(st.text(), st.floats(allow_nan=False, allow_infinity=False)))
def test_numbers_come_back_as_they_were(values: dict[str, float]) -> None:
    """No float loses a digit, keys keep their order, and the same values give the same bytes."""
    text = as_text(values)
    assert list(json.loads(text).items()) == list(values.items())
    assert as_text(dict(values)) == text
