"""What machines give and what the plant asks for, as curves to draw: pumps in metres, blowers in kPa."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from cyclesim.decide.sizing.blower_sizing import BlowerSizing
from cyclesim.decide.sizing.pump_sizing import PumpSizing

_L_MIN, _KPA = 60_000.0, 1e-3
Points = tuple[tuple[float, float], ...]
"""Flow [L/min] and height, which is a head [m] or a pressure [kPa]."""


@dataclass(frozen=True, slots=True)
class CurveDrawn:
    """What a machine gives at one speed."""

    machine: str
    label: str
    is_low: bool
    """Whether it is the lower of two speeds."""
    points: Points


@dataclass(frozen=True, slots=True)
class MeetingDrawn:
    """Where a machine's curve meets what the plant asks for."""

    machine: str
    at: tuple[float, float]
    is_best: bool
    """Whether the advice is about it."""


@dataclass(frozen=True, slots=True)
class CurvesDrawn:
    """What there is to see of a sizing by curves."""

    title: str
    across: str
    """What the flow is."""
    flow_unit: str
    up: str
    """What the height is."""
    up_unit: str
    curves: tuple[CurveDrawn, ...]
    meetings: tuple[MeetingDrawn, ...]
    """In the order of the report."""
    asked_by: str
    """What asks for the next."""
    asked: Points
    wanted: tuple[str, float, float] | None
    """What is wanted, in words, and where it is; None where nobody has said."""
    at_rest: tuple[str, float] | None = None
    """What is asked for without any flow, in words, and how much."""

    @property
    def machines(self) -> list[str]:
        """Each once."""
        return list(dict.fromkeys(meeting.machine for meeting in self.meetings))

    @property
    def highest(self) -> float:
        """Of the machines' curves, and of what is asked for at rest."""
        heights = [height for curve in self.curves for _, height in curve.points]
        return max([*heights, *([] if self.at_rest is None else self.at_rest[1:])])


def pump_drawn(sizing: PumpSizing) -> CurvesDrawn:
    """Every candidate's curves, where they meet the pipes' own, and what the jets ask for."""
    return CurvesDrawn(
        title=f"{sizing.scenario.title}: a pump in the place of {sizing.pump}",
        across="flow",
        flow_unit="L/min",
        up="head",
        up_unit="m",
        curves=tuple(
            CurveDrawn(pump, pump if speed == "on" else f"{pump}, {speed}", speed == "low", _points(points))
            for pump, speed, points in sizing.curves
        ),
        meetings=tuple(
            MeetingDrawn(given.pump, (given.flow_m3_s * _L_MIN, given.head_m), given is sizing.best)
            for given in sizing.given
        ),
        asked_by="these pipes",
        asked=_points(sizing.system),
        wanted=("what the jets ask for", sizing.asked.flow_m3_s * _L_MIN, sizing.asked.head_m),
    )


def blower_drawn(sizing: BlowerSizing) -> CurvesDrawn:
    """Likewise, pressure over flow."""
    wanted = None
    if sizing.wanted_m3_s is not None and sizing.wanted_pa is not None:
        wanted = "what is wanted", sizing.wanted_m3_s * _L_MIN, sizing.wanted_pa * _KPA
    return CurvesDrawn(
        title=f"{sizing.scenario.title}: the blower",
        across="flow at the intake",
        flow_unit="L/min of air",
        up="pressure",
        up_unit="kPa",
        curves=tuple(
            CurveDrawn(name, name, is_low=False, points=_points(points, _KPA))
            for name, points in sizing.curves
        ),
        meetings=tuple(
            MeetingDrawn(
                blown.blower, (blown.flow_m3_s * _L_MIN, blown.pressure_pa * _KPA), blown is sizing.best
            )
            for blown in sizing.given
        ),
        asked_by="depth and pipe",
        asked=_points(sizing.system, _KPA),
        wanted=wanted,
        at_rest=("depth alone", sizing.depth_pa * _KPA),
    )


def _points(points: Iterable[tuple[float, float]], scale: float = 1.0) -> Points:
    return tuple((flow_m3_s * _L_MIN, height * scale) for flow_m3_s, height in points)
