"""Water that stands, is flushed, trickles and is heated, each by hand."""

import math

import pytest

from cyclesim.physics import tub_heat
from cyclesim.physics.outside import Outside, Trial
from cyclesim.physics.stays import Body
from tests.physics.tub_run import HOUR_S, PER_M3_K, WATER_J_K, L, Run, still, tight


def test_a_body_that_stands_relaxes_to_its_zone() -> None:
    """90 kJ/K losing 6 W/K: time constant 15 000 s; from 38 beside 8 degC it is at 8 + 30/e after that."""
    run = Run(tight(), [Body("leg", 20 * L, 9e4, 6.0, "z")], still(8.0))
    run.advance(15_000)
    assert [pytest.approx(8.0 + 30.0 / math.e)] == run.bodies_c()
    run.advance(1_000_000)
    assert [pytest.approx(8.0, abs=1e-9)] == run.bodies_c()
    run.heat.close()
    assert pytest.approx(9e4 * 30.0) == run.stays[0].loss_j


COLD = Body("leg", 20 * L, 8.4e4, 8.4, "z")


def cold_leg() -> Run:
    """A tub of 84 times the capacity of its leg, and the leg at the 5 degC of its zone."""
    run = Run(tight(84 * 8.4e4), [COLD], still(5.0))
    run.advance(1_000_000)
    assert [pytest.approx(5.0, abs=1e-9)] == run.bodies_c()
    return run


def test_a_flush_of_half_a_leg_exchanges_half_its_heat() -> None:
    """10 of 20 L change places in 10 s: the leg is half way to the tub, which cools by half of 33 / 84 K."""
    run = cold_leg()
    run.heat.change([1.0 * L], {})
    run.advance(10)
    run.heat.change([0.0], {})
    assert [pytest.approx((5.0 + 38.0) / 2, abs=0.06)] == run.bodies_c()
    assert pytest.approx(38.0 - 16.5 / 84, abs=1e-3) == run.heat.water_c


def test_a_flush_moves_what_stood_in_the_first_leg_into_the_second() -> None:
    """Two legs of 20 L, at 5 and 20 degC: 10 L of tub water, and the second leg is half at 5 degC.

    The 10 L that reach the tub are the second leg's own, at 20 degC: 10 x 4.2 kJ x 18 K.
    """
    zones = still(5.0) | {"warm": [20.0] * 400}
    run = Run(tight(), [COLD, Body("behind", 20 * L, COLD.capacity_j_k, 8.4, "warm")], zones)
    run.advance(1_000_000)
    run.heat.change([1.0 * L, 1.0 * L], {})
    run.advance(10)
    run.heat.change([0.0, 0.0], {})
    first, second = run.bodies_c()
    assert pytest.approx((5.0 + 38.0) / 2, abs=0.05) == first
    assert pytest.approx((5.0 + 20.0) / 2, abs=0.05) == second
    given_j = WATER_J_K * (38.0 - run.heat.water_c)
    assert pytest.approx(10 * 4200.0 * 18.0, rel=4e-3) == given_j  # the tub falls by 0.12 K meanwhile
    assert pytest.approx(5.0, abs=0.05) == run.heat.coldest_c(1, run.now_s)
    run.heat.close()
    assert pytest.approx(5.0, abs=0.05) == run.stays[-1].coldest_c


def test_a_leg_that_has_turned_over_has_the_tubs_water() -> None:
    """After its 20 s leg and tub are at (84 x 38 + 5) / 85, but for 20 s along a leg of tau 10 000 s."""
    run = cold_leg()
    run.heat.change([1.0 * L], {})
    run.advance(20)
    mixed = (84 * 38.0 + 5.0) / 85
    assert pytest.approx(mixed, abs=0.05) == run.heat.water_c
    assert [pytest.approx(run.heat.water_c, abs=0.05)] == run.bodies_c()
    run.advance(5000)
    assert [pytest.approx(5.0 + (run.heat.water_c - 5.0) * (1.0 - 0.001), abs=1e-3)] == run.bodies_c()
    joined = run.bodies_c()
    run.heat.change([0.0], {})
    assert pytest.approx(joined, rel=1e-12) == run.bodies_c()
    run.heat.close()
    assert [False, True] == [s.joined for s in run.stays]


def test_a_trickle_loses_what_its_water_brings() -> None:
    """20 L of tau 10 000 s at 1 mL/s: NTU 2; it loses rho c Q (1 - exp(-2)) 33 K, its end is at 5 + 33 / e2.

    The tub is endless, so that it stays at 38 degC. Told as at the tub's temperature it would be 2.31 times
    as much: NTU / (1 - exp(-NTU)).
    """
    run = Run(tight(1e15), [COLD], still(5.0))
    run.heat.change([0.001 * L], {})
    run.advance(90_000)
    run.heat.close()
    run.stays.clear()
    run.advance(36_000)
    run.heat.close()
    lost_j = sum(stay.loss_j for stay in run.stays)
    brought_w = PER_M3_K * 1e-6 * (1.0 - math.exp(-2.0)) * 33.0
    assert pytest.approx(brought_w * 36_000, rel=5e-3) == lost_j
    assert pytest.approx(5.0 + 33.0 * math.exp(-2.0), abs=0.05) == run.heat.coldest_c(0, run.now_s)
    assert pytest.approx(5.0 + 33.0 * (1.0 - math.exp(-2.0)) / 2.0, abs=0.05) == run.bodies_c()[0]


