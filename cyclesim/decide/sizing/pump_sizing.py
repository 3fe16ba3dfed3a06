"""How large a pump: what the jets ask for, what each candidate gives, and what another pipe would change.

What the jets ask of a pump is solved, not added up: a pump of level head is raised until the weakest jet gets
its need. Two in parallel double the flow of a curve; two loops halve the jets of each leg.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from cyclesim.analysis.amounts import listed
from cyclesim.analysis.suction_side import feeding
from cyclesim.decide.sizing.pump_given import (
    MOST_HEAD_M,
    Asked,
    Given,
    asked_of,
    cautions_of,
    flat,
    given_by,
    installed,
    jets_of,
    overloaded_by,
    points_of,
    weakest_of,
    with_pump,
)
from cyclesim.decide.tuning.plumbing import next_narrower
from cyclesim.errors import CycleSimError, shorten
from cyclesim.scenario.blocks.data_sheets import Pump
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.forms.pipes import Pipe, of_standard
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.variant import with_plant

SPARE = 0.10
"""Flow to spare that is wanted, as a share of what is asked for; common practice, no source."""
_CURVE_POINTS = 24


class CannotSizeError(CycleSimError):
    """A plant that does not say what is needed to size a machine."""


@dataclass(frozen=True, slots=True)
class PipeChange:
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
    weakest_jet_share: float
    power_w: float
    cautions: tuple[str, ...]


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
    assumed: tuple[str, ...]
    """Powers that the file leaves out, worked out from a pump's other speed."""
    mend: tuple[str, Given] | None
    """Where none does within its limits: the least wider pipe with which one would, and that one."""
    changes: tuple[PipeChange, ...]
    arrangements: tuple[Arrangement, ...]
    system: tuple[tuple[float, float], ...]
    """The plant's own curve: (flow m3/s, head m)."""
    curves: tuple[tuple[str, str, tuple[tuple[float, float], ...]], ...]
    """(pump, speed, its curve)."""


def size_pump(scenario: Scenario, pump: str | None = None) -> PumpSizing:
    """Size the pump of the jets, or *pump*, against the candidates of the file.

    Raises CannotSizeError where the plant has no jets that say what they need.
    """
    plant = Assembly(scenario)
    chosen = _jet_pump(plant, pump)
    asked = asked_of(plant, chosen)
    if asked is None:
        raise CannotSizeError(
            f"No head up to {MOST_HEAD_M:g} m lets {chosen} give every jet what it needs: look at the pipes."
        )
    offers: dict[str, Pump] = {f"{chosen} (as drawn)": scenario.plant.pumps[chosen]}
    for name, candidate in (scenario.candidates.pumps if scenario.candidates else {}).items():
        offers[name] = installed(candidate, scenario.plant.pumps[chosen])
    given = tuple(
        replace(pump_given, cautions=(*_lacking(scenario, chosen, offer), *pump_given.cautions))
        for name, offer in offers.items()
        for pump_given in given_by(scenario, chosen, name, offer, asked)
    )
    best = _advised(given)
    drawn = offers[f"{chosen} (as drawn)"]
    changes = tuple(
        _changes(scenario, chosen, drawn, None if best is None else (best.pump, offers[best.pump]))
    )
    curves = []
    for name, offer in offers.items():
        as_built = Assembly(with_pump(scenario, chosen, offer))
        for speed in as_built.speeds[chosen]:
            curves.append((name, speed, points_of(as_built.curve(chosen, speed))))
    return PumpSizing(
        scenario,
        chosen,
        asked,
        sum(jets * needs for jets, needs in jets_of(plant, chosen).values()),
        given,
        best,
        tuple(
            f"{name} at {assumption.key.split('.')[0]}"
            for name, offer in offers.items()
            for assumption in offer.assumed()
        ),
        None if best and not best.cautions else _mended(scenario, chosen, offers, within=best is not None),
        changes,
        tuple(
            arrangement
            for name, offer in offers.items()
            for arrangement in _arranged(scenario, chosen, name, offer)
        ),
        tuple(_system(plant, chosen, max(head for *_, points in curves for _, head in points))),
        tuple(curves),
    )


