"""Rules of a whole run about heat: heating that does not warm the water, and water that freezes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from cyclesim.analysis import programme_mends as mends
from cyclesim.analysis.ages import ABSOLUTE_ZERO_C, Temperatures
from cyclesim.analysis.amounts import lasting, listed
from cyclesim.analysis.combinations import as_written, more_flow
from cyclesim.analysis.findings import CHOICE, Breach, Judged, Rule
from cyclesim.analysis.history import HALTS, History, halted, moves_at, shut_off, turned_away
from cyclesim.analysis.spans import NONE, Bools, Floats, Spans, join, meet, spans, total_s, while_in, without
from cyclesim.analysis.tub import water_c_at
from cyclesim.control.step import BlockInterlock
from cyclesim.scenario.blocks.heat_sources import Solar
from cyclesim.simulation.assembly import Positions, Speeds
from cyclesim.simulation.programme import HEATING
from cyclesim.simulation.trace import Span, Trace

VAIN_S, ENDLESS_S = 3600.0, 48 * 3600.0
"""For how long no source may fire though it is called, and how long heating may take; project choices."""

_FREEZES_C = 0.0


def heating_in_vain(history: History) -> Judged:
    """Heating is raised, and no source fires for too long; or one fires, and the water does not get warm."""
    heating, trace = history.plant.scenario.schedule.heating, history.trace
    if heating is None:
        return
    raised = while_in(trace.demands[HEATING], "raised")
    firing = join(*(while_in(trace.sources[name], "firing") for name in heating.sources))
    off = without(raised, firing)
    spells = [(span, "without heat") for span in off[off[:, 1] - off[:, 0] > VAIN_S]]
    for span in raised[raised[:, 1] - raised[:, 0] > ENDLESS_S]:
        if 2.0 * total_s(meet(firing, spans([span]))) >= span[1] - span[0]:
            spells.append((span, "of heating"))
        elif not any(span[0] <= a and b <= span[1] for (a, b), _ in spells):
            spells.append((span, "with little heat"))
    for span, lack in spells:
        start, end = span.tolist()
        if lack == "of heating":
            cause = "the heater is too small for this loss"
            mend = "a stronger heat source, or less loss: a better cover, insulation of shell and legs"
        else:
            cause, mend = _why_no_heat(history, spans([span]))
        text = f"{lasting(end - start)} {lack}{_as_cold_as(history, start, end)}"
        yield Breach("heating", cause, (end - start) / 3600.0, "h", text, mend, start, end - start)


def _as_cold_as(history: History, start_s: float, end_s: float) -> str:
    """The coldest water of a while beside the set point of then; nothing where the trace has no tub."""
    trace = history.trace
    if not len(trace.tub):
        return ""
    inside = trace.tub.start_s[(trace.tub.start_s > start_s) & (trace.tub.start_s < end_s)]
    at_s = np.concatenate(([start_s], inside, [end_s]))
    water_c = water_c_at(trace, at_s)
    k = int(np.argmin(water_c))
    wanted_c = history.set_points.wanted_c(float(at_s[k]), float(water_c[k]))
    return f", the water down to {water_c[k]:.1f} of {wanted_c:g} degC"


def _why_no_heat(history: History, spell: Spans) -> tuple[str, str]:
    """The reason for which sources were off for most of a spell, and what would mend it."""
    heating, trace = history.plant.scenario.schedule.heating, history.trace
    assert heating is not None
    waited = {
        (name, why): total_s(meet(while_in(trace.reasons[name], why), spell))
        for name in heating.sources
        for why in trace.reasons[name].labels
        if why
    }
    for reason in ("circuit", "low"):
        still = halted(history, reason, {heating.pump.pump, *heating.sources})
        if 2.0 * total_s(meet(still, spell)) >= total_s(spell):
            return HALTS[reason]
    source, why = max(waited, key=lambda key: waited[key], default=(heating.sources[0], ""))
    if not waited or not waited[source, why]:
        return "its sources stay off for no reason told", "see with --trace what keeps them off"
    for block in history.programme.controller.blocks:
        if block.target == source and why == (block.because or str(block.condition)):
            return why, _blocked_mend(history, source, block)
    pump, speed = heating.pump
    own = list(history.plant.speeds[pump])
    pumped = meet(while_in(trace.pumps[pump], *own[own.index(speed) :]), spell)
    sheet = history.plant.sheet.heat_sources[source]
    if why == "no flow sensed" and sheet.proof.by == "none":
        return why, f"give {source} a flow switch: nothing senses its flow"
    if why == "no flow sensed" and 2.0 * total_s(pumped) < total_s(spell):
        return (
            why,
            f"let {as_written(pump, speed)} run: see which demand, block or valve keeps its water from "
            f"{source}",
        )
    mends = {
        "no flow sensed": more_flow(history.plant, history.programme, source),
        "power lost": "nothing in the schedule mends it: a better cover and insulation bridge it for longer",
        "it waits for a person": HALTS["waits"][1],
        "the water is too low": HALTS["low"][1],
        "tripped": "find what tripped it and mend that; then a person resets it",
        "proving flow": f"prove the flow of {source} for a shorter time, or see what keeps interrupting it",
        "rest": f"a shorter rest of {source}",
        "run-on": f"a shorter keep after {source}, or see what keeps interrupting it",
    }
    return why, mends.get(why, "see what keeps it off")


def _blocked_mend(history: History, source: str, block: BlockInterlock) -> str:
    heating = history.plant.scenario.schedule.heating
    assert heating is not None
    pump, speed = heating.pump
    condition = block.condition
    if condition.subject == pump and condition.holds(speed):
        return f"heat at a speed that does not block {source}: it is off {condition}, as heating itself asks"
    return f"shorten what blocks {source} ({condition}), or move it to when the water is warm"


_AFTER_CUT_S = 3600
"""Frost that begins so soon after what halts all pumps, a power cut or low water, is counted as its doing."""
_GLYCOL = "put glycol behind plates into it (own_water, turned by a pump under steered)"
"""What keeps collectors, which nobody can insulate: they take the sun by what would be covered."""


def freezing(history: History) -> dict[str, Spans]:
    """When the water of the tub and of each body is at 0 degC or below."""
    found = {"tub": _tub_below(history)[0]}
    for body in history.plant.bodies:
        temps, found[body.name] = history.coldest[body.name], NONE
        if temps is not None:
            _, moving = _as_it_moves(history.trace, body.name, temps)
            found[body.name] = join(temps.within(ABSOLUTE_ZERO_C, _FREEZES_C), moving)
    return found


def frost_in_plant(history: History) -> Judged:
    """The water of a leg, a dead end, a housing or the tub reaches 0 degC. A frozen tub speaks for all."""
    trace = history.trace
    spells_of = freezing(history)
    tub, pieces = _tub_below(history)
    heated = history.plant.scenario.schedule.heating is not None
    cause = "heating does not keep it warm" if heated else "nothing heats it"
    yield from _frozen("tub", tub, pieces, cause, "keep it warm, or drain it for the winter")
    for body in history.plant.bodies:
        temps = history.coldest[body.name]
        if temps is not None:
            parts, _ = _as_it_moves(trace, body.name, temps)
            spells = without(spells_of[body.name], tub)
            dark = _begin_by(spells, trace.power.spans("lost"))
            waits = _begin_by(spells, trace.power.spans("waits")) & ~dark
            low = _begin_by(spells, trace.level.spans("low")) & ~(dark | waits)
            rest = ~(dark | waits | low)
            for turned, when in shut_off(history, body.name, _each_speed(history)).items():
                shut = _begin_by(spells, when.tolist()) & rest
                rest &= ~shut
                why = f"{body.zone} freezes it, and with {turned} no pump moves its water"
                mend = f"turn it back, fit a stop to it, or drain it while {turned}"
                yield from _frozen(body.name, spells[shut], parts, why, mend)
            yield from _frozen(
                body.name, spells[dark], parts, "there is no power", _no_power(history, body.name)
            )
            yield from _frozen(body.name, spells[waits], parts, *HALTS["waits"])
            yield from _frozen(body.name, spells[low], parts, *HALTS["low"])
            if rest.any():
                yield from _frozen(body.name, spells[rest], parts, *_why_frost(history, body.name, body.zone))


def _begin_by(spells: Spans, causes: Sequence[Span]) -> Bools:
    """Which spells begin in one of these spans, or so soon after it that they are its doing."""
    return np.array(
        [any(a <= s < b + _AFTER_CUT_S for a, b in causes) for s, _ in spells.tolist()], dtype=bool
    )


def _tub_below(history: History) -> tuple[Spans, tuple[Floats, ...]]:
    """When the tub is at 0 degC or below, and its pieces."""
    rows, trace = history.trace.tub, history.trace
    if not len(rows):
        return NONE, (np.empty(0),) * 4
    at_s, water_c = np.append(rows.start_s, trace.span_s), np.append(rows.water_c, trace.end_water_c)
    pieces = at_s[:-1], at_s[1:], water_c[:-1], water_c[1:]
    return _below(*pieces), pieces


def _as_it_moves(trace: Trace, body: str, still: Temperatures) -> tuple[tuple[Floats, ...], Spans]:
    """The pieces of a body that stands and those in which it trickles below 0 degC; when it does.

    What is still as cold when such a stay ends trickles; what had stood cold and is flushed out does not.
    """
    rows = trace.stays[body]
    below = rows.coldest_c <= _FREEZES_C
    cold = (rows.joined == 1.0) & below & np.append(below[1:], True)
    moving = rows.start_s[cold], rows.end_s[cold], rows.coldest_c[cold], rows.coldest_c[cold]
    pieces = tuple(np.concatenate(both) for both in zip(still[:4], moving, strict=True))
    return pieces, spans(np.column_stack(moving[:2]))


def _below(start_s: Floats, end_s: Floats, start_c: Floats, end_c: Floats) -> Spans:
    """When water is at 0 degC or below, linear along each piece; the tub's are short."""
    with np.errstate(divide="ignore", invalid="ignore"):
        crosses = start_s + (end_s - start_s) * start_c / (start_c - end_c)
    begins, ends = (
        np.where(start_c <= _FREEZES_C, start_s, crosses),
        np.where(end_c <= _FREEZES_C, end_s, crosses),
    )
    freezing = (start_c <= _FREEZES_C) | (end_c <= _FREEZES_C)
    return spans(np.column_stack((begins[freezing], ends[freezing])))


