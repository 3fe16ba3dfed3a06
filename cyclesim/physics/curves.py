"""Pump curves: head against flow at one speed, smooth and never rising, with the affinity laws.

A monotone cubic for pump curves is written out because importing scipy's takes longer than a simulated year;
a test compares the two.
"""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Self


@dataclass(frozen=True, slots=True)
class PumpCurve:
    """Head in metres of the pumped water against flow in m3/s, as cubic pieces between knots.

    Beyond the last knot the curve goes on with its end slope.  Between zero flow and the first knot it goes
    on with its first slope.  Pushed backwards, the head goes on rising with the slope at zero flow plus
    H0 (q/q_last)2; no maker publishes that branch, so it is an assumption, no source.
    """

    flows_m3_s: tuple[float, ...]
    heads_m: tuple[float, ...]
    slopes_m_per_m3_s: tuple[float, ...]

    @classmethod
    def from_points(cls, points: Sequence[tuple[float, float]]) -> Self:
        """Smooth curve through (flow m3/s, head m) points: flows rising, heads never rising, two or more.

        The slopes are those of Fritsch and Butland (SIAM J. Sci. Stat. Comput. 5, 1984, 300-304), the same
        as scipy's PchipInterpolator, written out here because importing scipy takes half a second.
        Raises ValueError for points that are no pump curve.
        """
        flows, heads = tuple(q for q, _ in points), tuple(h for _, h in points)
        if len(points) < 2 or flows[0] < 0:
            raise ValueError("a pump curve needs two or more points, none at negative flow")
        steps = [b - a for a, b in pairwise(flows)]
        drops = [b - a for a, b in pairwise(heads)]
        if min(steps) <= 0 or max(drops) > 0:
            raise ValueError("along a pump curve the flow rises and the head never rises")
        secants = [drop / step for drop, step in zip(drops, steps, strict=True)]
        slopes = [_end_slope(steps, secants)]
        for (left, right), (s_left, s_right) in zip(pairwise(steps), pairwise(secants), strict=True):
            if s_left == 0 or s_right == 0:
                slopes.append(0.0)
            else:
                w_left, w_right = 2 * right + left, right + 2 * left
                slopes.append((w_left + w_right) / (w_left / s_left + w_right / s_right))
        slopes.append(_end_slope(steps[::-1], secants[::-1]))
        return cls(flows, heads, tuple(slopes))

    @classmethod
    def quadratic(cls, max_head_m: float, max_flow_m3_s: float) -> Self:
        """H = Hmax (1 - (Q/Qmax)2), from a name plate's largest head and largest flow.

        The parabola is common practice where a maker gives only the two ends, no source. Head [m], flow
        [m3/s]. Raises ValueError where either is not above zero.
        """
        if max_head_m <= 0 or max_flow_m3_s <= 0:
            raise ValueError("the largest head and the largest flow of a pump are above zero")
        return cls((0.0, max_flow_m3_s), (max_head_m, 0.0), (0.0, -2 * max_head_m / max_flow_m3_s))

    @property
    def last_flow_m3_s(self) -> float:
        """Flow of the last point, m3/s; beyond it the curve is only continued."""
        return self.flows_m3_s[-1]

    def at_speed(self, ratio: float) -> Self:
        """The same pump at `ratio` of this speed: flow as the ratio, head as its square (affinity laws).

        Raises ValueError for a ratio that is not above zero.
        """
        if ratio <= 0:
            raise ValueError("a speed ratio is above zero")
        return type(self)(
            tuple(q * ratio for q in self.flows_m3_s),
            tuple(h * ratio**2 for h in self.heads_m),
            tuple(s * ratio for s in self.slopes_m_per_m3_s),
        )

    def head_and_slope(self, flow_m3_s: float) -> tuple[float, float]:
        """Head [m] and its slope [m per m3/s] at a flow [m3/s] of either sign."""
        flows, heads, slopes = self.flows_m3_s, self.heads_m, self.slopes_m_per_m3_s
        if flow_m3_s >= flows[-1]:
            return heads[-1] + slopes[-1] * (flow_m3_s - flows[-1]), slopes[-1]
        if flow_m3_s < flows[0]:
            head, slope = heads[0] + slopes[0] * (flow_m3_s - flows[0]), slopes[0]
            if flow_m3_s < 0:
                steep = (heads[0] - slopes[0] * flows[0]) / flows[-1] ** 2
                head, slope = head + steep * flow_m3_s**2, slope + 2 * steep * flow_m3_s
            return head, slope
        i = bisect_right(flows, flow_m3_s) - 1
        step, x = flows[i + 1] - flows[i], flow_m3_s - flows[i]
        secant = (heads[i + 1] - heads[i]) / step
        c2 = (3 * secant - 2 * slopes[i] - slopes[i + 1]) / step
        c3 = (slopes[i] + slopes[i + 1] - 2 * secant) / step**2
        return heads[i] + x * (slopes[i] + x * (c2 + x * c3)), slopes[i] + x * (2 * c2 + 3 * x * c3)

    def head_m(self, flow_m3_s: float) -> float:
        """Head, m, at a flow in m3/s."""
        return self.head_and_slope(flow_m3_s)[0]

    def slope(self, flow_m3_s: float) -> float:
        """Slope of the head [m per m3/s] at a flow [m3/s]; never above zero."""
        return self.head_and_slope(flow_m3_s)[1]


def _end_slope(steps: Sequence[float], secants: Sequence[float]) -> float:
    """Slope at the first knot: three-point formula, kept between zero and three times the first secant."""
    if len(secants) == 1:
        return secants[0]
    slope = ((2 * steps[0] + steps[1]) * secants[0] - steps[0] * secants[1]) / (steps[0] + steps[1])
    return max(min(slope, 0.0), 3 * secants[0])
