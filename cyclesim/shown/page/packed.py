"""The timeline as a page carries it: whole numbers, each as its step from the one before, deflated."""

from __future__ import annotations

import base64
import json
import zlib
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from cyclesim.said.stretch import Lane, Span, Stretch
from cyclesim.said.words import plain
from cyclesim.shown.reader import sentence
from cyclesim.units import unit_for, value_for

_FINE = 100
"""Temperatures and ages are kept to a hundredth of a kelvin and of an hour."""


def packed(stretch: Stretch, us: bool = False) -> str:
    """All of a stretch as text that is safe between two tags; *us*: temperatures in degF."""

    def warm(values: Iterable[float]) -> list[float]:
        return [value_for(value, "°C") for value in values] if us else list(values)

    values = {
        "span": list(stretch.span),
        "offsets": stretch.offsets,
        "unit": unit_for("°C", us),
        "limit": stretch.limit_h,
        "asked": list(map(_lane, stretch.asked)),
        "ran": list(map(_lane, stretch.ran)),
        "tub": _curve("tub", stretch.tub[0], warm(stretch.tub[1])),
        "rooms": [_curve(name, at, warm(values)) for name, at, values in stretch.rooms],
        "kept": None if stretch.kept is None else _band(stretch.kept[0], *map(warm, stretch.kept[1:])),
        "ready": [_steps(stretch.to_be_ready[0]), _steps(warm(stretch.to_be_ready[1]), _FINE)],
        "ages": [_curve(*curve) for curve in stretch.oldest],
        "noted": [
            {
                "number": n.number,
                "severity": n.severity,
                "text": plain(sentence(n.text, us)),
                "at": _steps(n.at_s),
            }
            for n in stretch.noted
        ],
    }
    text = json.dumps(values, separators=(",", ":"), ensure_ascii=True, allow_nan=False)
    return base64.b64encode(zlib.compress(text.encode())).decode()


def _steps(values: Iterable[float], fine: int = 1) -> list[int]:
    """Each value's whole steps beyond the one before; a half goes to the even one, as `round` has it."""
    at = np.rint(fine * np.fromiter(values, dtype=np.float64)).astype(np.int64)
    steps: list[int] = np.diff(at, prepend=0).tolist()
    return steps


def _curve(name: str, seconds: Sequence[float], values: Sequence[float]) -> dict[str, Any]:
    return {"name": plain(name), "t": _steps(seconds), "v": _steps(values, _FINE)}


def _band(seconds: Sequence[float], low: Sequence[float], high: Sequence[float]) -> dict[str, Any]:
    return {"t": _steps(seconds), "low": _steps(low, _FINE), "high": _steps(high, _FINE)}


def _lane(lane: Lane) -> dict[str, Any]:
    kinds = {"full": lane.full, "half": lane.half, "outline": lane.outline, "hatched": lane.hatched}
    bars = {kind: _spans(spans) for kind, spans in kinds.items() if spans}
    notes = [[start, end, plain(text)] for start, end, text in lane.notes]
    return {"name": plain(lane.name), "kind": lane.kind, **bars, **({"notes": notes} if notes else {})}


def _spans(spans: Sequence[Span]) -> list[int]:
    """Starts and ends in turn."""
    return _steps(edge for span in spans for edge in span)
