"""Rules of the air's way as drawn: water that runs back, and injectors that no blower feeds."""

from __future__ import annotations

from cyclesim.analysis.amounts import apart
from cyclesim.analysis.findings import PRACTICE, SHEET, Breach, Judged, NotJudged, Rule
from cyclesim.physics.blowing import HEAD_PA_M
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme

_FITTING = "injectors for this blower's pressure, or read each again"


def airline_unprotected(plant: Assembly, programme: Programme) -> Judged:
    """Nothing stops the tub's water from running back through an air pipe into its blower."""
    del programme
    for name, blower in plant.sheet.air.items():
        if blower.check_valve or blower.loop_above_water_m > 0.0:
            continue
        if unsaid := blower.unsaid("check_valve", "loop_above_water_m"):
            yield NotJudged(f"the file does not say of {name}: {', '.join(unsaid)}")
        else:
            wet_l = 1000.0 * blower.wet_volume_m3
            yield Breach(
                name,
                "its pipe has neither a check valve nor a loop above the water",
                wet_l,
                "L",
                f"{wet_l:.1f} L stand in the pipe, not refreshed by a flush",
                "fit a check valve, and lead the pipe in a loop above the water",
            )


def injectors_unfed(plant: Assembly, programme: Programme) -> Judged:
    """Injectors ask by their sheet for more pressure than their blower gives: another kind, or unit."""
    del programme
    for name, blower in plant.sheet.air.items():
        if blower.each is None or not blower.curve:
            continue
        most_m = max(head_m for _, head_m in blower.curve)
        if blower.each.head_m >= most_m:
            rated_kpa, most_kpa = (head_m * HEAD_PA_M / 1000.0 for head_m in (blower.each.head_m, most_m))
            asked, most = apart(rated_kpa, most_kpa, 1)
            yield Breach(
                name,
                "its injectors are for a stronger blower, or their pressure is in another unit",
                rated_kpa,
                "kPa",
                f"an injector is rated at {asked} kPa, the blower gives {most} kPa at most",
                _FITTING,
            )


RULES: tuple[Rule, ...] = (
    Rule(
        "airline-unprotected",
        "plant",
        "wear",  # a blower that has drunk is done for
        sentence="A check valve or a loop above the water stops water from running back into a blower.",
        source=PRACTICE,
        mend="a check valve, or a loop above the water",
        judge=airline_unprotected,
        applies=lambda plant, _: bool(plant.sheet.air),
    ),
    Rule(
        "injectors-unfed",
        "plant",
        "comfort",  # hardly any air comes
        sentence="The pressure that an air injector is rated at is one that its blower can give.",
        source=SHEET,
        mend=_FITTING,
        judge=injectors_unfed,
        applies=lambda plant, _: any(blower.each and blower.curve for blower in plant.sheet.air.values()),
    ),
)
