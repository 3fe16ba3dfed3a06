"""What of a run goes into its trace: the states of things, who decides, and what is asked for."""

from __future__ import annotations

from collections.abc import Iterator

from cyclesim.control.step import LEVEL_LOW, NOBODY, POWER_LOST, WAITS, ControlLogic
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.drive import Drive
from cyclesim.simulation.effects import Effect
from cyclesim.simulation.passes import Passed
from cyclesim.simulation.trace import Stream, Trace


def new_trace(plant: Assembly, controller: ControlLogic, drive: Drive) -> Trace:
    """The empty trace of a run."""
    sheet = plant.sheet
    switched = [s.name for s in controller.sources if s.name in sheet.heat_sources]
    trace = Trace(
        drive.begin_utc,
        plant.scenario.place.time_zone,
        drive.span_s,
        list(plant.pumps),
        [*switched, *(name for name in sheet.heat_sources if name not in switched)],
        [d.name for d in controller.demands],
        list(plant.reported),
        [b.name for b in plant.bodies],
        list(sheet.air),
        list(sheet.circulators),
        [name for name, source in sheet.heat_sources.items() if source.own_water is not None],
        list(sheet.treatment),
        [starter.name for starter in controller.starters],
        may_weld=bool(drive.welds),
        circuits=list(dict.fromkeys(circuit for _, circuit, _ in drive.cuts)),
    )
    trace.positions.put(drive.start_s, plant.usually)
    return trace


class Recorder:
    """Puts into the trace what has changed, and only that."""

    def __init__(self, trace: Trace, controller: ControlLogic) -> None:
        self._trace, self._controller = trace, controller
        streams = {**trace.pumps, **trace.blowers, **trace.circulators, **trace.sources, **trace.treatments}
        self._streams = [streams[machine.name] for machine in controller.machines]
        bit = controller.bit
        self._demands = [(bit(f"{name}.raised"), stream) for name, stream in trace.demands.items()]
        self._keeps = [f"keep after {keep.after}" for keep in controller.keeps]
        self._lost, self._waits, self._low = bit(POWER_LOST), bit(WAITS), bit(LEVEL_LOW)
        self._decided, self._reasoned = list(trace.deciding.values()), list(trace.reasons.values())
        self._puts: dict[tuple[int, int], list[tuple[Stream[str], str]]] = {}

    def note(self, was: Passed, passed: Passed, now: int) -> None:
        """What a pass has changed after another."""
        self._trace.passes += 1
        if passed is was:
            return
        key = id(was), id(passed)  # passes are kept for as long as the run
        puts = self._puts.get(key)
        if puts is None:
            puts = self._puts[key] = [*self._states(was.effect, passed.effect), *self._told(was, passed)]
        for stream, state in puts:
            stream.put(now, state)

    def _states(self, was: Effect, effect: Effect) -> Iterator[tuple[Stream[str], str]]:
        """What is on, and at which duty."""
        for stream, old, label in zip(self._streams, was.labels, effect.labels, strict=True):
            if old != label:
                yield stream, label
        trace = self._trace
        if effect.what.started != was.what.started or effect.second != was.second:
            for name, stream in trace.starters.items():
                yield stream, "closed" if name in effect.what.started else ""
            for name, stream in trace.seconds.items():
                yield stream, effect.second.get(name, "")
        if effect.duty is not was.duty:
            yield trace.duties, effect.duty.name

    def _told(self, was: Passed, passed: Passed) -> Iterator[tuple[Stream[str], str]]:
        """What a pass decided, why sources do not fire after it, and what is asked for."""
        trace, facts = self._trace, passed.facts
        for stream, old, who in zip(self._decided, was.deciding, passed.deciding, strict=False):
            if old == who:  # blowers come after what is recorded
                continue
            if who >= 0:
                yield stream, self._controller.demands[who].name
            else:
                yield stream, "" if who == NOBODY else self._keeps[-2 - who]
        for stream, before, why in zip(self._reasoned, was.reasons, passed.reasons, strict=False):
            if before != why:  # stoves come after
                yield stream, why
        changed = facts ^ was.facts
        if changed & self._low:
            yield trace.level, "low" if facts & self._low else "enough"
        for mask, stream in self._demands:
            if changed & mask:
                yield stream, "raised" if facts & mask else ""
        if changed & (self._lost | self._waits):
            waits = "waits" if facts & self._waits else "on"
            yield trace.power, "lost" if facts & self._lost else waits
