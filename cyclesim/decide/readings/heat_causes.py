"""What may be wrong with what warms the water or keeps it warm: sources, insulation, cover, tub."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import Any

from cyclesim.decide.ranges.stated import STATED
from cyclesim.decide.readings.built import AsBuilt
from cyclesim.decide.readings.cause import AsChanged, Cause, Texts, Written, of_part, times
from cyclesim.decide.readings.doubts import DRAW, HEAT, about
from cyclesim.scenario.blocks.heat_sources import Electric, HeatPump
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.variant import with_plant
from cyclesim.units import format_quantity


def heat_causes(scenario: Scenario) -> Iterator[Cause]:
    """Everything that may be wrong with what warms the water or keeps it warm."""
    for family in (_sources, _insulation, _tub):
        yield from family(scenario)


# -- heat ------------------------------------------------------------------------------------------------


def _sources(scenario: Scenario) -> Iterator[Cause]:
    both = frozenset({HEAT, DRAW})
    for name, source in scenario.plant.heat_sources.items():
        if isinstance(source, HeatPump):

            def starved(pump: HeatPump, factor: float) -> HeatPump:
                rated = (
                    p.model_copy(update={"output_w": p.output_w * factor, "cop": max(1.0, p.cop * factor)})
                    for p in pump.rated
                )
                return pump.model_copy(update={"rated": tuple(rated)})

            yield Cause(
                f"{name} gives less (short of air, iced, short of refrigerant)",
                of_part("heat_sources", name, starved),
                frozenset({HEAT}),
                "x its heat",
                1.0,
                0.3,
                1.1,
                by_factors=True,
            )
            continue
        if not source.switched:
            continue

        def output(scenario: Scenario, factor: float, name: str = name) -> Texts:
            told_w = scenario.plant.heat_sources[name].output_w
            return {f"plant.heat_sources.{name}.output": format_quantity(told_w * factor, "power")}

        electric = isinstance(source, Electric)
        yield Cause(
            f"{name} gives otherwise than its plate says",
            of_part("heat_sources", name, times("output_w")),
            both,
            "x its output",
            1.0,
            0.2,
            1.3,
            doubt=about("output of elements", name) if electric else "",
            written=output,
        )
        if electric:
            for words, left in (("one of three rods", 2.0 / 3.0), ("two of three rods", 1.0 / 3.0)):

                def dead(source: Electric, _: float, left: float = left) -> Electric:
                    return source.model_copy(update={"output_w": source.output_w * left})

                def shown(
                    scenario: Scenario, _: float, left: float = left, output: Written = output
                ) -> Texts:
                    return output(scenario, left)

                change = of_part("heat_sources", name, dead)
                yield Cause(f"{words} of {name} dead", change, both, written=shown)


def _insulation(scenario: Scenario) -> Iterator[Cause]:
    heat = frozenset({HEAT})
    for name, leg in scenario.plant.legs.items():
        if leg.insulation_m and not leg.dead_end:

            def written(scenario: Scenario, factor: float, name: str = name) -> Texts:
                told_m = scenario.plant.legs[name].insulation_m
                return {f"plant.legs.{name}.insulation": format_quantity(told_m * factor, "length")}

            yield Cause(
                f"insulation of {name} wet or missing",
                of_part("legs", name, times("insulation_m")),
                heat,
                "x its thickness",
                1.0,
                0.02,
                0.8,
                by_factors=True,
                written=written,
            )


def _tub(scenario: Scenario) -> Iterator[Cause]:
    heat, tub = frozenset({HEAT}), scenario.plant.tub

    def of_tub(update: Callable[[Any, float], Mapping[str, Any]]) -> AsChanged:
        def change(built: AsBuilt, value: float) -> AsBuilt:
            now = built.scenario.plant.tub
            changed = now.model_copy(update=dict(update(now, value)))
            return replace(built, scenario=with_plant(built.scenario, tub=changed))

        return change

    if tub.cover != "none":

        def soaked(tub: Any, factor: float) -> Mapping[str, Any]:
            return {"cover": tub.cover.model_copy(update={"foam_m": tub.cover.foam_m * factor})}

        def leaky(built: AsBuilt, factor: float) -> AsBuilt:
            walls = built.tolerance.walls._replace(cover_fit=factor)
            return replace(built, tolerance=replace(built.tolerance, walls=walls))

        def foam(scenario: Scenario, factor: float) -> Texts:
            cover = scenario.plant.tub.cover
            assert cover != "none"
            return {"plant.tub.cover.foam": format_quantity(cover.foam_m * factor, "length")}

        yield Cause(
            "the cover's foam is soaked",
            of_tub(soaked),
            heat,
            "x its thickness",
            1.0,
            0.05,
            0.9,
            by_factors=True,
            written=foam,
        )
        yield Cause(
            "the cover lies badly and lets air in",
            leaky,
            heat,
            "x its loss",
            1.0,
            1.2,
            8.0,
            by_factors=True,
            doubt=f"loss of a cover of {tub.cover.fit} fit",
        )
    if tub.shell.insulation_m:

        def wet(tub: Any, factor: float) -> Mapping[str, Any]:
            insulation_m = tub.shell.insulation_m * factor
            return {"shell": tub.shell.model_copy(update={"insulation_m": insulation_m})}

        def shell(scenario: Scenario, factor: float) -> Texts:
            thick_m = scenario.plant.tub.shell.insulation_m * factor
            return {"plant.tub.shell.insulation": format_quantity(thick_m, "length")}

        yield Cause(
            "the shell's insulation is soaked",
            of_tub(wet),
            heat,
            "x its thickness",
            1.0,
            0.05,
            0.9,
            by_factors=True,
            written=shell,
        )
    if tub.water_m3 is not None:

        def fuller(tub: Any, factor: float) -> Mapping[str, Any]:
            return {"water_m3": tub.water_m3 * factor}

        def water(scenario: Scenario, factor: float) -> Texts:
            return {
                "plant.tub.water": format_quantity((scenario.plant.tub.water_m3 or 0.0) * factor, "volume")
            }

        yield Cause(
            "the tub holds another volume", of_tub(fuller), heat, "x its water", 1.0, 0.75, 1.3, written=water
        )
    if scenario.schedule.heating is not None:
        stray = next(stray for stray in STATED if stray.name == "the water's sensor")

        def off(built: AsBuilt, by_k: float) -> AsBuilt:
            return replace(built, scenario=stray.at(built.scenario, by_k).scenario)

        yield Cause("the water's sensor reads low", off, heat, "K low", 0.0, -4.0, 4.0, doubt=stray.name)
