"""The same automaton written again for a solver, from the tabulated machines and not from the search.

z3 is given the pass in its published order (sources open, keeps, pumps, sources close), the timers and what
may change at once as formulas; the states that it can reach, one satisfying assignment after another, must be
those of the search, and so must be the answer to one question of danger.
"""

from itertools import product

import pytest
import z3

from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from cyclesim.verification.automaton import Automaton
from cyclesim.verification.calendar_order import Calendar
from cyclesim.verification.cone import cone_of
from cyclesim.verification.environment import Environment
from cyclesim.verification.search import search

BITS, LONGEST_S = 5, 8
NO_PROOF = ("  - {block: element, unless: flow proven, for: 5 s}\n", "")
NO_BLOCK = ("  - {block: element, while: main high, because: the breaker}\n", "")
NO_KEEP = ("  - {keep: main low, after: element, lasting: 60 s}\n", "")


def num(value):
    """A number as the solver's bits."""
    return z3.BitVecVal(value, BITS)


def pick(index, values):
    """values[index] as one formula."""
    found = values[-1]
    for k in range(len(values) - 2, -1, -1):
        found = z3.If(index == num(k), values[k], found)
    return found


class Model:
    """The formulas of one plant: machines from their tables, water from the plant's own duties."""

    def __init__(self, scenario):
        self.plant, programme = Assembly(scenario), Programme(scenario)
        self.c = c = programme.controller
        self.pumps, self.sources = c.pumps, c.sources
        self.machines = [*c.pumps, *c.sources]
        self.dwell = [[c.dwell_s.get(m.name, {}).get(s, 0) for s in m.table.states] for m in self.machines]
        self.commands = self.asked()
        names = [f"m{i}" for i in range(len(self.machines))] + [f"t{i}" for i in range(len(self.machines))]
        names += ["cmd"]
        self.words = {name: z3.BitVec(name, BITS) for name in names}
        self.flags = {
            name: z3.Bool(name)
            for name in ["dark", *(f"sensed{k}" for k in range(len(self.sources))),
                         *(f"trip{k}" for k in range(len(self.sources)))]
        }  # fmt: skip

    def asked(self):
        """Every (level per pump, called per source) that raised demands come to; nothing first."""
        found = []
        for raised in product((False, True), repeat=len(self.c.demands)):
            up = [d for d, is_up in zip(self.c.demands, raised, strict=True) if is_up]
            heating = [d for d in up if d.kind == "heating"]
            if any(d.calls for d in heating) != bool(heating):
                continue
            levels = []
            for pump in self.pumps:
                mine = [(d.rank, -pump.speeds.index(d.speed)) for d in up if d.pump == pump.name]
                levels.append(1 - min(mine)[1] if mine else 0)
            called = tuple(any(s.name in d.calls for d in up) for s in self.sources)
            if (row := (tuple(levels), called)) not in found:
                found.append(row)
        return found

    def level(self, i, state):
        """How fast a machine's state is."""
        m = self.machines[i]
        active = list(m.speeds) if i < len(self.pumps) else [m.active]
        levels = [active.index(s) + 1 if s in active else 0 for s in m.table.states]
        return pick(state, [num(level) for level in levels])

    def next(self, i, state, facts):
        """The table's answer."""
        table = self.machines[i].table
        rows = []
        for row in table.next:
            found = num(row[-1])
            for bits in range(len(row) - 1):
                match = z3.And([facts[f] == bool(bits >> n & 1) for n, f in enumerate(table.facts)])
                found = z3.If(match, num(row[bits]), found)
            rows.append(found)
        return pick(state, rows)

    def condition(self, block, states, wants):
        """Whether a block's condition is true of what is, or of what is asked for."""
        which = next(i for i, m in enumerate(self.machines) if m.name == block.condition.subject)
        is_pump = which < len(self.pumps)
        if is_pump:
            speeds = self.pumps[which].speeds
            accepted = {"running": range(1, len(speeds) + 1), "stopped": range(1)}.get(block.condition.state)
            accepted = accepted or [speeds.index(block.condition.state) + 1]
            soon = wants[which]
        else:
            accepted = [1]
            names = self.machines[which].table.states
            here = states[which]
            proving = z3.Or([here == num(i) for i, n in enumerate(names) if n.startswith("proving")])
            soon = z3.If(z3.Or(proving, self.level(which, here) != num(0)), num(1), num(0))

        def accepts(level):
            return z3.Or([level == num(a) for a in accepted]) != z3.BoolVal(block.condition.negated)

        return z3.Or(accepts(self.level(which, states[which])), accepts(soon))

    def step(self, states, up, cmd, dark, sensed, trips, resets):
        """One pass, in its fixed order."""
        n = len(self.pumps)
        wants = [z3.If(dark, num(0), pick(cmd, [num(row[0][i]) for row in self.commands])) for i in range(n)]
        called = [
            pick(cmd, [z3.BoolVal(row[1][k]) for row in self.commands]) for k in range(len(self.sources))
        ]
        before, states, forced = list(states), list(states), [dark] * n

        def lower(reading_sources):
            for block in sorted(
                (b for b in self.c.blocks if b.speed),
                key=lambda b: -next(p for p in self.pumps if p.name == b.target).speeds.index(b.speed),
            ):
                reads = block.condition.subject not in [p.name for p in self.pumps]
                if reads and not reading_sources:
                    continue
                i = next(i for i, p in enumerate(self.pumps) if p.name == block.target)
                level = num(self.pumps[i].speeds.index(block.speed) + 1)
                blocks = self.condition(block, states, wants)
                touches = z3.Or(wants[i] == level, self.level(i, states[i]) == level)
                forced[i] = z3.Or(forced[i], z3.And(blocks, touches))
                wants[i] = z3.If(z3.And(blocks, wants[i] == level), wants[i] - num(1), wants[i])

        def move_sources(opening):
            for k, source in enumerate(self.sources):
                i = n + k
                blocks = [self.condition(b, states, wants) for b in self.c.blocks
                          if b.speed is None and b.target == source.name]  # fmt: skip
                proves = "proving" in source.table.states
                facts = {
                    "called": called[k],
                    "blocked": z3.Or(dark, *blocks),
                    "flow_ok": sensed[k] if proves else z3.BoolVal(True),
                    "time_up": up[i],
                    "trips": trips[k],
                    "reset": resets[k],
                }
                answer = self.next(i, states[i], facts)
                names = source.table.states
                leads = z3.Or(
                    [
                        answer == num(names.index(s))
                        for s in names
                        if s in ("proving", "proving_again", source.active)
                    ]
                )
                moves = states[i] == before[i]
                states[i] = z3.If(z3.And(moves, z3.Not(leads) if opening else True), answer, states[i])

        lower(False)
        move_sources(True)
        lower(True)
        for keep in self.c.keeps:
            i = next(i for i, p in enumerate(self.pumps) if p.name == keep.pump)
            k = next(k for k, s in enumerate(self.sources) if s.name == keep.after)
            level, names = num(self.pumps[i].speeds.index(keep.speed) + 1), self.sources[k].table.states
            needs = z3.Or(
                [
                    states[n + k] == num(names.index(s))
                    for s in names
                    if s in ("run_on", "proving_again", self.sources[k].active)
                ]
            )
            held = z3.And(z3.Not(dark), needs, z3.ULT(wants[i], level))
            wants[i] = z3.If(held, level, wants[i])
        for i in range(n):
            facts = {
                "wants_run": z3.UGE(wants[i], num(1)),
                "wants_high": z3.UGE(wants[i], num(2)),
                "time_up": up[i],
                "forced": forced[i],
            }
            states[i] = self.next(i, states[i], facts)
        move_sources(False)
        return states

    def water(self, states):
        """(sensed, still) per source, as the plant's duties have them."""
        levels = [self.level(i, states[i]) for i in range(len(self.pumps))]
        sensed, still = [], []
        for source in self.sources:
            says, stands = [], []
            for row in product(*(range(len(p.speeds) + 1) for p in self.pumps)):
                speeds = tuple(
                    p.speeds[x - 1] if x else "stopped" for p, x in zip(self.pumps, row, strict=True)
                )
                duty = self.plant.duty(speeds)
                here = z3.And([level == num(x) for level, x in zip(levels, row, strict=True)])
                if self.plant.sensed(source.name, duty):
                    says.append(here)
                if duty.flow_m3_s(source.name) == 0.0:
                    stands.append(here)
            sensed.append(z3.Or(says))
            still.append(z3.Or(stands))
        return sensed, still

    def reachable(self):
        """Every state, by asking for one more successor until there is none."""
        w, f, n = self.words, self.flags, len(self.machines)
        sources = range(len(self.sources))
        states, left = [w[f"m{i}"] for i in range(n)], [w[f"t{i}"] for i in range(n)]
        sensed, trip = [f[f"sensed{k}"] for k in sources], [f[f"trip{k}"] for k in sources]
        none = [z3.BoolVal(False)] * len(self.sources)
        new = {name: z3.BitVec(f"{name}'", BITS) for name in w} | {name: z3.Bool(f"{name}'") for name in f}
        ends = [z3.Bool(f"end{i}") for i in range(n)]
        trips, resets = [z3.Bool(f"trips{k}") for k in sources], [z3.Bool(f"resets{k}") for k in sources]

        def up(timers):
            return [t == num(0) for t in timers]

        def moves(states, timers, cmd, dark, sensed, trip):
            after = self.step(states, up(timers), cmd, dark, sensed, trip, none)
            return z3.Or([a != b for a, b in zip(after, states, strict=True)])

        due = moves(states, left, w["cmd"], f["dark"], sensed, trip)
        aged = [
            z3.If(
                end,
                num(0),
                z3.If(due, z3.If(z3.UGT(t, num(1)), t - num(1), t), z3.If(t != num(0), num(1), t)),
            )
            for t, end in zip(left, ends, strict=True)
        ]
        now_trip = [z3.And(z3.Or(a, b), z3.Not(r)) for a, b, r in zip(trip, trips, resets, strict=True)]
        after = self.step(states, up(aged), new["cmd"], new["dark"], sensed, now_trip, resets)
        timers = []
        for i in range(n):
            fresh = pick(after[i], [num(1 + min(LONGEST_S, s) if s else 0) for s in self.dwell[i]])
            timers.append(z3.If(after[i] != states[i], fresh, aged[i]))
        now_sensed, _ = self.water(after)
        due_after = moves(after, timers, new["cmd"], new["dark"], now_sensed, now_trip)
        _, still = self.water(states)
        cmd_changes, dark_changes = new["cmd"] != w["cmd"], new["dark"] != f["dark"]

        def exactly(flags, k):
            return z3.PbEq([(flag, 1) for flag in flags], k)

        changes, events = [cmd_changes, dark_changes], [*trips, *resets]
        relation = [
            z3.ULT(new["cmd"], num(len(self.commands))),
            z3.Or(
                z3.And(exactly(changes, 0), exactly(events, 0), z3.Or(exactly(ends, 1), exactly(ends, 2))),
                z3.And(exactly(changes, 0), exactly(events, 1), exactly(ends, 0)),
                z3.And(exactly(changes, 1), exactly(events, 0), exactly(ends, 0)),
                z3.And(cmd_changes, z3.Not(dark_changes), exactly(events, 0), exactly(ends, 1)),
                z3.And(due, exactly(changes, 0), exactly(events, 0), exactly(ends, 0)),
            ),
        ]
        relation += [
            z3.Implies(end, z3.And(t != num(0), z3.Or(z3.Not(due), z3.ULE(t, num(2)))))
            for t, end in zip(left, ends, strict=True)
        ]
        for k, source in enumerate(self.sources):
            i, names = len(self.pumps) + k, source.table.states
            limit = self.plant.sheet.heat_sources[source.name].high_limit_c is not None
            fires = states[i] == num(names.index(source.active))
            relation.append(z3.Implies(trips[k], z3.And(limit, fires, still[k], z3.Not(trip[k]))))
            relation.append(z3.Implies(resets[k], states[i] == num(names.index("tripped"))))
        relation += [new[f"m{i}"] == after[i] for i in range(n)]
        relation += [
            new[f"t{i}"] == z3.If(due_after, timers[i], z3.If(timers[i] != num(0), num(1), num(0)))
            for i in range(n)
        ]
        relation += [new[f"sensed{k}"] == now_sensed[k] for k in sources]
        relation += [new[f"trip{k}"] == now_trip[k] for k in sources]
        solver = z3.SolverFor("QF_FD")
        solver.add(*relation)
        order = [*w, *f]
        first = tuple(0 if name in w else False for name in order)
        seen, waiting = {first}, [first]
        while waiting:
            state = waiting.pop()
            solver.push()
            for name, value in zip(order, state, strict=True):
                solver.add(w[name] == num(value) if name in w else f[name] == value)
            while solver.check() == z3.sat:
                model = solver.model()
                found = tuple(
                    model.eval(new[name], True).as_long()
                    if name in w
                    else z3.is_true(model.eval(new[name], True))
                    for name in order
                )
                solver.add(z3.Or([new[name] != (num(v) if name in w else v)
                                  for name, v in zip(order, found, strict=True)]))  # fmt: skip
                if found not in seen:
                    seen.add(found)
                    waiting.append(found)
            solver.pop()
        return [dict(zip(order, state, strict=True)) for state in seen]


