"""How large a pump: what the jets ask for, what each candidate gives, and what another pipe would change."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import Any

from cyclesim.analysis.suction import feeding, warmest_c
from cyclesim.analysis.words import apart
from cyclesim.decide.plumbing import next_narrower
from cyclesim.decide.variant import with_plant
from cyclesim.errors import CycleSimError
from cyclesim.physics.curves import PumpCurve
from cyclesim.physics.suction import air_pressure_pa, npsh_available_m
from cyclesim.scenario.machines import Pump
from cyclesim.scenario.model import Scenario
from cyclesim.scenario.pipes import PIPES, Pipe
from cyclesim.simulation.assembly import Plant, PlantDuty, jet_name

SPARE = 0.10
"""Flow to spare that is wanted, as a share of what is asked for; common practice, no source."""
_MOST_HEAD_M = 80.0
_CURVE_POINTS = 24
_INSTALLED = ("zone", "above_water_m", "check_valve", "volume_m3", "heat_to_water", "coasts_s")
"""What belongs to the place that a pump stands in, and not to its data sheet."""


class CannotSizeError(CycleSimError):
    """A plant that does not say what is needed to size a machine."""


@dataclass(frozen=True, slots=True)
class Given:
    """What a pump gives at one speed."""

    pump: str
    speed: str
    flow_m3_s: float
    head_m: float
    weakest_jet: float
    """What the weakest jet gets, as a share of what it needs."""
    spare: float
    """Flow beyond what is asked for, as a share of it; below 0 where it is less."""
    power_w: float
    wh_per_m3: float | None
    price: float | None
    cautions: tuple[str, ...]

    @property
    def enough(self) -> bool:
        """Whether every jet gets what it needs."""
        return self.weakest_jet >= 1.0 - 1e-9


@dataclass(frozen=True, slots=True)
class Asked:
    """The duty at which the weakest jet gets just what it needs; None where no head does it."""

    flow_m3_s: float
    head_m: float
    weakest: str
    """The leg of that jet."""


@dataclass(frozen=True, slots=True)
class Change:
    """What another pipe would ask for, and what the pump as drawn and the best candidate would then give."""

    what: str
    asked: Asked | None
    as_drawn: Given
    best: Given | None


@dataclass(frozen=True, slots=True)
class Arrangement:
    """One pump, two in parallel, or two loops with half of the jets each; all at their highest speed."""

    how: str
    pump: str
    total_flow_m3_s: float
    weakest_jet: float
    power_w: float


@dataclass(frozen=True, slots=True)
class PumpSizing:
    """Everything that sizing a pump found."""

    scenario: Scenario
    pump: str
    asked: Asked
    rated_m3_s: float
    """Sum of what the jets need."""
    given: tuple[Given, ...]
    """The pump as drawn first, then each candidate, speed by speed."""
    best: Given | None
    """Of those that give enough: without a caution first, then with flow to spare, then the least power."""
    changes: tuple[Change, ...]
    arrangements: tuple[Arrangement, ...]
    system: tuple[tuple[float, float], ...]
    """The plant's own curve: (flow m3/s, head m)."""
    curves: tuple[tuple[str, str, tuple[tuple[float, float], ...]], ...]
    """(pump, speed, its curve)."""


