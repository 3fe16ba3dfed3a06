"""Parts: friction, fittings, bores, and flow through straight runs, beside handbooks and Colebrook."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from math import log, log10, pi

from cyclesim.physics.curves import PumpCurve
from cyclesim.physics.friction import darcy_factor, fitting_k
from cyclesim.physics.network import TUB, PipeLink, PumpLink, loss, solve
from cyclesim.physics.water import G, density_kg_m3, viscosity_pa_s
from cyclesim.scenario.forms.pipes import read_pipe
from tests.evidence.record import ARITHMETIC, MEMORY, SECOND_HAND, Check, computed, near

FOOT_M, INCH_M, GPM_M3_S = 0.3048, 0.0254, 3.785411784e-3 / 60.0
STEEL_M = 0.0018 * INCH_M
HANDBOOK = "TP-410, flow-of-fluids handbook"


def colebrook(reynolds: float, rough: float) -> float:
    """Colebrook's implicit equation, its root by scipy."""
    from scipy.optimize import brentq

    def apart(root: float) -> float:
        return root + 2.0 * log10(rough / 3.7 + 2.51 * root / reynolds)

    return 1.0 / float(brentq(apart, 1.0, 30.0, xtol=1e-13)) ** 2


def head_m(pipe: PipeLink, temp_c: float, flow_m3_s: float) -> float:
    """What cyclesim's pipe loses at a flow, metres of water."""
    return loss(pipe, temp_c)(flow_m3_s)[0]


def pressure_pa(pipe: PipeLink, temp_c: float, flow_m3_s: float) -> float:
    """The same in pascals."""
    return head_m(pipe, temp_c, flow_m3_s) * density_kg_m3(temp_c) * G


def _run(bore_m: float, length_m: float = 10.0, k: float = 0.0, rough_m: float = 1.5e-6) -> PipeLink:
    return PipeLink("run", "in", TUB, length_m, bore_m, k, rough_m)


def _straight_pa(bore_m: float, flow_m3_h: float, temp_c: float) -> float:
    """Ten metres of plastic pipe by Darcy and Colebrook with IF97 water: shares no line with cyclesim."""
    from iapws import IAPWS97

    state = IAPWS97(T=temp_c + 273.15, P=0.101325)
    speed = flow_m3_h / 3600.0 / (pi / 4.0 * bore_m**2)
    factor = colebrook(speed * bore_m * state.rho / state.mu, 1.5e-6 / bore_m)
    return float(factor * 10.0 / bore_m * state.rho * speed**2 / 2.0)


def _through_the_network(bore_m: float, flow_m3_h: float, temp_c: float) -> float:
    """The pressure at which the solver sends this flow through the pipe, from a tank of just that head."""
    flow = flow_m3_h / 3600.0
    head = head_m(_run(bore_m), temp_c, flow)
    tank = PumpCurve((0.0, 1.0), (head, head), (0.0, 0.0))
    duty = solve([PumpLink("tank", TUB, "in", tank, tank, False), _run(bore_m)], temp_c)
    share = duty.flows_m3_s["run"] / flow
    return share**1.77 * head * density_kg_m3(temp_c) * G


