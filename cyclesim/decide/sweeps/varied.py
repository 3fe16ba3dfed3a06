"""A plant that is not quite what its sheet says."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from copy import copy
from dataclasses import replace
from functools import cached_property
from typing import Literal

from cyclesim.physics import walls
from cyclesim.physics.links import SMOOTH_M
from cyclesim.physics.network import Link, PipeLink
from cyclesim.physics.stays import Body
from cyclesim.physics.tub_node import TubNode
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.assembly import Assembly, Positions
from cyclesim.simulation.buried import leg_ua_w_k, whole_length_m
from cyclesim.simulation.tolerance import Tolerance


class VariedPlant(Assembly):
    """The plant of a scenario with factors on what is no key of the file; the plant itself if all are 1."""

    def __init__(self, scenario: Scenario, tolerance: Tolerance) -> None:
        super().__init__(scenario)
        self.tolerance = tolerance

    def under(self, scenario: Scenario, tolerance: Tolerance) -> VariedPlant | None:
        """This plant under another programme, with the duties and ways of water that it has worked out.

        None where pipes, machines, zones or the water's temperature are others, so that nothing of it holds.
        """
        other = VariedPlant(scenario, tolerance)
        if _standing(other) != _standing(self):
            return None
        same = copy(self)
        same.scenario = scenario
        return same

    def links_at(self, speeds: Mapping[str, str], positions: Positions) -> Iterator[Link]:
        """The links with what the tolerance makes of them."""
        off = self.tolerance
        for link in super().links_at(speeds, positions):
            if isinstance(link, PipeLink):
                rough = max(link.roughness_m, SMOOTH_M * off.roughness)  # a film covers what is rougher below
                yield replace(link, k=link.k * off.fittings, roughness_m=rough)
            else:
                yield link

    @cached_property
    def bodies(self) -> tuple[Body, ...]:
        """Bodies of water, each losing its heat by as much faster as its way out conducts better."""
        return tuple(replace(body, ua_w_k=body.ua_w_k * self._faster(body)) for body in super().bodies)

    def _faster(self, body: Body) -> float:
        off, leg = self.tolerance.walls, self.sheet.legs.get(body.name)
        if leg is None:
            thing = self.housings.get(body.name)
            sizes = (thing.volume_m3, thing.insulation_m) if thing and thing.insulation_m else (1.0, 0.0)
            return walls.housing_ua(*sizes, off) / walls.housing_ua(*sizes)
        changed = leg_ua_w_k(self.scenario, body.name, whole_length_m(leg), off, self.tolerance.soil_depth)
        return changed / leg_ua_w_k(self.scenario, body.name, whole_length_m(leg))

    @cached_property
    def tub_node(self) -> TubNode:
        """Tub water and shell, likewise."""
        node, off, tub = super().tub_node, self.tolerance.walls, self.sheet.tub
        buried = self.scenario.place.zones[tub.shell.zone].depth_m is not None
        beyond: float | Literal["soil"] = "soil" if buried else walls.OUTSIDE_FILM_W_M2K.value
        usual, changed = (
            walls.shell(
                tub.shell.wall_m, tub.shell.of, tub.shell.insulation_m, tub.shell.area_m2, beyond, factors
            )
            for factors in (walls.AS_ASSUMED, off)
        )
        cover = 1.0
        if tub.cover != "none":
            cover = walls.cover_ua(tub.cover.foam_m, tub.cover.fit, tub.surface_m2, off)
            cover /= walls.cover_ua(tub.cover.foam_m, tub.cover.fit, tub.surface_m2)
        return replace(
            node,
            g_w_k=node.g_w_k * (changed.g_w_k / usual.g_w_k),
            ua_cover_w_k=node.ua_cover_w_k * cover,
            ua_shell_w_k=node.ua_shell_w_k * (changed.ua_w_k / usual.ua_w_k),
        )


def _standing(plant: VariedPlant) -> tuple[object, ...]:
    """What duties, ways of water and losses of heat are worked out from."""
    return plant.tolerance, plant.temp_c, plant.sheet, plant.scenario.place.zones
