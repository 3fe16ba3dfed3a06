"""Parts: what a line of blown air and its injectors ask for, beside isothermal gas flow and arithmetic."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from math import pi

from cyclesim.physics.blowing import AirLine, Injectors
from tests.evidence.pipes import colebrook
from tests.evidence.record import ARITHMETIC, Check, computed, near

SEA_PA, GAS = 101_325.0, 287.055
WARM_K, FREE_K = 313.15, 293.15
VISCOSITY = 1.918e-5  # of air at 40 degC, textbooks' tables, from memory


def _line(depth_m: float, bore_mm: float, length_m: float, injectors: Injectors | None = None) -> AirLine:
    return AirLine(depth_m, bore_mm / 1000.0, length_m, injectors=injectors)


def _along_pa(flow_l_min: float, depth_m: float, bore_mm: float, length_m: float) -> float:
    """What the pipe alone takes, by cyclesim."""
    line = _line(depth_m, bore_mm, length_m)
    return line.pressure_pa(flow_l_min / 60_000.0) - line.pressure_pa(0.0)


def _isothermal_pa(flow_l_min: float, depth_m: float, bore_mm: float, length_m: float) -> float:
    """The same by isothermal flow, in which air thins out along the pipe; Colebrook's factor."""
    from fluids import isothermal_gas

    out_pa = SEA_PA + 992.6 * 9.80665 * depth_m  # water of 38 degC, as in the line's own default
    kg_s, bore_m = flow_l_min / 60_000.0 * SEA_PA / (GAS * FREE_K), bore_mm / 1000.0
    reynolds = 4.0 * kg_s / (pi * bore_m * VISCOSITY)
    factor = colebrook(reynolds, 1.5e-6 / bore_m)
    in_pa = out_pa
    for _ in range(20):  # its density is the mean one, which follows from the pressure before the pipe
        density = 0.5 * (in_pa + out_pa) / (GAS * WARM_K)
        in_pa = float(isothermal_gas(rho=density, fd=factor, P2=out_pa, L=length_m, D=bore_m, m=kg_s))
    return in_pa - out_pa


def _holes_pa(count: int, depth_m: float, flow_l_min: float) -> float:
    """What injectors of 40 L/min at 2 kPa take, by cyclesim."""
    with_them = _line(depth_m, 57.0, 8.0, Injectors(count, 40.0 / 60_000.0, 2000.0))
    flow_m3_s = flow_l_min / 60_000.0
    return with_them.pressure_pa(flow_m3_s) - _line(depth_m, 57.0, 8.0).pressure_pa(flow_m3_s)


def _by_hand_pa(count: int, depth_m: float, flow_l_min: float) -> float:
    """The square of a hole's flow of free air, times the density of free air over that in the line."""
    density_ratio = SEA_PA / FREE_K / ((SEA_PA + 992.6 * 9.80665 * depth_m) / WARM_K)
    return 2000.0 * (flow_l_min / count / 40.0) ** 2 * density_ratio


def checks() -> Iterator[Check]:
    """Three lines as they are built, and a row of injectors at two flows."""
    for line in ((600, 0.6, 57.0, 8.0), (900, 0.65, 45.2, 12.0), (300, 0.9, 32.0, 20.0)):
        flow_l_min, depth_m, bore_mm, length_m = line
        yield near(
            f"air-line-{flow_l_min}",
            "parts",
            "pressure along an air pipe",
            f"{flow_l_min} L/min, {length_m:g} m of {bore_mm:g} mm, {1000 * depth_m:.0f} mm under water",
            "Pa",
            partial(_isothermal_pa, *line),
            partial(_along_pa, *line),
            0.03,
            "isothermal gas flow, with Colebrook's factor by scipy",
            computed("fluids"),
        )
    for flow_l_min in (480, 720):
        held = (12, 0.65, flow_l_min)
        yield near(
            f"injectors-{flow_l_min}",
            "parts",
            "pressure that 12 injectors ask for",
            f"each 40 L/min at 2 kPa, {flow_l_min} L/min, 650 mm under water",
            "Pa",
            partial(_by_hand_pa, *held),
            partial(_holes_pa, *held),
            0.001,
            "an orifice: mass flow squared over density",
            ARITHMETIC,
        )
