"""How strong a blower: what depth and air pipe ask for, what each gives, and how fast it cools."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from statistics import fmean as mean
from zoneinfo import ZoneInfo

from cyclesim.decide.sizing.pump_sizing import CannotSizeError
from cyclesim.decide.sizing.supply_share import overloads
from cyclesim.errors import shorten
from cyclesim.physics.blowing import HEAD_PA_M
from cyclesim.physics.curves import PumpCurve
from cyclesim.physics.evaporation import saturation
from cyclesim.physics.laws import air_law
from cyclesim.physics.water import density_kg_m3, heat_capacity_j_kg_k
from cyclesim.scenario.blocks.air import Blower
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.exchanges import AIR_HEAT
from cyclesim.simulation.hourly_weather import fill_c, weather, zones
from cyclesim.simulation.variant import with_plant

_POINTS = 24
_YEAR_S = 365 * 86_400


@dataclass(frozen=True, slots=True)
class Blown:
    """What one blower gives through the plant's air pipe, and what that does to the water."""

    blower: str
    flow_m3_s: float
    pressure_pa: float
    flow_spare_share: float | None
    """Flow beyond what is wanted, as a share of it."""
    pressure_spare_share: float | None
    """Pressure at no flow beyond what the depth alone asks for, as a share; None without a curve."""
    power_w: float
    cools_coldest_k_h: float
    """In the coldest month's mean air [K/h]; less than 0 where its own warmth outdoes it."""
    cools_mean_k_h: float
    """In the year's mean air."""
    price: float | None
    why_not: str | None
    cautions: tuple[str, ...]
    """What its circuit would carry that its breaker does not."""


@dataclass(frozen=True, slots=True)
class BlowerSizing:
    """Everything that sizing a blower found."""

    scenario: Scenario
    depth_pa: float
    """What the water over the holes alone asks for."""
    wanted_m3_s: float | None
    wanted_pa: float | None
    """What depth and pipe ask for at the wanted flow."""
    water_c: float
    coldest: tuple[str, float]
    """The coldest month and its mean air [degC] where the blower draws."""
    coldest_humidity: float
    """Relative humidity there, 0 to 1."""
    mean_c: float
    mean_humidity: float
    given: tuple[Blown, ...]
    """The one as drawn first, then each candidate."""
    best: Blown | None
    """Of those that give the wanted flow: without a caution first, then the least power; None without one."""
    system: tuple[tuple[float, float], ...]
    """(flow m3/s, pressure Pa) that the plant asks for."""
    curves: tuple[tuple[str, tuple[tuple[float, float], ...]], ...]


