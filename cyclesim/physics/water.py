"""Liquid water at atmospheric pressure: density, viscosity and heat capacity.

All three are the closed formulas of IAPWS SR6-08(2011), "Revised Supplementary Release on Properties of
Liquid Water at 0.1 MPa", good from -20 to 110 degC.  Its coefficients were read in the iapws package's
listing of the release, not in the release itself; the tests compare with IAPWS-IF97, a separate formulation.
"""

G = 9.80665
"""Standard gravity, m/s2 (3rd CGPM, 1901)."""
FUSION_J_KG = 333_500.0
"""Heat of fusion of ice at 0 degC: IAPWS-IF97 less IAPWS-06, computed with iapws; handbooks print 334."""

_R_J_KG_K = 461.51805
_VOLUME_A = ((4, 6.74458446e3), (5, -2.22521604e5), (7, 1.00231247e8), (8, -1.63552118e9), (9, 8.32299658e9))
_VOLUME_B = (
    (1, 5.78545292e-3), (2, -1.53195665e-2), (3, 3.11337859e-2),
    (4, -4.23546241e-2), (5, 3.38713507e-2), (6, -1.19946761e-2),
)  # fmt: skip
_GIBBS_A = ((4, -1.661470539e5), (5, 2.708781640e6), (7, -1.557191544e8))
_GIBBS_B = ((2, -8.237426256e-1), (3, 1.908956353), (4, -2.017597384), (5, 8.546361348e-1))
_VISCOSITY = ((280.68, -1.9), (511.45, -7.7), (61.131, -19.6), (0.45903, -40.0))


def _reduced(temp_c: float) -> tuple[float, float, float]:
    """Reduced temperatures tau, alpha and beta of the release."""
    kelvin = temp_c + 273.15
    return kelvin / 10.0, 10.0 / (593.0 - kelvin), 10.0 / (kelvin - 232.0)


def density_kg_m3(temp_c: float) -> float:
    """Density, kg/m3, at a temperature in degC (0 to 100); IAPWS SR6-08 eq. 2."""
    _, alpha, beta = _reduced(temp_c)
    terms = 1.93763157e-2 + sum(a * alpha**n for n, a in _VOLUME_A) + sum(b * beta**m for m, b in _VOLUME_B)
    return 1e5 / (_R_J_KG_K * 10.0 * terms)


def heat_capacity_j_kg_k(temp_c: float) -> float:
    """Heat capacity at constant pressure, J/(kg K), at a temperature in degC (0 to 100); IAPWS SR6-08."""
    tau, alpha, beta = _reduced(temp_c)
    curved = sum(n * (n + 1) * a * alpha ** (n + 2) for n, a in _GIBBS_A)
    curved += sum(m * (m + 1) * b * beta ** (m + 2) for m, b in _GIBBS_B)
    return -_R_J_KG_K * (-8.983025854 + tau * curved)


def viscosity_pa_s(temp_c: float) -> float:
    """Dynamic viscosity, Pa s, at a temperature in degC (0 to 100); IAPWS SR6-08 eq. 7."""
    reduced: float = (temp_c + 273.15) / 300.0
    return 1e-6 * sum(a * float(reduced**b) for a, b in _VISCOSITY)
