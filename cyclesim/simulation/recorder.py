"""What of a run goes into its trace: the states of things, who decides, and what is asked for."""

from __future__ import annotations

from cyclesim.control.step import LEVEL_LOW, NOBODY, POWER_LOST, WAITS, ControlLogic, PassOutcome
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.drive import Drive
from cyclesim.simulation.effects import Effect
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
        self._all_demands = sum(mask for mask, _ in self._demands)
        self._puts: dict[tuple[int, int], list[tuple[Stream[str], str]]] = {}
        self._facts = 0
        self._decided, self._reasoned = list(trace.deciding.values()), list(trace.reasons.values())
        self._deciding: tuple[int, ...] = (NOBODY,) * len(self._decided)
        self._reasons: tuple[str, ...] = ("",) * len(self._reasoned)

    def states(self, was: Effect, effect: Effect, now: int) -> None:
        """What is on, and at which duty."""
        if effect is was:
            return
        key = id(was), id(effect)  # effects are kept for as long as the run
        puts = self._puts.get(key)
        if puts is None:
            rows = zip(self._streams, was.labels, effect.labels, strict=True)
            puts = self._puts[key] = [(stream, label) for stream, old, label in rows if old != label]
        for stream, label in puts:
            stream.put(now, label)
        trace = self._trace
        if effect.what.started != was.what.started or effect.second != was.second:
            for name, stream in trace.starters.items():
                stream.put(now, "closed" if name in effect.what.started else "")
            for name, stream in trace.seconds.items():
                stream.put(now, effect.second.get(name, ""))
        if effect.duty is not was.duty:
            trace.duties.put(now, effect.duty.name)

    def note(self, outcome: PassOutcome, reasons: tuple[str, ...], facts: int, now: int) -> None:
        """What a pass decided, why sources do not fire after it, and what is asked for."""
        trace, deciding = self._trace, outcome.deciding
        trace.passes += 1
        if deciding != self._deciding or reasons != self._reasons:
            for stream, old, who in zip(self._decided, self._deciding, deciding, strict=False):
                if old == who:  # blowers come after what is recorded
                    continue
                if who >= 0:
                    stream.put(now, self._controller.demands[who].name)
                else:
                    stream.put(now, "" if who == NOBODY else self._keeps[-2 - who])
            for stream, was, why in zip(self._reasoned, self._reasons, reasons, strict=False):
                if was != why:  # stoves come after
                    stream.put(now, why)
            self._deciding, self._reasons = deciding, reasons
        changed = facts ^ self._facts
        if not changed:
            return
        self._facts = facts
        if changed & self._low:
            trace.level.put(now, "low" if facts & self._low else "enough")
        if changed & self._all_demands:
            for mask, stream in self._demands:
                if changed & mask:
                    stream.put(now, "raised" if facts & mask else "")
        if changed & (self._lost | self._waits):
            waits = "waits" if facts & self._waits else "on"
            trace.power.put(now, "lost" if facts & self._lost else waits)
