"""Old water that a flush leaves: tanks in series against exact numbers and against integrated tanks."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from cyclesim.physics.dispersion import left_by_tanks, left_in_order, left_with_stirred


def integrated(t_s: float, taus_s: list[float]) -> float:
    """Old water in what leaves a row of stirred tanks of these times, by scipy's integrator."""
    rates = 1.0 / np.array(taus_s)

    def change(_: float, share: np.ndarray) -> np.ndarray:
        return rates * (np.concatenate(([0.0], share[:-1])) - share)

    done = solve_ivp(change, (0.0, t_s), np.ones(len(taus_s)), rtol=1e-10, atol=1e-12)
    return float(done.y[-1, -1])


@pytest.mark.parametrize(("tanks", "replaced"), [(1, 0.632121), (2, 0.5940), (5, 0.5595), (10, 0.5421)])
def test_one_volume_replaces_what_is_exact(tanks: int, replaced: float) -> None:
    """After one volume: 1 - e^-1 for one tank; the others by the Erlang sum, worked out apart (exact)."""
    assert replaced == pytest.approx(1.0 - left_by_tanks(60.0, 60.0, tanks), abs=5e-5)
    erlang = sum(tanks**k / math.factorial(k) for k in range(tanks)) * math.exp(-tanks)
    assert erlang == pytest.approx(left_by_tanks(60.0, 60.0, tanks), rel=1e-12)


@pytest.mark.parametrize(("turnovers", "left"), [(2, 0.135335), (3, 0.049787), (6, 0.002479)])
def test_one_stirred_tank_is_the_exponential(turnovers: int, left: float) -> None:
    """A fully mixed volume keeps e^-n after n turnovers (exact)."""
    assert left == pytest.approx(left_by_tanks(turnovers * 7.0, 7.0, 1.0), abs=1e-6)
    assert left == pytest.approx(left_with_stirred(turnovers * 7.0, 7.0, 0.0, 5.0), abs=1e-6)


@pytest.mark.parametrize("tanks", [1, 5, 20])
@pytest.mark.parametrize("stirred_s", [0.0, 0.9, 3.0, 4.0, 30.0])
@pytest.mark.parametrize("t_s", [1.0, 15.0, 20.0, 45.0])
def test_against_integrated_tanks(t_s: float, stirred_s: float, tanks: int) -> None:
    """The closed forms against the tanks' own equations, whichever of housing and tanks is the slower."""
    taus = ([stirred_s] if stirred_s else []) + [15.0 / tanks] * tanks
    assert integrated(t_s, taus) == pytest.approx(left_with_stirred(t_s, stirred_s, 15.0, tanks), abs=1e-7)


def test_many_tanks_are_plug_flow() -> None:
    """The limit of many tanks: nothing has come before one volume, all has after."""
    for t_s in (30.0, 55.0, 65.0, 120.0):
        assert left_in_order(t_s, 60.0) == pytest.approx(left_by_tanks(t_s, 60.0, 1e5), abs=1e-6)


times = st.floats(0.1, 1000.0)


@given(t_s=times, stirred_s=times, passes_s=times, tanks=st.floats(1.0, 60.0), longer=st.floats(1.0, 3.0))
def test_share_falls_with_time_and_a_housing_keeps_more(
    t_s: float, stirred_s: float, passes_s: float, tanks: float, longer: float
) -> None:
    """A share lies between 0 and 1, falls as the flush goes on, and a housing more never makes it less."""
    left = left_with_stirred(t_s, stirred_s, passes_s, tanks)
    assert -1e-9 <= left <= 1.0 + 1e-9
    assert left + 1e-9 >= left_with_stirred(t_s * longer, stirred_s, passes_s, tanks)
    assert left + 1e-9 >= left_by_tanks(t_s, passes_s, tanks)
