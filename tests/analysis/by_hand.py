"""Hands for histories written by hand: what breaks a rule, and a tub that was as warm as told."""

from cyclesim.analysis.findings import Breach
from cyclesim.analysis.history import History
from cyclesim.analysis.rules import RULES, judge
from cyclesim.physics.pieces import Piece

H = 3600


def told(history: History, rule_id: str) -> list[Breach]:
    """What breaks one rule."""
    rule = RULES[rule_id]
    return [b for b in judge(rule, history) if isinstance(b, Breach)]


def tub(history: History, *temps: tuple[float, float], end_c: float) -> None:
    """Water temperatures of the tub: (hour, degC) of each piece, and at the end."""
    ends = [hour for hour, _ in temps[1:]] + [history.trace.span_s / H]
    for (hour, temp_c), end in zip(temps, ends, strict=True):
        history.trace.tub.put(Piece(round(hour * H), round(end * H), temp_c, temp_c, 0.0, 0.0, 0.0))
    history.trace.end_water_c = end_c
