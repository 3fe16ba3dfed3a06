"""Rules of the pump room and of the suction side, judged from the drawing: no run is needed."""

from __future__ import annotations

import math
from itertools import product

from cyclesim.analysis.amounts import apart, flow, listed
from cyclesim.analysis.combinations import running, together
from cyclesim.analysis.findings import CHOICE, PRACTICE, Breach, Judged, NotJudged, Rule
from cyclesim.analysis.room_loads import sump_fails
from cyclesim.analysis.suction_side import Draw, draws, least_npsh
from cyclesim.physics.duty_problems import NO_FLOW_M3_S, reachable
from cyclesim.physics.links import TUB
from cyclesim.scenario.blocks.data_sheets import Valve
from cyclesim.scenario.blocks.pump_room import PumpRoom
from cyclesim.simulation.assembly import Assembly, Positions
from cyclesim.simulation.programme import Programme

LEAST_FITTINGS = 2
"""How many suction fittings a pump must have: one may be covered by a body or by hair."""

NPSH_MARGIN_M = 0.5
"""What must be left over the NPSH of the data sheet, at which a pump has
already lost 3 % of its head (ISO 9906, from memory)."""

_HARDLY_ANY = 0.05
"""Share of the flow with every valve open below which a pump counts as pumping against a shut valve."""


def single_suction(plant: Assembly, programme: Programme) -> Judged:
    """A pump draws through one fitting, or through covers that are too fast while one is blocked."""
    del programme
    limit = plant.scenario.limits.cover_speed_m_s
    for pump in plant.pumps:
        known, unknown = draws(plant, pump)
        for name in unknown:
            yield NotJudged(f"the file does not describe the suction fittings of {name}, which feeds {pump}")
        if unknown or not known:
            continue
        fewest = min(known, key=lambda draw: (draw.fittings, len(plant.not_as_usual(draw.duty.positions))))
        if fewest.fittings < LEAST_FITTINGS:
            yield Breach(
                pump,
                _why_alone(plant, known, fewest),
                fewest.fittings,
                "fittings",
                f"{fewest.fittings} of at least {LEAST_FITTINGS} always draws",
                "two fittings or more on one pipe with no valve between, too far apart for one body to cover",
                less_is_worse=True,
            )
            continue
        fastest = max(known, key=lambda d: (round(d.speed_m_s or 0.0, 9), -len(running(plant, d.duty))))
        speed = fastest.speed_m_s or 0.0
        if speed > limit:
            value, most = apart(speed, limit, 2)
            yield Breach(
                pump,
                f"with one of {fastest.fittings} suction fittings blocked the others take "
                f"{flow(fastest.flow_m3_s)}, at {fastest.duty.name}",
                speed,
                "m/s",
                f"{value} m/s of {most} m/s through a cover",
                _open_enough(fastest, limit),
            )
            continue
        covers = {id(cover) for draw in known for cover in draw.covers}
        for name, leg in plant.sheet.legs.items():
            own = leg.suction
            if own and id(own) in covers and own.fittings > 1 and own.unsaid("one_can_be_shut"):
                yield NotJudged(
                    f"the file does not say of the fittings of {name}, which feed {pump}: one_can_be_shut"
                )


def _why_alone(plant: Assembly, known: list[Draw], fewest: Draw) -> str:
    """What leaves a pump with one suction fitting: the drawing, a service valve or a valve's position."""
    built = sum(cover.fittings for cover in fewest.covers)
    if built >= LEAST_FITTINGS:
        return f"a valve can shut off one of its {built} suction fittings"
    fed_better = [d for d in known if d.duty.speeds == fewest.duty.speeds and d.fittings >= LEAST_FITTINGS]
    alike = zip(
        plant.turnable, fewest.duty.positions, *(draw.duty.positions for draw in fed_better), strict=True
    )
    culprits = [
        plant.position_text(valve, position)
        for valve, position, *better_positions in alike
        if position not in better_positions
    ]
    if fed_better and culprits:
        return f"with {listed(culprits)}, one suction fitting feeds it"
    return "one suction fitting feeds it"


def _open_enough(draw: Draw, limit_m_s: float) -> str:
    """The open area that each cover needs, and how many covers like these would do."""
    each_m2 = draw.flow_m3_s / limit_m_s / (draw.fittings - 1)
    mend = f"covers with at least {math.ceil(1e4 * each_m2 - 1e-6)} cm2 of open area each"
    areas = {cover.open_area_m2 for cover in draw.covers}
    if len(areas) == 1:
        like = 1 + math.ceil(draw.flow_m3_s / limit_m_s / areas.pop() - 1e-9)
        mend += f", or {like} fittings like these"
    return mend


