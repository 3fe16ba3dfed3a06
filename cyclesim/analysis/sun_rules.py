"""Rules of steered collectors: they do not cool the water, and they do not warm it without an end."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import reduce

from cyclesim.analysis import mends
from cyclesim.analysis.amounts import apart, flow, lasting, listed
from cyclesim.analysis.findings import CHOICE, PRACTICE, Breach, Change, Rule, Subject
from cyclesim.analysis.history import HALTS, moves_at
from cyclesim.analysis.kept_out import LASTS_S, Why
from cyclesim.analysis.truth import Snapshot
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.scenario.blocks.collectors import BACK_K, LEAST_OFF_K
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from cyclesim.units import format_quantity

_SAYS: dict[Why, tuple[str, str]] = {
    "cold": ("water runs through them while they cool it", "see what runs their pump or holds their valve"),
    "stop": (
        "water runs through them in the sun though it is at its high stop",
        "see what runs their pump or holds their valve: a contact or a motor that sticks",
    ),
    "half": (
        "the sun is let in, and on one side of their plates water moves while it stands on the other",
        "let the circulator and the pump run together: block neither of them alone",
    ),
}


def _kept_out(why: Why) -> Callable[[Snapshot, Assembly], Iterator[Breach]]:
    """Water has run for a while through collectors that it should be kept out of; a flush may rinse them.

    Where no contact is closed it is coming to rest. Behind plates it may be let in by half.
    """

    def judge(snapshot: Snapshot, plant: Assembly) -> Iterator[Breach]:
        pumps = {*plant.pumps, *(plant.sheet.circulators if why == "half" else ())}
        runs = any(closed for pump, closed in snapshot.contacts if pump in pumps)
        for name, because in snapshot.kept_out if runs and not snapshot.flushing else ():
            if because == why:
                cause, mend = HALTS["low"] if why == "half" and snapshot.low else _SAYS[why]
                yield Breach(name, cause, None, "s", "", mend)

    return judge


def _subjects(why: Why) -> Callable[[Assembly, Programme], Iterator[Subject]]:
    """Every set of collectors that is steered."""

    def subjects(plant: Assembly, programme: Programme) -> Iterator[Subject]:
        del programme
        for name in plant.behind_plates if why == "half" else plant.steered:
            yield Subject(name, (name,), (name,), kept_out=why)

    return subjects


def not_let_in(plant: Assembly, programme: Programme) -> Iterator[Breach]:
    """What should let the sun in moves no water through the collectors, or their high stop never lets it."""
    for name, steered in plant.steered.items():
        if steered.pump:
            moved = moves_at(plant, plant.at(*steered.pump), name)
            cause = f"{steered.pump} moves no water through them"
            mend = "name a pump of the loop that they lie in, or put them into its loop"
        else:
            assert steered.valve
            at = plant.turned(*steered.valve)
            moved = any(moves_at(plant, plant.asked(d), name, at) for d in programme.controller.demands)
            cause = f"with {plant.positions_text(at)}, no demand of the schedule moves water through them"
            mend = "a filter run by day with a pump of the loop that they lie in, or a pump of their own"
        if not moved:
            yield Breach(name, cause, None, "", "", mend)
        elif stopped := _always_stopped(plant, name):
            yield stopped


def _always_stopped(plant: Assembly, name: str) -> Breach | None:
    """Where heating keeps the water so warm that what the high stop has stopped never comes back."""
    heating, stop_c = plant.scenario.schedule.heating, plant.steered[name].high_stop_c
    if heating is None or stop_c is None:
        return None
    others_c = [one.keep_at_c for one in heating.plan] + [one.keep_at_c for one in heating.absences]
    coldest_c = (
        min([heating.keep_at_c, *others_c])
        - heating.within_k
        - (heating.when_dear.let_fall_by_k if heating.when_dear else 0.0)
    )
    if coldest_c <= stop_c - BACK_K:
        return None
    cause = "heating keeps the water too warm for their high_stop to let the sun in"
    back = f"the sun is back at {_degrees(stop_c - BACK_K)}, and heating starts at {_degrees(coldest_c)}"
    most = _degrees(plant.scenario.limits.bathing_temperature_c)
    mend = f"raise high_stop, to {most} at most, or heat to less: {back}"
    return Breach(name, cause, None, "", "", mend)


def _degrees(value_c: float) -> str:
    return format_quantity(value_c, "temperature")


def to_and_fro(plant: Assembly, programme: Programme) -> Iterator[Breach]:
    """Full sun cannot keep what is let in warmer than the difference at which it is shut out again.

    Water that the sun warms by S / (rho c Q) on its way through is warmer by half of that on the mean, which
    is what the sensor reads. What they lose, which makes it less, is left out, and the least flow is taken.
    Collectors behind plates, whose own water circles, are not judged.
    """
    for name, steered in plant.steered.items():
        if name in plant.behind_plates:
            continue
        if steered.pump:
            duties = [plant.duty(plant.at(*steered.pump))]
        else:
            assert steered.valve
            at = plant.turned(*steered.valve)
            duties = [plant.duty(plant.asked(demand), at) for demand in programme.controller.demands]
        flows = [q for duty in duties if (q := abs(duty.flow_m3_s(name))) > STILL_M3_S]
        if not flows:
            continue
        half_w = 0.5 * plant.sheet.heat_sources[name].output_w
        warmer_k = half_w / (plant.per_m3_k * min(flows))
        if warmer_k <= steered.off_at_k:
            moves = "pump stops and starts" if steered.pump else "valve goes to and fro"
            cause = f"in the sun its {moves} again and again: it warms {flow(min(flows))} by less than off_at"
            text = f"{' of '.join(apart(warmer_k, steered.off_at_k, 1))} K"
            mend = _kept_on(plant, name, warmer_k, min(flows))
            yield Breach(name, f"{cause} on the mean", warmer_k, "K", text, mend)


def _kept_on(plant: Assembly, name: str, warmer_k: float, flow_m3_s: float) -> str:
    """What lets the sun in without a break while it has half of its strength.

    What is warmer by w in full sun is warmer by half of it in half of that. A lower off_at costs nothing, but
    two sensors must still tell it. Less water is warmed by more, but hotter collectors lose more, and they
    need some flow.
    """
    if warmer_k >= 2.0 * LEAST_OFF_K:
        return f"a lower off_at: {0.5 * warmer_k:.2g} K is kept up by half of that sun"
    needs_m3_s, how = plant.needs_m3_s(name), "a throttle, or a small pump of their own"
    for off_at_k in (plant.steered[name].off_at_k, LEAST_OFF_K):
        most_m3_s = 0.5 * flow_m3_s * warmer_k / off_at_k
        if most_m3_s >= needs_m3_s:
            lower = " and a lower off_at" if off_at_k == LEAST_OFF_K else ""
            kept = f"half of that sun keeps up off_at: {off_at_k:.3g} K"
            return f"less water through them{lower}: at {flow(most_m3_s)} {kept}; {how}"
    return (
        f"more collectors: at the {flow(needs_m3_s)} that they need, half of that sun is too little for any"
    )


def without_high_stop(plant: Assembly, programme: Programme) -> Iterator[Breach]:
    """Steered collectors without a high stop, or with one too high, warm the tub until it scalds."""
    del programme
    for name in plant.steered:
        if late := stopped_too_late(plant, name):
            yield late


def stopped_too_late(plant: Assembly, name: str) -> Breach | None:
    """Where nothing stops the sun before the water is warmer than people may bathe in."""
    most_c, stop_c = plant.scenario.limits.bathing_temperature_c, plant.steered[name].high_stop_c
    if stop_c is None:
        return Breach(name, "nothing stops the sun: no high_stop", None, "degC", "", stop_in_time(plant))
    if stop_c <= most_c:
        return None
    cause, text = "its high_stop is above what people may bathe in", " of ".join(apart(stop_c, most_c, 1))
    return Breach(name, cause, stop_c, "degC", f"{text} degC", stop_in_time(plant))


def stop_in_time(plant: Assembly, names: Sequence[str] = ()) -> str:
    """The mend of sets that nothing stops in time, in words; *names* tell which of several they are."""
    most = _degrees(plant.scenario.limits.bathing_temperature_c)
    which = listed(list(names)) if names and len(plant.steered) > 1 else "it"
    return f"stop {which} in time: steered: high_stop: {most} or less"


def stopped_in_time(plant: Assembly, programme: Programme, about: Subject) -> Iterator[Change]:
    """A high stop at the warmest that people may bathe in; at every set, where it is the tub's water."""
    del programme
    late = [name for name in plant.steered if about.name in (name, "tub") and stopped_too_late(plant, name)]
    most_c = plant.scenario.limits.bathing_temperature_c
    made = [
        mends.with_text(most_c, _degrees(most_c), "plant", "heat_sources", name, "steered", "high_stop_c")
        for name in late
    ]
    if made:
        yield mends.change(stop_in_time(plant, late), reduce(mends.chained, made))


