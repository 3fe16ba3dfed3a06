"""Which interlocks keep two things apart in every state that the controller can come to.

A block may lag: what it reads may begin after it was read, or a contact may open late, and for a second both
are on. So each is tried by itself: the two things, asked for and let go at any time, with whatever keeps or
blocks them besides, and every state that `ControlLogic.step` then comes to. What holds there holds in the
plant, whatever its programme asks. That flow is proven, or that a pump is kept, keeps nothing else off: water
coasts and a switch opens later than it stops.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from functools import cache
from itertools import chain, combinations, product

from cyclesim.control.demands import BlockInterlock, Condition, Demand, PumpControl, SourceControl
from cyclesim.control.machines import PROOFS, pump_machine, source_machine, tabulate
from cyclesim.control.step import POWER_LOST, ControlLogic, State

Contact = tuple[int, int]
"""A machine and the level at which it is on."""
_PUMP, _SOURCE = " pump", " source"
"""Of machines that stand still for ever: a block that reads their standing always acts."""
_MOST_KEEPERS = 3
"""In one pass two can do all that more can; a third for where they stand beside what is blocked."""


def keeps_apart(block: BlockInterlock, closed: Mapping[str, Iterable[str]]) -> bool:
    """Whether a block is about two things of which these speeds, or active states, are on at once."""
    on = closed.get(block.target, ())
    read = any(block.condition.holds(state) for state in closed.get(block.condition.subject, ()))
    return read and (bool(on) if block.speed is None else block.speed in on)


def parting(controller: ControlLogic) -> list[BlockInterlock]:
    """The blocks that are to keep two things apart; others let one be on only together with the other."""
    return [block for block in controller.blocks if not block.condition.holds("stopped")]


def holding(
    controller: ControlLogic, opens_s: Mapping[str, float], within: Iterable[str]
) -> list[BlockInterlock]:
    """The blocks between two of the things *within* that never let both be on, not for a moment.

    *opens_s*: how long a contact takes to open after its command [s]; what is not named opens at once.
    """
    known = set(within)
    apart = [b for b in parting(controller) if {b.target, b.condition.subject} <= known]
    return [b for b in apart if all(_holds(alone, b, opens_s) for alone in _alone(controller, b))]


def _alone(controller: ControlLogic, block: BlockInterlock) -> Iterator[ControlLogic]:
    """The two things of a block with what keeps them, and with any of their other blocks always or never."""
    two = {block.target, block.condition.subject}
    keeps = tuple(keep for keep in controller.keeps if keep.pump in two)
    keepers = [s.name for s in controller.sources if s.name not in two and s.name in {k.after for k in keeps}]
    named = {*two, *keepers[: _MOST_KEEPERS - 1], *keepers[-1:]}
    free = tabulate(source_machine("", proves=False, runs_on=False))
    pumps = [p for p in controller.pumps if p.name in two]
    sources = [
        s if s.name in two else SourceControl(s.name, free) for s in controller.sources if s.name in named
    ]
    asks = [Demand(f"{p.name} {speed}", "any", 0, p.name, speed) for p in pumps for speed in p.speeds]
    asks += [Demand(f"{s.name} on", "any", 0, "", "", (s.name,)) for s in sources]
    pumps.append(PumpControl(_PUMP, ("on",), tabulate(pump_machine("", ("on",)))))
    sources.append(SourceControl(_SOURCE, free))
    of_pump = {p.name for p in controller.pumps}
    others = [
        replace(b, condition=Condition(_PUMP, "running", negated=True))
        if b.condition.subject in of_pump
        else replace(b, condition=Condition(_SOURCE, "firing", negated=True))
        for b in controller.blocks
        if b != block
        and b.target in two
        and b.speed is not None  # a source that is blocked is as if not called
    ]
    others = list(dict.fromkeys(others))
    for some in chain.from_iterable(combinations(others, n) for n in range(len(others) + 1)):
        yield ControlLogic(
            tuple(pumps),
            tuple(sources),
            tuple(asks),
            blocks=(block, *some),
            keeps=tuple(keep for keep in keeps if keep.after in named),
            dwell_s={name: controller.dwell_s[name] for name in two if name in controller.dwell_s},
            starters=tuple(s for s in controller.starters if s.target in two),
        )


def _holds(alone: ControlLogic, block: BlockInterlock, opens_s: Mapping[str, float]) -> bool:
    """Whether no state that these few machines can come to has both on."""
    states = [m.speeds if isinstance(m, PumpControl) else (m.active,) for m in alone.machines]
    names = [machine.name for machine in alone.machines]
    two = {block.target, block.condition.subject}
    opens = {i: 1 + int(opens_s[n]) for i, n in enumerate(names) if n in two and opens_s.get(n)}
    proofs = {(i, at) for i, table in enumerate(alone.tables) for at, name in enumerate(table.states)
              if name in PROOFS and alone.dwell_rows[i][at] > 1}  # fmt: skip
    past = sum(alone.bit(f"{s.name}.closed") for s in alone.starters)
    past += sum(alone.bit(f"flow.{s.name}.own") for s in alone.sources if s.own_switch)

    @cache
    def on(state: State) -> frozenset[Contact]:
        wired = alone.wired(state, past)
        levels = chain(wired.speeds, ((1,) if is_on else () for is_on in wired.on))
        return frozenset((i, level) for i, closed in enumerate(levels) for level in closed)

    def both(closed: Iterable[Contact]) -> bool:
        told: dict[str, list[str]] = {}
        for i, level in closed:
            told.setdefault(names[i], []).append(states[i][level - 1])
        return keeps_apart(block, told)

    start = alone.initial, frozenset[int](), frozenset[tuple[Contact, int]]()
    known, waiting = {start}, [start]
    while waiting:
        state, fresh, opening = waiting.pop()
        for next_ in {alone.step(state, mask).state for mask in _facts(alone, state, fresh)}:
            left = on(state) - on(next_)
            still = {(contact, more - 1) for contact, more in opening if more > 1}
            still |= {(contact, opens[contact[0]]) for contact in left if contact[0] in opens}
            if both({*on(next_), *(contact for contact, _ in still)}):
                return False
            moved = {i for i, at in enumerate(next_) if at != state[i] and (i, at) in proofs}
            node = next_, frozenset(moved), frozenset(still)
            if node not in known:
                known.add(node)
                waiting.append(node)
    return True


def _facts(alone: ControlLogic, state: State, fresh: frozenset[int]) -> Iterator[int]:
    """All that the machines may be told before a pass, whatever else is so.

    A pass in which something moves is followed by one a second later, when no *fresh* proof is over.
    """
    times = [
        (0, told.time_up) if dwells_s[at] and i not in fresh else (0,)
        for i, (told, dwells_s, at) in enumerate(zip(alone.told, alone.dwell_rows, state, strict=True))
    ]
    told = [_told(alone, i, at, up) for i, (at, up) in enumerate(zip(state, times, strict=True))]
    yield from map(sum, product(*told))
    yield from (alone.bit(POWER_LOST) + sum(up) for up in product(*times))


def _told(alone: ControlLogic, machine: int, at: int, times: tuple[int, ...]) -> list[int]:
    """What one machine may be told in a state of its own; of what comes to the same there one is enough.

    A trip is left out: what has tripped is off, as what is no longer called is once it has run on.
    """
    told, declared_s = alone.told[machine], alone.dwell_rows[machine][at]
    if machine < len(alone.pumps):
        asks = [mask for mask, _, _ in alone.orders[machine]]
        return [ask + time for ask in (0, *asks) for time in times]
    called, table = alone.calls[machine - len(alone.pumps)], alone.tables[machine]
    ways: dict[tuple[int, ...], int] = {}
    for mask in map(sum, product((0, called), (0, told.sensed), times)):
        facts = {
            "called": bool(called and mask & called),
            "flow_ok": not told.sensed or bool(mask & told.sensed),
            "time_up": not declared_s or bool(mask & told.time_up),
            "trips": False,
            "reset": False,
        }
        leads = tuple(table.after(at, {**facts, "blocked": blocked}) for blocked in (False, True))
        ways.setdefault(leads, mask)
    return list(ways.values())
