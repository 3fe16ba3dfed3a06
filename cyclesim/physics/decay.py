"""First-order decay of what is dissolved in water, told by its half-life. Concentrations in any one unit."""

from __future__ import annotations

import math


def left(start: float, half_life_s: float, age_s: float) -> float:
    """What is left of *start* after *age_s* [s], in the unit of *start* [mg/L].

    The half-life [s] is above 0, and the decay of the first order; bathers and sun are left out.

    >>> left(3.0, 7200.0, 7200.0)
    1.5
    """
    return start * math.exp2(-age_s / half_life_s)


def seconds_until(start: float, least: float, half_life_s: float) -> float:
    """How long [s] it takes until *start* is down to *least*, both above 0; 0 where it is that low already.

    >>> seconds_until(4.0, 1.0, 3600.0)
    7200.0
    """
    return max(0.0, half_life_s * math.log2(start / least))
