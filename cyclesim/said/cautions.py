"""What every report says of itself: it advises, and what its words do not mean."""

from __future__ import annotations

from collections.abc import Sequence

from cyclesim.said.page import Page
from cyclesim.scenario.blocks.heat_sources import Boiler, Solar, Wood
from cyclesim.scenario.blocks.model import Scenario

ADVICE = (
    "This is advice from a model of what the file says. It certifies nothing and is no safety controller: "
    "local electrical, plumbing and public-health codes and licensed people decide."
)
WATER = (
    'Water age counts from when water left the tub: "fresh" means as good as the tub\'s own water, '
    "no better. Flushing does not remove biofilm."
)
DUTY_CAUTIONS = (ADVICE,)
AVERAGE_SUN = (
    "The model's sun is that of the average day, every day: in dull weeks nothing but the schedule moves the "
    "water in the collectors."
)


def sun_cautions(scenario: Scenario) -> tuple[str, ...]:
    """What the model's sun is not, where the plant has collectors."""
    sources = scenario.plant.heat_sources.values()
    return (AVERAGE_SUN,) if any(isinstance(source, Solar) for source in sources) else ()


DROPS = (
    "The voltage lost on cables is a figure for an electrician to check, and no design: single phase, "
    "conductors as warm as in service, and nothing counted that is lost before the plant's supply."
)


BURNER = "A burner needs a flue, fresh air, a carbon monoxide alarm and an installer."
_BELOW_GROUND = "Bad air and water gather below ground: never work in the room alone."
_CHEMICALS = "Never mix water chemicals; their gases harm. Follow the labels."
_SUCTION = "Suction can hold hair and limbs: fit two covers or more, rated for the pump."
_HOT = "Hot water harms children, pregnant women and weak hearts sooner: stay briefly."
_STEAM = "Water that stands in collectors boils: steam and what then comes out scald."
_SPRAY = "Legionella grows in warm water and travels in spray: disinfect and test it."
_AT_HOME = {BURNER, _BELOW_GROUND, _CHEMICALS, _SUCTION, _HOT, _STEAM, _SPRAY}
"""What can hurt whoever lives with the plant, beside who builds it."""


def cautions_at_home(scenario: Scenario) -> tuple[str, ...]:
    """What of a plant can hurt whoever lives with it."""
    return tuple(caution for caution in cautions_for(scenario) if caution in _AT_HOME)


def burns(scenario: Scenario) -> bool:
    """Whether something of the plant burns fuel."""
    return any(isinstance(source, Boiler | Wood) for source in scenario.plant.heat_sources.values())


def cautions_for(scenario: Scenario) -> tuple[str, ...]:
    """What stands under a report of a plant: what its words do not mean, and what in it can hurt."""
    plant, care = scenario.plant, scenario.water_care
    room, treated = plant.pump_room, {device.kind for device in plant.treatment.values()}
    jets = bool(plant.air) or any(leg.manifold for leg in plant.legs.values())
    said = {
        "Isolate the electricity before work; an electrician fits it, with an RCD.": True,
        BURNER: burns(scenario),
        "A hot closed circuit needs a relief valve and an expansion vessel, by an installer.": any(
            source.own_water for source in plant.heat_sources.values()
        ),
        _BELOW_GROUND: bool(room and room.below_ground is not False),
        _CHEMICALS: bool(treated - {"uv"} or (care and care.disinfectant)),
        _SUCTION: bool(plant.pumps),
        _HOT: bool(plant.heat_sources),
        _STEAM: any(isinstance(source, Solar) for source in plant.heat_sources.values()),
        _SPRAY: jets,
        "Drain what stands still before a frost without power.": bool(scenario.schedule.frost_protection),
    }
    return (WATER, *(caution for caution, holds in said.items() if holds), *sun_cautions(scenario), ADVICE)


def say_cautions(page: Page, cautions: Sequence[str]) -> None:
    """The cautions, last on the page."""
    page.heading("Cautions")
    for caution in cautions:
        page.line(f"- {caution}", hang=2)
