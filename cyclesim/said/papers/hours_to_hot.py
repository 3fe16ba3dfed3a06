"""How long heating takes, as the papers tell it: the same numbers as `size heater` and `compare`."""

from __future__ import annotations

from cyclesim.analysis.amounts import lasting
from cyclesim.decide.sizing.heat_up import MOST_DAYS, Seasons, Warmer, WarmingUp


def hours_to_hot(warmer: Warmer, when: Seasons) -> str:
    """From fresh fill water to the set point, in the coldest week and in a mild month."""
    coldest, mild = (until_hot(warmer.after_a_fill(day)) for day in (when.coldest_week, when.mild_day))
    return f"{coldest} in the coldest week, {mild} in a mild month"


def until_hot(taken: WarmingUp) -> str:
    """How long one warming-up took."""
    return f"more than {MOST_DAYS} days" if taken.seconds is None else lasting(taken.seconds)
