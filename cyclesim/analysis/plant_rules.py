"""Rules of the plant and its schedule as drawn: no run is needed to judge them."""

from __future__ import annotations

import math
from collections.abc import Iterator

from cyclesim.analysis import programme_mends as mends
from cyclesim.analysis.amounts import (
    apart,
    at_least,
    flow,
    flow_at_least,
    flows_apart,
    lasting,
    listed,
)
from cyclesim.analysis.combinations import (
    as_written,
    can_fire,
    combinations,
    more_flow,
    running,
    together,
    while_at,
    with_bore,
)
from cyclesim.analysis.findings import PRACTICE, SHEET, Breach, Judged, NotJudged, Rule
from cyclesim.analysis.keyed_in import clock_times, days_apart, nearest_step, too_many_a_day
from cyclesim.physics.links import TUB
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.scenario.blocks.heat_sources import HeatPump, HeatSource
from cyclesim.simulation.assembly import Assembly, PlantDuty
from cyclesim.simulation.jets import jet_name
from cyclesim.simulation.programme import Programme

_LARGEST_BORE_MM = 300


def suction_too_fast(plant: Assembly, programme: Programme) -> Judged:
    """Water runs faster than the limit through a leg that draws from the tub, at the worst asked for."""
    limit, rows = plant.scenario.limits.suction_speed_m_s, together(plant, programme)
    for name in plant.sheet.legs if rows else ():
        duty, names = max(rows, key=lambda row: _of_few(plant, row[0], _suction_m_s(plant, name, row[0])))
        speed = _suction_m_s(plant, name, duty)
        if speed > limit:
            value, most = apart(speed, limit, 2)
            bore_mm = _enough_bore_mm(plant, name, [duty for duty, _ in rows])
            bore = f"a bore of at least {bore_mm} mm, or " if bore_mm else ""
            yield Breach(
                name,
                f"{flow(abs(duty.flow_m3_s(name)))} at {duty.name} ({listed(names)})",
                speed,
                "m/s",
                f"{value} m/s of {most} m/s",
                f"{bore}one more suction leg beside it",
            )


def _of_few(plant: Assembly, duty: PlantDuty, value: float) -> tuple[float, int]:
    """What to take the most of, so that of equals the duty with the fewest pumps is named."""
    return round(value, 9), -len(running(plant, duty))


def _suction_m_s(plant: Assembly, leg: str, duty: PlantDuty) -> float:
    """Speed of the water that a leg draws from the tub; 0 where it draws none."""
    q = duty.flow_m3_s(leg)
    ends = {link.name: (link.a, link.b) for link in plant.links}.get(leg)
    if ends is None or ends[0 if q > 0 else 1] != TUB:
        return 0.0
    return abs(q) / (math.pi / 4.0 * plant.sheet.legs[leg].bore_m ** 2)


def _enough_bore_mm(plant: Assembly, leg: str, duties: list[PlantDuty]) -> int | None:
    """The first larger bore in steps of 5 mm at which no duty is too fast: flow rises with the bore."""
    limit, own_mm = plant.scenario.limits.suction_speed_m_s, 1000.0 * plant.sheet.legs[leg].bore_m
    for bore_mm in range(5 * math.floor(own_mm / 5.0 + 1.0), _LARGEST_BORE_MM + 1, 5):
        larger = with_bore(plant, leg, bore_mm / 1000.0)
        if all(_suction_m_s(larger, leg, larger.duty(duty.speeds)) <= limit for duty in duties):
            return bore_mm
    return None


def filter_overloaded(plant: Assembly, programme: Programme) -> Judged:
    """More water passes a filter than its data sheet allows, at the worst that the schedule asks for."""
    rows = together(plant, programme)
    for name, sheet in plant.sheet.equipment.items():
        most = sheet.at_most_m3_s
        if most is None:
            if sheet.kind == "filter":
                yield NotJudged(f"{name} has no at_most")
            continue
        if not rows:
            continue
        duty, names = max(rows, key=lambda row: _of_few(plant, row[0], abs(row[0].flow_m3_s(name))))
        q = abs(duty.flow_m3_s(name))
        if q > most:
            value, limit = flows_apart(q, most)
            slower = [
                f"{as_written(pump, lower)} in place of {as_written(pump, speed)}, or "
                for pump, speed in running(plant, duty).items()
                for lower in list(plant.speeds[pump])[: list(plant.speeds[pump]).index(speed)]
                if abs(_instead(plant, duty, pump, lower).flow_m3_s(name)) <= most
            ]
            yield Breach(
                name,
                f"at {duty.name} ({listed(names)})",
                q * 60_000.0,
                "L/min",
                f"{value} of at most {limit}",
                f"{slower[0] if slower else ''}a filter for at least {flow_at_least(q)}",
            )


