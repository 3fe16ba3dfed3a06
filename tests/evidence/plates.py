"""Parts: heat through an exchanger in counterflow, beside a heat-transfer text's worked example."""

from __future__ import annotations

from collections.abc import Iterator

from cyclesim.physics.own_water import over_w_k
from tests.evidence.record import MEMORY, Check, near

_TEXT = "Incropera and DeWitt, Fundamentals of Heat and Mass Transfer, example 11.1"
_OIL_W_K, _WATER_W_K, _HOT_C, _COLD_C = 0.1 * 2131.0, 0.2 * 4178.0, 100.0, 30.0
_UA_W_K = 38.1 * 3.14159265 * 0.025 * 65.9
"""The example's 38.1 W/(m2 K), 25 mm and the 65.9 m that it finds."""


def _heat_w() -> float:
    return (_HOT_C - _COLD_C) * over_w_k(_UA_W_K, _OIL_W_K, _WATER_W_K)


def checks() -> Iterator[Check]:
    """Heat and both outlets."""
    inputs = "0.1 kg/s oil from 100 degC by 0.2 kg/s water from 30 degC, 38.1 W/(m2 K), 25 mm x 65.9 m"
    for name, quantity, unit, says, ours, off in (
        ("heat", "heat through it", "W", "8524", _heat_w, 30.0),
        ("oil", "the oil leaves at", "degC", "60.0", lambda: _HOT_C - _heat_w() / _OIL_W_K, 0.2),
        ("water", "the water leaves at", "degC", "40.2", lambda: _COLD_C + _heat_w() / _WATER_W_K, 0.1),
    ):
        id_ = f"counterflow-{name}"
        yield near(id_, "parts", quantity, inputs, unit, says, ours, off, _TEXT, MEMORY, relative=False)
