"""What might mend a programme that breaks a rule: other starts, longer runs, a flush more, a pump kept on.

Each is a change that can be tried; what only the trace can tell is left to the trial.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator
from datetime import time
from functools import reduce
from typing import NamedTuple

from cyclesim.analysis.amounts import at_least, exactly, listed
from cyclesim.analysis.combinations import as_written, combinations, feeding_speed, running, while_at
from cyclesim.analysis.findings import Change, Subject
from cyclesim.analysis.history import FLUSH_VOLUMES, movers
from cyclesim.analysis.mends import MadeMend, blocked_while, chained, change, with_text, with_value
from cyclesim.analysis.pumped import filtered_m3, reached_s
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.schedule import DEMANDS, FrostProtection, Keep, QuietHours, Run
from cyclesim.scenario.forms.fields import PumpSpeed
from cyclesim.scenario.reading.edit import Edit
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme

_STEP_S, _DAY_S = 300, 86_400
_TWICE = (time(7, 0), time(19, 0))
"""When a flush is tried where there was none."""
_FROST_STARTS_C, _FROST_BAND_K, _FROST_SOONER_K = 4.0, 2.0, 3.0
"""Where frost protection starts and stops, and how much sooner where that is too late: project choices."""
_WARMER_AWAY_K = 5.0
"""How much warmer the water is tried while nobody comes: a project choice."""
LEAST_BAND_K = 0.1
"""The narrowest band that a file may ask for."""
_JOINS_BELOW_K = (0.5, 0.2)
"""How far lower the next source is tried to join: the least that is usual, and less; project choices."""


class RunOfFile(NamedTuple):
    """A filter run or a line flush of the file, with where it stands."""

    name: str
    key: str
    place: int
    run: Run

    def at(self, field: str) -> tuple[str | int, ...]:
        """Where a field of it stands."""
        return "schedule", self.key, self.place, field


def entries(programme: Programme) -> Iterator[RunOfFile]:
    """Line flushes, then filter runs."""
    schedule = programme.scenario.schedule
    for key in ("line_flushes", "filter_runs"):
        for place, run in enumerate(getattr(schedule, key)):
            name = next(t.entry for t in programme.entries if t.run is run)
            yield RunOfFile(name, key, place, run)


def moved_more_often(plant: Assembly, programme: Programme, about: Subject) -> Iterator[Change]:
    """Water that gets too old: what moves it more often, on more days, for longer; or a flush for it."""
    yield from turned_no_more(plant, programme, about)
    moving = {programme.entry_of.get(demand.name) for demand in movers(plant, programme, about.name)}
    plug = plant.plugs[plant.reported[about.name]].name
    mine = [entry for entry in entries(programme) if entry.name in moving and entry.run.start]
    for entry in mine[:2]:
        for field in ("days", "repeats"):
            if getattr(entry.run, field) is not None:
                yield change(f"let {entry.name} run on every day", with_text(None, None, *entry.at(field)))
    for entry in mine[:2]:
        if entry.key == "line_flushes":
            once_s = reached_s(plant, entry.run.pumping, plug)
            lasts_s = _flush_s(programme.scenario, FLUSH_VOLUMES * once_s)
            if lasts_s is not None and entry.run.lasts_s < lasts_s:
                yield _lasting(entry, lasts_s)
    for entry in mine[:2]:
        middles = _middles(entry.run.start or (), plant.scenario.controller.time_step_s or _STEP_S)
        for added in dict.fromkeys((middles[:1], middles)):
            yield _also_at(entry, added)
    if not any(entry.key == "line_flushes" for entry in mine):
        yield from flushed(plant, programme, about)


def flushed(plant: Assembly, programme: Programme, about: Subject) -> Iterator[Change]:
    """A line flush for what nothing moves, at the pump and speed that reach its end first."""
    plug = plant.plugs[plant.reported[about.name]].name
    ways = [
        (duty.reached_s.get(plug, math.inf), *next(iter(running(plant, duty).items())))
        for duty in combinations(plant, plant.speeds)
        if len(running(plant, duty)) == 1
    ]
    once_s, pump, speed = min(ways, default=(math.inf, "", ""))
    if math.isinf(once_s):
        return
    lasts_s = _flush_s(programme.scenario, FLUSH_VOLUMES * once_s)
    if lasts_s is None:
        return
    run = Run.model_construct(
        pump=PumpSpeed(pump, speed), start=_TWICE, lasts_s=lasts_s, days=None, repeats=None, name=None,
        after=None,
    )  # fmt: skip
    text = f"{{pump: {run.pump}, start: {_clocks(_TWICE)}, lasts: {exactly(lasts_s)}}}"

    def of(scenario: Scenario) -> Scenario:
        flushes = (*scenario.schedule.line_flushes, run)
        return scenario.model_copy(
            update={"schedule": scenario.schedule.model_copy(update={"line_flushes": flushes})}
        )

    yield Change(f"a line flush: {text}", of, (Edit(("schedule", "line_flushes"), text, adds=True),))


def filtered_longer(plant: Assembly, programme: Programme, about: Subject) -> Iterator[Change]:
    """Too few turnovers: each filter run on every day, and so long that it does by itself."""
    del about
    daily_m3 = plant.scenario.limits.turnovers_per_day * plant.volume_m3
    for entry in entries(programme):
        rate_m3_s = filtered_m3(plant, entry.run.pumping, entry.run.lasts_s) / entry.run.lasts_s
        if entry.key != "filter_runs" or not entry.run.start or rate_m3_s <= STILL_M3_S:
            continue
        each_s = math.ceil(daily_m3 / rate_m3_s / len(entry.run.start) / _STEP_S) * float(_STEP_S)
        every_day = [f for f in ("days", "repeats") if getattr(entry.run, f) is not None]
        made = [with_text(None, None, *entry.at(field)) for field in every_day]
        said = [f"let {entry.name} run on every day"] if every_day else []
        if entry.run.lasts_s < each_s < _DAY_S:
            made.append(with_text(each_s, exactly(each_s), *entry.at("lasts_s")))
            said.append(f"{entry.name} for {exactly(each_s)} each time")
        if made:
            both = made[0] if len(made) == 1 else chained(*made[:2])
            yield change(", ".join(said), both)


def kept_on(plant: Assembly, programme: Programme, about: Subject) -> Iterator[Change]:
    """No run-on: a pump that moves water through the source is kept for long enough after it."""
    scenario, name = plant.scenario, about.name
    lasting_s = float(max(math.ceil(scenario.limits.run_on_s), programme.run_on_s(name)))
    kept = next(
        ((k, i) for k, i in enumerate(scenario.interlocks) if isinstance(i, Keep) and i.after == name), None
    )
    heating, asked = scenario.schedule.heating, list[PumpSpeed]()
    asked += [kept[1].keep] if kept else []
    asked += [heating.pump] if heating else []
    asked += [PumpSpeed(pump, speed) for pump, speeds in plant.speeds.items() for speed in speeds]
    at = next((at for at in asked if plant.has_flow(name, plant.duty(plant.at(*at)))), None)
    if at is None or (kept and kept[1].keep == at and kept[1].lasting_s >= lasting_s):
        return
    text = f"{{keep: {at}, after: {name}, lasting: {exactly(lasting_s)}}}"
    keep = Keep.model_construct(keep=at, after=name, lasting_s=lasting_s)
    if kept:
        yield change(text, with_text(keep, text, "interlocks", kept[0]))
        return

    def of(scenario: Scenario) -> Scenario:
        return scenario.model_copy(update={"interlocks": (*scenario.interlocks, keep)})

    yield Change(f"wire {text}", of, (Edit(("interlocks",), text, adds=True),))


def rested(plant: Assembly, programme: Programme, about: Subject) -> Iterator[Change]:
    """A pump that starts again too soon waits until it has rested."""
    del programme
    rest_s = float(math.ceil(plant.scenario.limits.pump_rest_s))
    if about.name in plant.pumps and plant.pumps[about.name].rest_s < rest_s:
        rest = with_value(rest_s, "plant", "pumps", about.name, "rest_s")
        yield change(f"let {about.name} rest: {exactly(rest_s)}", rest)


def out_of_quiet_hours(plant: Assembly, programme: Programme, about: Subject) -> Iterator[Change]:
    """What a clock starts in the quiet hours starts when they are over."""
    quiet = plant.scenario.schedule.quiet_hours
    for entry in entries(programme) if quiet else ():
        assert quiet is not None
        named = {name for pump in entry.run.pumping.pumps for name in (str(pump), pump.pump)}
        if about.name not in named or not entry.run.start:
            continue
        moved = _quieter(quiet, entry.run.start, entry.run.whole_s)
        if moved != entry.run.start:
            yield _starting(entry, moved, f"{entry.name} at {listed([_clock(at) for at in moved])}")
    if quiet is not None and about.name in plant.sheet.air:
        for place, flush in enumerate(plant.scenario.schedule.air_line_flushes):
            moved = _quieter(quiet, flush.start, round(flush.lasts_s))
            if moved != flush.start:
                made = with_text(moved, _clocks(moved), "schedule", "air_line_flushes", place, "start")
                yield change(f"the air line flush at {listed([_clock(at) for at in moved])}", made)


def ranked_before(scenario: Scenario, low: str, high: str) -> tuple[str, ...]:
    """All ranks, with one kind of demand just before another; () where it stands there, or must not.

    Nothing goes before bathing, and before frost protection a line flush alone, which moves water as well.
    """
    ranks = list(scenario.schedule.ranks or DEMANDS)
    mine, other = low.replace(" ", "_"), high.replace(" ", "_")
    must_not = other == "bathing" or (other == "frost_protection" and mine != "line_flush")
    if must_not or not {mine, other} <= {*ranks} or ranks.index(mine) <= ranks.index(other):
        return ()
    ranks.remove(mine)
    ranks.insert(ranks.index(other), mine)
    return tuple(ranks)


def ranked_higher(plant: Assembly, programme: Programme, about: Subject) -> Iterator[Change]:
    """What is not served, ranked before each kind above it that asks for its pump, the nearest first."""
    demands = programme.controller.demands
    mine = next(demand for demand in demands if demand.name == about.name)
    rivals = {demand.kind.replace(" ", "_") for demand in demands if demand.pump == mine.pump}
    for high in reversed([kind for kind in plant.scenario.schedule.ranks or DEMANDS if kind in rivals]):
        before = ranked_before(plant.scenario, mine.kind, high)
        if before:
            made = with_value(before, "schedule", "ranks")
            yield change(f"schedule.ranks: [{', '.join(before)}]", made)


def served_besides(plant: Assembly, programme: Programme, about: Subject) -> Iterator[Change]:
    """What is not served: frost protection as fast as it asks for, of the same pump; or another rank."""
    mine = next(demand for demand in programme.controller.demands if demand.name == about.name)
    pump = frost_as_fast(plant, mine.pump, mine.speed)
    if pump is not None:
        made = with_text(pump, as_written(*pump), "schedule", "frost_protection", "pump")
        yield change(f"frost protection at {as_written(*pump)}, which serves both", made)
    yield from ranked_higher(plant, programme, about)


def frost_as_fast(plant: Assembly, pump: str, speed: str) -> PumpSpeed | None:
    """The pump of frost protection at a faster speed, where that is asked for; None where it has it."""
    frost = plant.scenario.schedule.frost_protection
    if frost is None or frost.pump.pump != pump:
        return None
    speeds = list(plant.speeds[pump])
    return PumpSpeed(pump, speed) if speeds.index(speed) > speeds.index(frost.pump.speed) else None


def warm_sooner(plant: Assembly, programme: Programme, about: Subject) -> Iterator[Change]:
    """Water that is not warm in time: a band as narrow as is allowed, or the next source joins sooner."""
    del programme, about
    heating, most_k = plant.scenario.schedule.heating, plant.scenario.limits.cold_session_k
    if heating is not None and LEAST_BAND_K <= most_k < heating.within_k:
        made = with_text(most_k, f"{most_k:g} K", "schedule", "heating", "within_k")
        yield change(f"a narrower band: within: {most_k:g} K", made)
    for below_k in _JOINS_BELOW_K if heating and len(heating.sources) > 1 else ():
        if heating is not None and below_k < heating.next_below_k:
            made = with_text(below_k, f"{below_k:g} K", "schedule", "heating", "next_below_k")
            yield change(f"let {heating.sources[1]} join sooner: next_below: {below_k:g} K", made)


def _quieter(quiet: QuietHours, starts: tuple[time, ...], lasts_s: int) -> tuple[time, ...]:
    """These starts of something that lasts so long, those in the quiet hours when they are over."""
    begins, ends, moved = _s(quiet.from_time), _s(quiet.to_time), list[time]()
    for start in starts:
        into_s = (_s(start) - begins) % _DAY_S
        loud = into_s < (ends - begins) % _DAY_S or into_s + lasts_s > _DAY_S
        moved.append(quiet.to_time if loud else start)
    return tuple(dict.fromkeys(moved))


def longer_flush(plant: Assembly, programme: Programme, about: Subject, need_s: float) -> Iterator[Change]:
    """A flush that reaches the end twice, of a length that the controller takes."""
    del plant
    entry = next(entry for entry in entries(programme) if entry.name == about.name)
    lasts_s = _flush_s(programme.scenario, need_s)
    if lasts_s is not None:
        yield _lasting(entry, lasts_s)


def turned_no_more(plant: Assembly, programme: Programme, about: Subject) -> Iterator[Change]:
    """A stop on a valve that somebody may turn, so that nobody does."""
    del programme, about
    turned = plant.scenario.schedule.valves_turned
    for valve, turnable in plant.turnable.items():
        if len(turnable.positions) < 2:
            continue
        where = "valves" if valve in plant.sheet.valves else "diverters"
        made = with_value((), "plant", where, valve, "may_be")
        others = tuple(one for one in turned if one.valve != valve)
        if len(others) < len(turned):
            away = [Edit(("schedule", "valves_turned", k), None)
                    for k, one in reversed(list(enumerate(turned))) if one.valve == valve]  # fmt: skip
            whole = with_value((), "schedule", "valves_turned")
            left = with_text(others, None, "schedule", "valves_turned").of
            made = chained(made, MadeMend(left, tuple(away)) if others else whole)
        yield change(f"a stop on {valve}, so that it stays {turnable.usual}", made)


def blocked_where_underfed(plant: Assembly, programme: Programme, about: Subject) -> Iterator[Change]:
    """Heat at a speed that feeds the source; or it is off while what takes its water runs."""
    heating = plant.scenario.schedule.heating
    if heating is None:
        return
    needs_m3_s = plant.sheet.heat_sources[about.name].needs_flow_m3_s
    if not plant.has_flow(about.name, plant.duty(plant.at(*heating.pump))):
        faster = feeding_speed(plant, programme, about.name)
        if faster is not None:
            pump = PumpSpeed(heating.pump.pump, faster)
            made = with_text(pump, as_written(*pump), "schedule", "heating", "pump")
            yield change(f"heat at {as_written(*pump)}, which gives it enough", made)
    for name, speeds in plant.speeds.items():
        for speed in speeds:
            alone = plant.duty(plant.at(name, speed))
            fed = plant.forward_m3_s(about.name, alone) >= needs_m3_s
            if tuple(heating.pump) != (name, speed) and not fed:
                yield blocked_while(about.name, while_at(name, speed))


def check_valves(plant: Assembly, programme: Programme, about: Subject) -> Iterator[Change]:
    """A check valve in each pump that has none."""
    del programme, about
    for pump, sheet in plant.pumps.items():
        if not sheet.check_valve:
            valve = with_value(True, "plant", "pumps", pump, "check_valve")
            yield change(f"a check valve in {pump}", valve)


def protected_from_frost(plant: Assembly, programme: Programme, about: Subject) -> Iterator[Change]:
    """What freezes: a valve that nobody turns, warmer water while nobody comes, flushes more, or a pump in
    the cold, by the air about it, or by its own water, or sooner.

    A scenario has one frost protection: another pump for it leaves unprotected what the present one moves,
    so that what keeps that is tried first.

    What no pump moves without sun, and the tub, is not kept from freezing so.
    """
    zone = next((body.zone for body in plant.bodies if body.name == about.name), "")
    pumped = [(pump, speed) for pump, speeds in plant.speeds.items() for speed in speeds]
    moves = [p for p in pumped if abs(plant.duty(plant.at(*p)).flow_m3_s(about.name)) > STILL_M3_S]
    if not zone or not moves:
        return
    if plant.scenario.schedule.valves_turned:
        yield from turned_no_more(plant, programme, about)
    yield from _warmer_while_away(plant.scenario)
    yield from _flushed_in_rest(plant, programme, moves)
    frost = plant.scenario.schedule.frost_protection
    pump = frost.pump if frost and tuple(frost.pump) in moves else PumpSpeed(*moves[0])
    starts_c = max(_FROST_STARTS_C, frost.starts_below_c if frost else 0.0)
    stops_c = max(starts_c + _FROST_BAND_K, frost.stops_above_c if frost else 0.0)
    if frost is not None and frost.pump == pump and frost.watches in (zone, about.name):
        later_k = _FROST_SOONER_K if frost.starts_below_c >= _FROST_STARTS_C else 0.0
        starts_c, stops_c = starts_c + later_k, stops_c + later_k
    for watches in (about.name, zone) if about.name in plant.steered else (zone,):
        line = {"watches": watches, "starts_below": f"{starts_c:g} degC", "stops_above": f"{stops_c:g} degC"}
        line["pump"] = as_written(*pump)
        text = f"{{{', '.join(f'{key}: {value}' for key, value in line.items())}}}"
        made = with_text(FrostProtection.model_validate(line), text, "schedule", "frost_protection")
        yield change(f"frost_protection: {text}", made)


def _flushed_in_rest(
    plant: Assembly, programme: Programme, moves: Collection[tuple[str, str]]
) -> Iterator[Change]:
    """Each line flush of some pumps in the middle of its longest rest, then of two; out of quiet hours."""
    step_s, quiet = plant.scenario.controller.time_step_s or _STEP_S, plant.scenario.schedule.quiet_hours
    for entry in entries(programme):
        pumps = entry.run.pumping.pumps
        if entry.key != "line_flushes" or not entry.run.start or set(moves).isdisjoint(map(tuple, pumps)):
            continue
        hushed = quiet and {p.pump for p in pumps} & {p.pump for p in quiet.applies_to}
        added = list[time]()
        for at in _middles(entry.run.start, step_s)[:2]:
            if quiet and hushed and _quieter(quiet, (at,), entry.run.whole_s) != (at,):
                before = _at((_s(quiet.from_time) - entry.run.whole_s) // step_s * step_s)
                after = quiet.to_time
                at = before if _apart_s(before, at) < _apart_s(after, at) else after
            added.append(at)
            yield _also_at(entry, tuple(added))


def _warmer_while_away(scenario: Scenario) -> Iterator[Change]:
    """The coldest set point of days away some kelvin higher, though no higher than when people come."""
    heating = scenario.schedule.heating
    aways = heating.absences if heating else ()
    coldest_c = min((away.keep_at_c for away in aways), default=math.inf)
    if heating is None or coldest_c >= heating.keep_at_c:
        return
    warmer_c = min(coldest_c + _WARMER_AWAY_K, heating.keep_at_c)
    made = (
        with_text(warmer_c, f"{warmer_c:g} degC", "schedule", "heating", "absences", place, "keep_at_c")
        for place, away in enumerate(aways)
        if away.keep_at_c < warmer_c
    )
    yield change(f"keep {warmer_c:g} degC while nobody comes (absences: keep_at)", reduce(chained, made))


# -- entries of the schedule ---------------------------------------------------------------------------------


def _flush_s(scenario: Scenario, need_s: float) -> float | None:
    """The shortest length that is enough, of those that the controller takes; None where none is."""
    if math.isinf(need_s):
        return None
    offered = scenario.controller.flush_lengths_s
    if offered is None:
        return float(math.ceil(need_s))
    return min((float(s) for s in offered if s >= need_s), default=None)


def _lasting(entry: RunOfFile, need_s: float) -> Change:
    lasts_s = float(math.ceil(need_s))
    made = with_text(lasts_s, exactly(lasts_s), *entry.at("lasts_s"))
    return change(f"let {entry.name} last {at_least(lasts_s)}", made)


def _also_at(entry: RunOfFile, added: tuple[time, ...]) -> Change:
    said = f"{entry.name} at {listed([_clock(at) for at in sorted(added)])}, too"
    return _starting(entry, (*(entry.run.start or ()), *added), said)


def _starting(entry: RunOfFile, starts: tuple[time, ...], said: str) -> Change:
    starts = tuple(sorted(starts))
    return change(said, with_text(starts, _clocks(starts), *entry.at("start")))


def _middles(starts: tuple[time, ...], step_s: float) -> tuple[time, ...]:
    """The middle of each while between two starts, on a step of the controller; the longest first."""
    seconds = sorted(map(_s, starts))
    following = [*seconds[1:], seconds[0] + _DAY_S]
    gaps = sorted(zip(seconds, following, strict=True), key=lambda gap: gap[0] - gap[1])
    at_s = [int((begins + ends) / 2 // step_s * step_s) % _DAY_S for begins, ends in gaps]
    return tuple(map(_at, at_s))


def _apart_s(one: time, other: time) -> int:
    """The shorter way round the clock between two times."""
    apart_s = abs(_s(one) - _s(other))
    return min(apart_s, _DAY_S - apart_s)


def _at(second: float) -> time:
    s = int(second) % _DAY_S
    return time(s // 3600, s // 60 % 60, s % 60)


def _s(clock: time) -> int:
    return 3600 * clock.hour + 60 * clock.minute + clock.second


def _clock(clock: time) -> str:
    return f"{clock:%H:%M:%S}" if clock.second else f"{clock:%H:%M}"


def _clocks(clocks: tuple[time, ...]) -> str:
    return f"[{', '.join(f'{_clock(clock)!r}' for clock in clocks)}]".replace("'", '"')
