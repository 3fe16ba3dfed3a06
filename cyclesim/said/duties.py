"""What each duty gives every pump, leg, jet and device: the numbers behind both the screen and the JSON."""

from __future__ import annotations

import math
from typing import Any

from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.simulation.assembly import Assembly, PlantDuty
from cyclesim.simulation.jets import jet_name, rated_jet, stretch_name

L_MIN = 60_000.0


def duties(plant: Assembly) -> list[dict[str, Any]]:
    """Every duty that can occur; the unit is in the key, unknown is None."""
    return [duty(plant, plant_duty) for plant_duty in plant.duties()]


def duty(plant: Assembly, plant_duty: PlantDuty) -> dict[str, Any]:
    """One duty as plain values in the order of the file."""
    sheet = plant.sheet
    return {
        "name": plant_duty.name,
        "water_c": plant.temp_c,
        "positions": dict(zip(plant.turnable, plant_duty.positions, strict=True)),
        "pumps": {
            name: _pump(plant, plant_duty, name, speed)
            for name, speed in zip(plant.pumps, plant_duty.speeds, strict=True)
        },
        "legs": {name: _leg(plant, plant_duty, name) for name in sheet.legs},
        "jets": {name: _jets(plant, plant_duty, name) for name, leg in sheet.legs.items() if leg.manifold},
        "equipment": {name: _equipment(plant, plant_duty, name) for name in sheet.equipment},
        "heat_sources": {name: _source(plant, plant_duty, name) for name in sheet.heat_sources},
        "problems": list(plant_duty.duty.problems),
    }


def _pump(plant: Assembly, plant_duty: PlantDuty, name: str, speed: str) -> dict[str, Any]:
    running = speed != "stopped"
    return {
        "speed": speed,
        "flow_l_min": plant_duty.flow_m3_s(name) * L_MIN,
        "head_m": plant_duty.duty.pump_heads_m.get(name) if running else None,
        "power_w": plant.speeds[name][speed].power_w if running else 0.0,
    }


def _leg(plant: Assembly, plant_duty: PlantDuty, name: str) -> dict[str, Any]:
    flow = plant_duty.flow_m3_s(name)
    return {
        "volume_l": plant.leg_volume_m3(name) * 1000.0,
        "dead_end": plant.sheet.legs[name].dead_end,
        "flow_l_min": flow * L_MIN if abs(flow) > STILL_M3_S else 0.0,
        "velocity_m_s": plant_duty.duty.velocity_m_s.get(name, 0.0),
        "reynolds": plant_duty.duty.reynolds.get(name, 0.0),
        "tub_water_at_end_after_s": _after_s(plant_duty, name),
    }


def _jets(plant: Assembly, plant_duty: PlantDuty, name: str) -> dict[str, Any]:
    manifold = plant.sheet.legs[name].manifold
    assert manifold is not None
    needs = manifold.needs_flow_m3_s
    flows = [plant_duty.flow_m3_s(jet_name(name, k + 1)) for k in range(manifold.jets)]
    return {
        "jets": manifold.jets,
        "rated_l_min": rated_jet(manifold)[1] * L_MIN,
        "needs_l_min": None if needs is None else needs * L_MIN,
        "first_l_min": flows[0] * L_MIN,
        "last_l_min": flows[-1] * L_MIN,
        "enough": None if needs is None else min(flows) >= needs,
        "tub_water_at_last_jet_after_s": _after_s(
            plant_duty, stretch_name(name, manifold.jets) if manifold.jets > 1 else name
        ),
    }


def _equipment(plant: Assembly, plant_duty: PlantDuty, name: str) -> dict[str, Any]:
    sheet, flow = plant.sheet.equipment[name], plant.forward_m3_s(name, plant_duty)
    most = sheet.at_most_m3_s
    return {
        "kind": sheet.kind,
        "flow_l_min": flow * L_MIN,
        "at_most_l_min": None if most is None else most * L_MIN,
        "within_limit": None if most is None else abs(flow) <= most,
    }


def _source(plant: Assembly, plant_duty: PlantDuty, name: str) -> dict[str, Any]:
    needs, flow = plant.sheet.heat_sources[name].needs_flow_m3_s, plant.forward_m3_s(name, plant_duty)
    return {"flow_l_min": flow * L_MIN, "needs_l_min": needs * L_MIN, "enough": flow >= needs}


def _after_s(plant_duty: PlantDuty, plug: str) -> float | None:
    """Seconds until tub water comes out of a plug's far end; None where it never does."""
    after = plant_duty.reached_s.get(plug)
    return after if after is not None and math.isfinite(after) and after > 0.0 else None
