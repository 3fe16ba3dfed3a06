"""A plant and what its pumps did, written as an EPANET model and run by the engine in the wntr package.

The tub is two reservoirs at head 0: one that water is drawn from, one that it comes back to. What the engine
cannot say in one link is said in several: a running pump beside the way back through it, a check valve in a
link of its own, since a pipe with one holds no water in the engine's quality model.

Between its hydraulics and its ages the engine's own file of flows is changed in three things, none of which
is an answer. It counts in whole seconds: for a step of 1/N s every flow is an Nth and every time N-fold. A
drip is nothing. And the engine turns a pipe's parcels round where a flow changes its sign, but forgets what
sign it had before it stood: in the last step before such a start it gets a drip in the old direction.
"""

from __future__ import annotations

import ctypes
import itertools
import logging
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from contextlib import chdir
from dataclasses import dataclass, field
from functools import cached_property
from math import pi
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from cyclesim.physics.links import TUB, Drop, Jet, Link, PipeLink, PumpLink, is_shut, one_way
from cyclesim.physics.water import density_kg_m3, viscosity_pa_s
from cyclesim.simulation.assembly import Assembly, PlantDuty
from cyclesim.simulation.trace import Trace

if TYPE_CHECKING:
    from wntr.epanet.toolkit import ENepanet

FOOT_M = 0.3048
ENGINE_G = 32.2 * FOOT_M
"""The engine's gravity: 32.2 ft/s2 [m/s2]."""
_MINOR = 0.02517  # its 8 / (pi2 g) for a loss given by K
_DROP_BORE_M = 0.05
_WIDE_M = 0.3
"""It loses next to nothing; a metre loses so little that the engine's rounding moved 3 L/min by 0.04 %."""
_CURVE_POINTS = 240
_FLOW, _HEAD, _QUALITY, _DURATION, _NODES, _LINKS = 8, 10, 14, 0, 0, 2  # as the engine's toolkit numbers them
_NOSAVE, _SAVE, _OPEN = 0, 1, 3
_UNBALANCED, _UNSTABLE = 1, 2
_HYD_HEADER = 32  # bytes: two words and six numbers, the last of them the duration
DRIP_M3_S = 0.005 * 3.785411784e-3 / 60.0
"""What the engine's ages take for still water, 0.005 gpm: its solver leaves less in closed loops [m3/s]."""
_MOVES_FT3_S = 2.0 * DRIP_M3_S / FOOT_M**3

Duties = Sequence[tuple[int, PlantDuty]]
"""What the plant did: (from that second on, the duty)."""


def duties_of(plant: Assembly, trace: Trace) -> list[tuple[int, PlantDuty]]:
    """The duties of a run, read off the states of its pumps and the positions of its valves."""
    streams = [*trace.pumps.values(), trace.positions, trace.level]
    known = [list(stream) for stream in streams]
    begins = [[x.start_s for x in rows] for rows in known]
    duties: list[tuple[int, PlantDuty]] = []
    for at in sorted({s for starts in begins for s in starts}):
        now = [rows[bisect_right(s, at) - 1].state for rows, s in zip(known, begins, strict=True)]
        speeds = tuple("stopped" if state == "changing" else state for state in now[:-2])
        places = now[-2] or plant.usually
        duty = plant.duty(speeds, places, dry=now[-1] == "low")
        if not duties or duties[-1][1] is not duty:
            duties.append((at, duty))
    return duties


@dataclass
class _Way:
    """One state of one link: the engine's links that are open while the link is in it."""

    link: Link
    opens: list[str]
    carries: list[tuple[str, float]]
    """Links whose flows add up to the link's, with their signs."""