def _instead(plant: Assembly, duty: PlantDuty, pump: str, speed: str) -> PlantDuty:
    """The same duty with one pump at another speed, or stopped."""
    speeds = zip(plant.pumps, duty.speeds, strict=True)
    return plant.duty(tuple(speed if name == pump else own for name, own in speeds))


def jets_weak(plant: Assembly, programme: Programme) -> Judged:
    """Even in the best duty that can occur, the last jet of a manifold gets less than it needs."""
    del programme
    duties = [plant.duty(d.speeds, at) for d in combinations(plant, plant.speeds) for at in plant.may_be_left]
    for name, leg in plant.sheet.legs.items():
        if leg.manifold is None:
            continue
        needs = leg.manifold.needs_flow_m3_s
        if needs is None:
            yield NotJudged(f"the file does not say what a jet of {name} needs")
            continue
        last = jet_name(name, leg.manifold.jets)
        best = max(duties, key=lambda duty: _of_few(plant, duty, abs(duty.flow_m3_s(last))))
        flow_m3_s = abs(best.flow_m3_s(last))
        if flow_m3_s < needs:
            value, limit = flows_apart(flow_m3_s, needs)
            lacks = 100.0 * (1.0 - flow_m3_s / needs)
            mend = f"fewer jets, a larger bore or a stronger pump: the last jet lacks {lacks:.0f} %"
            cause = f"{leg.manifold.jets} jets on one leg, at best at {best.name}"
            if turned := _turned_for(plant, last, flow_m3_s):
                usual, other, then_m3_s = turned
                cause = f"{usual}, as usual and always"
                mend = f"turn it: with {other} the last jet gets {flow(then_m3_s)}"
            yield Breach(
                name,
                cause,
                flow_m3_s * 60_000.0,
                "L/min",
                f"{value} at the last jet, which needs {limit}",
                mend,
                less_is_worse=True,
            )


def _turned_for(plant: Assembly, jet: str, flow_m3_s: float) -> tuple[str, str, float] | None:
    """(usual position, other position, flow) of the valve that alone keeps most water from a jet, if any."""
    for valve, turnable in plant.turnable.items():
        for position in turnable.known:
            at = plant.turned(valve, position)
            then = (abs(plant.duty(d.speeds, at).flow_m3_s(jet)) for d in combinations(plant, plant.speeds))
            if position not in turnable.positions and (most := max(then)) > 2.0 * flow_m3_s + STILL_M3_S:
                usual = plant.position_text(valve, turnable.usual)
                return usual, plant.position_text(valve, position), most
    return None


def source_underfed(plant: Assembly, programme: Programme) -> Judged:
    """A heat source gets less than it needs at the heating's own duty, or at another at which it can fire."""
    heating = plant.scenario.schedule.heating
    if heating is None:
        return
    own = plant.at(*heating.pump)
    order = list(plant.speeds[heating.pump.pump])
    pump_index = list(plant.pumps).index(heating.pump.pump)
    for name in heating.sources:
        needs = plant.sheet.heat_sources[name].needs_flow_m3_s
        for duty, _ in together(plant, programme):
            speed = duty.speeds[pump_index]
            if speed == "stopped" or order.index(speed) < order.index(heating.pump.speed):
                continue
            q = max(0.0, plant.forward_m3_s(name, duty))
            if q < needs and (duty.speeds == own or can_fire(plant, programme, name, duty)):
                value, least = flows_apart(q, needs)
                yield Breach(
                    name,
                    f"at {duty.name}" + (", which heating asks for" if duty.speeds == own else ""),
                    q * 60_000.0,
                    "L/min",
                    f"{value} of at least {least}",
                    _why_underfed(plant, programme, name, duty),
                    less_is_worse=True,
                )


def _why_underfed(plant: Assembly, programme: Programme, source: str, duty: PlantDuty) -> str:
    """More flow where heating's own speed gives too little; else a block while what takes the flow runs."""
    heating = plant.scenario.schedule.heating
    assert heating is not None
    own = heating.pump
    if not plant.has_flow(source, plant.duty(plant.at(*own))):
        return more_flow(plant, programme, source)
    others_on = [(pump, speed) for pump, speed in running(plant, duty).items() if (pump, speed) != tuple(own)]

    takers = [
        (pump, speed)
        for pump, speed in others_on
        if plant.has_flow(source, _instead(plant, duty, pump, own.speed if pump == own.pump else "stopped"))
    ]
    taker = (takers or others_on)[0]
    return f"wire {{block: {source}, while: {while_at(*taker)}, because: too little water}}"