def _lacking(scenario: Scenario, pump: str, offer: Pump) -> Iterator[str]:
    """Speeds that the programme asks of a pump and that another in its place does not have."""
    asked: dict[str, list[str]] = {}
    for demand in Programme(scenario).controller.demands:
        if demand.pump == pump and demand.speed not in offer.speeds:
            asked.setdefault(demand.speed, []).append(demand.name)
    if "on" in offer.speeds or "on" not in asked:  # a pump of two speeds can run as one of one speed does
        for speed, names in asked.items():
            yield f"it has no {speed} speed, which {listed(names)} asks for"


def _advised(given: Iterable[Given]) -> Given | None:
    """Of those that give enough: without a caution first, then with flow to spare, then the least power."""
    enough = [candidate for candidate in given if candidate.enough]
    return min(
        enough,
        key=lambda candidate: (
            bool(candidate.cautions),
            (candidate.flow_spare_share or 0.0) < SPARE,
            candidate.power_w,
        ),
        default=None,
    )


# -- what is asked for -------------------------------------------------------------------------------------


def _jet_pump(plant: Assembly, wanted: str | None) -> str:
    """The pump that sends the most water to jets which say what they need."""
    if wanted is not None and wanted not in plant.pumps:
        pumps = ", ".join(plant.pumps)
        raise CannotSizeError(f"'{shorten(wanted)}' is no pump of the plant; there are {pumps}.")
    flows = {}
    for name in [wanted] if wanted else plant.pumps:
        duty = plant.duty(plant.at(name, list(plant.speeds[name])[-1]))
        fed = [duty.flow_m3_s(leg) for leg, sheet in plant.sheet.legs.items() if sheet.manifold]
        flows[name] = sum(flow for flow in fed if flow > 1e-6)
    chosen = max(flows, key=lambda name: flows[name])
    if not flows[chosen] or not jets_of(plant, chosen):
        who = f"{wanted} feeds" if wanted else "There are"
        raise CannotSizeError(f"{who} no jets of which the file says what they need (each, or needs).")
    return chosen


def _system(plant: Assembly, pump: str, most_m: float) -> Iterator[tuple[float, float]]:
    """Flow against head, a little further than the largest pump in question goes."""
    for k in range(1, _CURVE_POINTS + 1):
        head_m = 1.05 * most_m * (k / _CURVE_POINTS) ** 2
        yield flat(plant, pump, head_m).flow_m3_s(pump), head_m


# -- other pipes -------------------------------------------------------------------------------------------


def _changes(
    scenario: Scenario, pump: str, drawn: Pump, best: tuple[str, Pump] | None
) -> Iterator[PipeChange]:
    """Each with the jets' legs otherwise than drawn."""
    legs = list(jets_of(Assembly(scenario), pump))
    for what, change in _other_pipes(scenario, legs):
        changed = with_plant(
            scenario, legs={n: change(n, leg) if n in legs else leg for n, leg in scenario.plant.legs.items()}
        )
        asked = asked_of(Assembly(changed), pump)
        now = list(given_by(changed, pump, f"{pump} (as drawn)", drawn, asked))[-1]
        then = None
        if best is not None:
            then = list(given_by(changed, pump, best[0], best[1], asked))[-1]
        yield PipeChange(what, asked, now, then)


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


def _mended(
    scenario: Scenario, pump: str, offers: Mapping[str, Pump], *, within: bool
) -> tuple[str, Given] | None:
    """The first of ever wider pipes on which one of the pumps gives every jet enough; *within* its limits."""
    plant = Assembly(scenario)
    jets = set(jets_of(plant, pump))
    drawn = plant.duty(plant.at(pump, list(plant.speeds[pump])[-1]))
    both = jets | (set(feeding(plant, pump, drawn)) & set(plant.sheet.legs))
    for what, legs, sizes in (
        ("the next wider pipe to the jets", jets, 1),
        ("the next wider pipe to the jets and from the tub", both, 1),
        ("pipe two sizes wider to the jets and from the tub", both, 2),
    ):
        built = dict(scenario.plant.legs)
        for name in legs:
            pipe = built[name].pipe
            for _ in range(sizes):
                pipe = next_wider(pipe)
            if pipe is None:
                break
            built[name] = built[name].model_copy(update={"pipe": pipe})
        else:
            changed = with_plant(scenario, legs=built)
            asked = asked_of(Assembly(changed), pump)
            tried = (g for name, offer in offers.items() for g in given_by(changed, pump, name, offer, asked))
            best = _advised(tried)
            if best and not (within and best.cautions):
                return what, best
    return None


