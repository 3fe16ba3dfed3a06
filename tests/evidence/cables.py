"""Parts: voltage lost on cables, wire gauges, and pipes that share a trench."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from math import log, pi, sinh

from cyclesim.physics.buried import BuriedPipe, side_by_side_ua_per_m
from cyclesim.physics.conductors import drop_v
from cyclesim.scenario.blocks.cables import gauge_area_m2
from tests.evidence.record import MEMORY, READ, Check, near

EXAM = "a course for the electrical trade's exam: 2 x 12.9 x I x L / cmil, 20 A over 100 ft"
_FT_M, _CMIL_M2 = 0.3048, 5.067075e-10
_DEEP_M, _APART_M, _PIPE_M, _SOIL_W_MK = 0.6, 0.3, 0.063, 1.5


def _exam_v(gauge: int) -> float:
    """By the gauge's own area, with the course's resistivity."""
    return drop_v(20.0, 1.0, 100 * _FT_M, gauge_area_m2(gauge), 12.9 * _CMIL_M2 / _FT_M)


def _row_w_mk() -> float:
    """The middle one of a long row of pipes whose walls are as good as none."""
    bare = BuriedPipe(_PIPE_M - 1e-4, _PIPE_M, 0.0, "copper")
    return side_by_side_ua_per_m([bare] * 601, _APART_M, _DEEP_M)[300]


def checks() -> Iterator[Check]:
    """Each against a source of its own."""
    for gauge, says in ((12, "7.9"), (8, "3.1")):
        what = f"{gauge} AWG, 120 V"
        yield near(f"drop-{gauge}", "parts", "voltage lost on a cable", what, "V", says,
                   partial(_exam_v, gauge), 0.015, EXAM, READ)  # fmt: skip
    for gauge, says in ((12, "3.31"), (8, "8.37")):
        yield near(f"gauge-{gauge}", "parts", "area of a conductor", f"{gauge} AWG", "mm2", says,
                   lambda n=gauge: 1e6 * gauge_area_m2(n), 0.001, "ASTM B258's table", MEMORY)  # fmt: skip
    for mm2, says in ((2.5, "18"), (6.0, "7.3")):
        yield near(f"drop-{mm2:g}mm2", "parts", "voltage lost on a cable", f"{mm2:g} mm2 copper, warm",
                   "mV/A/m", says, lambda a=mm2: 1000.0 * drop_v(1.0, 1.0, 1.0, a * 1e-6), 0.035,
                   "BS 7671 table 4D1B", MEMORY)  # fmt: skip
    row = 2 * pi * _SOIL_W_MK / log(2 * _APART_M / (pi * _PIPE_M) * sinh(2 * pi * _DEEP_M / _APART_M))
    yield near("soil-row", "parts", "heat per degree of one of many pipes in a row", "63 mm, 300 mm apart",
               "W/(m K)", f"{row:.4f}", _row_w_mk, 0.01,
               "a row of cylinders, Incropera & DeWitt table 4.1, in a list", READ)  # fmt: skip