def _friction() -> Iterator[Check]:
    yield near(
        "laminar",
        "parts",
        "Darcy factor",
        "Re 1000",
        "",
        "0.064",
        partial(darcy_factor, 1000.0, 0.001),
        1e-12,
        "64/Re, exact",
        ARITHMETIC,
    )
    for reynolds in (4e3, 1e4, 1e5, 1e6, 1e7):
        for rough in (0.0, 1e-4, 1e-3, 1e-2, 5e-2):
            yield near(
                f"colebrook-{reynolds:.0e}-{rough:g}",
                "parts",
                "Darcy factor",
                f"Re {reynolds:.0e}, roughness/bore {rough:g}",
                "",
                partial(colebrook, reynolds, rough),
                partial(darcy_factor, reynolds, rough),
                1e-4,
                "Colebrook's equation, root by brentq",
                computed("scipy"),
            )
    bore = 0.05248
    reynolds_30 = 0.2 / 60.0 / (pi / 4.0 * bore**2) * bore  # times density over viscosity
    for what, says, ours in (
        ("Reynolds number", "100600", lambda: reynolds_30 * density_kg_m3(30) / viscosity_pa_s(30)),
        (
            "Darcy factor",
            "0.0179",
            lambda: darcy_factor(reynolds_30 * density_kg_m3(30) / viscosity_pa_s(30), 0.0),
        ),
    ):
        yield near(
            f"tp410-7.1-{what.split()[0].lower()}",
            "parts",
            what,
            "smooth 52.48 mm, 200 L/min, 30 degC",
            "",
            says,
            ours,
            0.01,
            f"{HANDBOOK}, example 7.1",
            SECOND_HAND,
        )
    small, wide = 0.10226, 0.12819
    rising = (
        _run(small, 34.0, fitting_k("long_elbow", small), STEEL_M),
        _run(wide, 67.0, fitting_k("long_elbow", wide), STEEL_M),
    )
    yield near(
        "tp410-7.14",
        "parts",
        "pressure up a riser",
        "1500 L/min, DN100 + DN125, 22 m up, 15 degC",
        "bar",
        "2.6",
        lambda: (22.0 * density_kg_m3(15) * G + sum(pressure_pa(p, 15, 0.025) for p in rising)) / 1e5,
        0.02,
        f"{HANDBOOK}, example 7.14 (8th edition)",
        SECOND_HAND,
    )
    yield near(
        "textbook-8-3",
        "parts",
        "pressure drop of a pipe",
        "2 in, 200 ft, 0.2 ft3/s, 60 degF",
        "psi",
        "11.8",
        lambda: (
            pressure_pa(_run(2 * INCH_M, 200 * FOOT_M, 0.0, 7e-6 * FOOT_M), 15.56, 0.2 * FOOT_M**3) / 6894.757
        ),
        0.005,
        "university fluid mechanics, example 8-3; inputs read, answer from memory",
        MEMORY,
    )
    yield near(
        "textbook-cast-iron",
        "parts",
        "head lost",
        "6 in, 200 ft, 6 ft/s, roughness/bore 0.0008",
        "ft",
        "4.5",
        lambda: (
            head_m(_run(0.1524, 200 * FOOT_M, 0.0, 0.0008 * 0.1524), 20, 6 * FOOT_M * pi / 4 * 0.1524**2)
            / FOOT_M
        ),
        0.02,
        "textbook, asphalted cast iron",
        MEMORY,
    )
    yield near(
        "textbook-oil",
        "parts",
        "Darcy factor",
        "Re 127 324, roughness/bore 0.0013",
        "",
        "0.0227",
        partial(darcy_factor, 127324.0, 0.0013),
        0.01,
        "textbook, oil in cast iron",
        MEMORY,
    )
    for bore_m, name in ((0.0525, "2 in Sch 40"), (0.0452, "50 PN10")):
        for flow, temp in ((4, 10), (8, 10), (12, 10), (8, 38)):
            yield near(
                f"straight-{name.replace(' ', '-')}-{flow}-{temp}",
                "parts",
                "10 m of pipe, solved",
                f"{name}, {flow} m3/h, {temp} degC",
                "Pa",
                partial(_straight_pa, bore_m, flow, temp),
                partial(_through_the_network, bore_m, flow, temp),
                0.005,
                "Darcy-Weisbach and Colebrook, water by IAPWS-IF97",
                computed("iapws"),
            )
    yield near(
        "friction-exponent",
        "parts",
        "exponent of flow in friction",
        "50 PN10, 4 to 8 m3/h, 10 degC",
        "",
        lambda: log(_straight_pa(0.0452, 8, 10) / _straight_pa(0.0452, 4, 10)) / log(2.0),
        lambda: log(head_m(_run(0.0452), 10, 8 / 3600) / head_m(_run(0.0452), 10, 4 / 3600)) / log(2.0),
        0.002,
        "Darcy-Weisbach and Colebrook, water by IAPWS-IF97",
        computed("iapws"),
    )


def _rough_factor(bore_m: float) -> float:
    """Fully rough flow in commercial steel, the handbook's fT, by von Karman."""
    return 0.25 / log10(STEEL_M / bore_m / 3.7) ** 2


def _fittings() -> Iterator[Check]:
    bores = {"1.5 in": 0.04089, "2 in": 0.0525, "2.5 in": 0.06271, "3 in": 0.07793}
    counts = {"elbow": 30, "long_elbow": 14, "elbow_45": 16, "tee_run": 20, "tee_branch": 60, "ball_valve": 3}
    for size, bore in bores.items():
        for name, n in counts.items():
            yield near(
                f"k-{name}-{size.replace(' ', '-')}",
                "parts",
                f"K of {name}",
                f"{size} Sch 40",
                "",
                lambda n=n, bore=bore: n * _rough_factor(bore),
                partial(fitting_k, name, bore),
                0.05,
                f"{HANDBOOK}: K = n fT, n from memory; fT of fully rough steel by von Karman",
                MEMORY,
            )
    for name, says, source, status in (
        ("entrance", "0.5", "handbooks, sharp entrance", MEMORY),
        ("exit", "1.0", "energy balance", ARITHMETIC),
    ):
        yield near(
            f"k-{name}",
            "parts",
            f"K of {name}",
            "any bore",
            "",
            says,
            partial(fitting_k, name, 0.05),
            1e-9,
            source,
            status,
        )


def _table_bore_mm(inches: float) -> float:
    from fluids.piping import nearest_pipe

    return 1000.0 * float(nearest_pipe(NPS=inches, schedule="40D1785")[1])


def _bore_mm(name: str) -> float:
    return 1000.0 * read_pipe(name).bore_m


def _bores() -> Iterator[Check]:
    for inches in (0.5, 0.75, 1, 1.25, 1.5, 2, 2.5, 3, 4, 6):
        name = f"{inches:g} in Sch 40"
        yield near(
            f"bore-{name.replace(' ', '-')}",
            "parts",
            "bore",
            name,
            "mm",
            partial(_table_bore_mm, inches),
            partial(_bore_mm, name),
            0.001,
            "ASTM D1785 as the library tabulates it",
            computed("fluids"),
        )
    for size in (50, 63):
        for rating, ratio in (("PN10", 21.0), ("PN16", 13.6)):
            yield near(
                f"bore-{size}-{rating}",
                "parts",
                "bore",
                f"{size} {rating}",
                "mm",
                lambda size=size, ratio=ratio: size * (1.0 - 2.0 / ratio),
                partial(_bore_mm, f"{size} {rating}"),
                0.02,
                "EN ISO 1452-2: wall = outside / SDR (21 and 13.6), from memory",
                MEMORY,
            )


def checks() -> Iterator[Check]:
    """Friction, fittings, bores."""
    yield from _friction()
    yield from _fittings()
    yield from _bores()