def size_pump(scenario: Scenario, pump: str | None = None) -> PumpSizing:
    """Size the pump of the jets, or *pump*, against the candidates of the file.

    Raises CannotSizeError where the plant has no jets that say what they need.
    """
    plant = Plant(scenario)
    chosen = _jet_pump(plant, pump)
    asked = _asked(plant, chosen)
    if asked is None:
        raise CannotSizeError(
            f"No head up to {_MOST_HEAD_M:g} m lets {chosen} give every jet what it needs: look at the pipes."
        )
    offers: dict[str, Pump] = {f"{chosen} (as drawn)": scenario.plant.pumps[chosen]}
    for name, candidate in (scenario.candidates.pumps if scenario.candidates else {}).items():
        offers[name] = _installed(candidate, scenario.plant.pumps[chosen])
    given = tuple(
        one for name, offer in offers.items() for one in _given(scenario, chosen, name, offer, asked)
    )
    enough = [one for one in given if one.enough]
    best = min(enough, key=lambda one: (bool(one.cautions), one.spare < SPARE, one.power_w), default=None)
    drawn = offers[f"{chosen} (as drawn)"]
    changes = tuple(
        _changes(scenario, chosen, drawn, None if best is None else (best.pump, offers[best.pump]))
    )
    curves = []
    for name, offer in offers.items():
        as_built = Plant(_with_pump(scenario, chosen, offer))
        for speed in as_built.speeds[chosen]:
            curves.append((name, speed, _points(as_built.curve(chosen, speed))))
    return PumpSizing(
        scenario,
        chosen,
        asked,
        sum(jets * needs for jets, needs in _jets(plant, chosen).values()),
        given,
        best,
        changes,
        tuple(one for name, offer in offers.items() for one in _arranged(scenario, chosen, name, offer)),
        tuple(_system(plant, chosen)),
        tuple(curves),
    )


# -- what is asked for -------------------------------------------------------------------------------------


def _jet_pump(plant: Plant, told: str | None) -> str:
    """The pump that sends the most water to jets which say what they need."""
    if told is not None and told not in plant.pumps:
        raise CannotSizeError(f"'{told}' is no pump of the plant; there are {', '.join(plant.pumps)}.")
    flows = {}
    for name in [told] if told else plant.pumps:
        duty = plant.duty(plant.at(name, list(plant.speeds[name])[-1]))
        fed = [duty.flow_m3_s(leg) for leg, sheet in plant.sheet.legs.items() if sheet.manifold]
        flows[name] = sum(flow for flow in fed if flow > 1e-6)
    chosen = max(flows, key=lambda name: flows[name])
    if not flows[chosen] or not _jets(plant, chosen):
        who = f"{told} feeds" if told else "There are"
        raise CannotSizeError(f"{who} no jets of which the file says what they need (each, or needs).")
    return chosen


def _jets(plant: Plant, pump: str) -> dict[str, tuple[int, float]]:
    """Leg -> its jets and what each needs, of legs that the pump feeds."""
    duty = plant.duty(plant.at(pump, list(plant.speeds[pump])[-1]))
    found = {}
    for name, leg in plant.sheet.legs.items():
        jets = leg.manifold
        if jets is not None and jets.needs_flow_m3_s is not None and duty.flow_m3_s(name) > 1e-6:
            found[name] = (jets.jets, jets.needs_flow_m3_s)
    return found


def _weakest(duty: PlantDuty, jets: dict[str, tuple[int, float]]) -> tuple[float, str]:
    """What the weakest jet gets as a share of its need, and its leg."""
    shares = [
        (duty.flow_m3_s(jet_name(leg, k + 1)) / needs, leg)
        for leg, (count, needs) in jets.items()
        for k in range(count)
    ]
    return min(shares, default=(0.0, ""))


def _flat(plant: Plant, pump: str, head_m: float) -> PlantDuty:
    """The duty with the pump giving this head at any flow."""
    level = ((0.0, head_m), (0.05, head_m), (0.1, head_m))
    none = dict.fromkeys(("low", "high", "max_head_m", "max_flow_m3_s"))
    made = plant.pumps[pump].model_copy(update={**none, "curve": level, "power_w": 1.0})
    trial = Plant(_with_pump(plant.scenario, pump, made))
    return trial.duty(trial.at(pump, "on"))


def _asked(plant: Plant, pump: str) -> Asked | None:
    """By halving the head between none and the most."""
    jets = _jets(plant, pump)
    low, high = 0.0, _MOST_HEAD_M
    if not jets or _weakest(_flat(plant, pump, high), jets)[0] < 1.0:
        return None
    while high - low > 1e-4:
        middle = 0.5 * (low + high)
        if _weakest(_flat(plant, pump, middle), jets)[0] < 1.0:
            low = middle
        else:
            high = middle
    duty = _flat(plant, pump, high)
    return Asked(duty.flow_m3_s(pump), high, _weakest(duty, jets)[1])


