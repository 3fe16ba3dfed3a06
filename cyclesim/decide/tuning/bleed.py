"""A bleed: a trickle from behind the filter and heater into jets that their own pump alone would move."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import count, product
from typing import NamedTuple

from cyclesim.analysis.amounts import flow, lasting, listed
from cyclesim.analysis.combinations import as_written
from cyclesim.analysis.history import FLUSH_VOLUMES
from cyclesim.decide.tuning.duty_effect import end_of, reached_s
from cyclesim.physics.links import TUB
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.scenario.blocks.chains import Chain, Item, names_in
from cyclesim.scenario.blocks.data_sheets import CheckValve, Valve
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.plant import Leg
from cyclesim.simulation.assembly import Assembly, PlantDuty
from cyclesim.simulation.variant import with_plant
from cyclesim.units import format_quantity

_LENGTH = "2 m"  # both of its ends lie in the pump room; common practice, no source
_FITTINGS = {"tee_branch": 2, "elbow": 2}
_CHECK_DROP, _OPEN_DROP = "0.2 m at 20 L/min", "0.1 m at 20 L/min"  # of this size; common practice, no source
_PIPES_MM, _PIPES_INCH = ("20 PN16", "25 PN16"), ("0.5 in Sch 40", "0.75 in Sch 40")
_TRICKLES_L_MIN = (2, 3, 4, 6, 8, 12, 16, 24)
_LEAST_HEAD_M = 0.01
_POSITION = "trickle"
_RUN_S = 3600.0  # where a pump heats and no filter run says how long it runs; common practice, no source


class Bleed(NamedTuple):
    """A plant with a bleed into some legs of jets."""

    into: tuple[str, ...]
    sentence: str
    scenario: Scenario


class _Place(NamedTuple):
    """Before which item of which chain of the network."""

    chain: int
    item: int


def bleeds(plant: Assembly, stale: Sequence[str]) -> Iterator[Bleed]:
    """A bleed into each group of jets that stands while water is filtered, if that renews a *stale* leg."""
    for (pump, speed), run_s in _steady(plant.scenario).items():
        tap, duty = _tap(plant, pump), plant.duty(plant.at(pump, speed))
        if tap is None or not _moves(duty, pump):
            continue
        for end, into in _standing(plant, duty).items():
            if end == tap:
                continue
            leg = plant.sheet.legs[into[0]]
            inch = leg.pipe is not None and leg.pipe.standard.startswith("Sch")
            for pipe, l_min in product(_PIPES_INCH if inch else _PIPES_MM, _TRICKLES_L_MIN):
                scenario = _with_bleed(plant, tap, end, pipe, duty, l_min, leg.insulation_m)
                if scenario is None:
                    break
                after = Assembly(scenario)
                now = after.duty(duty.speeds)
                moved = [name for name in stale if name in plant.sheet.legs and not _moves(duty, name)]
                moved = [name for name in moved if _moves(now, name)]
                ends = [reached_s(now, end_of(plant, name)) for name in {*moved, *into}]
                if moved and all(t is not None and t * FLUSH_VOLUMES <= run_s for t in ends):
                    yield Bleed(tuple(into), _sentence(plant, after, tap, now, (pump, speed), into), scenario)
                    break


def _steady(scenario: Scenario) -> dict[tuple[str, str], float]:
    """The pumps and speeds that filter alone, each with its shortest run; those that heat where none does."""
    lasts_by_pump: dict[tuple[str, str], float] = {}
    for run in scenario.schedule.filter_runs:
        if len(run.pumping.pumps) == 1:
            pump = run.pumping.pumps[0]
            lasts_by_pump[pump] = min(run.lasts_s, lasts_by_pump.get(pump, run.lasts_s))
    heating = scenario.schedule.heating
    return lasts_by_pump or ({heating.pump: _RUN_S} if heating else {})


def _moves(duty: PlantDuty, name: str) -> bool:
    return abs(duty.flow_m3_s(name)) > STILL_M3_S


def _tap(plant: Assembly, pump: str) -> _Place | None:
    """Behind the last filter and heat source of a pump's chain; None where the pump is in a split."""
    passed = {pump, *plant.housings}
    for number, chain in enumerate(plant.sheet.network):
        if pump in chain:
            last = max(i for i, item in enumerate(chain) if passed & set(_names(item)))
            return _place(plant, number, last + 1)
    return None


def _names(item: Item) -> list[str]:
    return [name for name, _ in names_in((item,), ())]


def _standing(plant: Assembly, duty: PlantDuty) -> dict[_Place, list[str]]:
    """Where legs of jets begin that a duty leaves standing, with those legs."""
    legs_by_place: dict[_Place, list[str]] = {}
    jets = [name for name, leg in plant.sheet.legs.items() if leg.manifold and not _moves(duty, name)]
    for number, chain in enumerate(plant.sheet.network):
        for i, item in enumerate(chain):
            into = [name for name in jets if name in _names(item)]
            place = _place(plant, number, i) if into else None
            if place is not None:
                legs_by_place[place] = into
    return legs_by_place


def _place(plant: Assembly, chain: int, item: int) -> _Place | None:
    """The place, unless it is the tub itself, where nothing pushes."""
    items = plant.sheet.network[chain]
    return None if TUB in (items[item], items[item - 1]) else _Place(chain, item)


# -- the plant with it ---------------------------------------------------------------------------------------


