"""The plumber's paper: pipes, flows and pressures, valves, suction covers, the pump room, winter."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from cyclesim.analysis.amounts import listed
from cyclesim.analysis.combinations import together
from cyclesim.analysis.findings import Finding, in_order
from cyclesim.analysis.own_water import OWN_WATER_FREEZES
from cyclesim.analysis.rules import check_plant
from cyclesim.analysis.suction_side import draws
from cyclesim.physics.blowing import BlowerDuty
from cyclesim.physics.water import G, density_kg_m3
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.said.as_done import as_done
from cyclesim.said.cautions import ADVICE, BURNER, burns
from cyclesim.said.drawing import drawing
from cyclesim.said.duties import L_MIN, duties
from cyclesim.said.page import Amount, Cell, Column, Row, whole, words
from cyclesim.said.papers.own_water import own_waters
from cyclesim.said.papers.paper import PLUMBING, Paper, Sheet
from cyclesim.said.papers.sun import sun_pipes
from cyclesim.said.verdict import worst_said
from cyclesim.said.words import degrees
from cyclesim.scenario.blocks.air import Blower
from cyclesim.simulation.assembly import Assembly, PlantDuty
from cyclesim.simulation.jets import last_stretch
from cyclesim.simulation.own_water import circuits
from cyclesim.simulation.programme import Programme

_L, _MM, _KPA = 1000.0, 1000.0, 1000.0
_FREEZES = ("frost-in-plant", OWN_WATER_FREEZES)
"""Rules that only a run can judge, and that whoever chooses a way, an insulation or a filling can mend."""


def plumber(plant: Assembly, programme: Programme, year: Sequence[Finding], us: bool = False) -> Paper:
    """Everything that whoever lays and fills the pipes needs of a plant and its duties.

    *year*: what a year's run of it has found; *us*: whether the drawing is told in US units.
    """
    sheet = Sheet()
    frozen = [finding for finding in year if finding.rule in _FREEZES]
    _broken(sheet, [*check_plant(plant, programme)[0], *frozen])
    _pipes(sheet, plant)
    _pressures(sheet, plant, programme)
    _last_jets(sheet, plant)
    _valves(sheet, plant)
    _air(sheet, plant)
    own_waters(sheet, plant, frozen)
    sun_pipes(sheet, plant)
    _covers(sheet, plant)
    _room(sheet, plant)
    _winter(sheet, plant)
    cautions = (PLUMBING, *[BURNER] * burns(plant.scenario), ADVICE)
    drawn = drawing(plant, us=us)
    return Paper("plumber", "Plumber: pipes and water", tuple(sheet.blocks), cautions, drawn)


def _mm(length_m: float) -> Amount:
    return Amount(length_m * _MM, "mm", 3, "figures")


def _pipes(sheet: Sheet, plant: Assembly) -> None:
    columns = (
        words("leg"),
        words("pipe"),
        Column("bore\n{unit}", unit="mm", kind="figures", digits=3),
        Column("length\n{unit}", unit="m"),
        words("fittings"),
        Column("insulation\n{unit}", unit="mm", kind="figures", digits=3),
        Column("water\n{unit}", unit="L"),
        Column("between\njets {unit}", unit="mm", kind="figures", digits=3, unknown=""),
        words("lies in"),
    )

    def row(name: str) -> tuple[Cell, ...]:
        leg = plant.sheet.legs[name]
        fittings = [f"{n} {kind.replace('_', ' ')}" for kind, n in leg.fittings.items() if n]
        if leg.manifold:
            fittings.append(f"{leg.manifold.jets} jets")
        if leg.dead_end:
            fittings.append("capped")
        return (
            name,
            leg.pipe.name if leg.pipe else "by its bore",
            leg.bore_m * _MM,
            leg.length_m,
            ", ".join(fittings) or "none",
            leg.insulation_m * _MM,
            plant.leg_volume_m3(name) * _L,
            leg.manifold.spacing_m * _MM if leg.manifold and leg.manifold.jets > 1 else None,
            leg.zone.replace("_", " "),
        )

    sheet.heading("Pipe schedule")
    note = "The pipe between jets comes on top of the length, and its water is counted."
    beyond = any(leg.manifold and leg.manifold.jets > 1 for leg in plant.sheet.legs.values())
    sheet.table(columns, [row(name) for name in plant.sheet.legs], notes=[note] * beyond)
    for name, thing in plant.housings.items():
        if thing.insulation_m:
            sheet.line(f"{name} is insulated all round by {thing.insulation_m * _MM:.0f} mm.")
    for name, trench in plant.sheet.trenches.items():
        zone = plant.scenario.place.zones[plant.sheet.legs[trench.legs[0]].zone]
        apart, deep = (f"{m * _MM:.0f} mm" for m in (trench.spacing_m, zone.depth_m or 0.0))
        sheet.line(
            f"Trench {name}: {listed(list(trench.legs))} side by side in this order, {apart} from axis to "
            f"axis and {deep} deep."
        )


def _broken(sheet: Sheet, findings: Sequence[Finding]) -> None:
    """What is wrong with the plant whatever runs, and what freezes: it is mended before a pipe is laid."""
    grave = in_order(finding for finding in findings if finding.severity in ("danger", "hygiene"))
    if grave:
        sheet.heading("Wrong as drawn: mend this before a pipe is laid")
    for finding in grave:
        sheet.line(
            f"{finding.severity}: {finding.subject}: {worst_said(finding)}. {_upper(as_done(finding.mend))}.",
            tone="strong",
        )


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]


def _pressures(sheet: Sheet, plant: Assembly, programme: Programme) -> None:
    sheet.heading("Flows and gauge pressures to expect")
    per_m = density_kg_m3(plant.temp_c) * G / _KPA
    sheet.line(
        f"With water at {degrees(plant.temp_c)} °C and valves as usual. Pressures are those of a gauge at "
        "the height of the tub's water: one that stands 1.00 m lower reads "
        f"{per_m:.2f} kPa more, a higher one so much less."
    )
    columns = (
        words("at"),
        Column("flow\n{unit}", unit="L/min"),
        Column("pressure before\n{unit}", unit="kPa"),
        Column("pressure behind\n{unit}", unit="kPa"),
    )
    for duty, who in together(plant, programme):
        sheet.table(columns, list(_points(plant, duty)), title=f"{duty.name}, for {listed(who)}")


def _points(plant: Assembly, duty: PlantDuty) -> Iterator[Row]:
    """Everything in the order of the network, where water moves."""
    ends = {link.name: (link.a, link.b) for link in plant.links}
    kpa = density_kg_m3(plant.temp_c) * G / _KPA
    heads = duty.duty.heads_m
    for name in _in_order(plant):
        if abs(duty.flow_m3_s(name)) <= STILL_M3_S:
            continue
        a, b = ends[name]
        yield Row((name, abs(duty.flow_m3_s(name)) * L_MIN, heads[a] * kpa, heads[b] * kpa), name)
        leg = plant.sheet.legs.get(name)
        if leg and leg.manifold and leg.manifold.jets > 1:
            last = f"{name}: jet {leg.manifold.jets}"
            flow = duty.flow_m3_s(f"{name} jet {leg.manifold.jets}") * L_MIN
            yield Row((last_stretch(name), flow, heads[last] * kpa, 0.0), name, 1)


def _in_order(plant: Assembly) -> list[str]:
    """What stands in the network, in its order, without the stretches and jets of manifolds."""
    sheet = plant.sheet
    known = (*sheet.legs, *plant.pumps, *sheet.equipment, *sheet.heat_sources, *sheet.valves)
    return [link.name for link in plant.links if link.name in known]


def _last_jets(sheet: Sheet, plant: Assembly) -> None:
    """With a watch at each last jet: when the tub's own water comes out of it."""
    fed = [name for name, leg in plant.sheet.legs.items() if leg.manifold]
    if not fed:
        return
    columns = (words("running"), *(Column(f"{name}\n{{unit}}", unit="s", digits=0) for name in fed))
    rows = []
    for duty in duties(plant):
        times = [duty["jets"][name]["tub_water_at_last_jet_after_s"] for name in fed]
        if any(time is not None for time in times):
            rows.append((duty["name"], *("never" if time is None else time for time in times)))
    sheet.heading("By the stopwatch: from the pump's start until tub water leaves the last jet")
    sheet.table(columns, rows)
    sheet.line(
        "A flush that is shorter than this leaves old water in the last stretch. Water that was dyed in the "
        "tub shows it; a time that is much longer points to a blocked pipe or to air."
    )


