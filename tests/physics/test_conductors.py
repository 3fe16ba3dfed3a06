"""The voltage that cables lose, against worked examples and tables of others."""

import pytest

from cyclesim.physics.conductors import drop_v

FT, CMIL = 0.3048, 5.067075e-10  # m; m2


@pytest.mark.parametrize(("cmil", "volts"), [(6530, 7.9), (16_510, 3.1)])
def test_a_worked_example_of_an_exam_course(cmil: int, volts: float) -> None:
    """20 A, 100 ft one way, 12 AWG and 8 AWG: 7.9 V (6.6 % of 120 V) and 3.1 V, with K = 12.9 ohm cmil/ft.

    Read in a course for the electrical trade's exam, "Voltage drop formula": (2 x 12.9 x 20 x 100) / cmil.
    """
    assert drop_v(20.0, 1.0, 100 * FT, cmil * CMIL, 12.9 * CMIL / FT) == pytest.approx(volts, abs=0.05)


@pytest.mark.parametrize(("mm2", "volts"), [(2.5, 15.5), (4.0, 9.77), (6.0, 6.45)])
def test_a_worked_example_of_a_heater(mm2: float, volts: float) -> None:
    """5 kW at 230 V over 40 m, with 8.91, 5.62 and 3.71 ohm/km: read on two pages on cable sizes; 1 %."""
    assert drop_v(5000 / 230, 1.0, 40.0, mm2 * 1e-6) == pytest.approx(volts, rel=0.012)


@pytest.mark.parametrize(("mm2", "mv"), [(1.5, 29.0), (2.5, 18.0), (4.0, 11.0), (6.0, 7.3), (10.0, 4.4)])
def test_millivolts_per_ampere_and_metre(mm2: float, mv: float) -> None:
    """BS 7671 table 4D1B, two conductors of copper at 70 degC, quoted from memory; 3.5 %."""
    assert 1000.0 * drop_v(1.0, 1.0, 1.0, mm2 * 1e-6) == pytest.approx(mv, rel=0.035)


def test_a_power_factor_turns_resistance_into_reactance() -> None:
    """By hand, 35 mm2, 100 A, 50 m, cos 0.8: 2 x 50 x 100 x (0.0225/35 x 0.8 + 0.00008 x 0.6) = 5.62 V."""
    assert drop_v(100.0, 0.8, 50.0, 35e-6) == pytest.approx(1e4 * (0.0225 / 35 * 0.8 + 0.00008 * 0.6))
    assert drop_v(100.0, 1.0, 50.0, 35e-6) == pytest.approx(1e4 * 0.0225 / 35)
