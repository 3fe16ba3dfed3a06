"""Friction against the Colebrook equation solved here, handbook examples and tables; never fluids."""

from math import isclose, log10, pi, sqrt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cyclesim.physics.friction import FITTINGS, LAMINAR_RE, TURBULENT_RE, darcy_factor, fitting_k

FOOT_M, INCH_M, POUND_KG = 0.3048, 0.0254, 0.45359237
GALLON_M3 = 3.785411784e-3


def colebrook(reynolds: float, roughness: float) -> float:
    """Colebrook (1939), 1/sqrt f = -2 lg(eps/3.7 D + 2.51/(Re sqrt f)), iterated to rest."""
    x = 8.0
    for _ in range(100):
        x = -2 * log10(roughness / 3.7 + 2.51 * x / reynolds)
    return 1 / x**2


@pytest.mark.parametrize("roughness", [0, 1e-4, 1e-3, 1e-2, 5e-2])
@pytest.mark.parametrize("reynolds", [4e3, 1e4, 1e5, 1e6, 1e7])
def test_turbulent_factor_solves_colebrook(reynolds: float, roughness: float) -> None:
    """From Re 4000 the factor is the root of the Colebrook equation."""
    assert colebrook(reynolds, roughness) == pytest.approx(darcy_factor(reynolds, roughness), rel=1e-6)


@settings(deadline=None)
@given(st.floats(1e-3, LAMINAR_RE))
def test_laminar_factor_is_64_over_re(reynolds: float) -> None:
    """Below Re 2300 the factor is Hagen and Poiseuille's, whatever the wall."""
    assert 64 / reynolds == darcy_factor(reynolds, 0.01)


@settings(deadline=None)
@given(st.floats(1500, 6000), st.floats(0, 0.05))
def test_loss_grows_through_the_gap(reynolds: float, roughness: float) -> None:
    """Between laminar and turbulent the loss f Re2 has no jump and never falls."""
    here, more = (darcy_factor(r, roughness) * r**2 for r in (reynolds, reynolds * (1 + 1e-9)))
    assert here < more
    assert isclose(here, more, rel_tol=1e-6)


def test_the_gap_meets_both_ends() -> None:
    """The straight line starts at 64/2300 and ends at Colebrook's value for 4000."""
    assert pytest.approx(64 / LAMINAR_RE) == darcy_factor(LAMINAR_RE * (1 + 1e-12), 1e-4)
    assert colebrook(TURBULENT_RE, 1e-4) == pytest.approx(darcy_factor(TURBULENT_RE * (1 - 1e-12), 1e-4))


def test_no_factor_without_flow() -> None:
    """A Reynolds number of zero has no friction factor."""
    with pytest.raises(ValueError, match="above zero"):
        darcy_factor(0.0, 0.0)


def test_smooth_plastic_pipe_of_the_handbook() -> None:
    """TP-410M example 7.1: 30 degC, 52.48 mm, 200 L/min give Re 100,600 and f 0.0179."""
    from cyclesim.physics.water import density_kg_m3, viscosity_pa_s

    speed = 200 / 60000 / (pi / 4 * 0.05248**2)
    reynolds = speed * 0.05248 * density_kg_m3(30) / viscosity_pa_s(30)
    assert pytest.approx(100600, rel=0.01) == reynolds
    assert pytest.approx(0.0179, rel=0.01) == darcy_factor(reynolds, 0)


def test_stainless_pipe_of_the_textbook() -> None:
    """A university text's example 8-3 (answers from memory): f 0.0174, 1700 lbf/ft2, 27.3 ft, 461 W."""
    rho, mu = 62.36 * POUND_KG / FOOT_M**3, 7.536e-4 * POUND_KG / FOOT_M
    bore, flow, length = 2 * INCH_M, 0.2 * FOOT_M**3, 200 * FOOT_M
    speed = flow / (pi / 4 * bore**2)
    factor = darcy_factor(rho * speed * bore / mu, 7e-6 * FOOT_M / bore)
    pressure = factor * length / bore * rho * speed**2 / 2
    assert pytest.approx(0.0174, rel=0.005) == factor
    assert pytest.approx(1700, rel=0.005) == pressure / (POUND_KG * 9.80665 / FOOT_M**2)
    assert pytest.approx(27.3, rel=0.005) == pressure / (rho * 9.80665) / FOOT_M
    assert pytest.approx(461, rel=0.005) == pressure * flow


@pytest.mark.parametrize(
    ("reynolds", "roughness", "factor", "length_over_bore", "speed_m_s", "head_m", "rel"),
    [  # two textbook examples, from memory: asphalted cast iron (US units), oil in cast iron
        (2.7e5, 0.0008, 0.020, 200 / 0.5, 6 * FOOT_M, 4.5 * FOOT_M, 0.02),
        (127324, 0.26 / 200, 0.0227, 500 / 0.2, 0.2 / (pi / 4 * 0.2**2), 117, 0.01),
    ],
)
def test_cast_iron_of_the_textbooks(
    reynolds: float, roughness: float, factor: float, length_over_bore: float, speed_m_s: float,
    head_m: float, rel: float,
) -> None:  # fmt: skip
    """Printed friction factors and head losses of rough pipes come out."""
    ours = darcy_factor(reynolds, roughness)
    assert factor == pytest.approx(ours, rel=rel)
    assert head_m == pytest.approx(ours * length_over_bore * speed_m_s**2 / (2 * 9.80665), rel=rel)


@pytest.mark.parametrize(
    ("bore_mm", "turbulent_factor"),
    # TP-410's printed table for clean commercial steel (2009 edition), from memory, not opened
    [(40.89, 0.020), (52.50, 0.019), (62.71, 0.018), (77.93, 0.017)],
)
@pytest.mark.parametrize(
    ("name", "n"),
    # TP-410's multiples, from memory, not opened; a swing check is 50 or 100 by its pattern
    [("elbow", 30), ("long_elbow", 14), ("elbow_45", 16), ("tee_run", 20), ("tee_branch", 60),
     ("ball_valve", 3), ("swing_check", 100)],
)  # fmt: skip
def test_fittings_follow_the_handbook(name: str, n: float, bore_mm: float, turbulent_factor: float) -> None:
    """K = n fT within a tenth for the four usual sizes of Schedule 40."""
    assert n * turbulent_factor == pytest.approx(fitting_k(name, bore_mm / 1000), rel=0.1)


def test_entrance_and_exit_do_not_depend_on_size() -> None:
    """A sharp entrance loses half a velocity head (handbooks, from memory), an exit a whole one (energy)."""
    assert {fitting_k("entrance", bore) for bore in (0.02, 0.1)} == {0.5}
    assert {fitting_k("exit", bore) for bore in (0.02, 0.1)} == {1.0}


def test_every_listed_fitting_costs_head() -> None:
    """Each name of the list has a coefficient above zero, and another name is refused."""
    assert all(fitting_k(name, 0.05) > 0 for name in FITTINGS)
    with pytest.raises(KeyError):
        fitting_k("gizmo", 0.05)


def test_smooth_pipe_agrees_with_blasius() -> None:
    """A smooth pipe's factor is Blasius' 0.3164 Re^-0.25 (1913, from experiments) within 3 % at Re 50,000."""
    assert 0.3164 / sqrt(sqrt(5e4)) == pytest.approx(darcy_factor(5e4, 0), rel=0.03)