def _valves(sheet: Sheet, plant: Assembly) -> None:
    if not plant.turnable:
        return
    columns = (words("valve"), words("usual"), words("if it is"), words("then"))
    rows = []
    for name, thing in plant.turnable.items():
        for position in thing.known:
            if position != thing.usual:
                rows.append((name, thing.usual, position, _left(plant, name, position)))
    sheet.heading("Valves: how they stand, and what happens if they are left otherwise")
    sheet.table(columns, rows)


def _left(plant: Assembly, valve: str, position: str) -> str:
    """What changes for legs and pumps, at any speeds, with one valve in another position."""
    usual = [duty for duty in plant.duties() if duty.positions == plant.usually]
    at = [plant.duty(duty.speeds, plant.turned(valve, position)) for duty in usual]
    moved = {
        name: (_most(usual, name), _most(at, name)) for name in (*plant.sheet.legs, *plant.sheet.heat_sources)
    }
    still = [name for name, (was, now) in moved.items() if was > STILL_M3_S >= now]
    woken = [name for name, (was, now) in moved.items() if now > STILL_M3_S >= was]
    less = [
        f"{100.0 * now / was:.0f} % in {name}"
        for name, (was, now) in moved.items()
        if name not in still and was > STILL_M3_S and now < 0.9 * was
    ]
    known = {problem for duty in usual for problem in duty.duty.problems}
    new = dict.fromkeys(p for duty in at for p in duty.duty.problems if p not in known)
    parts = [f"no water moves in {', '.join(still)}"] if still else []
    parts += [f"water moves in {', '.join(woken)}"] if woken else []
    parts += [f"of the usual flow at most {', '.join(less)}"] if less else []
    parts += list(new)
    return "; ".join(parts) or "every leg keeps nine tenths of its flow or more"