def _makes_own_heat(source: HeatSource) -> bool:
    """Whether a high limit can hold it: a heat pump's refrigerant does; nobody can switch off a fire."""
    return source.switched and not isinstance(source, HeatPump)


def no_independent_limit(plant: Assembly, programme: Programme) -> Judged:
    """A source that makes its own heat has no high limit, or one that a failed thermostat takes with it."""
    del programme
    for name, source in plant.sheet.heat_sources.items():
        if not _makes_own_heat(source):
            continue
        if source.high_limit_c is None:
            mend = "a high limit with a sensor of its own, that a person resets: high_limit: 50 degC"
            yield Breach(name, "it has no high limit", None, "", "", mend)
        elif unsaid := source.unsaid("limit_sensor"):
            yield NotJudged(f"the file does not say of {name}: {', '.join(unsaid)}")
        elif source.limit_sensor != "own":
            cause = "its high limit shares the thermostat's sensor: one fault takes both"
            yield Breach(name, cause, None, "", "", "a sensor of its own: limit_sensor: own")


def sample_too_short(plant: Assembly, programme: Programme) -> Judged:
    """The pump runs too short for a sensor in a pipe: what it reads then is the room."""
    del programme
    heating = plant.scenario.schedule.heating
    if heating is None or heating.sensor is None:
        return
    sensor = heating.sensor
    duty = plant.duty(plant.at(*heating.pump))
    takes_s = duty.reached_s.get(sensor.in_, math.inf)
    if sensor.for_s < takes_s:
        if math.isinf(takes_s):
            cause = f"{as_written(*heating.pump)} brings no tub water to it"
            mend = "a sensor where water passes"
        else:
            cause = f"tub water takes {lasting(takes_s)} to the far end of {sensor.in_}"
            mend = f"let the pump run for at least {at_least(takes_s)} before it is read"
        text = f"read after {lasting(sensor.for_s)}"
        yield Breach("sensor", cause, sensor.for_s, "s", text, mend, less_is_worse=True)


def programme_does_not_fit(plant: Assembly, programme: Programme) -> Judged:
    """The schedule asks for what cannot be keyed into the controller."""
    del programme
    takes, schedule = plant.scenario.controller, plant.scenario.schedule
    if all(value is None for key, value in takes if type(takes).model_fields[key].default is None):
        yield NotJudged("the file does not say what the controller takes")
        return
    for cause, mend in (*too_many_a_day(takes, schedule), *days_apart(takes, schedule)):
        yield _misfit(cause, mend)
    if takes.time_step_s is not None:
        yield from _off_step(plant, takes.time_step_s)
    for run in schedule.line_flushes:
        if takes.flush_lengths_s and run.lasts_s not in takes.flush_lengths_s:
            offered = listed([lasting(length_s) for length_s in takes.flush_lengths_s])
            yield _misfit(
                f"a flush of {lasting(run.lasts_s)}, and it takes {offered}", "choose one that it takes"
            )


def _off_step(plant: Assembly, step_s: float) -> Iterator[Breach]:
    """Times, and lengths of filter runs, that are no whole number of the controller's steps."""
    steps = f"its times move in steps of {lasting(step_s)}"
    for of, what, clock in clock_times(plant.scenario.schedule):
        step = nearest_step(clock, step_s)
        if step != clock:
            mend = f"move it to {step:%H:%M}, the nearest step"
            yield _misfit(f"{what} at {clock:%H:%M}, and {steps}", mend, of)
    for run in plant.scenario.schedule.filter_runs:
        if run.lasts_s % step_s:
            cause = f"a filter run of {lasting(run.lasts_s)}, and {steps}"
            yield _misfit(cause, "make it a whole number of steps long")


def _misfit(cause: str, mend: str, of: str = "controller") -> Breach:
    return Breach(of, cause, None, "", "", mend)