def next_wider(pipe: Pipe | None) -> Pipe | None:
    """The next larger bore of the same standard; None where there is none, or no standard is known."""
    larger = (p for p in of_standard(pipe) if pipe and p.bore_m > pipe.bore_m)
    return next(larger, None)


# -- one pump or two ---------------------------------------------------------------------------------------


def _arranged(scenario: Scenario, pump: str, name: str, offer: Pump) -> Iterator[Arrangement]:
    """One, two in parallel on the same pipes, two loops with pipes of their own and half of the jets each."""
    jets = jets_of(Assembly(scenario), pump)

    single, double = (Assembly(with_pump(scenario, pump, sheet)) for sheet in (offer, doubled(offer)))

    def arrangement(how: str, supplied: Assembly, *plants: Assembly) -> Arrangement:
        """Each plant a loop of its own, all of them on the supply of one."""
        flow = power = 0.0
        weakest, cautions = [], dict[str, None]()
        for plant in plants:
            speed, at_speed = list(plant.speeds[pump].items())[-1]
            duty = plant.duty(plant.at(pump, speed))
            counts = {leg: plant.sheet.legs[leg].manifold for leg in jets}
            own = {leg: (own.jets, jets[leg][1]) for leg, own in counts.items() if own is not None}
            weakest.append(weakest_of(duty, own)[0])
            cautions |= dict.fromkeys(cautions_of(plant, pump, duty))
            flow, power = flow + duty.flow_m3_s(pump), power + at_speed.power_w
        fastest = list(supplied.speeds[pump])[-1]
        cautions |= dict.fromkeys(overloaded_by(supplied, pump, scenario.plant.pumps[pump], fastest))
        return Arrangement(how, name, flow, min(weakest), power, tuple(cautions))

    def loop(first: bool) -> Assembly:
        """Half of the jets of each leg; of odd numbers the loops take the larger half in turn."""
        legs = dict(scenario.plant.legs)
        takes_larger = first
        for leg, (count, _) in jets.items():
            half = legs[leg].manifold
            assert half is not None
            if count % 2:
                own, takes_larger = (count + takes_larger) // 2, not takes_larger
            else:
                own = count // 2
            legs[leg] = legs[leg].model_copy(update={"manifold": half.model_copy(update={"jets": own})})
        return Assembly(with_pump(with_plant(scenario, legs=legs), pump, offer))

    yield arrangement("one pump", single, single)
    yield arrangement("two in parallel", double, double)
    if all(count > 1 for count, _ in jets.values()):
        yield arrangement("two loops", double, loop(True), loop(False))


def doubled(pump: Pump) -> Pump:
    """Two of a pump side by side: twice the flow, power and currents at every head."""

    def twice(at_speed: Any) -> dict[str, Any]:
        made: dict[str, Any] = {"power_w": 2.0 * at_speed.power_w}
        for key in ("current_a", "starting_current_a"):
            if getattr(at_speed, key) is not None:
                made[key] = 2.0 * getattr(at_speed, key)
        if at_speed.curve:
            made["curve"] = tuple((2.0 * flow, head) for flow, head in at_speed.curve)
        if at_speed.max_flow_m3_s:
            made["max_flow_m3_s"] = 2.0 * at_speed.max_flow_m3_s
        return made

    both = {name: getattr(pump, name) for name in ("low", "high") if getattr(pump, name)}
    speeds = {name: speed.model_copy(update=twice(speed)) for name, speed in both.items()}
    return pump.model_copy(update=speeds or twice(pump))
