"""What a leg loses per degree: alone in its zone, or beside others in a trench."""

from __future__ import annotations

from itertools import pairwise

from cyclesim.physics import walls
from cyclesim.physics.buried import BuriedPipe, side_by_side_ua_per_m
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.plant import Leg
from cyclesim.scenario.blocks.trenches import Trench


def leg_ua_w_k(
    scenario: Scenario,
    name: str,
    length_m: float,
    off: walls.Off = walls.AS_ASSUMED,
    soil_depth: float = 1.0,
) -> float:
    """Conductance [W/K] of *length_m* [m] of a leg, its manifold included, to its zone.

    *off*: by what factors materials and soil are off; *soil_depth*: by how many times the soil reaches deeper
    than told.
    """
    leg = scenario.plant.legs[name]
    told_m = scenario.place.zones[leg.zone].depth_m
    depth_m = None if told_m is None else told_m / soil_depth
    alone = walls.pipe_ua_per_m(*_pipe(leg)[:3], of=walls.PIPE_OF[leg.of], depth_m=depth_m, off=off)
    trench = trench_of(scenario, name)
    if trench is None or depth_m is None:
        return alone * length_m
    pipes = [_pipe(scenario.plant.legs[other]) for other in trench.legs]
    skins_m = [pipe.outside_m + 2.0 * pipe.insulation_m for pipe in pipes]
    spacing_m = max(
        trench.spacing_m, *((a + b) / 2.0 for a, b in pairwise(skins_m))
    )  # thicker ones move apart
    beside = side_by_side_ua_per_m(pipes, spacing_m, depth_m, off)[trench.legs.index(name)]
    shared_m = shared_length_m(scenario, trench)
    return beside * shared_m + alone * (length_m - shared_m)


def _pipe(leg: Leg) -> BuriedPipe:
    return BuriedPipe(leg.bore_m, leg.outside_m, leg.insulation_m, walls.PIPE_OF[leg.of])


def trench_of(scenario: Scenario, leg: str) -> Trench | None:
    """The trench that a leg lies in, with others."""
    return next((trench for trench in scenario.plant.trenches.values() if leg in trench.legs), None)


def shared_length_m(scenario: Scenario, trench: Trench) -> float:
    """For how long the legs of a trench lie side by side [m]."""
    shortest_m = min(scenario.plant.legs[leg].length_m for leg in trench.legs)
    return shortest_m if trench.stated_length_m is None else trench.stated_length_m


def whole_length_m(leg: Leg) -> float:
    """How long a leg is with the pipe between its jets [m]."""
    between = leg.manifold.spacing_m * (leg.manifold.jets - 1) if leg.manifold else 0.0
    return leg.length_m + between


def shares_of_loss(scenario: Scenario, trench: Trench) -> dict[str, float]:
    """What each leg of a trench loses per degree beside the others, as a share of what it would alone.

    All of it, with what of a leg or of its jets lies beyond the trench.
    """
    alone = scenario.model_copy(update={"plant": scenario.plant.model_copy(update={"trenches": {}})})
    return {
        leg: leg_ua_w_k(scenario, leg, length_m) / leg_ua_w_k(alone, leg, length_m)
        for leg in trench.legs
        for length_m in [whole_length_m(scenario.plant.legs[leg])]
    }