def flow_backwards(plant: Assembly, programme: Programme) -> Judged:
    """Water runs backwards through a filter or a heat source at a duty that may come about."""
    duties = list(_may_come(plant, programme))
    for name in plant.housings:
        worst = min(
            duties, key=lambda duty: _of_few(plant, duty, plant.forward_m3_s(name, duty)), default=None
        )
        back_m3_s = -plant.forward_m3_s(name, worst) if worst else 0.0
        if worst is not None and back_m3_s > STILL_M3_S:
            through = [pump for pump in plant.pumps if worst.flow_m3_s(pump) < -STILL_M3_S]
            yield Breach(
                name,
                f"at {worst.name}" + (f", through {listed(through)}" if through else ""),
                back_m3_s * 60_000.0,
                "L/min",
                f"{flow(back_m3_s)} backwards",
                f"a check valve in {listed(through)}" if through else f"a check valve beside {name}",
            )


def _may_come(plant: Assembly, programme: Programme) -> Iterator[PlantDuty]:
    """What the schedule can ask for at once, and what contacts beside the controller start with it."""
    yield from (duty for duty, _ in together(plant, programme))
    speeds = {name: {d.speed for d in programme.controller.demands if d.pump == name} for name in plant.pumps}
    started = [b.starter for b in programme.beside if b.starter.target in plant.pumps]
    for starter in started:
        speeds[starter.target].add(str(starter.speed))
    yield from combinations(plant, speeds) if started else ()


RULES: tuple[Rule, ...] = (
    Rule(
        "flow-backwards",
        "plant",
        "hygiene",  # what a filter has caught goes back to the tub; a flow switch and a sensor tell nothing
        sentence="No duty that may come about sends water backwards through a filter or a heat source.",
        source=PRACTICE,
        mend="a check valve in the pump that water comes back through",
        judge=flow_backwards,
        changes=mends.check_valves,
        applies=lambda plant, _: bool(plant.housings) and len(plant.pumps) > 1,
    ),
    Rule(
        "suction-too-fast",
        "plant",
        "wear",  # noise and air in the pump; what a suction does to a person is not judged here
        sentence="Water runs through a leg that draws from the tub no faster than the limit.",
        source="1.8 m/s (6 ft/s): US residential pool practice, quoted from memory; document not checked",
        mend="a larger bore, or one more suction leg beside it",
        judge=suction_too_fast,
    ),
    Rule(
        "filter-overloaded",
        "plant",
        "hygiene",  # too fast a flow carries through what the filter should keep
        sentence="No duty of the schedule sends more water through a filter than its data sheet allows.",
        source=SHEET,
        mend="a lower speed, or a larger filter",
        judge=filter_overloaded,
        applies=lambda plant, _: bool(plant.sheet.equipment),
    ),
    Rule(
        "jets-weak",
        "plant",
        "comfort",
        sentence="In the best duty that can occur, the last jet of every leg gets the flow that it needs.",
        source="75 % of a jet's rated flow where the file does not say: common practice, no source",
        mend="fewer jets, a larger bore or a stronger pump",
        judge=jets_weak,
        applies=lambda plant, _: any(leg.manifold for leg in plant.sheet.legs.values()),
    ),
    Rule(
        "source-underfed",
        "plant",
        "danger",  # an element with too little water overheats
        sentence="Wherever a heat source can fire, it gets at least the flow that its data sheet asks for.",
        source=SHEET,
        mend="heat at a higher speed, or block the source where its flow is too low",
        judge=source_underfed,
        changes=mends.blocked_where_underfed,
        applies=lambda plant, _: plant.scenario.schedule.heating is not None,
    ),
    Rule(
        "no-independent-limit",
        "plant",
        "danger",  # the last barrier when a thermostat or a contactor fails
        sentence="Every element and boiler has a high limit with a sensor of its own.",
        source="independent limiting controls: IEC 60335-1, IEC 60730, principle quoted from memory; "
        "document not checked",
        mend="a high limit with a sensor of its own",
        judge=no_independent_limit,
        applies=lambda plant, _: any(map(_makes_own_heat, plant.sheet.heat_sources.values())),
    ),
    Rule(
        "sample-too-short",
        "plant",
        "comfort",
        sentence="A temperature sensor in a pipe is read only when tub water has reached it.",
        source=PRACTICE,
        mend="a longer run before it is read",
        judge=sample_too_short,
        applies=lambda plant, _: bool((it := plant.scenario.schedule.heating) and it.sensor),
    ),
    Rule(
        "programme-does-not-fit",
        "plant",
        "comfort",
        sentence="The schedule can be keyed into the controller as it is.",
        source="what the file says that the controller takes",
        mend="key in what comes nearest, and put that into the file",
        judge=programme_does_not_fit,
        programmes="always",
    ),
)