def test_a_trickle_is_followed_once_a_piece(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pieces of 900 s for ten hours: 40, and a second try of the first; the tub as with two tries of each.

    The stream that leaves the tub may be BEND_K off at the end of a piece, half of that on the mean: at
    4.2 W/K less than 0.005 W.
    """
    tries, end_c = [0, 0], [0.0, 0.0]
    once = Outside.follow

    def counted(self: Outside, *args: float) -> Trial:
        tries[k] += 1
        return once(self, *args)

    monkeypatch.setattr(Outside, "follow", counted)
    for k, bend_k in enumerate((tub_heat.BEND_K, 0.0)):
        monkeypatch.setattr(tub_heat, "BEND_K", bend_k)
        run = Run(tight(), [COLD], still(5.0))
        run.heat.change([0.001 * L], {})
        run.advance(10 * HOUR_S)
        end_c[k] = run.heat.water_c
    assert 40 <= tries[0] <= 44
    assert tries[1] >= 79
    assert end_c[0] == pytest.approx(end_c[1], abs=0.005 * 10 * HOUR_S / WATER_J_K)


def test_a_trickle_is_told_by_the_hour_with_its_coldest_end() -> None:
    """1 mL/s through 20 L beside -10 degC: the end is at -10 + 48 / e2 = -3.5 degC, the mean far above."""
    run = Run(tight(1e15), [COLD], still(-10.0))
    run.heat.change([0.001 * L], {})
    run.advance(30 * HOUR_S)
    last = run.stays[-1]
    assert (29 * HOUR_S, 30 * HOUR_S, True) == last[1:4]
    assert pytest.approx(-10.0 + 48.0 * math.exp(-2.0), abs=0.05) == last.coldest_c
    assert pytest.approx(-10.0 + 48.0 * (1.0 - math.exp(-2.0)) / 2.0, abs=0.05) == last.end_c


def test_heat_into_standing_water_warms_it_where_it_is() -> None:
    """3 kW for 28 s into 20 L that lose none: 84 kJ, 1 K; the tub gets it when water moves."""
    run = Run(tight(3e6), [Body("heater", 20 * L, 8.4e4, 0.0, "z")], still(38.0))
    run.heat.change([0.0], {0: 3000.0})
    run.advance(28)
    assert [pytest.approx(39.0)] == run.bodies_c()
    assert pytest.approx(38.0) == run.heat.water_c
    run.heat.change([1.0 * L], {})
    run.advance(60)
    assert pytest.approx(38.0 + 84e3 / 3.084e6, abs=1e-6) == run.heat.water_c


def test_water_behind_a_heater_is_warmer_by_its_power_over_the_flow() -> None:
    """3 kW into 0.1 L/s: 3000 / 420 = 7.143 K behind it, and the tub gets all of it after 20 s of the leg."""
    heater = Body("heater", 1 * L, 4200.0, 0.0, "z")
    run = Run(tight(1e9), [heater, Body("behind", 2 * L, 8400.0, 0.0, "z")], still(20.0), water_c=20.0)
    run.heat.change([0.1 * L, 0.1 * L], {0: 3000.0})
    run.advance(20)
    assert pytest.approx(20.0, abs=1e-4) == run.heat.water_c
    run.advance(40)
    assert [pytest.approx(20.0 + 3.571, abs=1e-2), pytest.approx(27.143, abs=1e-2)] == run.bodies_c()
    run.heat.change([0.0, 0.0], {})
    assert [pytest.approx(20.0 + 3.571, abs=1e-2), pytest.approx(27.143, abs=1e-2)] == run.bodies_c()


def test_heating_a_tub_from_10_to_38() -> None:
    """1500 L at 3 kW without loss: 16.27 h and 1.721 K/h, from the enthalpies of IAPWS-IF97 (iapws 1.5.5)."""
    run = Run(tight(), [Body("element", 0.0, 0.0, 0.0, "z")], still(10.0), water_c=10.0)
    run.heat.change([0.0], {0: 3000.0})
    run.advance(HOUR_S)
    assert pytest.approx(1.721, rel=3e-3) == run.heat.water_c - 10.0
    reached_s = run.heat.advance(20 * HOUR_S, (38.0, True, None))
    assert reached_s is not None
    assert pytest.approx(16.27, rel=3e-3) == reached_s / HOUR_S


def test_a_tub_cools_from_38_to_36() -> None:
    """1500 L losing 10 W/K to 5 degC: time constant 174.3 h, times ln(33/31): 10.90 h."""
    run = Run(tight(ua_w_k=10.0), [], still(5.0))
    reached_s = run.heat.advance(20 * HOUR_S, (36.0, False, None))
    assert reached_s is not None
    assert pytest.approx(10.90, rel=3e-3) == reached_s / HOUR_S
    assert run.heat.water_c <= 36.0 + 1e-9