@dataclass
class Model:
    """The text of a model, built link by link."""

    plant: Assembly
    duties: Duties
    end_s: int
    nodes: dict[str, str] = field(default_factory=dict)
    ways: dict[str, list[_Way]] = field(default_factory=dict)
    bodies: dict[str, str] = field(default_factory=dict)
    """Plug -> the engine's pipe that holds its water."""
    _lines: dict[str, list[str]] = field(default_factory=dict)
    _count: Iterator[int] = field(default_factory=lambda: itertools.count(1))

    def __post_init__(self) -> None:
        self._reservoir("from tub", 0.0)
        self._reservoir("to tub", 0.0)
        self._half_a_step("from tub")
        if any(min(duty.plug_flows_m3_s) < 0.0 for _, duty in self.duties):
            self._half_a_step("to tub")
        states: dict[str, dict[Link, None]] = {}
        for _, duty in self.duties:
            for link in self.links(duty):
                states.setdefault(link.name, {})[link] = None
        volumes = {plug.name: plug for plug in self.plant.plugs}
        for name, links in states.items():
            self._element(list(links), volumes[name].volume_m3)
        for name, plug in volumes.items():
            if name not in states:  # a capped spare hangs on the tub
                self._body(name, self._node("from tub"), self._node(plug.b), plug.volume_m3)
        self._control()

    def links(self, duty: PlantDuty) -> Iterator[Link]:
        """The links of a duty; pumps that draw air stand still."""
        dry = not duty.duty.flows_m3_s
        speeds = (
            dict.fromkeys(self.plant.pumps, "stopped")
            if dry
            else dict(zip(self.plant.pumps, duty.speeds, strict=True))
        )
        return self.plant.links_at(speeds, duty.positions)

    # -- parts -------------------------------------------------------------------------------------------

    def _put(self, section: str, line: str) -> None:
        self._lines.setdefault(section, []).append(line)

    def _node(self, name: str) -> str:
        if name not in self.nodes:
            self.nodes[name] = f"n{len(self.nodes)}"
            self._put("JUNCTIONS", f"{self.nodes[name]} 0 0 ;{name}")
        return self.nodes[name]

    def _reservoir(self, name: str, head_m: float) -> str:
        if name not in self.nodes:
            self.nodes[name] = f"n{len(self.nodes)}"
            self._put("RESERVOIRS", f"{self.nodes[name]} {head_m!r} ;{name}")
        return self.nodes[name]

    def _half_a_step(self, reservoir: str) -> None:
        """Water that enters within a step is half a step old at its end; the engine calls it new."""
        self._put("QUALITY", f"{self.nodes[reservoir]} {0.5 / 3600.0!r}")

    def _id(self, letter: str) -> str:
        return f"{letter}{next(self._count)}"

    def _joins(self, section: str, letter: str, rest: str) -> str:
        """A link of the engine that is open until it is shut; its name."""
        name = self._id(letter)
        self._put(section, f"{name} {rest}")
        return name

    def _pipe(self, a: str, b: str, length_m: float, bore_m: float, rough_m: float, k: float) -> str:
        return self._joins(
            "PIPES", "p", f"{a} {b} {length_m!r} {bore_m * 1e3!r} {rough_m * 1e3!r} {k!r} Open"
        )

    def _check(self, a: str, b: str) -> None:
        """A check valve: a millimetre of wide pipe that water passes one way."""
        self._put("PIPES", f"{self._id('p')} {a} {b} 1 {_WIDE_M * 1e3} 0.0015 0 CV")

    def _loss(self, a: str, b: str, head_m: float, flow_m3_s: float) -> str:
        """A quadratic loss, as a throttle valve: it holds no water."""
        flow_ft3_s, bore_ft = flow_m3_s / FOOT_M**3, _DROP_BORE_M / FOOT_M
        k = head_m / FOOT_M * bore_ft**4 / (_MINOR * flow_ft3_s**2)
        return self._joins("VALVES", "v", f"{a} {b} {_DROP_BORE_M * 1e3!r} TCV {k!r} {k!r}")

    def _curve(self, points: Sequence[tuple[float, float]]) -> str:
        """Points (flow [m3/s], head [m])."""
        name = self._id("c")
        for flow, head in points:
            self._put("CURVES", f"{name} {flow * 6e4:.10g} {head:.12g}")
        return name

    def _body(self, plug: str, a: str, b: str, volume_m3: float) -> None:
        """A wide pipe that holds the plug's water and loses nothing."""
        length = volume_m3 / (pi / 4.0 * _WIDE_M**2)
        self.bodies[plug] = self._pipe(a, b, length, _WIDE_M, 1e-3, 0.0)

    def _element(self, states: Sequence[Link], volume_m3: float) -> None:
        link = states[0]
        name = link.name
        a = self._node("from tub" if link.a == TUB else link.a)
        b = self._node("to tub" if link.b == TUB else link.b)
        if isinstance(link, PipeLink):
            if link.lift_m:
                assert link.b == TUB, "a free outlet lies at the end of a plain leg"
                b = self._reservoir(f"{name} outlet", link.lift_m)
            end = self._node(f"{name} flap") if one_way(link) else b
            self.bodies[name] = self._pipe(a, end, link.length_m, link.bore_m, link.roughness_m, link.k)
            if one_way(link):
                self._check(end, b)
            self.ways[name] = [_Way(link, [], [(self.bodies[name], 1.0)])]
            return
        if volume_m3:
            middle = self._node(f"{name} body")
            self._body(name, a, middle, volume_m3)
        else:
            middle = a
        self.ways[name] = [self._way(state, k, middle, b) for k, state in enumerate(states)]

    def _way(self, link: Link, k: int, a: str, b: str) -> _Way:
        """One state of a drop, a jet or a pump, between two nodes."""
        if is_shut(link):
            return _Way(link, [], [])
        if isinstance(link, PumpLink) and link.curve is not None:
            return self._running(link, k, a, b)
        if one_way(link):
            flap = self._node(f"{link.name} flap {k}")
            self._check(a, flap)
            a = flap
        if isinstance(link, PumpLink):
            lost = self._loss(a, b, link.stopped_curve.head_m(0.0), link.stopped_curve.last_flow_m3_s)
        else:
            assert isinstance(link, Drop | Jet)
            lost = self._loss(a, b, link.head_m, link.flow_m3_s)
        return _Way(link, [lost], [(lost, 1.0)])

    def _running(self, link: PumpLink, k: int, a: str, b: str) -> _Way:
        """A running pump. The engine's lets no water back: where cyclesim's does, a way back beside it."""
        curve = link.curve
        assert curve is not None
        flows = np.linspace(0.0, 1.5 * curve.last_flow_m3_s, _CURVE_POINTS)
        shape = self._curve([(q, curve.head_m(q)) for q in flows.tolist()])
        pump = self._joins("PUMPS", "u", f"{a} {b} HEAD {shape}")
        if not any(d.flow_m3_s(link.name) < 0.0 and link in self.links(d) for _, d in self.duties):
            return _Way(link, [pump], [(pump, 1.0)])
        flap = self._node(f"{link.name} back {k}")
        self._check(b, flap)
        against = self._curve([(q, curve.head_m(-q)) for q in flows.tolist()])
        back = self._joins("VALVES", "v", f"{flap} {a} {_DROP_BORE_M * 1e3!r} GPV {against} 0")
        return _Way(link, [pump, back], [(pump, 1.0), (back, -1.0)])

    # -- time --------------------------------------------------------------------------------------------

    def _control(self) -> None:
        """What is open at first, and what opens and shuts when."""
        before: set[str] | None = None
        every = {name for ways in self.ways.values() for way in ways for name in way.opens}
        for at, duty in self.duties:
            state = {link.name: link for link in self.links(duty)}
            now = {
                n
                for name, ways in self.ways.items()
                for way in ways
                if way.link == state[name]
                for n in way.opens
            }
            for name in sorted(every if before is None else now ^ before):
                word = "OPEN" if name in now else "CLOSED"
                if before is None:
                    self._put("STATUS", f"{name} {word}")
                else:  # the engine cuts off a fraction of a second: without one it may be a second early
                    self._put("CONTROLS", f"LINK {name} {word} AT TIME {at}.4 SEC")
            before = now

    @cached_property
    def text(self) -> str:
        """The whole file."""
        temp = self.plant.temp_c
        self._lines["OPTIONS"] = [
            "HEADLOSS D-W",  # first: it decides in which unit roughness is read
            "UNITS LPM",
            f"VISCOSITY {viscosity_pa_s(temp) / density_kg_m3(temp):.9e}",
            "ACCURACY 1e-5",  # the least it takes; the next two ask for more
            "FLOWCHANGE 1e-3",
            "HEADERROR 1e-4",
            "TRIALS 200",
            "UNBALANCED CONTINUE 20",
            "HTOL 1e-7",
            "QTOL 1e-7",
            "QUALITY AGE",
            "TOLERANCE 1e-7",  # hours
        ]
        self._lines["TIMES"] = [
            f"DURATION {self.end_s} SEC",
            f"HYDRAULIC TIMESTEP {self.end_s} SEC",
            "QUALITY TIMESTEP 1 SEC",
            f"REPORT TIMESTEP {self.end_s} SEC",
            f"PATTERN TIMESTEP {self.end_s} SEC",
        ]
        title = f"[TITLE]\n{self.plant.scenario.title}\n"
        return (
            title
            + "".join(f"\n[{n}]\n" + "\n".join(rows) + "\n" for n, rows in self._lines.items())
            + "\n[END]\n"
        )


