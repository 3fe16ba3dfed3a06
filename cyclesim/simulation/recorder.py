"""What of a run goes into its trace: the states of things, who decides, and what is asked for."""

from __future__ import annotations

import numpy as np

from cyclesim.control.step import LEVEL_LOW, NOBODY, POWER_LOST, WAITS, ControlLogic
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.drive import Drive
from cyclesim.simulation.passes import Passed
from cyclesim.simulation.trace import Stream, Trace

_PUT_AT_ONCE = 10_000


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
    """Notes what each pass has come to, and puts it into the trace, many passes at a time."""

    def __init__(self, trace: Trace, controller: ControlLogic, rest: Passed) -> None:
        self._trace, self._controller = trace, controller
        machines = {**trace.pumps, **trace.blowers, **trace.circulators, **trace.sources, **trace.treatments}
        bit = controller.bit
        self._demands = [bit(f"{name}.raised") for name in trace.demands]
        self._keeps = [f"keep after {keep.after}" for keep in controller.keeps]
        self._lost, self._waits, self._low = bit(POWER_LOST), bit(WAITS), bit(LEVEL_LOW)
        self._streams: list[Stream[str]] = [
            *(machines[machine.name] for machine in controller.machines),
            *trace.deciding.values(),
            *trace.reasons.values(),
            *trace.demands.values(),
            *trace.starters.values(),
            *trace.seconds.values(),
            *(trace.level, trace.power, trace.duties),
        ]
        """In the order of `_states`."""
        self._number = {id(rest): 0}  # passes are kept for as long as the run
        self._known = [self._states(rest)]
        self._seconds: list[int] = []
        self._numbers: list[int] = []

    def note(self, passed: Passed, now: int) -> None:
        """What a pass has come to."""
        self._trace.passes += 1
        number = self._number.get(id(passed))
        if number is None:
            number = self._number[id(passed)] = len(self._known)
            self._known.append(self._states(passed))
        self._seconds.append(now)
        self._numbers.append(number)
        if len(self._numbers) >= _PUT_AT_ONCE:
            self.put_down()

    def put_down(self) -> None:
        """Put what has been noted into the trace."""
        if self._seconds:
            seconds, numbers = np.array(self._seconds), np.array(self._numbers)
            last = np.append(seconds[1:] != seconds[:-1], True)  # of one second the last one counts
            used, which = np.unique(numbers[last], return_inverse=True)
            columns = zip(*(self._known[k] for k in used.tolist()), strict=True)
            for stream, states in zip(self._streams, columns, strict=True):
                stream.put_all(seconds[last], which, states)
            self._seconds.clear()
            self._numbers.clear()

    def _states(self, passed: Passed) -> tuple[str, ...]:
        """What is on, who decides it, why sources do not fire, what is asked for, and at which duty."""
        trace, effect, facts = self._trace, passed.effect, passed.facts
        waits = "waits" if facts & self._waits else "on"
        return (
            *effect.labels,
            *(self._who(who) for who, _ in zip(passed.deciding, trace.deciding, strict=False)),
            *(why for why, _ in zip(passed.reasons, trace.reasons, strict=False)),
            *("" for _ in range(len(passed.reasons), len(trace.reasons))),
            *("raised" if facts & mask else "" for mask in self._demands),
            *("closed" if name in effect.what.started else "" for name in trace.starters),
            *(effect.second.get(name, "") for name in trace.seconds),
            "low" if facts & self._low else "enough",
            "lost" if facts & self._lost else waits,
            effect.duty.name,
        )

    def _who(self, who: int) -> str:
        if who >= 0:
            return self._controller.demands[who].name
        return "" if who == NOBODY else self._keeps[-2 - who]
