"""The water of a plant: plugs that age, bodies and reaches that cool, the tub with its shell."""

from __future__ import annotations

import math
from functools import cached_property

from cyclesim.physics import walls, water
from cyclesim.physics.network import PipeLink
from cyclesim.physics.stays import Body
from cyclesim.physics.tub_node import TubNode
from cyclesim.physics.warmth import Reach
from cyclesim.physics.water_age import Plug
from cyclesim.physics.ways import Ways
from cyclesim.scenario.blocks.collectors import Plate
from cyclesim.scenario.blocks.data_sheets import Equipment
from cyclesim.scenario.blocks.heat_sources import HeatSource
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.buried import leg_ua_w_k, whole_length_m
from cyclesim.simulation.jets import last_stretch, stretch_name
from cyclesim.simulation.pipework import Pipework


class WaterBodies(Pipework):
    """What the pipework of a scenario holds, and what that loses heat to."""

    def __init__(self, scenario: Scenario) -> None:
        super().__init__(scenario)
        self.volume_m3 = self.sheet.tub.volume_m3

    @cached_property
    def plugs(self) -> tuple[Plug, ...]:
        """Everything that water passes in order; a capped spare is a plug that nothing moves."""
        plugs = []
        for link in self.links:
            if isinstance(link, PipeLink):
                volume = math.pi / 4.0 * link.bore_m**2 * link.length_m
            else:
                volume = self._housing_m3(link.name)
            plugs.append(Plug(link.name, link.a, link.b, volume))
        for name, leg in self.sheet.legs.items():
            if leg.dead_end:
                plugs.append(Plug(name, f"{name} start", f"{name} cap", self.leg_volume_m3(name)))
        return tuple(plugs)

    def _housing_m3(self, name: str) -> float:
        if name in self.pumps:
            return self.pumps[name].volume_m3
        return self.housings[name].volume_m3 if name in self.housings else 0.0

    @cached_property
    def housings(self) -> dict[str, Equipment | HeatSource]:
        """Equipment and heat sources by name."""
        sheets: dict[str, Equipment | HeatSource] = dict(self.sheet.equipment)
        sheets.update(self.sheet.heat_sources)
        return sheets

    def leg_volume_m3(self, name: str) -> float:
        """Water in a leg, its manifold included."""
        leg = self.sheet.legs[name]
        return math.pi / 4.0 * leg.bore_m**2 * whole_length_m(leg)

    @cached_property
    def reported(self) -> dict[str, int]:
        """What water age is reported of -> its plug: legs, last stretches, equipment, heat sources."""
        at = {plug.name: i for i, plug in enumerate(self.plugs)}
        shown = {}
        for name, leg in self.sheet.legs.items():
            shown[name] = at[name]
            if leg.manifold and leg.manifold.jets > 1:
                shown[last_stretch(name)] = at[stretch_name(name, leg.manifold.jets)]
        shown.update({name: at[name] for name in self.housings if self.plugs[at[name]].volume_m3 > 0.0})
        return shown

    @cached_property
    def bodies(self) -> tuple[Body, ...]:
        """Legs, equipment, heat sources and pumps in a zone: water with a temperature of its own."""
        per_m3, bodies = self.per_m3_k, []
        for name, leg in self.sheet.legs.items():
            length, volume = whole_length_m(leg), self.leg_volume_m3(name)
            wall = walls.pipe_wall_c_per_m(leg.bore_m, leg.outside_m, walls.PIPE_OF[leg.of]) * length
            ua = leg_ua_w_k(self.scenario, name, length)
            bodies.append(Body(name, volume, volume * per_m3 + wall, ua, leg.zone))
        for name, thing in self.housings.items():
            if thing.volume_m3 > 0.0:
                plate = Plate(walls.housing_ua(thing.volume_m3, thing.insulation_m), 0.0)
                if name not in self.behind_plates:
                    plate = self.plates.get(name, plate)
                held = thing.volume_m3 * per_m3 + plate.holds_j_k
                bodies.append(Body(name, thing.volume_m3, held, plate.loses_w_k, thing.zone))
        for name, pump in self.pumps.items():
            if pump.zone is not None and pump.volume_m3 > 0.0:
                ua = walls.housing_ua(pump.volume_m3)
                bodies.append(Body(name, pump.volume_m3, pump.volume_m3 * per_m3, ua, pump.zone))
        return tuple(bodies)

    @cached_property
    def reach_at(self) -> dict[str, int]:
        """Number of each plug, and of the reach that it is to heat, by its name."""
        return {plug.name: i for i, plug in enumerate(self.plugs)}

    @cached_property
    def body_of(self) -> tuple[int | None, ...]:
        """The body that each plug belongs to: a manifold's stretches to their leg's."""
        at = {body.name: k for k, body in enumerate(self.bodies)}
        of = [at.get(plug.name) for plug in self.plugs]
        for name, leg in self.sheet.legs.items():
            for k in range(2, (leg.manifold.jets if leg.manifold else 1) + 1):
                of[self.reach_at[stretch_name(name, k)]] = at[name]
        return tuple(of)

    @cached_property
    def per_m3_k(self) -> float:
        """Heat capacity of a cubic metre of water [J/(m3 K)]."""
        return water.density_kg_m3(self.temp_c) * water.heat_capacity_j_kg_k(self.temp_c)

    @cached_property
    def reaches(self) -> tuple[Reach, ...]:
        """Every plug as heat sees it: its share of its body, or water that loses none."""
        reaches = []
        for plug, k in zip(self.plugs, self.body_of, strict=True):
            if k is None:
                reaches.append(Reach(plug.name, plug.a, plug.b, plug.volume_m3 * self.per_m3_k))
                continue
            body = self.bodies[k]
            share = plug.volume_m3 / body.volume_m3
            reach = Reach(
                plug.name, plug.a, plug.b, share * body.capacity_j_k, share * body.ua_w_k, body.zone
            )
            reaches.append(reach)
        return tuple(reaches)

    @cached_property
    def ways(self) -> Ways:
        """How water moves at each set of flows that was met, kept for the next run."""
        return Ways(self.reaches, self.per_m3_k)

    @cached_property
    def tub_node(self) -> TubNode:
        """Tub water and shell as two nodes."""
        tub = self.sheet.tub
        shell = tub.shell
        buried = self.scenario.place.zones[shell.zone].depth_m is not None
        node = (
            walls.shell(shell.wall_m, shell.of, shell.insulation_m, shell.area_m2, "soil")
            if buried
            else walls.shell(shell.wall_m, shell.of, shell.insulation_m, shell.area_m2)
        )
        cover = 0.0  # open water has a law of its own
        if tub.cover != "none":
            cover = walls.cover_ua(tub.cover.foam_m, tub.cover.fit, tub.surface_m2)
        return TubNode(
            self.volume_m3 * self.per_m3_k,
            node.c_j_k,
            node.g_w_k,
            cover,
            tub.cover_zone,
            node.ua_w_k,
            shell.zone,
        )
