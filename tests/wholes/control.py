"""The controller, written from its description: one pass a second, each machine moves at most once in it.

A pass: who decides each pump; what is not to fire opens; blocks and keeps move the wishes; pumps move; what
may fire closes. Blocks read what runs and what is about to be asked for.
"""

from dataclasses import dataclass, field
from typing import Any

from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.schedule import Keep
from tests.wholes.times import asks, named

RANKS = ("bathing", "frost_protection", "line_flush", "heating", "filter_run", "sun")
ORDER = {"stopped": 0, "changing": 0, "on": 1, "low": 1, "high": 2}


@dataclass
class Machine:
    """A pump, a blower or a heat source: its state and since when."""

    name: str
    state: str
    since_s: int = -(10**9)


@dataclass(frozen=True)
class Demand:
    """What asks for a pump at a speed; `calls` are sources that it wants to fire."""

    name: str
    rank: int
    pump: str
    speed: str
    calls: tuple[str, ...] = ()
    kind: str = ""


@dataclass
class Facts:
    """What the controller is told in a second."""

    raised: set[str] = field(default_factory=set)
    sensed: set[str] = field(default_factory=set)
    trips: set[str] = field(default_factory=set)
    dark: bool = False


class Control:
    """Machines, demands and interlocks of a file."""

    def __init__(self, scenario: Scenario) -> None:
        self.plant, self.lines = scenario.plant, scenario.interlocks
        self.turned = (*self.plant.air, *self.plant.circulators)
        self.pumps = {n: Machine(n, "stopped") for n in (*self.plant.pumps, *self.turned)}
        self.sources = {n: Machine(n, "off") for n in self.plant.heat_sources}
        self.speeds = {n: list(p.speeds) for n, p in self.plant.pumps.items()} | {
            n: ["on"] for n in self.turned
        }
        self.demands = list(self._demands(scenario))
        self.keeps = [line for line in self.lines if isinstance(line, Keep)]
        blocks = [line for line in self.lines if not isinstance(line, Keep)]
        self.proof_s = {b.block: round(b.for_s or 0) for b in blocks if b.unless == "flow proven"}
        self.blocks = [b for b in blocks if b.unless is None]
        for b in self.blocks:  # enough for the shipped files: sources wait for pumps
            assert b.block in self.sources
            assert str(b.while_).rpartition(" ")[0] in self.pumps
        self.run_on_s = {k.after: round(k.lasting_s) for k in self.keeps}
        self.wants: dict[str, int] = {}
        self.deciding: dict[str, str] = {}

    def _demands(self, scenario: Scenario) -> Any:
        schedule = scenario.schedule
        rank = {kind: i for i, kind in enumerate(schedule.ranks or RANKS)}
        kinds = (
            ("bathing", schedule.bathing),
            ("line_flush", schedule.line_flushes),
            ("filter_run", schedule.filter_runs),
        )
        for kind, entries in kinds:
            for entry, name in named(kind.replace("_", " "), entries):
                for told, at, _ in asks(entry, name):
                    yield Demand(told, rank[kind], *at, kind=kind)
        heating = schedule.heating
        if heating:
            alone = len(heating.sources) == 1
            yield Demand("heating", rank["heating"], *heating.pump, calls=heating.sources if alone else ())
            for source in () if alone else heating.sources:
                yield Demand(f"heating by {source}", rank["heating"], *heating.pump, calls=(source,))
            for source in heating.sources:
                if own := scenario.plant.heat_sources[source].own_water:
                    yield Demand(
                        "heating" if alone else f"heating by {source}", rank["heating"], own.circulator, "on"
                    )
        if schedule.frost_protection:
            yield Demand("frost protection", rank["frost_protection"], *schedule.frost_protection.pump)
        for name, source in scenario.plant.heat_sources.items():
            if source.kind == "solar" and source.steered and source.steered.pump:
                yield Demand(f"sun on {name}", rank["sun"], *source.steered.pump, kind="sun")
                if source.own_water:
                    yield Demand(f"sun on {name}", rank["sun"], source.own_water.circulator, "on")
        for blower in scenario.plant.air:
            for entry, name in named("bathing", schedule.bathing):
                if entry.air:
                    yield Demand(f"{name}, air", 0, blower, "on")
            if schedule.air_line_flushes:
                yield Demand("air line flush", 1, blower, "on")

    # -- how long a state lasts at least -------------------------------------------------------------------

    def dwell_s(self, machine: Machine) -> int:
        """The time that the machine must stay in its present state before that time is over."""
        name, state = machine.name, machine.state
        if name in self.turned:
            return 0
        if name in self.plant.pumps:
            pump = self.plant.pumps[name]
            changeover = round(pump.changeover_s) if len(self.speeds[name]) > 1 else 0
            if state == "stopped":
                return max(round(pump.rest_s), changeover)
            return changeover if state == "changing" else round(pump.minimum_run_s)
        source = self.plant.heat_sources[name]
        return {
            "off": round(source.rest_s),
            "proving": self.proof_s.get(name, 0),
            "proving_again": self.proof_s.get(name, 0),
            "firing": round(source.minimum_run_s),
            "run_on": self.run_on_s.get(name, 0),
        }.get(state, 0)

    def over(self, machine: Machine, now: int) -> bool:
        """Whether that time is over."""
        return now >= machine.since_s + self.dwell_s(machine)

    def next_over(self, now: int) -> int | None:
        """The next second at which some machine's time is over."""
        ends = [m.since_s + self.dwell_s(m) for m in (*self.pumps.values(), *self.sources.values())]
        return min((e for e in ends if e > now), default=None)

    # -- the pass ----------------------------------------------------------------------------------------

    def settle(self, facts: Facts, now: int) -> bool:
        """One pass at a second; whether anything moved."""
        before = {m.name: m.state for m in (*self.pumps.values(), *self.sources.values())}
        self.wants, self.deciding = dict.fromkeys(self.pumps, 0), dict.fromkeys(self.pumps, "")
        if not facts.dark:
            for pump in self.pumps:
                asking = [d for d in self.demands if d.pump == pump and d.name in facts.raised]
                if asking:
                    first = min(asking, key=lambda d: (d.rank, -ORDER[d.speed]))
                    self.wants[pump], self.deciding[pump] = ORDER[first.speed], first.name
        for source in self.sources.values():
            self._source(source, facts, now, fires=False)
        for keep in self.keeps:
            level = ORDER[keep.keep.speed]
            hot = self.sources[keep.after].state in ("firing", "run_on", "proving_again")
            if hot and not facts.dark and self.wants[keep.keep.pump] < level:
                self.wants[keep.keep.pump] = level
                self.deciding[keep.keep.pump] = f"keep after {keep.after}"
        for pump in self.pumps.values():
            self._pump(pump, self.wants[pump.name], facts.dark, now)
        for source in self.sources.values():
            if source.state == before[source.name]:
                self._source(source, facts, now, fires=True)
        return any(m.state != before[m.name] for m in (*self.pumps.values(), *self.sources.values()))

    @staticmethod
    def _to(machine: Machine, state: str, now: int) -> None:
        if machine.state != state:
            machine.state, machine.since_s = state, now

    def reset(self, now: int) -> None:
        """Whatever has tripped is off again."""
        for source in self.sources.values():
            if source.state == "tripped":
                self._to(source, "off", now)

    def _pump(self, pump: Machine, want: int, dark: bool, now: int) -> None:
        over, speeds = self.over(pump, now), self.speeds[pump.name]
        wanted = speeds[min(want, len(speeds)) - 1] if want else "stopped"
        if pump.state == "stopped":
            if want and over:
                self._to(pump, wanted, now)
        elif pump.state == "changing":
            if over:
                self._to(pump, wanted, now)
        elif wanted != pump.state and (over or dark):
            self._to(pump, "changing" if want else "stopped", now)

    def called(self, source: str, facts: Facts) -> bool:
        """Whether some raised demand calls a source."""
        return any(source in d.calls and d.name in facts.raised for d in self.demands)

    def blocked(self, source: str, facts: Facts) -> bool:
        """Whether an interlock or a loss of power keeps a source off."""
        if facts.dark:
            return True
        for b in self.blocks:
            pump, _, state = str(b.while_).rpartition(" ")
            level = {ORDER[self.pumps[pump].state], self.wants[pump]}
            if b.block == source and ((level - {0}) if state == "running" else ORDER[state] in level):
                return True
        return False

    def _source(self, source: Machine, facts: Facts, now: int, *, fires: bool) -> None:
        """Move a source; without *fires* only such moves are taken as do not lead towards fire."""
        name, state = source.name, source.state
        called, blocked = self.called(name, facts), self.blocked(name, facts)
        proves, runs_on = name in self.proof_s, self.run_on_s.get(name, 0) > 0
        fed = not proves or name in facts.sensed
        over = self.over(source, now)
        goes = state
        if state == "tripped":
            return
        if name in facts.trips:
            goes = "tripped"
        elif state == "off":
            if called and fed and over and not blocked:
                goes = "proving" if proves else "firing"
        elif state in ("proving", "proving_again"):
            if blocked or not called or not fed:
                goes = "off" if state == "proving" else "run_on"
            elif over:
                goes = "firing"
        elif state == "firing":
            if blocked or not fed or (not called and over):
                goes = "run_on" if runs_on else "off"
        elif state == "run_on":
            if self.plant.heat_sources[name].rest_s == 0 and called and fed and not blocked:
                goes = "proving_again" if proves else "firing"
            elif over:
                goes = "off"
        if fires or goes not in ("proving", "proving_again", "firing"):
            self._to(source, goes, now)
