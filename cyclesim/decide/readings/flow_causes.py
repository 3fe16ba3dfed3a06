"""What may be wrong with what water passes: pipes, jets, pumps, filters and valves."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

from cyclesim.decide.readings.built import AsBuilt
from cyclesim.decide.readings.cause import Cause, Texts, at_head, of_part, resisting
from cyclesim.decide.readings.doubts import DRAW, FLOW, HEAT, about
from cyclesim.physics.links import SMOOTH_M
from cyclesim.scenario.blocks.data_sheets import Pump, Speed
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.plant import Leg
from cyclesim.simulation.jets import jet_name
from cyclesim.units import format_quantity


def flow_causes(scenario: Scenario) -> Iterator[Cause]:
    """Everything that may be wrong with what water passes."""
    for family in (_pipes, _jets, _pumps, _filters, _valves):
        yield from family(scenario)


# -- pipes and jets ------------------------------------------------------------------------------------------

_MOST_FITTED = 20.0
"""So many elbows more may have been fitted on the way; a larger loss is a blockage, which no key says."""


def _pipes(scenario: Scenario) -> Iterator[Cause]:
    for name, leg in scenario.plant.legs.items():
        if leg.dead_end:
            continue

        def fitted(leg: Leg, elbows: float) -> Leg:
            return leg.model_copy(
                update={"fittings": {**leg.fittings, "elbow": leg.fittings.get("elbow", 0) + elbows}}
            )

        def written(scenario: Scenario, elbows: float, name: str = name) -> Texts:
            if elbows > _MOST_FITTED:
                return {}
            count = scenario.plant.legs[name].fittings.get("elbow", 0) + round(elbows)
            return {f"plant.legs.{name}.fittings.elbow": str(count)}

        yield Cause(
            f"{name} resists more than drawn (blocked, squashed, air in it)",
            of_part("legs", name, fitted),
            frozenset({FLOW}),
            "elbows' worth",
            0.0,
            5.0,
            1000.0,
            by_factors=True,
            written=written,
        )

    def rough(built: AsBuilt, mm: float) -> AsBuilt:
        return replace(built, tolerance=replace(built.tolerance, roughness=mm / 1000.0 / SMOOTH_M))

    def fittings(built: AsBuilt, factor: float) -> AsBuilt:
        return replace(built, tolerance=replace(built.tolerance, fittings=factor))

    flow = frozenset({FLOW})
    yield Cause(
        "all pipes rough inside (deposits)",
        rough,
        flow,
        "mm rough",
        1000.0 * SMOOTH_M,
        0.05,
        2.0,
        by_factors=True,
        doubt="roughness of pipes",
    )
    yield Cause(
        "all fittings lose otherwise than the handbook says",
        fittings,
        flow,
        "x their loss",
        1.0,
        0.3,
        4.0,
        by_factors=True,
        doubt="losses of fittings",
    )


def _jets(scenario: Scenario) -> Iterator[Cause]:
    for name, leg in scenario.plant.legs.items():
        if leg.manifold is None:
            continue

        def passing(leg: Leg, factor: float) -> Leg:
            jets = leg.manifold
            assert jets is not None
            if jets.each is not None:
                changes: dict[str, Any] = {"each": jets.each._replace(flow_m3_s=jets.each.flow_m3_s * factor)}
            else:
                changes = {"nozzle_m": (jets.nozzle_m or 0.0) * factor**0.5}
            return leg.model_copy(update={"manifold": jets.model_copy(update=changes)})

        def written(scenario: Scenario, factor: float, name: str = name) -> Texts:
            jets = scenario.plant.legs[name].manifold
            assert jets is not None
            path = f"plant.legs.{name}.manifold"
            if jets.each is not None:
                return at_head(f"{path}.each", jets.each.head_m, jets.each.flow_m3_s * factor)
            return {f"{path}.nozzle": format_quantity((jets.nozzle_m or 0.0) * factor**0.5, "length")}

        yield Cause(
            f"jets of {name} clogged or of another size",
            of_part("legs", name, passing),
            frozenset({FLOW}),
            "x their flow",
            1.0,
            0.2,
            1.6,
            by_factors=True,
            doubt=about("flow of jets", name),
            written=written,
        )
        for k in range(1, leg.manifold.jets + 1):

            def blocked(built: AsBuilt, _: float, jet: str = jet_name(name, k)) -> AsBuilt:
                return replace(built, parts=replace(built.parts, jets={**built.parts.jets, jet: 0.02}))

            yield Cause(
                f"jet {k} of {name} blocked", blocked, frozenset({FLOW}), weight=1.0 / leg.manifold.jets
            )


# -- pumps and what resists them ----------------------------------------------------------------------------


def _speeds(pump: Pump, change: Callable[[Any], dict[str, Any]]) -> Pump:
    """A pump with each of its speeds, or itself, changed."""
    both = {name: getattr(pump, name) for name in ("low", "high") if getattr(pump, name)}
    changed = {name: speed.model_copy(update=change(speed)) for name, speed in both.items()}
    return pump.model_copy(update=changed or change(pump))


def _lifting(head: float, flow: float = 1.0) -> Callable[[Any], dict[str, Any]]:
    """What changes of a speed's curve where head and flow are so many times as large."""

    def change(speed: Any) -> dict[str, Any]:
        if speed.curve:
            return {"curve": tuple((q * flow, h * head) for q, h in speed.curve)}
        if speed.max_head_m:
            return {"max_head_m": speed.max_head_m * head, "max_flow_m3_s": speed.max_flow_m3_s * flow}
        return {}

    return change


