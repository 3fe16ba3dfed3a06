"""Parts: pump curves, affinity, and where a pump meets its system."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from math import sqrt

from cyclesim.physics.curves import PumpCurve
from cyclesim.physics.links import Duty
from cyclesim.physics.network import TUB, Drop, PipeLink, PumpLink, solve
from tests.evidence.record import ARITHMETIC, SECOND_HAND, Check, near

GPM, FT = 3.785411784e-3 / 60.0, 0.3048
FOURTEEN = PumpCurve.quadratic(14.0, sqrt(14.0 / 0.06) / 3600.0)


def _slowed(flow: float, head: float, share: float) -> tuple[float, float]:
    """Flow and head of a duty point at another speed, by cyclesim's curve."""
    curve = PumpCurve.from_points([(0.0, 1.3 * head), (flow / 2, 1.2 * head), (flow, head)]).at_speed(share)
    return curve.last_flow_m3_s, curve.head_m(curve.last_flow_m3_s)


def _meets(share: float, k_h2_m5: float) -> Duty:
    """H = 14 - 0.06 Q2 at a share of its speed against h = k Q2 (m, m3/h)."""
    curve = FOURTEEN.at_speed(share)
    system = Drop("system", "out", TUB, k_h2_m5, 1.0 / 3600.0)
    return solve([PumpLink("pump", TUB, "out", curve, curve, False), system], 20.0)


def _flow(share: float, k: float) -> float:
    return 3600.0 * _meets(share, k).flows_m3_s["pump"]


def _head(share: float, k: float) -> float:
    return _meets(share, k).pump_heads_m["pump"]


def _lifted(lift_m: float) -> float:
    curve = FOURTEEN.at_speed(0.5)
    spout = PipeLink("spout", "out", TUB, 8.0, 0.057, 3.0, lift_m=lift_m)
    return (
        3600.0 * solve([PumpLink("pump", TUB, "out", curve, curve, False), spout], 20.0).flows_m3_s["spout"]
    )


def checks() -> Iterator[Check]:
    """Affinity, intersections, shut-off."""
    handbook = "TP-410, flow-of-fluids handbook, example 7.33"
    share = 1700.0 / 3500.0

    def at_1700() -> tuple[float, float]:
        return _slowed(400 * GPM, 126 * FT, share)

    def doubled() -> tuple[float, float]:
        return _slowed(100 * GPM, 100 * FT, 2.0)

    for what, unit, says, ours in (
        ("flow", "gpm", "194.29", lambda: at_1700()[0] / GPM),
        ("head", "ft", "29.73", lambda: at_1700()[1] / FT),
        ("shaft power", "hp", "2.005", lambda: 17.5 * at_1700()[0] * at_1700()[1] / (400 * GPM * 126 * FT)),
    ):
        yield near(
            f"affinity-{what.replace(' ', '-')}",
            "parts",
            f"{what} at another speed",
            "400 gpm, 126 ft, 17.5 hp; 3500 to 1700 rpm",
            unit,
            says,
            ours,
            0.001,
            handbook,
            SECOND_HAND,
        )
    for what, unit, says, ours in (
        ("flow", "gpm", "200", lambda: doubled()[0] / GPM),
        ("head", "ft", "400", lambda: doubled()[1] / FT),
        ("shaft power", "hp", "40", lambda: 5.0 * doubled()[0] * doubled()[1] / (100 * GPM * 100 * FT)),
    ):
        yield near(
            f"doubling-{what.replace(' ', '-')}",
            "parts",
            f"{what} at twice the speed",
            "100 gpm, 100 ft, 5 hp; 1750 to 3500 rpm",
            unit,
            says,
            ours,
            1e-9,
            "affinity laws",
            SECOND_HAND,
        )
    algebra = "intersection of two parabolas"
    for speed, k, flow, head, within in (
        (1.0, 0.08, "10.0000", "8.0000", 1e-6),
        (1.0, 0.03, "12.4722", "4.6667", 1e-4),
        (0.5, 0.08, "5.0", "2.0", 1e-6),
    ):
        at = f"H = 14 - 0.06 Q2, h = {k:g} Q2, speed {speed:.0%}".replace("%", " %")
        for what, unit, says, ours in (("flow", "m3/h", flow, _flow), ("head", "m", head, _head)):
            yield near(
                f"duty-{what}-{speed:g}-{k:g}",
                "parts",
                f"{what} of the duty",
                at,
                unit,
                says,
                partial(ours, speed, k),
                within,
                algebra,
                ARITHMETIC,
            )
    for what, says, power in (("flow", "0.5", 1), ("head", "0.25", 2), ("hydraulic power", "0.125", 3)):
        ratio = {
            "flow": lambda: _flow(0.5, 0.05) / _flow(1.0, 0.05),
            "head": lambda: _head(0.5, 0.05) / _head(1.0, 0.05),
            "hydraulic power": lambda: (
                _flow(0.5, 0.05) * _head(0.5, 0.05) / (_flow(1.0, 0.05) * _head(1.0, 0.05))
            ),
        }[what]
        yield near(
            f"half-speed-{what.replace(' ', '-')}",
            "parts",
            f"{what} at half speed over full",
            "h = k Q2 alone",
            "",
            says,
            ratio,
            1e-9,
            f"affinity laws, 1/2 to the power {power}",
            ARITHMETIC,
        )
    yield near(
        "shut-off",
        "parts",
        "flow against more than a quarter of the shut-off head",
        "14 m pump at half speed, spout at 3.5 m",
        "m3/h",
        "0",
        partial(_lifted, 3.5),
        1e-9,
        "H at no flow is 14/4 = 3.5 m",
        ARITHMETIC,
        relative=False,
        how="at most",
    )
    yield near(
        "no-shut-off",
        "parts",
        "flow against just less",
        "the same, spout at 3.4 m",
        "m3/h",
        "0.1",
        partial(_lifted, 3.4),
        0.0,
        "0.1 m are left: some water must move",
        ARITHMETIC,
        how="at least",
    )