def _frozen(name: str, spells: Spans, pieces: tuple[Floats, ...], cause: str, mend: str) -> Judged:
    start_s, end_s, start_c, end_c = pieces
    for start, end in spells.tolist():
        inside = (start_s < end) & (end_s > start)
        coldest = float(np.min(np.append(start_c[inside], end_c[inside])))
        text = f"{coldest:.1f} degC, if it were liquid still"
        yield Breach(name, cause, coldest, "degC", text, mend, start, end - start, less_is_worse=True)


def _in_the_sun(history: History, name: str) -> bool:
    """Whether a body is collectors that the tub's own water runs through."""
    sheet = history.plant.sheet.heat_sources.get(name)
    return isinstance(sheet, Solar) and sheet.own_water is None


def _no_power(history: History, name: str) -> str:
    kept = _GLYCOL if _in_the_sun(history, name) else "insulate it"
    return f"{kept}, drain it when the power fails in frost, or give the pump a supply of its own"


def _each_speed(history: History) -> list[Speeds]:
    """Each pump alone at each of its speeds."""
    plant = history.plant
    return [plant.at(pump, speed) for pump, speeds in plant.speeds.items() for speed in speeds]


def _why_frost(history: History, name: str, zone: str) -> tuple[str, str]:
    """Why nothing keeps a body from freezing, and what would."""
    plant, frost = history.plant, history.plant.scenario.schedule.frost_protection
    kept, drained = "insulate it, ", "drain it for the winter"
    if _in_the_sun(history, name):
        kept, drained = "", f"{drained}, or {_GLYCOL}"

    def moves(pump: str, speed: str, at: Positions | None = None) -> bool:
        return moves_at(plant, plant.at(pump, speed), name, at)

    any_speed = [(pump, speed) for pump, speeds in plant.speeds.items() for speed in speeds]
    movers = [pumped for pumped in any_speed if moves(*pumped)]
    if not movers:
        valves = [steered.valve for steered in plant.steered.values() if steered.valve]
        shut = [v.valve for v in valves if any(moves(*pumped, plant.turned(*v)) for pumped in any_speed)]
        if shut:
            why, mend = f"without sun {listed(shut)} keeps water out of it", f"{drained}, or take it out"
        elif away := turned_away(plant, name, _each_speed(history)):
            usual, other = away
            why = f"{usual}, as usual, keeps its water still"
            mend = f"drain it while {usual}, or have {other}"
        else:
            why, mend = "no pump moves its water", f"{drained}, or take it out"
        return f"{zone} freezes it, and {why}", mend
    speed = as_written(*movers[0])
    line = f"{{watches: {zone}, starts_below: 4 degC, stops_above: 6 degC, pump: {speed}}}"
    if frost is None:
        return "there is no frost protection", f"frost_protection: {line}; or {drained}"
    if not moves(*frost.pump):
        mend = f"protect it with {speed}, which does, {kept}or {drained}"
        return f"frost protection at {as_written(*frost.pump)} does not move its water", mend
    if frost.watches not in (zone, name):
        mend = f"let frost protection watch {zone}, or {drained}"
        return f"frost protection watches {frost.watches}, and it lies in {zone}", mend
    mend = f"start it above {frost.starts_below_c:g} degC, {kept}keep the tub warmer, or {drained}"
    return "frost protection does not keep it from freezing", mend


RULES: tuple[Rule, ...] = (
    Rule(
        "heating-in-vain",
        "history",
        "comfort",
        sentence="Where heating is raised, a source fires within 1 h, and the water is warm within 48 h.",
        source=CHOICE,
        mend="see what keeps the sources off",
        judge=heating_in_vain,
        applies=lambda plant, _: plant.scenario.schedule.heating is not None,
    ),
    Rule(
        "frost-in-plant",
        "history",
        "danger",  # ice bursts pipes and housings
        sentence="No water of a leg, a housing or the tub reaches 0 degC.",
        source=(
            "water freezes at 0 degC; what ice does is not modelled: numbers after that are for liquid water"
        ),
        mend="frost protection, insulation, or drain it",
        judge=frost_in_plant,
        changes=mends.protected_from_frost,
    ),
)
