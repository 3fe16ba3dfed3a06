"""A source's own water and its plate exchanger: against a heat-transfer text, the laws, and small steps."""

from math import exp

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cyclesim.physics.laws import Exchange, constant_law
from cyclesim.physics.own_water import PIECE_S, OwnWater, freezes_c, over_w_k, ua_w_k

_FLOWS = st.floats(10.0, 20_000.0)


def by_the_text(ntu: float, ratio: float) -> float:
    """Effectiveness of counterflow as heat-transfer texts print it (Incropera and DeWitt, table 11.3)."""
    if abs(ratio - 1.0) < 1e-9:
        return ntu / (1.0 + ntu)
    gone = exp(-ntu * (1.0 - ratio))
    return (1.0 - gone) / (1.0 - ratio * gone)


def test_a_text_s_oil_cooler_has_its_heat_and_its_outlet() -> None:
    """Incropera and DeWitt, example 11.1, quoted from memory, its flows and temperatures seen second-hand:
    0.1 kg/s oil (2131 J/(kg K)) from 100 to 60 degC by 0.2 kg/s water (4178 J/(kg K)) at 30 degC; 8524 W, the
    water leaves at 40.2 degC, the mean difference is 43.2 K.
    """
    oil, cold = 0.1 * 2131.0, 0.2 * 4178.0
    per_k = over_w_k(8524.0 / 43.2, oil, cold)
    assert 8524.0 == pytest.approx(70.0 * per_k, rel=2e-3)
    assert 60.0 == pytest.approx(100.0 - 70.0 * per_k / oil, abs=0.1)
    assert 40.2 == pytest.approx(30.0 + 70.0 * per_k / cold, abs=0.05)
    assert 8524.0 / 43.2 == pytest.approx(ua_w_k(8524.0, 100.0, 30.0, oil, cold), rel=2e-3)


@given(st.floats(1.0, 50_000.0), _FLOWS, _FLOWS)
def test_effectiveness_is_the_text_s(ua: float, hot: float, cold: float) -> None:
    """The printed formula, whichever side is the smaller flow."""
    least, most = sorted((hot, cold))
    assert by_the_text(ua / least, least / most) == pytest.approx(over_w_k(ua, hot, cold) / least, rel=1e-6)


@given(st.floats(1.0, 50_000.0), _FLOWS, _FLOWS, st.floats(0.1, 80.0), st.booleans())
def test_first_and_second_law(ua: float, hot: float, cold: float, apart_k: float, parallel: bool) -> None:
    """No outlet beyond the other inlet, and no more than the smaller flow could take; what one side loses the
    other gains; backwards on one side never gives more, and entropy never falls.
    """
    per_k = over_w_k(ua, hot, cold, parallel=parallel)
    assert 0.0 <= per_k <= min(hot, cold, ua) * (1.0 + 1e-9)
    assert per_k <= over_w_k(ua, hot, cold) * (1.0 + 1e-9)
    hot_out, cold_out = apart_k - apart_k * per_k / hot, apart_k * per_k / cold
    if parallel:
        assert hot_out >= cold_out - 1e-6 * apart_k
    assert hot * (apart_k - hot_out) == pytest.approx(cold * cold_out)


@given(st.floats(0.05, 0.98), _FLOWS, _FLOWS)
def test_plates_that_are_rated_do_what_they_are_rated_for(share: float, hot: float, cold: float) -> None:
    """The rating's UA gives the rating's heat back."""
    heat_w = share * min(hot, cold) * 30.0
    assert heat_w == pytest.approx(
        30.0 * over_w_k(ua_w_k(heat_w, 70.0, 40.0, hot, cold), hot, cold), rel=1e-6
    )


def test_no_flow_on_a_side_takes_nothing_over() -> None:
    """And no plates do more than the smaller flow could take."""
    assert over_w_k(1800.0, 0.0, 4000.0) == 0.0 == over_w_k(1800.0, 1200.0, 0.0)
    with pytest.raises(ValueError, match="less than 30000 W"):
        ua_w_k(30_000.0, 70.0, 40.0, 1000.0, 4000.0)


def test_glycol_freezes_as_the_handbook_prints() -> None:
    """Lange's Handbook, 15th ed., table 5.13: 30 % by volume -12.8 degC (9 degF); straight between rows."""
    assert (0.0, -12.8, -33.3) == (freezes_c(0.0), freezes_c(0.3), freezes_c(0.5))
    assert freezes_c(0.325) == pytest.approx((-12.8 - 16.1) / 2)
    with pytest.raises(ValueError, match="0 to 50%"):
        freezes_c(0.6)


def small_steps(
    hot_j_k: float, cold_j_k: float, ua: float, g: float, q: float, span_s: int
) -> tuple[float, float, float]:
    """Own water at 20 degC and a tub at 35 degC by steps of 20 ms: temperatures and heat that went over."""
    own_c, tub_c, over_j, dt = 20.0, 35.0, 0.0, 0.02
    for _ in range(round(span_s / dt)):
        over_w = g * (own_c - tub_c)
        own_c += dt * (q - ua * (own_c - 10.0) - over_w) / hot_j_k
        tub_c += dt * over_w / cold_j_k
        over_j += over_w * dt
    return own_c, tub_c, over_j