def pump_cavitates(plant: Assembly, programme: Programme) -> Judged:
    """The head left at a pump's inlet is less than its data sheet asks for and a margin."""
    for pump, sheet in plant.pumps.items():
        if sheet.above_water_m is None or sheet.npsh_needed_m is None:
            lacks = "above_water" if sheet.above_water_m is None else "npsh_needed"
            yield NotJudged(f"{pump} has no {lacks}")
            continue
        least_npsh_at = least_npsh(plant, programme, pump)
        if least_npsh_at is None:
            continue
        left_m, duty = least_npsh_at
        due_m = sheet.npsh_needed_m + NPSH_MARGIN_M
        if left_m < due_m:
            value, least = apart(left_m, due_m, 1)
            lacks_m = math.ceil(10.0 * (due_m - left_m) - 1e-9) / 10.0
            yield Breach(
                pump,
                f"at {duty.name}, its inlet {_height(sheet.above_water_m)} the water",
                left_m,
                "m",
                f"{value} m of NPSH where it takes {least} m: {sheet.npsh_needed_m:g} m needed and "
                f"{NPSH_MARGIN_M:g} m to spare",
                f"set it at least {lacks_m:g} m lower, or take that much loss out of its suction: "
                "a larger bore, a shorter way, fewer elbows",
                less_is_worse=True,
            )


def _height(above_m: float) -> str:
    return f"{abs(above_m):g} m {'above' if above_m >= 0.0 else 'below'}"


def pump_loses_prime(plant: Assembly, programme: Programme) -> Judged:
    """A pump above the water cannot draw by itself, or nothing keeps the water in its pipes."""
    del programme
    for pump, sheet in plant.pumps.items():
        if sheet.above_water_m is None:
            yield NotJudged(f"{pump} has no above_water")
        elif sheet.above_water_m > 0.0:
            lacks, mends, unsaid = list[str](), list[str](), list[str]()
            for key, has, lack, mend in (
                ("self_priming", sheet.self_priming, "it is not self-priming", "a self-priming pump"),
                (
                    "check_valve",
                    _held_back(plant, pump),
                    "no check valve keeps its pipes full",
                    "a check valve at the pump or a foot valve",
                ),
            ):
                if not has and sheet.unsaid(key):
                    unsaid.append(key)
                elif not has:
                    lacks.append(lack)
                    mends.append(mend)
            if unsaid:
                yield NotJudged(f"the file does not say of {pump}: {', '.join(unsaid)}")
            if lacks:
                yield Breach(
                    pump,
                    " and ".join(lacks),
                    sheet.above_water_m,
                    "m",
                    f"its inlet lies {_height(sheet.above_water_m)} the water",
                    f"{' with '.join(mends)}, or set it below the water",
                )


def _held_back(plant: Assembly, pump: str) -> bool:
    """Whether a check valve, its own or on its way in or out, lets no water run back through a pump."""
    if plant.pumps[pump].check_valve:
        return True
    own = next(link for link in plant.links if link.name == pump)
    out = reachable(plant.links, own.a, own, forward=True)
    back = reachable(plant.links, own.b, own, forward=False)
    return TUB not in out or TUB not in back


def _opened(plant: Assembly) -> list[Positions]:
    """Every valve open, and every position of the diverters."""
    choices = (
        ("open",) if isinstance(turnable, Valve) else turnable.known for turnable in plant.turnable.values()
    )
    return list(product(*choices))


def pump_against_shut_valve(plant: Assembly, programme: Programme) -> Judged:
    """In a position that valves may be left in, a pump that the schedule runs gets hardly any water."""
    starved: dict[tuple[str, tuple[str, ...]], list[tuple[float, float, int, str]]] = {}
    for asked, names in together(plant, programme):
        duties = {positions: plant.duty(asked.speeds, positions) for positions in plant.may_be_left}
        for pump in running(plant, asked):
            best = max(plant.duty(asked.speeds, positions).flow_m3_s(pump) for positions in _opened(plant))
            for positions, duty in duties.items():
                q = duty.flow_m3_s(pump)
                if best <= NO_FLOW_M3_S or q >= _HARDLY_ANY * best:
                    continue
                culprits = [
                    plant.position_text(valve, position)
                    for k, (valve, position) in enumerate(zip(plant.turnable, positions, strict=True))
                    if any(
                        plant.duty(asked.speeds, (*positions[:k], other, *positions[k + 1 :])).flow_m3_s(pump)
                        >= _HARDLY_ANY * best
                        for other in plant.turnable[valve].known
                    )
                ]
                row = (q, best, len(running(plant, duty)), f"{asked.name} ({listed(names)})")
                starved.setdefault((pump, tuple(culprits) or (plant.positions_text(positions),)), []).append(
                    row
                )
    for (pump, valves), rows in starved.items():
        q, best, _, duty_name = min(rows, key=lambda row: (round(row[0], 9), row[2]))
        shut_valves = listed(list(valves))
        yield Breach(
            pump,
            f"against {shut_valves}, at {duty_name}",
            60_000.0 * q,
            "L/min",
            f"{flow(max(q, 0.0))} of {flow(best)} with valves open",
            f"a stop that forbids {shut_valves}, or a bypass around it; then leave that out of its "
            "positions. A pressure switch is no mend: it is content with a shut valve",
            less_is_worse=True,
        )