def _not_turned(plant: Assembly, programme: Programme, about: Subject) -> Iterator[Change]:
    """A motor valve that nobody can leave through the collectors."""
    del programme
    steered = plant.steered[about.name]
    if steered.valve and len(plant.turnable[steered.valve.valve].positions) > 1:
        valve = steered.valve.valve
        where = "valves" if valve in plant.sheet.valves else "diverters"
        sentence = f"a motor on {valve} that no hand can hold: no may_be"
        yield mends.change(sentence, mends.with_value((), "plant", where, valve, "may_be"))


def _together(plant: Assembly, programme: Programme, about: Subject) -> Iterator[Change]:
    """Nothing that holds off, or stops, one of the two pumps alone."""
    del programme
    own, steered = plant.sheet.heat_sources[about.name].own_water, plant.steered[about.name]
    for name in (steered.pump.pump if steered.pump else "", own.circulator if own else ""):
        yield from mends.not_blocked(plant, name)
        yield from mends.disconnected(plant, name)


RULES: tuple[Rule, ...] = (
    Rule(
        "sun-not-let-in",
        "plant",
        "comfort",
        sentence="The pump or motor valve of steered collectors lets water through them, and their high stop "
        "lets the sun in.",
        source=f"what they are there for: {PRACTICE}",
        mend="name the pump or the valve that they lie behind",
        judge=not_let_in,
        applies=lambda plant, _: bool(plant.steered),
    ),
    Rule(
        "sun-to-and-fro",
        "plant",
        "wear",
        sentence="The sun at its best keeps the collectors warmer than off_at, at the flow that is let in.",
        source="the heat that they give warms the flow by as much from end to end, by half of it on the mean",
        mend="a lower off_at where sensors still tell it, else less water through them",
        judge=to_and_fro,
        applies=lambda plant, _: any(name not in plant.behind_plates for name in plant.steered),
    ),
    Rule(
        "sun-cools-water",
        "state",
        "comfort",
        sentence="Water runs through steered collectors only while they can warm it, and to rinse them.",
        source=f"for longer than {lasting(LASTS_S)}: {CHOICE}",
        mend=_SAYS["cold"][1],
        judge=_kept_out("cold"),
        subjects=_subjects("cold"),
        nothing="the file has no collectors that are steered",
        changes=_not_turned,
    ),
    Rule(
        "sun-half-let-in",
        "state",
        "comfort",
        sentence="While the sun is let in, water moves on both sides of the collectors' plates.",
        source=f"for longer than {lasting(LASTS_S)}: {CHOICE}",
        mend=_SAYS["half"][1],
        judge=_kept_out("half"),
        subjects=_subjects("half"),
        nothing="the file has no collectors on water of their own",
        changes=_together,
    ),
    Rule(
        "sun-not-stopped",
        "state",
        "danger",  # water that people step into gets as hot as the sun makes it
        sentence="Steered collectors warm no water past a high stop that people may bathe in.",
        source=f"a high stop for the sun: {PRACTICE}; for longer than {lasting(LASTS_S)}: {CHOICE}",
        mend="give them a high stop: steered: high_stop",
        judge=_kept_out("stop"),
        principles=("an end to every heat, by what is not the set point: common practice, no source",),
        subjects=_subjects("stop"),
        nothing="the file has no collectors that are steered",
        changes=stopped_in_time,
        by_plant=without_high_stop,
    ),
)
