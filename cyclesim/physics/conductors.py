"""The voltage that two conductors lose: a figure for an electrician to check, never a design.

Single phase, there and back: U = 2 (rho L / S cos phi + lambda L sin phi) I, as IEC 60364-5-52 annex G has
it (quoted from memory; document not checked). Whether a conductor bears its current is not worked out: that
hangs on how it is laid and on what protects it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

RESISTIVITY_OHM_M: Mapping[str, float] = {"copper": 0.0225e-6, "aluminium": 0.036e-6}
"""In service, warm: 1.25 times that at 20 degC; IEC 60364-5-52 annex G, quoted from memory."""
REACTANCE_OHM_M = 0.08e-3
"""Of a metre of conductor beside the other one; the same annex, quoted from memory."""


def drop_v(
    current_a: float,
    power_factor: float,
    length_m: float,
    area_m2: float,
    resistivity_ohm_m: float = RESISTIVITY_OHM_M["copper"],
) -> float:
    """Voltage [V] lost along both conductors of a single-phase cable.

    *current_a* [A] at a *power_factor* from 0 to 1; *length_m* [m] one way; *area_m2* [m2] of one conductor;
    *resistivity_ohm_m* [ohm m] as warm as it is in service.
    """
    sine = math.sqrt(max(0.0, 1.0 - power_factor**2))
    return 2.0 * length_m * current_a * (resistivity_ohm_m / area_m2 * power_factor + REACTANCE_OHM_M * sine)