def _most(at: list[PlantDuty], name: str) -> float:
    return max(abs(duty.flow_m3_s(name)) for duty in at)


def _air(sheet: Sheet, plant: Assembly) -> None:
    for name, blower in plant.sheet.air.items():
        duty = plant.air_duty(name)
        columns = (words(""), Column("", unit=""))
        open_loop = blower.unsaid("loop_above_water_m")
        sheet.heading(f"Air: {name}")
        sheet.table(
            columns,
            [
                (
                    "air pipe",
                    blower.pipe.name if blower.pipe else _mm(blower.bore_m),
                ),
                ("length", Amount(blower.length_m, "m")),
                ("outlets under the water", _mm(blower.outlets_below_water_m)),
                ("highest point above the water", _UNSAID if open_loop else _mm(blower.loop_above_water_m)),
                ("check valve", _UNSAID if blower.unsaid("check_valve") else blower.check_valve),
                *_injectors(blower, duty),
                ("air that it gives", Amount(duty.flow_m3_s * L_MIN, "L/min of air", 0)),
                ("pressure at the blower", Amount(duty.pressure_pa / _KPA, "kPa")),
            ],
        )
        sheet.checks(list(_dry(blower)))


_UNSAID = "the file does not say"


def _dry(blower: Blower) -> Iterator[str]:
    """What keeps the tub's water from the blower."""
    loop = blower.loop_above_water_m > 0.0
    if loop:
        yield "The loop stands above the water line with the tub full and people in it."
    if blower.check_valve:
        yield "The check valve lets air pass towards the tub and holds water back."
    elif loop:
        yield "No check valve is drawn: the loop alone keeps water from the blower."
    elif blower.unsaid("check_valve", "loop_above_water_m"):
        yield "A check valve or a loop above the water keeps it from the blower: the file leaves open which."
    else:
        yield "Neither a check valve nor a loop is drawn: fit one before water is filled in."


def _injectors(blower: Blower, duty: BlowerDuty) -> Iterator[tuple[Cell, Cell]]:
    """How many air injectors there are and what each gets, where the file tells them."""
    if blower.injectors:
        yield "injectors", Amount(blower.injectors, "", 0)
        yield "each injector gets", Amount(duty.flow_m3_s * L_MIN / blower.injectors, "L/min of air", 0)


