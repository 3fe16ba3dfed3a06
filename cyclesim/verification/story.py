"""A way through the states in plain sentences."""

from __future__ import annotations

from cyclesim.analysis.amounts import lasting
from cyclesim.control.machines import PROOFS
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.simulation.programme import HEATING, heating_by
from cyclesim.verification.answer import Scene
from cyclesim.verification.automaton import Automaton, Move, Node
from cyclesim.verification.environment import CALENDAR, COMMANDS, Value


def steps_in_words(path: list[tuple[Automaton, Move | None, Node]]) -> list[tuple[int, str, Scene]]:
    """(place in the path, sentence, what is then to be seen) of each step that a person would notice."""
    steps: list[tuple[int, str, Scene]] = [(0, "all is off", _ALL_OFF)]
    for place, (automaton, move, node) in enumerate(path):
        before = path[place - 1] if place else None
        causes = _causes(automaton, move, node, before[2] if before else None)
        follows = _follows(automaton, node, (before[0], before[2]) if before else None)
        if causes or follows:
            steps.append((place, "; ".join([*causes, *follows]), _scene(automaton, node, causes, follows)))
    return steps


_ALL_OFF = Scene((), ("all is off",), {}, (), {}, people=False)


def _scene(automaton: Automaton, node: Node, causes: list[str], follows: list[str]) -> Scene:
    """What is on, where water moves, and what has been turned, in one state."""
    controller, plant = automaton.controller, automaton.plant
    effect = automaton.flows.effect(node.state, node.env, node.feedback)
    around = automaton.flows.around(node.env)
    running = zip(controller.pumps, effect.levels, strict=True)
    on = {pump.name: pump.speeds[level - 1] for pump, level in running if level}
    on |= {source.name: "on" for source, is_on in zip(controller.sources, effect.on, strict=True) if is_on}
    flows = effect.water.duty.duty.flows_m3_s
    turned = dict(zip(plant.turnable, around.positions, strict=True))
    return Scene(
        tuple(causes),
        tuple(follows),
        on,
        tuple(name for name, flow_m3_s in flows.items() if abs(flow_m3_s) > STILL_M3_S),
        {name: turned[name] for name in plant.not_as_usual(around.positions)},
        around.people,
    )


def _causes(automaton: Automaton, move: Move | None, node: Node, before: Node | None) -> list[str]:
    if move is None or before is None:
        parts = [
            sentence
            for dim, k in zip(automaton.dims, node.env, strict=True)
            for sentence in ([dim.values[k].sentence] if k and dim.values[k].sentence else [])
        ]
        parts += _raised(automaton, None, node)
        return parts
    parts = []
    for d, value in move.changes:
        if automaton.dims[d].name not in (CALENDAR, COMMANDS) and automaton.dims[d].values[value].sentence:
            parts.append(automaton.dims[d].values[value].sentence)
    parts += _raised(automaton, before, node)
    parts += [sentence for i in move.ended if (sentence := _ended(automaton, i, before))]
    event, k = move.event
    if event == "fault":
        parts += [fault.sentence for fault in sorted(automaton.faults)]
    elif event == "restarts":
        parts.append("the controller restarts")
    elif event:
        name = automaton.controller.sources[k].name
        parts.append({
            "trips": f"the high limit of {name} trips",
            "rises": f"the rise of temperature in {name} says that no water moves",
            "resets": f"a person resets {name}",
        }[event])  # fmt: skip
    return parts


def _value(automaton: Automaton, node: Node | None) -> Value | None:
    for dim, k in zip(automaton.dims, node.env if node else (), strict=False):
        if dim.name in (CALENDAR, COMMANDS):
            value: Value = dim.values[k]
            return value
    return None


