"""Worked examples and known answers of hydraulics, each from outside, run through the network solver."""

from math import sqrt

import pytest

from cyclesim.physics.curves import PumpCurve
from cyclesim.physics.friction import fitting_k
from cyclesim.physics.network import TUB, Drop, PipeLink, PumpLink, loss, solve
from cyclesim.physics.water import G, density_kg_m3

FOOT_M, INCH_M, GALLON_MIN_M3_S = 0.3048, 0.0254, 3.785411784e-3 / 60
STEEL_M = 0.0018 * INCH_M  # clean commercial steel, TP-410


def running(name: str, a: str, b: str, curve: PumpCurve) -> PumpLink:
    """A pump that runs on its curve, with no check valve."""
    return PumpLink(name, a, b, curve, curve, False)


def leg(name: str, a: str, b: str, lift_m: float) -> PipeLink:
    """A 63 PN10 leg with a few elbows."""
    return PipeLink(name, a, b, 8, 0.057, 3.0, lift_m=lift_m)


@pytest.mark.parametrize(
    ("share", "k_h2_m5", "flow_m3_h", "head_m", "within"),
    [(1, 0.08, 10.0, 8.0, 1e-6), (1, 0.03, 12.4722, 4.6667, 1e-4), (0.5, 0.08, 5.0, 2.0, 1e-6)],
)
def test_pump_meets_system(
    share: float, k_h2_m5: float, flow_m3_h: float, head_m: float, within: float
) -> None:
    """H = 14 - 0.06 Q2 against h = k Q2 meets where the algebra says, at full and at half speed."""
    pump = PumpCurve.quadratic(14, sqrt(14 / 0.06) / 3600)
    links = [running("pump", TUB, "out", pump.at_speed(share)), Drop("system", "out", TUB, k_h2_m5, 1 / 3600)]
    duty = solve(links, 20)
    assert pytest.approx(flow_m3_h, abs=within) == duty.flows_m3_s["pump"] * 3600
    assert pytest.approx(head_m, abs=within) == duty.pump_heads_m["pump"]
    if share == 1 and flow_m3_h == 10:  # density 1000 kg/m3
        assert pytest.approx(217.9, abs=0.05) == 9806.65 * duty.flows_m3_s["pump"] * duty.heads_m["out"]


@pytest.mark.parametrize(("lift_m", "flows"), [(3.5, False), (3.6, False), (3.4, True)])
def test_half_speed_cannot_lift_a_quarter_head(lift_m: float, flows: bool) -> None:
    """At half speed a 14 m pump lifts to under 3.5 m and no further, and the problem says both heads."""
    pump = PumpCurve.quadratic(14, sqrt(14 / 0.06) / 3600).at_speed(0.5)
    duty = solve([running("main", TUB, "out", pump), leg("spout", "out", TUB, lift_m=lift_m)], 20)
    assert flows == (duty.flows_m3_s["spout"] > 1e-5)
    said = f"main cannot lift the water: 3.5 m at no flow against {lift_m} m; no water moves in spout"
    assert duty.problems == (() if flows else (said,))
    if not flows:
        assert duty.flows_m3_s == {"main": 0.0, "spout": 0.0}


@pytest.mark.parametrize(
    ("bore_m", "flow_m3_h", "temp_c", "pressure_pa"),
    [  # 10 m, roughness 1.5 um, IF97 water, Colebrook (computed with fluids 1.3.1 and iapws)
        (0.05250, 4, 10, 645.9), (0.05250, 8, 10, 2198.1), (0.05250, 12, 10, 4525.5),
        (0.05250, 8, 38, 1897.9),
        (0.0452, 4, 10, 1317.8), (0.0452, 8, 10, 4498.2), (0.0452, 12, 10, 9277.7), (0.0452, 8, 38, 3895.3),
    ],
)  # fmt: skip
def test_straight_runs(bore_m: float, flow_m3_h: float, temp_c: float, pressure_pa: float) -> None:
    """Ten metres of plastic pipe take the reference pressure at the flow a pump of that head gives."""
    head = pressure_pa / (density_kg_m3(temp_c) * 9.80665)
    pump = PumpCurve((0.0, 1.0), (head, head), (0.0, 0.0))  # a header tank: the same head at any flow
    links = [running("tank", TUB, "in", pump), PipeLink("run", "in", TUB, 10, bore_m, 0)]
    flow = solve(links, temp_c).flows_m3_s["run"]
    # 0.5 % of pressure is 0.5/1.77 % of flow
    assert pytest.approx(flow_m3_h, rel=0.005 / 1.77) == flow * 3600


def test_warm_pipe_in_numbers() -> None:
    """8 m3/h at 38 degC in 2 in Sch 40: 1.0265 m/s and Re 78,926 (IF97 water)."""
    links = [running("tank", TUB, "in", PumpCurve((0.0, 1.0), (0.195, 0.195), (0.0, 0.0))),
             PipeLink("run", "in", TUB, 10, 0.0525, 0)]  # fmt: skip
    duty = solve(links, 38)
    share = duty.flows_m3_s["run"] * 3600 / 8
    assert pytest.approx(1.0265 * share, rel=1e-3) == duty.velocity_m_s["run"]
    assert pytest.approx(78926 * share, rel=1e-3) == duty.reynolds["run"]


def test_rising_steel_pipes_of_the_handbook() -> None:
    """TP-410 example 7.14 (8th edition): 1500 L/min through DN100 and DN125, up 22 m, take 2.6 bar.

    Its later metric edition prints 26,450 Pa, which forgets the rise.
    """
    small, wide = 0.10226, 0.12819  # Schedule 40 bores
    pipes = [
        PipeLink("dn100", "in", "bend", 34, small, fitting_k("long_elbow", small), STEEL_M),
        PipeLink("dn125", "bend", "top", 67, wide, fitting_k("long_elbow", wide), STEEL_M),
    ]
    head = 22 + sum(loss(pipe, 15)(1500 / 60000)[0] for pipe in pipes)
    assert pytest.approx(2.6, rel=0.02) == head * density_kg_m3(15) * G / 1e5


def test_pumping_head_of_the_handbook() -> None:
    """TP-410 example 7.15: 100 gpm at 70 degF through 500 ft of 3 in pipe, up 400 ft, needs 421 ft."""
    from fluids.fittings import K_gate_valve_Crane, K_lift_check_valve_Crane  # two devices not in our list

    bore = 3.068 * INCH_M
    k = fitting_k("exit", bore) + 4 * fitting_k("elbow", bore) + K_gate_valve_Crane(D1=bore, D2=bore, angle=0)
    k += K_lift_check_valve_Crane(D1=2.469 * INCH_M, D2=bore, angled=False)
    pipe = PipeLink("pipe", "in", TUB, 500 * FOOT_M, bore, k, 0.0022 * INCH_M)
    friction = loss(pipe, (70 - 32) / 1.8)(100 * GALLON_MIN_M3_S)[0]
    assert pytest.approx(421, rel=0.005) == 400 + friction / FOOT_M
    assert pytest.approx(21, rel=0.05) == friction / FOOT_M
    power = density_kg_m3(21.1) * G * 100 * GALLON_MIN_M3_S * (400 * FOOT_M + friction) / 0.7
    assert pytest.approx(15.2, rel=0.01) == power / 745.7