def _drawing(factor: float) -> Callable[[Any], dict[str, Any]]:
    """What changes of a speed's draw; a power that follows from the other speed's stays so."""

    def change(speed: Any) -> dict[str, Any]:
        names = [name for name in ("power_w", "current_a") if getattr(speed, name)]
        return {name: getattr(speed, name) * factor for name in names}

    return change


def _of_speeds(pump: Pump, name: str) -> Iterator[tuple[str, Any]]:
    """Where the file has what a pump does at each speed."""
    if pump.low is None or pump.high is None:
        yield f"plant.pumps.{name}", pump
    else:
        yield f"plant.pumps.{name}.low", pump.low
        yield f"plant.pumps.{name}.high", pump.high


_BACKWARDS = 0.5
"""Head and flow of a centrifugal pump that turns backwards, over those it has; from memory, no source."""


def _pumps(scenario: Scenario) -> Iterator[Cause]:
    flow, all_ = frozenset({FLOW}), frozenset({FLOW, HEAT, DRAW})
    for name, pump in scenario.plant.pumps.items():

        def curves(scenario: Scenario, factor: float, name: str = name) -> Texts:
            texts: Texts = {}
            for path, speed in _of_speeds(scenario.plant.pumps[name], name):
                if speed.curve:
                    points = (
                        f"[{format_quantity(q, 'flow')}, {format_quantity(h * factor, 'head')}]"
                        for q, h in speed.curve
                    )
                    texts[f"{path}.curve"] = f"[{', '.join(points)}]"
                elif speed.max_head_m:
                    texts[f"{path}.max_head"] = format_quantity(speed.max_head_m * factor, "head")
            return texts

        def plates(scenario: Scenario, factor: float, name: str = name) -> Texts:
            texts: Texts = {}
            for path, speed in _of_speeds(scenario.plant.pumps[name], name):
                if speed.power_w:
                    texts[f"{path}.power"] = format_quantity(speed.power_w * factor, "power")
                if speed.current_a:
                    texts[f"{path}.current"] = format_quantity(speed.current_a * factor, "current")
            return texts

        def worn(pump: Pump, factor: float) -> Pump:
            return _speeds(pump, _lifting(factor))

        def backwards(pump: Pump, _: float) -> Pump:
            return _speeds(pump, _lifting(_BACKWARDS, _BACKWARDS))

        def draws(pump: Pump, factor: float) -> Pump:
            return _speeds(pump, _drawing(factor))

        yield Cause(
            f"{name} gives less head (worn, another impeller)",
            of_part("pumps", name, worn),
            flow,
            "x its head",
            1.0,
            0.4,
            1.2,
            doubt=about("head of pumps", name),
            written=curves,
        )
        yield Cause(f"{name} turns backwards", of_part("pumps", name, backwards), flow)
        yield Cause(
            f"{name} draws otherwise than its plate says",
            of_part("pumps", name, draws),
            frozenset({HEAT, DRAW}),
            "x its power",
            1.0,
            0.4,
            1.6,
            by_factors=True,
            doubt=about("power of pumps", name),
            written=plates,
        )
        if pump.low is not None and pump.high is not None:
            for words, low, high in (
                ("low and high of {} are swapped", "high", "low"),
                ("{} runs on low when high is asked for", "low", "low"),
                ("{} runs on high when low is asked for", "high", "high"),
            ):

                def switched(pump: Pump, _: float, low: str = low, high: str = high) -> Pump:
                    speeds = _full(pump)
                    return pump.model_copy(update={"low": speeds[low], "high": speeds[high]})

                yield Cause(words.format(name), of_part("pumps", name, switched), all_)
        if pump.check_valve:

            def leaks(pump: Pump, _: float) -> Pump:
                return pump.model_copy(update={"check_valve": False})

            yield Cause(f"check valve of {name} stuck open", of_part("pumps", name, leaks), flow)

        def heats(pump: Pump, share: float) -> Pump:
            return pump.model_copy(update={"heat_to_water": share})

        def share_of(_: Scenario, share: float, name: str = name) -> Texts:
            return {f"plant.pumps.{name}.heat_to_water": f"{100.0 * share:.0f} %"}

        yield Cause(
            f"{name} gives the water another share of its power",
            of_part("pumps", name, heats),
            frozenset({HEAT}),
            "of its power",
            pump.heat_to_water,
            0.1,
            1.0,
            doubt="heat to water (pumps)",
            written=share_of,
        )