@dataclass(frozen=True)
class Ran:
    """What the engine says of a model."""

    flows_m3_s: list[dict[str, float]]
    """Of each duty in turn, the flow through each link."""
    heads_m: list[dict[str, float]]
    """The head at each junction; what is cut off from the tub has any."""
    at_s: NDArray[np.float64]
    """When ages were read: at each step while something moves, else at the changes."""
    mean_s: dict[str, NDArray[np.float64]]
    """The mean age [s] in each plug then."""

    @cached_property
    def _integral_s2(self) -> dict[str, NDArray[np.float64]]:
        steps = np.diff(self.at_s)
        return {
            plug: np.concatenate([[0.0], np.cumsum(steps * 0.5 * (mean[1:] + mean[:-1]))])
            for plug, mean in self.mean_s.items()
        }

    def mean_over(self, plug: str, start_s: float, end_s: float) -> float:
        """The mean over a time of a plug's mean age [s]; it begins and ends at changes of duty."""
        start, end = np.searchsorted(self.at_s, [start_s, end_s])
        integral = self._integral_s2[plug]
        return float(integral[end] - integral[start]) / (end_s - start_s)


def run(model: Model, parts: int = 1) -> Ran:
    """Run a model: the hydraulics of every duty, then the ages of its water at *parts* steps a second."""
    from wntr.epanet.toolkit import ENepanet

    logging.getLogger("wntr").setLevel(logging.ERROR)  # it warns of the pressures on a suction side
    with TemporaryDirectory() as folder, chdir(folder):  # the engine leaves its scratch file where it stands
        file = Path(folder) / "model"
        file.with_suffix(".inp").write_text(model.text, encoding="utf-8")
        engine = ENepanet(*(str(file.with_suffix(f".{end}")) for end in ("inp", "rpt", "bin")))
        engine.ENopen()
        try:
            flows, heads = _hydraulics(engine, model)
            for name in (solved := str(file.with_suffix(".hyd")), changed := str(file.with_suffix(".new"))):
                engine.ENsavehydfile(name)
            size = engine.ENgetcount(_NODES), engine.ENgetcount(_LINKS)
            ends = model.end_s * parts
            Path(changed).write_bytes(_changed(Path(solved).read_bytes(), *size, parts, ends))
            engine.ENsettimeparam(_DURATION, ends)
            engine.ENusehydfile(changed)
            at_s, ages = _ages(engine, model, parts)
        finally:
            engine.ENclose()
    return Ran(flows, heads, at_s, ages)