def _with_bleed(
    plant: Assembly, tap: _Place, end: _Place, pipe: str, duty: PlantDuty, l_min: int, insulation_m: float
) -> Scenario | None:
    """The plant with a bleed set to a trickle; None where no head drives it.

    The throttle takes at that flow all of the head that stands between its ends while it is shut; pipe and
    jets take their share of it, so that a little less flows than it is set to.
    """
    shut = _built(plant, tap, end, pipe, insulation_m, {"usual": "shut", "drop": _OPEN_DROP})
    heads = Assembly(shut.scenario).duty(duty.speeds).duty.heads_m
    head_m = heads.get(shut.tap, 0.0) - heads.get(shut.end, 0.0)
    if head_m < _LEAST_HEAD_M:
        return None
    throttled = {_POSITION: f"{head_m:.2g} m at {l_min} L/min"}
    valve = {"usual": _POSITION, "drop": _OPEN_DROP, "throttled": throttled}
    return _built(plant, tap, end, pipe, insulation_m, valve).scenario


class _Built(NamedTuple):
    scenario: Scenario
    tap: str
    end: str


def _built(
    plant: Assembly, tap: _Place, end: _Place, pipe: str, insulation_m: float, valve: Mapping[str, object]
) -> _Built:
    sheet = plant.sheet
    own = {name: _free(plant, name) for name in ("bleed", "bleed_check", "bleed_throttle")}
    network, junctions, nodes = list(sheet.network), list(sheet.junctions), {}
    for name, place in sorted(
        {"bleed_tap": tap, "bleed_end": end}.items(), key=lambda entry: entry[1], reverse=True
    ):
        network[place.chain], nodes[name] = _with_node(
            plant, network[place.chain], place.item, _free(plant, name)
        )
    junctions += [node for node in nodes.values() if node not in junctions]
    network.append((nodes["bleed_tap"], *own.values(), nodes["bleed_end"]))
    leg = Leg.model_validate(
        {
            "pipe": pipe,
            "length": _LENGTH,
            "fittings": _FITTINGS,
            "zone": _zone(plant, tap),
            "insulation": format_quantity(insulation_m, "length"),
        }
    )
    blocks = {
        "legs": {**sheet.legs, own["bleed"]: leg},
        "check_valves": {
            **sheet.check_valves,
            own["bleed_check"]: CheckValve.model_validate({"drop": _CHECK_DROP}),
        },
        "valves": {**sheet.valves, own["bleed_throttle"]: Valve.model_validate(valve)},
        "junctions": junctions,
        "network": tuple(network),
    }
    return _Built(with_plant(plant.scenario, **blocks), nodes["bleed_tap"], nodes["bleed_end"])


def _with_node(plant: Assembly, chain: Chain, item: int, name: str) -> tuple[Chain, str]:
    """A chain with a junction before an item, and the junction: one that is there already serves."""
    for beside in (chain[item], chain[item - 1]):
        if isinstance(beside, str) and beside in plant.sheet.junctions:
            return chain, beside
    return (*chain[:item], name, *chain[item:]), name


def _free(plant: Assembly, name: str) -> str:
    """The name, with a number where it is taken."""
    sheet = plant.sheet
    taken = {TUB, *sheet.junctions, *sheet.legs, *plant.pumps, *plant.housings, *sheet.check_valves}
    taken |= {*plant.turnable, *sheet.air, *sheet.treatment}
    taken |= {way for diverter in sheet.diverters.values() for way in diverter.ways}
    return next(text for k in count(1) if (text := name if k == 1 else f"{name}_{k}") not in taken)


def _passed(plant: Assembly, tap: _Place) -> list[str]:
    """The filters and heat sources before the tap, in the direction of flow."""
    names = [name for item in plant.sheet.network[tap.chain][: tap.item] for name in _names(item)]
    return [name for name in names if name in plant.housings]


def _zone(plant: Assembly, tap: _Place) -> str:
    """The zone of the last filter or heat source before the tap, else that of the chain's last leg."""
    legs = [n for item in plant.sheet.network[tap.chain] for n in _names(item) if n in plant.sheet.legs]
    passed = _passed(plant, tap)
    return plant.housings[passed[-1]].zone if passed else plant.sheet.legs[legs[-1]].zone


def _sentence(
    plant: Assembly, after: Assembly, tap: _Place, now: PlantDuty, at_duty: tuple[str, str], into: list[str]
) -> str:
    """What is built, how it is set, and what it does while the pump runs."""
    name, throttle = (list(block)[-1] for block in (after.sheet.legs, after.sheet.valves))
    set_m, set_m3_s = after.sheet.valves[throttle].drop_at(_POSITION)
    pipe = after.sheet.legs[name].pipe
    latest_s = max(reached_s(now, end_of(plant, leg)) or 0.0 for leg in into)
    behind = (_passed(plant, tap) or [at_duty[0]])[-1]
    text = (
        f"A bleed from behind {behind} into {listed(into)}: {_LENGTH} of {pipe.name if pipe else ''} "
        f"(a length taken here; measure yours), a check valve, so that no other pump pushes water back past "
        f"{behind}, and a throttle that lets through {flow(set_m3_s)} with {set_m:g} m across it. "
        f"Whenever {as_written(*at_duty)} runs, {flow(abs(now.flow_m3_s(name)))} pass it, and tub water "
        f"is at the last jet after {lasting(latest_s)}."
    )
    for other in plant.pumps:
        if other != at_duty[0] and (back_m3_s := -now.flow_m3_s(other)) > STILL_M3_S:
            text += f" Of that, {flow(back_m3_s)} run back through {other} and its suction to the tub."
    return f"{text} These pipes then hold warm water, and lose its heat."
