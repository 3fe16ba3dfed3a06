"""Friction in pipes and fittings: the Darcy factor, and loss coefficients by fitting name."""

from types import MappingProxyType

LAMINAR_RE = 2300.0
TURBULENT_RE = 4000.0

FITTINGS = MappingProxyType(
    {
        "entrance": ("K", 0.5),
        "exit": ("K", 1.0),
        "elbow": ("n", 30.0),
        "long_elbow": ("n", 14.0),
        "elbow_45": ("n", 16.0),
        "tee_run": ("n", 20.0),
        "tee_branch": ("n", 60.0),
        "ball_valve": ("n", 3.0),
        "swing_check": ("n", 100.0),
        "union": ("n", 2.0),
    }
)
"""Fitting name -> ("K", fixed coefficient) or ("n", multiple of the fully turbulent friction factor).

n: TP-410, the flow-of-fluids handbook, from memory, not opened; 14 (r/d 1.5) and 3 as in fluids.  A swing
check is 50 or 100 by its pattern, the larger is taken.  Sharp entrance 0.5: handbooks, from memory; exit 1.0:
exact by the energy balance.  A union's 2 is common practice, no source.  Real fittings scatter 25 % or more.
"""


def darcy_factor(reynolds: float, relative_roughness: float) -> float:
    """Darcy friction factor [-] of a round pipe: 64/Re up to Re 2300, Colebrook (1939) from 4000.

    *reynolds*: speed times bore over kinematic viscosity [-]; *relative_roughness*: roughness over bore [-].
    Between the two, where flow is neither, the factor runs in a straight line over Re.  That keeps the loss
    continuous and always growing with flow, which the network solver needs; the line itself has no source.
    Raises ValueError for a Reynolds number that is not above zero.
    """
    if reynolds <= 0:
        raise ValueError("a friction factor needs a Reynolds number above zero")
    if reynolds <= LAMINAR_RE:
        return 64.0 / reynolds
    from fluids.friction import friction_factor

    turbulent = float(friction_factor(Re=max(reynolds, TURBULENT_RE), eD=relative_roughness))
    if reynolds >= TURBULENT_RE:
        return turbulent
    share = (reynolds - LAMINAR_RE) / (TURBULENT_RE - LAMINAR_RE)
    return (1 - share) * 64.0 / LAMINAR_RE + share * turbulent


def fitting_k(name: str, bore_m: float) -> float:
    """Loss coefficient K of one fitting, on the speed in a pipe of this bore: K = n fT (TP-410) or fixed.

    Raises KeyError for a name that is not in FITTINGS.
    """
    kind, value = FITTINGS[name]
    if kind == "K":
        return value
    from fluids.friction import ft_Crane

    return value * float(ft_Crane(bore_m))