def _full(pump: Pump) -> dict[str, Speed]:
    """Both speeds with curves of their own, also where one follows from the other."""
    assert pump.low is not None
    assert pump.high is not None
    speeds = pump.speeds
    for name, other in (("low", "high"), ("high", "low")):
        share = speeds[name].share_of_speed
        if share is not None:
            curve = _lifting(share**2, share)(speeds[other])
            given = {"curve": None, "max_head_m": None, "max_flow_m3_s": None, "share_of_speed": None}
            speeds[name] = speeds[name].model_copy(update={**given, **curve})
    return speeds


def _filters(scenario: Scenario) -> Iterator[Cause]:
    for name, thing in scenario.plant.equipment.items():
        doubt = about("drop of a dirty filter", name) if thing.kind == "filter" else ""
        yield _resists("equipment", name, "clogged", 1.2, 40.0, doubt)


def _resists(block: str, name: str, how: str, low: float, high: float, doubt: str = "") -> Cause:
    """A part that takes so many times its drop."""

    def written(scenario: Scenario, factor: float) -> Texts:
        drop = getattr(scenario.plant, block)[name].drop
        return at_head(f"plant.{block}.{name}.drop", drop.head_m * factor, drop.flow_m3_s)

    return Cause(
        f"{name} {how}",
        of_part(block, name, resisting),
        frozenset({FLOW}),
        "x its drop",
        1.0,
        low,
        high,
        by_factors=True,
        doubt=doubt,
        written=written,
    )


def _valves(scenario: Scenario) -> Iterator[Cause]:
    flow, plant = frozenset({FLOW}), scenario.plant
    for name, valve in plant.valves.items():
        yield _resists("valves", name, "part shut", 2.0, 1e4)
        yield from _left("valves", name, valve.usual, valve.known)
    for name, diverter in plant.diverters.items():
        yield from _left("diverters", name, diverter.usual, diverter.known)
    for name in plant.check_valves:

        def open_(built: AsBuilt, _: float, name: str = name) -> AsBuilt:
            return replace(built, parts=replace(built.parts, leaking=built.parts.leaking | {name}))

        def shut(built: AsBuilt, _: float, name: str = name) -> AsBuilt:
            return replace(built, parts=replace(built.parts, stuck=built.parts.stuck | {name}))

        yield Cause(f"{name} stuck open", open_, flow)
        yield Cause(f"{name} stuck shut", shut, flow)


def _left(block: str, name: str, usual: str, known: tuple[str, ...]) -> Iterator[Cause]:
    for position in known:
        if position != usual:

            def turned(thing: Any, _: float, position: str = position) -> Any:
                return thing.model_copy(update={"usual": position})

            words = position if position in ("open", "shut") else f"at {position}"

            def written(_: Scenario, __: float, position: str = position) -> Texts:
                return {f"plant.{block}.{name}.usual": position}

            change = of_part(block, name, turned)
            yield Cause(f"{name} left {words}", change, frozenset({FLOW}), written=written)