def _system(plant: Plant, pump: str) -> Iterator[tuple[float, float]]:
    """Flow against head, as far as the largest pump in question goes."""
    most_m = 1.3 * max(plant.curve(pump, speed).head_m(0.0) for speed in plant.speeds[pump])
    for k in range(1, _CURVE_POINTS + 1):
        head_m = most_m * (k / _CURVE_POINTS) ** 2
        yield _flat(plant, pump, head_m).flow_m3_s(pump), head_m


def _points(curve: PumpCurve) -> tuple[tuple[float, float], ...]:
    last = curve.last_flow_m3_s
    flows = [last * k / _CURVE_POINTS for k in range(_CURVE_POINTS + 1)]
    return tuple((flow, curve.head_m(flow)) for flow in flows)


# -- what a pump gives -------------------------------------------------------------------------------------


def _with_pump(scenario: Scenario, name: str, pump: Pump) -> Scenario:
    return with_plant(scenario, pumps={**scenario.plant.pumps, name: pump})


def _installed(offer: Pump, drawn: Pump) -> Pump:
    """A candidate where the pump as drawn stands."""
    return offer.model_copy(update={name: getattr(drawn, name) for name in _INSTALLED})


def _given(scenario: Scenario, pump: str, name: str, offer: Pump, asked: Asked) -> Iterator[Given]:
    plant = Plant(_with_pump(scenario, pump, offer))
    jets = _jets(plant, pump)
    price = getattr(offer, "price", None)
    for speed, at in plant.speeds[pump].items():
        duty = plant.duty(plant.at(pump, speed))
        flow = max(0.0, duty.flow_m3_s(pump))
        yield Given(
            name,
            speed,
            flow,
            duty.duty.pump_heads_m.get(pump) or 0.0,
            _weakest(duty, jets)[0],
            flow / asked.flow_m3_s - 1.0,
            at.power_w,
            at.power_w / (flow * 3600.0) if flow > 1e-9 else None,
            None if price is None else price.amount,
            tuple(_cautions(plant, pump, duty)),
        )


def _cautions(plant: Plant, pump: str, duty: PlantDuty) -> Iterator[str]:
    """What a duty does that a rule of the plant would tell."""
    limits = plant.scenario.limits
    speeds = {leg: abs(duty.duty.velocity_m_s.get(leg, 0.0)) for leg in feeding(plant, pump, duty)}
    fast = max(speeds, key=lambda leg: speeds[leg], default="")
    if fast and speeds[fast] > limits.suction_speed_m_s:
        speed, most = apart(speeds[fast], limits.suction_speed_m_s, 1)
        yield f"{speed} m/s in {fast}, {most} m/s at most"
    for name, thing in plant.sheet.equipment.items():
        if thing.at_most_m3_s is not None and abs(duty.flow_m3_s(name)) > thing.at_most_m3_s:
            yield f"{name} gets more than it bears"
    above_m, needed_m = plant.pumps[pump].above_water_m, plant.pumps[pump].npsh_needed_m
    inlet = next(link.a for link in plant.links if link.name == pump)
    if above_m is not None and needed_m is not None and inlet in duty.duty.heads_m:
        air_pa = air_pressure_pa(plant.scenario.place.altitude_m)
        left_m = npsh_available_m(duty.duty.heads_m[inlet], above_m, warmest_c(plant), air_pa)
        if left_m < needed_m + 0.5:
            yield f"NPSH {left_m:.1f} m, {needed_m + 0.5:.1f} m wanted"
    yield from duty.duty.problems


# -- other pipes -------------------------------------------------------------------------------------------


def _changes(scenario: Scenario, pump: str, drawn: Pump, best: tuple[str, Pump] | None) -> Iterator[Change]:
    """Each with the jets' legs otherwise than drawn."""
    legs = list(_jets(Plant(scenario), pump))
    for what, change in _other_pipes(scenario, legs):
        changed = with_plant(
            scenario, legs={n: change(n, leg) if n in legs else leg for n, leg in scenario.plant.legs.items()}
        )
        asked = _asked(Plant(changed), pump)
        beside = asked or Asked(math.inf, math.inf, "")
        now = list(_given(changed, pump, f"{pump} (as drawn)", drawn, beside))[-1]
        then = None
        if best is not None:
            then = list(_given(changed, pump, best[0], best[1], beside))[-1]
        yield Change(what, asked, now, then)