def _hydraulics(engine: ENepanet, model: Model) -> tuple[list[dict[str, float]], list[dict[str, float]]]:
    number = {
        n: engine.ENgetlinkindex(n) for ways in model.ways.values() for way in ways for n, _ in way.carries
    }
    node = {name: engine.ENgetnodeindex(short) for name, short in model.nodes.items()}
    flows, heads = [], []
    duties = dict(model.duties)
    engine.ENopenH()
    engine.ENinitH(_SAVE)
    while True:
        duty = duties.get(engine.ENrunH())
        if duty is not None:
            solved = engine.errcode not in (_UNBALANCED, _UNSTABLE)
            assert solved or not any(duty.plug_flows_m3_s), f"the engine does not solve {duty.name}"
            state = {link.name: link for link in model.links(duty)}
            flows.append(
                {
                    name: sum(
                        sign * engine.ENgetlinkvalue(number[n], _FLOW) / 6e4
                        for way in ways
                        if way.link == state[name]
                        for n, sign in way.carries
                    )
                    for name, ways in model.ways.items()
                }
            )
            heads.append({name: engine.ENgetnodevalue(i, _HEAD) for name, i in node.items()})
        if not engine.ENnextH():
            break
    engine.ENcloseH()
    assert len(flows) == len(duties), "every change of duty is an event of the engine's"
    return flows, heads


