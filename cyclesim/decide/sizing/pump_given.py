"""What a pump gives on a plant's pipes: its duty, what the jets get, and what its suction and filters say."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from cyclesim.analysis.amounts import apart
from cyclesim.analysis.room_rules import NPSH_MARGIN_M
from cyclesim.analysis.suction_side import feeding, warmest_c
from cyclesim.decide.sizing.supply_share import overloads
from cyclesim.physics.curves import PumpCurve
from cyclesim.physics.links import TUB, Link, PipeLink, loss
from cyclesim.physics.suction import air_pressure_pa, npsh_available_m
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.scenario.blocks.data_sheets import Pump
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.assembly import Assembly, PlantDuty
from cyclesim.simulation.jets import jet_name
from cyclesim.simulation.variant import with_plant

MOST_HEAD_M = 80.0
_CURVE_POINTS = 24
_ELECTRIC = ("power_w", "current_a", "starting_current_a")
_INSTALLED = ("zone", "above_water_m", "check_valve", "volume_m3", "heat_to_water", "coasts_s")
"""What belongs to the place that a pump stands in, unless its own sheet says otherwise."""

Jets = dict[str, tuple[int, float]]
"""Leg -> its jets, and what each needs [m3/s]."""


@dataclass(frozen=True, slots=True)
class Asked:
    """The duty at which the weakest jet gets just what it needs."""

    flow_m3_s: float
    head_m: float
    weakest: str
    """The leg of that jet."""
    taken_by_m: dict[str, float]
    """Where the head goes, on the way through that jet."""


@dataclass(frozen=True, slots=True)
class Given:
    """What a pump gives at one speed."""

    pump: str
    speed: str
    flow_m3_s: float
    head_m: float
    weakest_jet_m3_s: float
    weakest_jet_share: float
    """What the weakest jet gets, of what it needs."""
    flow_spare_share: float | None
    """Flow beyond what is asked for, as a share of it; below 0 where it is less."""
    head_spare_share: float | None
    """Head beyond what is asked for, at the flow that is asked for."""
    power_w: float
    wh_per_m3: float | None
    suction_m_s: float | None
    """The fastest in a leg that draws from the tub."""
    npsh_left_m: float | None
    npsh_due_m: float | None
    """What its data sheet needs, and the usual margin."""
    filter_share: float | None
    """Flow through the filter that is used most, of the most that it bears."""
    price: float | None
    currency: str | None
    cautions: tuple[str, ...]

    @property
    def enough(self) -> bool:
        """Whether every jet gets what it needs."""
        return self.weakest_jet_share >= 1.0 - 1e-9


def with_pump(scenario: Scenario, name: str, pump: Pump) -> Scenario:
    """The scenario with another pump under a name."""
    return with_plant(scenario, pumps={**scenario.plant.pumps, name: pump})


def installed(offer: Pump, drawn: Pump) -> Pump:
    """A candidate where the pump as drawn stands."""
    own = offer.model_fields_set
    return offer.model_copy(update={n: getattr(drawn, n) for n in _INSTALLED if n not in own})


def jets_of(plant: Assembly, pump: str) -> Jets:
    """The jets that the pump feeds, of legs that say what a jet needs."""
    duty = plant.duty(plant.at(pump, list(plant.speeds[pump])[-1]))
    asked_by_leg = {}
    for name, leg in plant.sheet.legs.items():
        jets = leg.manifold
        if jets is not None and jets.needs_flow_m3_s is not None and duty.flow_m3_s(name) > 1e-6:
            asked_by_leg[name] = (jets.jets, jets.needs_flow_m3_s)
    return asked_by_leg


def weakest_of(duty: PlantDuty, jets: Jets) -> tuple[float, str, float]:
    """What the weakest jet gets as a share of its need, its leg, and its flow."""
    shares = [
        (duty.flow_m3_s(jet_name(leg, k + 1)) / needs, leg, duty.flow_m3_s(jet_name(leg, k + 1)))
        for leg, (count, needs) in jets.items()
        for k in range(count)
    ]
    return min(shares, default=(0.0, "", 0.0))


def flat(plant: Assembly, pump: str, head_m: float) -> PlantDuty:
    """The duty with the pump giving this head at any flow."""
    level = ((0.0, head_m), (0.05, head_m), (0.1, head_m))
    none = dict.fromkeys(("low", "high", "max_head_m", "max_flow_m3_s"))
    made = plant.pumps[pump].model_copy(update={**none, "curve": level, "power_w": 1.0})
    trial = Assembly(with_pump(plant.scenario, pump, made))
    return trial.duty(trial.at(pump, "on"))


def asked_of(plant: Assembly, pump: str) -> Asked | None:
    """By halving the head between none and the most; None where no head does it."""
    jets = jets_of(plant, pump)
    low, high = 0.0, MOST_HEAD_M
    if not jets or weakest_of(flat(plant, pump, high), jets)[0] < 1.0:
        return None
    while high - low > 1e-4:
        middle = 0.5 * (low + high)
        if weakest_of(flat(plant, pump, middle), jets)[0] < 1.0:
            low = middle
        else:
            high = middle
    duty = flat(plant, pump, high)
    return Asked(duty.flow_m3_s(pump), high, weakest_of(duty, jets)[1], _taken_by(plant, pump, duty, jets))


def _taken_by(plant: Assembly, pump: str, duty: PlantDuty, jets: Jets) -> dict[str, float]:
    """Head lost on the way through the weakest jet: straight pipe, fittings, each device, the jet."""
    leg = weakest_of(duty, jets)[1]
    jet = min((jet_name(leg, k + 1) for k in range(jets[leg][0])), key=duty.flow_m3_s)
    taken = {"straight pipe": 0.0, "fittings": 0.0}
    for link, q in _way(plant, jet, duty):
        lost_m = loss(link, plant.temp_c)(q)[0] if link.name != pump else 0.0
        if isinstance(link, PipeLink):
            bare = abs(loss(replace(link, k=0.0, lift_m=0.0), plant.temp_c)(q)[0])
            taken["straight pipe"] += bare
            taken["fittings"] += abs(lost_m) - bare
        elif link.name != pump:
            name = "the jet itself" if link.name == jet else link.name
            taken[name] = taken.get(name, 0.0) + abs(lost_m)
    return taken


def _way(plant: Assembly, jet: str, duty: PlantDuty) -> Iterator[tuple[Link, float]]:
    """From a jet against the flow to the tub; of parallel ways any, as all of them take the same head."""
    link = next(candidate for candidate in plant.links if candidate.name == jet)
    seen: set[str] = set()
    while True:
        q = duty.flow_m3_s(link.name)
        yield link, q
        seen.add(link.name)
        node = link.a if q > 0.0 else link.b
        if node == TUB:
            return
        flows = (
            (candidate, duty.flow_m3_s(candidate.name))
            for candidate in plant.links
            if candidate.name not in seen
        )
        feeds = [
            candidate
            for candidate, f in flows
            if abs(f) > STILL_M3_S and (candidate.b if f > 0.0 else candidate.a) == node
        ]
        if not feeds:
            return
        link = max(feeds, key=lambda candidate: abs(duty.flow_m3_s(candidate.name)))


def given_by(scenario: Scenario, pump: str, name: str, offer: Pump, asked: Asked | None) -> Iterator[Given]:
    """What a pump under a name gives in the place of another, speed by speed, with no other running."""
    plant = Assembly(with_pump(scenario, pump, offer))
    jets = jets_of(plant, pump)
    price: Any = getattr(offer, "price", None)
    for speed, at_speed in plant.speeds[pump].items():
        duty = plant.duty(plant.at(pump, speed))
        flow = max(0.0, duty.flow_m3_s(pump))
        share, _, jet_m3_s = weakest_of(duty, jets)
        told_m = None if asked is None else plant.curve(pump, speed).head_m(asked.flow_m3_s)
        npsh = _npsh(plant, pump, duty)
        yield Given(
            name,
            speed,
            flow,
            duty.duty.pump_heads_m.get(pump) or 0.0,
            jet_m3_s,
            share,
            None if asked is None else flow / asked.flow_m3_s - 1.0,
            None if asked is None or told_m is None else max(0.0, told_m) / asked.head_m - 1.0,
            at_speed.power_w,
            at_speed.power_w / (flow * 3600.0) if flow > 1e-9 else None,
            max(_suction(plant, pump, duty).values(), default=None),
            npsh[0],
            npsh[1],
            max(_filters(plant, duty).values(), default=None),
            None if price is None else price.amount,
            None if price is None else price.currency,
            (*cautions_of(plant, pump, duty), *overloaded_by(plant, pump, scenario.plant.pumps[pump], speed)),
        )


def _suction(plant: Assembly, pump: str, duty: PlantDuty) -> dict[str, float]:
    legs = (name for name in feeding(plant, pump, duty) if name in plant.sheet.legs)
    return {leg: abs(duty.duty.velocity_m_s.get(leg, 0.0)) for leg in legs}


def _filters(plant: Assembly, duty: PlantDuty) -> dict[str, float]:
    things = plant.sheet.equipment.items()
    return {n: abs(duty.flow_m3_s(n)) / e.at_most_m3_s for n, e in things if e.at_most_m3_s is not None}


def _npsh(plant: Assembly, pump: str, duty: PlantDuty) -> tuple[float | None, float | None]:
    """What is left at the inlet, and what is needed there; None of each that the file does not tell."""
    sheet = plant.pumps[pump]
    inlet = next(link.a for link in plant.links if link.name == pump)
    due_m = None if sheet.npsh_needed_m is None else sheet.npsh_needed_m + NPSH_MARGIN_M
    if sheet.above_water_m is None or inlet not in duty.duty.heads_m:
        return None, due_m
    air_pa = air_pressure_pa(plant.scenario.place.altitude_m)
    head_m = duty.duty.heads_m[inlet]
    return npsh_available_m(head_m, sheet.above_water_m, warmest_c(plant), air_pa), due_m


def overloaded_by(plant: Assembly, pump: str, drawn: Pump, speed: str) -> Iterator[str]:
    """What its circuit carries that the breaker does not, with the pump of a plant at a speed.

    Interlocks and schedule know the speeds of the pump as *drawn*; where this one has others, it stands for
    each of them.
    """
    speeds = [speed]
    if plant.speeds[pump].keys() != drawn.speeds.keys():
        at_speed = plant.speeds[pump][speed].model_copy(
            update={
                "curve": points_of(plant.curve(pump, speed)),
                **dict.fromkeys(("max_head_m", "max_flow_m3_s", "share_of_speed")),
            }
        )
        speeds = list(drawn.speeds)
        own = {name: getattr(at_speed, name) for name in ("curve", "max_head_m", "max_flow_m3_s", *_ELECTRIC)}
        stands_for = own if speeds == ["on"] else dict.fromkeys(speeds, at_speed)
        plant = Assembly(with_pump(plant.scenario, pump, drawn.model_copy(update=stands_for)))
    yield from overloads(plant, pump, *speeds)


def points_of(curve: PumpCurve) -> tuple[tuple[float, float], ...]:
    """Points (flow m3/s, head m) of a pump's curve, from no flow to its last."""
    flows = [curve.last_flow_m3_s * k / _CURVE_POINTS for k in range(_CURVE_POINTS + 1)]
    return tuple((flow, curve.head_m(flow)) for flow in flows)


def cautions_of(plant: Assembly, pump: str, duty: PlantDuty) -> Iterator[str]:
    """What a duty does that a rule of the plant would tell, but for its circuit: see `overloaded_by`."""
    limits, speeds = plant.scenario.limits, _suction(plant, pump, duty)
    fast = max(speeds, key=lambda leg: speeds[leg], default="")
    if fast and speeds[fast] > limits.suction_speed_m_s:
        speed, most = apart(speeds[fast], limits.suction_speed_m_s, 1)
        yield f"{speed} m/s in {fast}, {most} m/s at most"
    for name, share in _filters(plant, duty).items():
        if share > 1.0:
            yield f"{name} gets more than it bears"
    left_m, due_m = _npsh(plant, pump, duty)
    if left_m is not None and due_m is not None and left_m < due_m:
        yield f"NPSH {left_m:.1f} m, {due_m:.1f} m due"
    yield from duty.duty.problems