def _other_pipes(scenario: Scenario, legs: list[str]) -> Iterator[tuple[str, Callable[[str, Any], Any]]]:
    yield "as drawn", lambda _, leg: leg
    for more_m in (5.0, 10.0):
        yield f"{more_m:g} m longer to the jets", partial(_longer, more_m)
    yield (
        "four more elbows a leg",
        lambda _, leg: leg.model_copy(
            update={"fittings": {**leg.fittings, "elbow": leg.fittings.get("elbow", 0) + 4}}
        ),
    )
    sizes = [scenario.plant.legs[name].pipe for name in legs]
    for what, of in (("the next narrower pipe", next_narrower), ("the next wider pipe", next_wider)):
        if all(of(size) for size in sizes):
            yield what, partial(_of_size, of)
    extra = {name: 4 // len(legs) + (k < 4 % len(legs)) for k, name in enumerate(legs)}
    yield (
        "four more jets",
        lambda name, leg: leg.model_copy(
            update={"manifold": leg.manifold.model_copy(update={"jets": leg.manifold.jets + extra[name]})}
        ),
    )


def _longer(more_m: float, _: str, leg: Any) -> Any:
    return leg.model_copy(update={"length_m": leg.length_m + more_m})


def _of_size(of: Callable[[Pipe | None], Pipe | None], _: str, leg: Any) -> Any:
    return leg.model_copy(update={"pipe": of(leg.pipe)})


def next_wider(pipe: Pipe | None) -> Pipe | None:
    """The next larger bore of the same standard; None where there is none, or no standard is known."""
    if pipe is None:
        return None
    standard = pipe.name.rsplit(" ", 1)[-1]
    larger = [p for n, p in PIPES.items() if n.rsplit(" ", 1)[-1] == standard and p.bore_m > pipe.bore_m]
    return min(larger, key=lambda one: one.bore_m, default=None)


# -- one pump or two ---------------------------------------------------------------------------------------


def _arranged(scenario: Scenario, pump: str, name: str, offer: Pump) -> Iterator[Arrangement]:
    """One, two in parallel on the same pipes, two loops with pipes of their own and half of the jets each."""
    jets = _jets(Plant(scenario), pump)

    def at(how: str, plant: Plant, loops: int = 1) -> Arrangement:
        speed, told = list(plant.speeds[pump].items())[-1]
        duty = plant.duty(plant.at(pump, speed))
        each = {leg: (math.ceil(count / loops), needs) for leg, (count, needs) in jets.items()}
        flow = loops * duty.flow_m3_s(pump)
        return Arrangement(how, name, flow, _weakest(duty, each)[0], loops * told.power_w)

    def halved(leg: Any) -> Any:
        half = leg.manifold.model_copy(update={"jets": math.ceil(leg.manifold.jets / 2)})
        return leg.model_copy(update={"manifold": half})

    legs = {leg: halved(one) if leg in jets else one for leg, one in scenario.plant.legs.items()}
    yield at("one pump", Plant(_with_pump(scenario, pump, offer)))
    yield at("two in parallel", Plant(_with_pump(scenario, pump, doubled(offer))))
    yield at("two loops", Plant(_with_pump(with_plant(scenario, legs=legs), pump, offer)), 2)


def doubled(pump: Pump) -> Pump:
    """Two of a pump side by side: twice the flow and power at every head."""

    def twice(told: Any) -> dict[str, Any]:
        made: dict[str, Any] = {"power_w": 2.0 * told.power_w}
        if told.curve:
            made["curve"] = tuple((2.0 * flow, head) for flow, head in told.curve)
        if told.max_flow_m3_s:
            made["max_flow_m3_s"] = 2.0 * told.max_flow_m3_s
        return made

    both = {name: getattr(pump, name) for name in ("low", "high") if getattr(pump, name)}
    told = {name: speed.model_copy(update=twice(speed)) for name, speed in both.items()}
    return pump.model_copy(update=told or twice(pump))