def size_blower(
    scenario: Scenario, blower: str | None = None, *, wanted_m3_s: float | None = None
) -> BlowerSizing:
    """Size the blower of the plant, or *blower*, against the candidates of the file, for a wanted flow.

    Raises CannotSizeError where the plant has no blower.
    """
    drawn_all = scenario.plant.air
    name = blower or next(iter(drawn_all), None)
    if name not in drawn_all:
        if not drawn_all:
            raise CannotSizeError("There is no blower: plant.air says where its pipe runs, and how deep.")
        known = ", ".join(drawn_all)
        raise CannotSizeError(f"'{shorten(str(name))}' is no blower of the plant; there are {known}.")
    drawn = drawn_all[name]
    offers: dict[str, tuple[Blower, float | None]] = {f"{name} (as drawn)": (drawn, None)}
    for label, offer in (scenario.candidates.blowers if scenario.candidates else {}).items():
        sheet = {"curve": offer.curve, "power_w": offer.power_w, "current_a": offer.current_a}
        made = drawn.model_copy(update={**sheet, "delivers_m3_s": None})
        offers[label] = made, None if offer.price is None else offer.price.amount
    plant = Assembly(scenario)
    line = plant.air_line(name)
    months = _months(scenario, drawn.air_from)
    coldest = min(months, key=lambda month: months[month][0])
    usual = mean(m[0] for m in months.values()), mean(m[1] for m in months.values())
    given = []
    for label, (made, price) in offers.items():
        fitted = Assembly(with_plant(scenario, air={**drawn_all, name: made}))
        duty = fitted.air_duty(name)
        spare = None
        if made.curve:
            spare = _points(PumpCurve.from_points(made.curve))[0][1] / line.pressure_pa(0.0) - 1.0
        given.append(
            Blown(
                label,
                duty.flow_m3_s,
                duty.pressure_pa,
                None if wanted_m3_s is None else duty.flow_m3_s / wanted_m3_s - 1.0,
                spare,
                made.power_w,
                _cools_k_h(plant, duty.flow_m3_s, *months[coldest], made.power_w),
                _cools_k_h(plant, duty.flow_m3_s, *usual, made.power_w),
                price,
                duty.why_not,
                tuple(overloads(fitted, name, "on")),
            )
        )
    enough = [g for g in given if wanted_m3_s is not None and g.flow_m3_s >= wanted_m3_s]
    last = max([g.flow_m3_s for g in given] + [wanted_m3_s or 0.0, 0.005]) * 1.3
    curves = [
        (label, _points(PumpCurve.from_points(made.curve)))
        for label, (made, _) in offers.items()
        if made.curve
    ]
    return BlowerSizing(
        scenario,
        line.pressure_pa(0.0),
        wanted_m3_s,
        None if wanted_m3_s is None else line.pressure_pa(wanted_m3_s),
        plant.temp_c,
        (coldest, months[coldest][0]),
        months[coldest][1],
        *usual,
        tuple(given),
        min(enough, key=lambda g: (bool(g.cautions), g.power_w), default=None),
        tuple((last * k / _POINTS, line.pressure_pa(last * k / _POINTS)) for k in range(_POINTS + 1)),
        tuple(curves),
    )


def _points(curve: PumpCurve) -> tuple[tuple[float, float], ...]:
    flows = [curve.last_flow_m3_s * k / _POINTS for k in range(_POINTS + 1)]
    return tuple((flow, curve.head_m(flow) * HEAD_PA_M) for flow in flows)


def _cools_k_h(plant: Assembly, flow_m3_s: float, air_c: float, humidity: float, power_w: float) -> float:
    """How fast the tub's water cools by blown air and the cold water for what evaporates, as in a run.

    Cover, shell and bathers are left aside.
    """
    law = air_law(
        flow_m3_s,
        [air_c],
        [humidity],
        makeup_c=fill_c(plant.scenario),
        air_heat_w=AIR_HEAT * power_w if flow_m3_s > 0.0 else 0.0,
    )
    mass_kg = plant.volume_m3 * density_kg_m3(plant.temp_c)
    return -law(0, plant.temp_c).heat_w * 3600.0 / (mass_kg * heat_capacity_j_kg_k(plant.temp_c))


def _months(scenario: Scenario, zone: str) -> dict[str, tuple[float, float]]:
    """Month -> mean temperature [degC] and relative humidity of the air that is drawn.

    A zone has the vapour of the air outdoors.
    """
    local, year = ZoneInfo(scenario.place.time_zone), scenario.place.year
    begin = datetime(year, 1, 1, tzinfo=local).astimezone(UTC)
    series = zones(scenario, begin, 0, _YEAR_S).series[zone]
    outside = weather(scenario, begin, 0, _YEAR_S)
    rows_by_month: dict[str, list[tuple[float, float]]] = {}
    for hour, (air_c, out_c, humid) in enumerate(zip(series, outside.air_c, outside.humidity, strict=False)):
        month = f"{(begin + timedelta(hours=hour)).astimezone(local):%B}"
        within = min(1.0, humid * saturation(out_c)[0] / saturation(air_c)[0])
        rows_by_month.setdefault(month, []).append((air_c, within))
    return {
        month: (mean(a for a, _ in rows), mean(h for _, h in rows)) for month, rows in rows_by_month.items()
    }