def _raised(automaton: Automaton, before: Node | None, node: Node) -> list[str]:
    """What the calendar, or whoever commands, begins and ends."""
    now, was = _value(automaton, node), _value(automaton, before)
    if now is None:
        return []
    old, new = _without_bare_calls(was.raised) if was else frozenset[str](), _without_bare_calls(now.raised)
    parts = [f"{_named(name)} ends" for name in sorted(old - new)]
    parts += [f"{_named(name)} begins" for name in sorted(new - old)]
    if now.people != (was.people if was else False):
        parts.append("people step into the water" if now.people else "people leave the water")
    return parts


def _without_bare_calls(raised: frozenset[str]) -> frozenset[str]:
    """Where a call names its source, the call as such need not be told."""
    return raised - {HEATING} if any(name.startswith(heating_by("")) for name in raised) else raised


def _named(name: str) -> str:
    return {"heating": "the call for heat", "frost protection": "the call of the frost protection"}.get(
        name, name.replace("heating by", "the call for heat from")
    )


def _ended(automaton: Automaton, i: int, before: Node) -> str:
    """What the end of a timer means."""
    name, controller = automaton.timers[i], automaton.controller
    machines = controller.machines
    if i < len(machines):
        machine, state = machines[i].name, machines[i].table.states[before.state[i]]
        lasts = lasting(automaton.dwells_s[i][before.state[i]])
        return {
            "stopped": f"{machine} has rested for {lasts}",
            "off": f"{machine} has rested for {lasts}",
            "changing": f"the changeover of {machine} is over",
            **dict.fromkeys(PROOFS, f"the flow of {machine} has been proven for {lasts}"),
            "run_on": f"the run-on after {machine} is over",
        }.get(state, f"the least run of {machine} is over")
    kind, _, of = name.partition(" of ")
    lasts = lasting(automaton.lasts_s[i])
    if of in automaton.plant.behind_plates:
        return f"that has lasted for {lasts}" if kind == "grace" else ""
    if of in automaton.plant.steered:
        driven = any(automaton.flows.effect(before.state, before.env, before.feedback).levels)
        coasts = ", and coasts" if any(before.coasts) and not driven else ""
        return f"water has run through {of} for {lasts}{coasts}" if kind == "grace" else ""
    return {
        "coasting": f"the water of {of} has come to rest",
        "grace": f"{of} stays on for {lasts} with too little flow"
        if of in automaton.plant.sheet.treatment
        else f"{lasts} go by with the heat of {of} on and too little flow",
        "own switch": f"the own flow switch of {of} closes",
        "contact": f"the contact of {of} has opened",
    }.get(kind, "")


def _follows(automaton: Automaton, node: Node, before: tuple[Automaton, Node] | None) -> list[str]:
    """What pumps and devices do then."""
    controller, parts = automaton.controller, list[str]()
    old = before[1].state if before else controller.initial
    effect = automaton.flows.effect(node.state, node.env, node.feedback)
    was = before[0].flows.effect(before[1].state, before[1].env, before[1].feedback) if before else None
    for i, pump in enumerate(controller.pumps):
        state = pump.table.states[node.state[i]]
        now, then = effect.contacts[i], was.contacts[i] if was else ()
        if now != then and now:
            speeds = " and ".join(pump.speeds[level - 1] for level in now) if len(pump.speeds) > 1 else ""
            parts.append(f"{pump.name} runs" + (f" on {speeds}" if speeds else ""))
        elif now != then or (state != pump.table.states[old[i]] and state == "changing"):
            parts.append(f"{pump.name} stops" + (" to change over" if state == "changing" else ""))
    for k, source in enumerate(controller.sources):
        state = source.table.states[node.state[len(controller.pumps) + k]]
        then_on = was.on[k] if was else False
        fires, ends = ("fires", "stops firing") if source.active == "firing" else ("comes on", "goes off")
        if effect.on[k] and not then_on:
            parts.append(f"{source.name} {fires}")
        elif then_on and not effect.on[k]:
            parts.append(f"{source.name} {ends}")
        elif state in PROOFS and state != source.table.states[old[len(controller.pumps) + k]]:
            parts.append(f"{source.name} waits while its flow is proven")
    return parts