def _changed(solved: bytes, nodes: int, links: int, parts: int, end: int) -> bytes:
    """The engine's file of flows with times *parts*-fold and flows a *parts*-th (see above)."""
    columns = (("demand", nodes), ("head", nodes), ("flow", links), ("status", links), ("setting", links))
    row = np.dtype([("at", "<i4"), *((name, "<f4", (n,)) for name, n in columns), ("lasts", "<i4")])
    head = np.frombuffer(solved[:_HYD_HEADER], "<i4").copy()
    head[-1] = end
    before: list[NDArray[np.void]] = []
    direction = np.zeros(links)
    rows = (
        len(solved) - _HYD_HEADER
    ) // row.itemsize  # one byte is left over: the engine copies its end mark
    for told in np.frombuffer(solved, row, rows, _HYD_HEADER):
        now = told.copy()
        now["flow"] = np.where(np.abs(now["flow"]) < DRIP_M3_S / FOOT_M**3, 0.0, now["flow"] / parts)
        now["demand"] /= parts
        now["at"], now["lasts"] = now["at"] * parts, now["lasts"] * parts
        turns = now["flow"] * direction < 0.0
        if before and np.any(turns & (before[-1]["flow"] == 0.0)) and before[-1]["lasts"] > 1:
            last = before[-1].copy()
            before[-1]["lasts"] -= 1
            last["at"], last["lasts"] = now["at"] - 1, 1
            stood = turns & (last["flow"] == 0.0)
            last["flow"] = np.where(stood, direction * _MOVES_FT3_S, last["flow"])
            last["status"] = np.where(stood, _OPEN, last["status"])
            before.append(last)
        direction = np.where(now["flow"] == 0.0, direction, np.sign(now["flow"]))
        before.append(now)
    return head.tobytes() + b"".join(x.tobytes() for x in before)


def _ages(
    engine: ENepanet, model: Model, parts: int
) -> tuple[NDArray[np.float64], dict[str, NDArray[np.float64]]]:
    plant = model.plant
    number = {
        plug: engine.ENgetlinkindex(model.bodies[plug])
        for plug in (plant.plugs[i].name for i in plant.reported.values())
    }
    changes = [at * parts for at, _ in model.duties]
    moves = [any(duty.plug_flows_m3_s) for _, duty in model.duties]
    at_s: list[int] = []
    read: list[list[float]] = []
    left = ctypes.c_long()
    engine.ENopenQ()
    engine.ENinitQ(_NOSAVE)
    go_on = True
    while go_on:
        at = engine.ENrunQ()
        at_s.append(at)
        read.append([engine.ENgetlinkvalue(i, _QUALITY) for i in number.values()])
        if moves[bisect_right(changes, at) - 1]:
            engine.errcode = engine.ENlib.EN_stepQ(engine._project, ctypes.byref(left))  # it has no wrapper
            engine._error()
            go_on = left.value > 0
        else:
            go_on = engine.ENnextQ() > 0
    at_s.append(model.end_s * parts)
    read.append([engine.ENgetlinkvalue(i, _QUALITY) for i in number.values()])
    engine.ENcloseQ()
    table = np.array(read) * 3600.0 / parts
    return np.array(at_s) / parts, dict(zip(number, table.T, strict=True))