def _covers(sheet: Sheet, plant: Assembly) -> None:
    """What each suction cover must let through with the largest of those that feed one pump blocked."""
    limit = plant.scenario.limits.cover_speed_m_s
    fitted = {name: leg.suction for name, leg in plant.sheet.legs.items() if leg.suction is not None}
    if not fitted:
        return
    least: dict[str, float] = {}
    for pump in plant.pumps:
        known, unknown = draws(plant, pump)
        for draw in () if unknown else known:
            open_left = draw.fittings - 1
            for name, cover in fitted.items():
                if cover in draw.covers:
                    area = draw.flow_m3_s / (limit * open_left) if open_left > 0 else math.inf
                    least[name] = max(least.get(name, 0.0), area)
    columns = (
        words("leg"),
        whole("covers"),
        whole("always\nopen"),
        Column("open area of each\n{unit}", unit="cm2", digits=0),
        Column("least open area\n{unit}", unit="cm2", digits=0),
    )
    sheet.heading("Suction covers")
    sheet.table(
        columns,
        [
            (name, c.fittings, c.always_open, c.open_area_m2 * 1e4, _area(least.get(name)))
            for name, c in fitted.items()
        ],
        notes=(
            "Least: what each cover needs so that with one of the pump's covers blocked water passes the "
            f"others at {limit:.3g} m/s at most: limits.cover_speed of the file.",
            *["never: one cover alone feeds a pump; once it is blocked no area is enough."]
            * any(area == math.inf for area in least.values()),
        ),
    )
    sheet.checks(
        [
            "Every cover is screwed on, whole, within its maker's date, and rated for the pump's flow.",
            "No valve can shut off all covers but one.",
        ]
    )


def _area(least_m2: float | None) -> Cell:
    return None if least_m2 is None else least_m2 * 1e4


def _room(sheet: Sheet, plant: Assembly) -> None:
    room, limit = plant.sheet.pump_room, plant.scenario.limits.free_space_m
    sheet.heading("In the pump room")
    items = ["Each pump, filter and heat source comes out by its unions without cutting a pipe.",
             "Every union can be reached with both hands and a wrench."]  # fmt: skip
    if room is not None and room.sump_pump is not None:
        items.insert(
            0, "A bucket of water poured on the floor starts the sump pump by its float, and is lifted."
        )
    elif room is None or room.drain is not False:
        items.insert(0, "A bucket of water poured on the floor runs off by itself.")
    else:
        items.insert(0, "No drain is drawn: fit a sump pump or a drain before water is filled in.")
    if room is None or room.weather_tight is not False:
        items.insert(1, "Neither rain nor spray reaches a motor or a switch.")
    sheet.checks(items)
    facts: list[tuple[Cell, ...]] = []
    if room is not None:
        facts += [(name, value) for name, value in (
            ("floor below the ground", room.below_ground), ("drained", room.drain),
            ("weather-tight", room.weather_tight)) if value is not None]  # fmt: skip
        if room.distance_m is not None:
            facts.append(("from the tub's edge", Amount(room.distance_m, "m")))
        if room.free_space_m is not None:
            facts.append(("free floor before the machines", _mm(room.free_space_m)))
    facts.append(("free floor that is looked for", _mm(limit)))
    sheet.table((words(""), words("")), facts, title="The pump room as drawn")


def _winter(sheet: Sheet, plant: Assembly) -> None:
    """Every part that holds water, in the order in which it is drained, with what comes out of it."""
    sheet.heading("Before a winter without power: what must be empty")
    columns = (words("part"), words("lies in"), Column("water\n{unit}", unit="L"), words("drained"))
    rows: list[tuple[Cell, ...]] = [("tub", "", plant.volume_m3 * _L, "☐")]
    rows += [(b.name, b.zone.replace("_", " "), b.volume_m3 * _L, "☐") for b in plant.bodies]
    known = {body.name for body in plant.bodies}
    rows += [(n, "", p.volume_m3 * _L, "☐") for n, p in plant.pumps.items() if n not in known and p.volume_m3]
    plain = [c for c in circuits(plant).values() if not c.sheet.glycol]  # with glycol it stays
    rows += [(f"own water of {c.name}", c.zone.replace("_", " "), c.sheet.volume_m3 * _L, "☐") for c in plain]
    sheet.table(columns, rows)
    checks = ["The supply is switched off and locked before the first drain is opened."]
    capped = [name for name, leg in plant.sheet.legs.items() if leg.dead_end]
    checks += [f"{name} is capped: nothing drains it but its own plug." for name in capped]
    checks += ["Water is blown or sucked out of low spots: what a slope leaves behind freezes first."]
    held = (*(n for n, p in plant.pumps.items() if p.check_valve), *plant.sheet.check_valves)
    checks += [f"{name}: its check valve holds water back, and is opened by hand." for name in held]
    sheet.checks(checks)
