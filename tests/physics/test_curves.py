"""Pump curves: what is given is met, nothing ever rises, and the affinity laws are exact."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cyclesim.physics.curves import PumpCurve

GALLON_MIN_M3_S = 3.785411784e-3 / 60
FOOT_M = 0.3048


@st.composite
def curves(draw: st.DrawFn) -> PumpCurve:
    """Curves through 2 to 7 points with falling heads."""
    count = draw(st.integers(2, 7))
    steps = draw(st.lists(st.floats(1e-4, 1e-2), min_size=count, max_size=count))
    drops = draw(st.lists(st.floats(0.01, 5), min_size=count, max_size=count))
    flows = [sum(steps[:i]) for i in range(count)]
    heads = [sum(drops[i:]) for i in range(count)]
    return PumpCurve.from_points(list(zip(flows, heads, strict=True)))


@settings(deadline=None)
@given(curves())
def test_the_points_lie_on_the_curve(curve: PumpCurve) -> None:
    """A curve through points passes each of them."""
    for flow, head in zip(curve.flows_m3_s, curve.heads_m, strict=True):
        assert head == pytest.approx(curve.head_m(flow), rel=1e-12)


@settings(deadline=None)
@given(curves(), st.floats(-2, 3), st.floats(1e-3, 1))
def test_the_head_never_rises(curve: PumpCurve, at: float, more: float) -> None:
    """From far backwards to far past the last point, more flow is never more head."""
    flow = at * curve.last_flow_m3_s
    beyond = flow + more * curve.last_flow_m3_s
    assert curve.head_m(flow) >= curve.head_m(beyond) - 1e-9
    assert curve.slope(flow) <= 1e-9


@settings(deadline=None)
@given(curves(), st.floats(-2, 3))
def test_the_slope_is_the_derivative(curve: PumpCurve, at: float) -> None:
    """The reported slope agrees with a central difference of the head."""
    flow, step = at * curve.last_flow_m3_s, 1e-6 * curve.last_flow_m3_s
    difference = (curve.head_m(flow + step) - curve.head_m(flow - step)) / (2 * step)
    scale = curve.heads_m[0] / min(
        b - a for a, b in zip(curve.flows_m3_s, curve.flows_m3_s[1:], strict=False)
    )
    assert difference == pytest.approx(curve.slope(flow), abs=1e-2 * scale)


@settings(deadline=None)
@given(curves(), st.floats(0, 1))
def test_the_interpolation_is_the_librarys(curve: PumpCurve, at: float) -> None:
    """Between the points the curve is scipy's monotone cubic."""
    from scipy.interpolate import PchipInterpolator

    reference = PchipInterpolator(curve.flows_m3_s, curve.heads_m)
    flow = at * curve.last_flow_m3_s
    assert float(reference(flow)) == pytest.approx(curve.head_m(flow), rel=1e-9, abs=1e-9)


@settings(deadline=None)
@given(st.floats(1, 30), st.floats(1e-3, 2e-2), st.floats(0, 1))
def test_a_name_plate_makes_a_parabola(head: float, flow: float, share: float) -> None:
    """With only the two ends known H = Hmax (1 - (Q/Qmax)2)."""
    curve = PumpCurve.quadratic(head, flow)
    assert head * (1 - share**2) == pytest.approx(curve.head_m(share * flow), rel=1e-12, abs=1e-12 * head)


def test_past_the_last_point_the_end_slope_goes_on() -> None:
    """Half as far again past a parabola's end the head is below zero by the end slope."""
    assert pytest.approx(-14.0) == PumpCurve.quadratic(14, 0.01).head_m(0.015)


def test_points_need_not_begin_at_zero_flow() -> None:
    """Two points on a line give that line back to shut-off."""
    curve = PumpCurve.from_points([(0.002, 10.0), (0.006, 6.0)])
    assert pytest.approx(12.0) == curve.head_m(0.0)


@settings(deadline=None)
@given(curves(), st.floats(0.2, 2), st.floats(-1, 2))
def test_affinity_scales_flow_and_head(curve: PumpCurve, ratio: float, at: float) -> None:
    """At r times the speed, r times the flow meets r2 times the head, everywhere on the curve."""
    flow = at * curve.last_flow_m3_s
    head, slope = curve.head_and_slope(flow)
    fast, steep = curve.at_speed(ratio).head_and_slope(flow * ratio)
    assert head * ratio**2 == pytest.approx(fast, rel=1e-9, abs=1e-9)
    assert slope * ratio == pytest.approx(steep, rel=1e-6, abs=1e-6)


def test_affinity_example_of_the_handbook() -> None:
    """TP-410 example 7.33: 400 gpm, 126 ft, 17.5 hp at 3500 rpm are 194.29, 29.73, 2.005 at 1700."""
    full = PumpCurve.from_points([(0, 150 * FOOT_M), (400 * GALLON_MIN_M3_S, 126 * FOOT_M)])
    slow = full.at_speed(1700 / 3500)
    flow, head = slow.last_flow_m3_s, slow.heads_m[-1]
    assert pytest.approx(194.29, rel=1e-3) == flow / GALLON_MIN_M3_S
    assert pytest.approx(29.73, rel=1e-3) == head / FOOT_M
    power = 17.5 * flow * head / (full.last_flow_m3_s * full.heads_m[-1])  # the shaft's, as flow times head
    assert pytest.approx(2.005, rel=1e-3) == power


def test_twice_the_speed() -> None:
    """100 gpm at 100 ft become 200 gpm at 400 ft (a trade publication's example, seen second-hand)."""
    fast = PumpCurve.from_points([(0, 130), (100, 100)]).at_speed(2)
    assert (fast.last_flow_m3_s, fast.heads_m[-1]) == (200, 400)


@pytest.mark.parametrize(
    "points", [[(0, 5)], [(0, 5), (1, 6)], [(0, 5), (0, 4)], [(1, 5), (0, 4)], [(-1, 5), (1, 4)]]
)
def test_what_is_no_pump_curve_is_refused(points: list[tuple[float, float]]) -> None:
    """One point, a rising head, flows that do not rise or are negative are refused."""
    with pytest.raises(ValueError, match="pump curve"):
        PumpCurve.from_points(points)


def test_impossible_name_plates_and_speeds_are_refused() -> None:
    """Heads, flows and speed ratios of zero or less make no curve."""
    for head, flow in ((0, 1), (1, 0)):
        with pytest.raises(ValueError, match="above zero"):
            PumpCurve.quadratic(head, flow)
    with pytest.raises(ValueError, match="above zero"):
        PumpCurve.quadratic(1, 1).at_speed(0)