@pytest.mark.parametrize(("tub_l", "lags_k"), [(1500.0, 0.25), (300.0, 1.2)])
def test_own_water_and_a_tub_go_on_as_in_small_steps(tub_l: float, lags_k: float) -> None:
    """12 L at 20 kW through 1.5 kW/K into a tub, by pieces in which the tub counts as its mean: own water
    lags behind by half of what the tub rises in two minutes, 20,000 x 60 / (4186 x 1500) = 0.2 K, and the tub
    hardly.
    """
    source, rest, g = 4186.0 * 4.0, 4186.0 * 8.0, 1500.0
    own, tub_j_k = OwnWater(source, rest, 2.0, 3.0, [10.0], 20.0), 4186.0 * tub_l
    own.change(constant_law(20_000.0), g, moves=True)
    tub_c, at, over, content, given, lost = 35.0, 0, 0.0, own.content_j(), 0.0, 0.0
    while at < 2400 * tub_l / 1500.0:
        dt = own.piece_s(0, tub_c, 3600)
        over_w, slope = own.over(0, tub_c, dt)
        k = slope / tub_j_k  # the tub: C dT/dt = over + slope (T - T0), its mean over the piece by hand
        grown = (exp(k * dt) - 1.0) / k
        warmer_k_s = over_w / slope * (grown - dt)
        over_j = over_w * dt + slope * warmer_k_s
        row = own.advance(0, at, at + dt, over_j)
        tub_c, at = tub_c + over_j / tub_j_k, at + dt
        over, given, lost = over + over_j, given + row.given_j, lost + row.lost_j
    own_c, small_tub_c, small_over = small_steps(source + rest, tub_j_k, 5.0, g, 20_000.0, at)
    assert (own.source_c, tub_c) == (pytest.approx(own_c, abs=lags_k), pytest.approx(small_tub_c, abs=0.05))
    assert over == pytest.approx(small_over, rel=5e-3)
    assert given - lost - over == pytest.approx(own.content_j() - content, rel=1e-9)


def test_still_water_in_the_source_boils_up_alone_and_mixes_when_it_moves() -> None:
    """20 kW into 4 L that stand: 60 K in 4 x 4186 x 60 / 20,000 = 50.2 s; the rest of it cools to its zone;
    then 4 L at 80 and 8 L at 20 degC are 12 L at 40.
    """
    own = OwnWater(4186.0 * 4.0, 4186.0 * 8.0, 0.0, 0.0, [10.0], 20.0)
    own.change(constant_law(20_000.0), 0.0, moves=False)
    own.watched = ((80.0, True, True),)
    assert own.piece_s(0, 38.0, 900) == 51
    own.advance(0, 0, 50, 0.0)
    assert (own.source_c, own.rest_c) == (pytest.approx(20.0 + 1e6 / 16_744.0), 20.0)
    assert not own.reached()
    own.advance(0, 50, 51, 0.0)
    assert own.reached()
    own.change(None, 1500.0, moves=True)
    assert own.rest_c == own.source_c == pytest.approx((20.0 + 20_000 * 51 / 16_744 + 2 * 20.0) / 3)


def test_a_level_it_never_comes_to_ends_no_piece() -> None:
    """6 kW into 300 W/K end 20 K above the zone; below that it comes by, above it never does."""
    own = OwnWater(40_000.0, 0.0, 300.0, 0.0, [10.0], 10.0)
    own.change(constant_law(6000.0), 0.0, moves=True)
    own.watched = ((31.0, True, False),)
    assert own.piece_s(0, 38.0, 100) == 100
    own.watched = ((29.0, True, False),)  # 40,000 / 300 x ln(20 / 1) = 399 s, longer than a piece
    assert own.piece_s(0, 38.0, 900) == PIECE_S
    own.watched = ((20.0, True, False),)  # 40,000 / 300 x ln 2 = 92.4 s
    assert own.piece_s(0, 38.0, 900) == 93


def test_a_source_that_gives_less_to_warmer_water_settles_lower() -> None:
    """Q = 6000 W - 100 W/K (T - 10) against 200 W/K of loss: at rest 6000 / 300 = 20 K above the zone, and
    what it draws follows.
    """
    own = OwnWater(3000.0, 0.0, 200.0, 0.0, [10.0], 10.0)
    own.change(
        lambda _, c: Exchange(6000.0 - 100.0 * (c - 10.0), -100.0, 1000.0 + 20.0 * (c - 10.0), 20.0, 0.0),
        0.0,
        moves=True,
    )
    for k in range(10):
        row = own.advance(0, 60 * k, 60 * k + 60, 0.0)
    assert (own.source_c, row.given_j / 60, row.input_j / 60) == (
        pytest.approx(30.0), pytest.approx(4000.0, rel=1e-4), pytest.approx(1400.0, rel=1e-4))  # fmt: skip