PLANTS = {
    "as it is": [],
    "no proof": [NO_PROOF],
    "no block": [NO_BLOCK],
    "no keep": [NO_KEEP],
    "no proof, no keep": [NO_PROOF, NO_KEEP],
    "nothing wired": [NO_PROOF, NO_BLOCK, NO_KEEP, ("interlocks:\n", "interlocks: []\n")],
}


@pytest.mark.parametrize("changes", PLANTS.values(), ids=PLANTS)
def test_a_solver_reaches_the_same_states(build, changes):
    """The same number of states, the same machine states, the same answer: may it fire with the pump off?"""
    scenario = build(*changes)
    model = Model(scenario)
    reached = model.reachable()
    plant, programme = Assembly(scenario), Programme(scenario)
    cone = cone_of(plant, programme, ["element"])
    automaton = Automaton(plant, cone, Environment(plant, programme, Calendar(programme), cone), coarse=True)
    found = search(automaton, {})
    states = {(state["m0"], state["m1"]) for state in reached}
    assert states == {node.state for node in found.came_from}
    assert len(reached) == found.states
    fires = model.sources[0].table.states.index("firing")
    off = model.pumps[0].table.states.index("stopped")
    assert ((off, fires) in states) == any(node.state == (off, fires) for node in found.came_from)
