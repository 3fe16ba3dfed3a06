"""Values as JSON text: numbers in fixed units that the keys name; unknown is null."""

from __future__ import annotations

import json
import math


def as_text(values: object, indent: int | None = 2) -> str:
    """JSON text that is the same for the same values; a number that is none becomes null."""
    return json.dumps(_finite(values), ensure_ascii=False, indent=indent, allow_nan=False) + "\n"


def _finite(value: object) -> object:
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, dict):
        return {key: _finite(inner) for key, inner in value.items()}
    if isinstance(value, (list, tuple)):
        return [_finite(inner) for inner in value]
    return value