def room_floods(plant: Assembly, programme: Programme) -> Judged:
    """Water can stand in the pump room, where the electrics are: from below, or from the weather."""
    del programme
    room = plant.sheet.pump_room or PumpRoom.model_validate({})
    lacks = [key for key in ("below_ground", "weather_tight") if getattr(room, key) is None]
    if room.below_ground and room.drain is None and room.sump_pump is None:
        lacks.append("drain")
    if lacks:
        yield NotJudged(f"the file does not say of the pump room: {', '.join(lacks)}")
    if room.below_ground and room.sump_pump is not None:
        yield from sump_fails(plant, room.sump_pump)
    elif room.below_ground and room.drain is False:
        litres = 1000.0 * plant.volume_m3
        yield Breach(
            "pump_room",
            "it lies below ground without a drain: a leak fills it, and its electrics stand in water",
            litres,
            "L",
            f"the tub alone holds {litres:.0f} L",
            "a drain that runs off by itself, or a sump pump with a float alarm on another supply; "
            "electrics high on the wall",
        )
    if room.weather_tight is False:
        yield Breach(
            "pump_room",
            "rain and spray reach its electrics",
            None,
            "",
            "",
            "a roof, a door and a raised sill that keep them out, or enclosures made for wet places",
        )


def no_room_to_work(plant: Assembly, programme: Programme) -> Judged:
    """Less free floor before filter and valves than somebody needs who opens them."""
    del programme
    limit, room = plant.scenario.limits.free_space_m, plant.sheet.pump_room
    if room is None or room.free_space_m is None:
        yield NotJudged("the file does not say of the pump room: free_space")
    elif room.free_space_m < limit:
        value, least = apart(1000.0 * room.free_space_m, 1000.0 * limit, 0)
        yield Breach(
            "pump_room",
            "too narrow before filter and valves",
            room.free_space_m,
            "m",
            f"{value} mm of at least {least} mm",
            f"clear {least} mm before what must be opened or read, or turn it round",
            less_is_worse=True,
        )


RULES: tuple[Rule, ...] = (
    Rule(
        "single-suction",
        "plant",
        "danger",  # one cover holds a body or hair with all of the pump's pull
        sentence=(
            "A pump draws through two fittings or more, none of which a valve can shut off alone, and "
            "with one "
            "blocked the water runs slowly through the others."
        ),
        source=(
            "two fittings, and 0.5 m/s: EN 13451-3 and ANSI/APSP/ICC-7, quoted from memory; document not "
            "checked; local code decides"
        ),
        mend="two fittings or more on one pipe with no valve between",
        judge=single_suction,
    ),
    Rule(
        "pump-cavitates",
        "plant",
        "wear",  # bubbles that collapse eat the impeller
        sentence=(
            "At each duty asked for, the NPSH at a pump's inlet is what its data sheet needs and 0.5 m more."
        ),
        source=f"the need is the data sheet's; 0.5 m to spare: {PRACTICE}",
        mend="set it lower, or take loss out of its suction",
        judge=pump_cavitates,
    ),
    Rule(
        "pump-loses-prime",
        "plant",
        "wear",  # it runs dry, and its seal burns
        sentence="A pump above the water primes itself, and a check valve keeps its pipes full.",
        source=PRACTICE,
        mend="a self-priming pump with a check valve, or set it below the water",
        judge=pump_loses_prime,
    ),
    Rule(
        "pump-against-shut-valve",
        "plant",
        "danger",  # it heats what it holds, to steam if nobody comes
        sentence=(
            "However valves may be left, a pump of the schedule gets 5 % or more of its flow with all open."
        ),
        source=f"5 %: {CHOICE}; no pump against a shut valve: {PRACTICE}",
        mend="a stop on the valve, or a bypass around it",
        judge=pump_against_shut_valve,
        applies=lambda plant, _: bool(plant.turnable),
    ),
    Rule(
        "room-floods",
        "plant",
        "danger",  # electrics under water
        sentence="A pump room below ground has a drain, or a sump pump that has power, and every pump room "
        "keeps the weather out.",
        source=f"{PRACTICE}; a day without power: {CHOICE}; local electrical code decides",
        mend="a drain, and a roof",
        judge=room_floods,
    ),
    Rule(
        "no-room-to-work",
        "plant",
        "comfort",
        sentence="Before filter and valves there is room enough to open them.",
        source=PRACTICE,
        mend="clear the space before them",
        judge=no_room_to_work,
    ),
)
