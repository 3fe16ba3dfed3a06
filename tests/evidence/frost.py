"""Parts: how long standing water takes to 0 degC and to freeze, beside ASHRAE's form and lumped cases."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from math import log, pi

from cyclesim.physics.heat import HOUR_S, TwoNode
from cyclesim.physics.walls import pipe_ua_per_m, ring_resistance_mk_w
from cyclesim.physics.water import FUSION_J_KG
from tests.evidence.record import ARITHMETIC, SECOND_HAND, Check, computed, near

ASHRAE = "ASHRAE Fundamentals ch. 23 eq. 1"
PER_M3_J_K = 1000.0 * 4200.0
BORE_M, OUTSIDE_M = 0.0525, 0.0603


def cools_h(capacity_j_k: float, resistance_k_w: float, from_c: float, air_c: float) -> float:
    """Hours to 0 degC of a lump of water, by cyclesim's crossing."""
    ua = 1.0 / resistance_k_w
    node = TwoNode(capacity_j_k, 0.0, 0.0, ua, 0.0)
    crossing = node.first_crossing(from_c, from_c, ua * air_c, 0.0, 1e6, 0.0, rising=False)
    assert crossing is not None
    return crossing / HOUR_S


def ashrae_h(capacity_j_k: float, resistance_k_w: float, from_c: float, air_c: float) -> float:
    """The same by the logarithm of the handbook's form."""
    return capacity_j_k * resistance_k_w * log((from_c - air_c) / (0.0 - air_c)) / 3600.0


def _handbook_h(air_f: float) -> float:
    """NPS 2 with 1.5 in of insulation of 0.30 Btu in/(h ft2 degF), 42 degF water; wall and film left out."""
    resistance = ring_resistance_mk_w(0.06033, 0.13653, 0.04327)
    return cools_h(PER_M3_J_K * pi / 4.0 * 0.0525**2, resistance, 10.0 / 1.8, (air_f - 32.0) / 1.8)


def _mk_w(foam_m: float) -> float:
    return 1.0 / pipe_ua_per_m(BORE_M, OUTSIDE_M, foam_m, film_w_m2k=10.0)


def _pipe_h(foam_m: float, from_c: float) -> float:
    return cools_h(PER_M3_J_K * pi / 4.0 * BORE_M**2, _mk_w(foam_m), from_c, -10.0)


def _tenth_h(foam_m: float) -> float:
    return 0.1 * 1000.0 * pi / 4.0 * BORE_M**2 * FUSION_J_KG * _mk_w(foam_m) / 10.0 / HOUR_S


def _fusion_kj_kg() -> float:
    """Liquid at 0 degC by IF97 less ice Ih by IAPWS-06, kJ/kg."""
    from iapws import IAPWS97
    from iapws._iapws import _Ice

    return float(IAPWS97(T=273.1501, P=0.101325).h - _Ice(273.15, 0.101325)["h"])


def checks() -> Iterator[Check]:
    """Freezing."""
    for air_f, says, within in ((-18, "1.4", 0.03), (20, "4.6", 0.02)):
        yield near(
            f"ashrae-pipe-{air_f}",
            "parts",
            "time to 0 degC of an insulated pipe",
            f"NPS 2, 1.5 in, 42 degF, air {air_f} degF",
            "h",
            says,
            partial(_handbook_h, air_f),
            within,
            f"{ASHRAE}, table",
            SECOND_HAND,
        )
    for case, foam, start, r_says, zero in (
        ("A", 0.0, 5.0, "0.6439", "0.659"),
        ("B", 0.013, 5.0, "1.9864", "2.034"),
        ("D", 0.0, 38.0, "0.6439", "2.551"),
        ("F", 0.013, 38.0, "1.9864", "7.869"),
    ):
        inputs = f"2 in, {1000 * foam:.0f} mm foam, air -10 degC"
        if start == 5.0:
            yield near(
                f"pipe-resistance-{case}",
                "parts",
                "resistance of a metre of pipe",
                inputs,
                "m K/W",
                r_says,
                partial(_mk_w, foam),
                0.01,
                "layers in series, worked apart",
                ARITHMETIC,
            )
            yield near(
                f"pipe-ice-{case}",
                "parts",
                "from 0 degC to a tenth ice",
                inputs,
                "h",
                {"A": "1.293", "B": "3.989"}[case],
                partial(_tenth_h, foam),
                0.01,
                "0.1 m L R / (0 - Ta), worked apart with 334 kJ/kg",
                ARITHMETIC,
            )
        yield near(
            f"pipe-zero-{case}",
            "parts",
            "time to 0 degC",
            f"{inputs}, from {start:g} degC",
            "h",
            zero,
            partial(_pipe_h, foam, start),
            0.01,
            f"{ASHRAE} with the film, worked apart",
            ARITHMETIC,
        )
    yield near(
        "fusion",
        "parts",
        "heat of fusion",
        "273.15 K",
        "kJ/kg",
        _fusion_kj_kg,
        lambda: FUSION_J_KG / 1000.0,
        0.003,
        "IAPWS-IF97 less IAPWS-06",
        computed("iapws"),
    )
