"""What is odd about a duty, in the words of a tub builder: L/min and metres, and the cause if it is known."""

from collections.abc import Mapping, Sequence

from cyclesim.physics.links import TUB, Link, PipeLink, PumpLink, is_shut, one_way, parts

NO_FLOW_M3_S = 1e-6  # 0.06 L/min: less than this counts as no flow in what is told to a person


def _l_min(flow_m3_s: float) -> str:
    return f"{abs(flow_m3_s) * 60000:.0f} L/min"


def _names(items: Sequence[str]) -> str:
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} and {items[-1]}"


def _chains(links: Sequence[Link]) -> list[list[int]]:
    """Links in unbranched series, by number: what one of them carries all of them carry."""
    at: dict[str, list[int]] = {}
    for i, link in enumerate(links):
        for end in (link.a, link.b):
            at.setdefault(end, []).append(i)
    pairs = [(pair[0], pair[1]) for node, pair in at.items() if node != TUB and len(pair) == 2]
    groups: dict[int, list[int]] = {}
    for i, root in enumerate(parts(len(links), pairs)):
        groups.setdefault(root, []).append(i)
    return list(groups.values())


def reachable(links: Sequence[Link], start: str, without: Link, *, forward: bool) -> set[str]:
    """Nodes that water can go on to from `start` (or come from, backwards); the tub is not passed through."""
    seen, todo = {start}, [start]
    while todo:
        node = todo.pop()
        for link in links:
            if node == TUB or link is without or is_shut(link):
                continue
            steps = [(link.a, link.b)] if one_way(link) else [(link.a, link.b), (link.b, link.a)]
            for tail, head in steps:
                here, there = (tail, head) if forward else (head, tail)
                if here == node and there not in seen:
                    seen.add(there)
                    todo.append(there)
    return seen


def _no_flow_cause(
    pump: PumpLink,
    mates: Sequence[PumpLink],
    links: Sequence[Link],
    flows: Sequence[float],
    heads: Mapping[str, float],
) -> str:
    """Why a running pump moves no water; `mates` are all running pumps of its series, itself among them."""
    shutoff = sum(mate.curve.head_m(0.0) for mate in mates if mate.curve is not None)
    who = _names([mate.name for mate in mates])
    against = heads[pump.b] - heads[pump.a]
    others = [
        link.name for link, q in zip(links, flows, strict=True)
        if isinstance(link, PumpLink) and link.curve is not None and q > NO_FLOW_M3_S
    ]  # fmt: skip
    if others and against > shutoff + 1e-6:
        return (
            f"{who} cannot push against {_names(others)}: {shutoff:.1f} m at no flow against {against:.1f} m"
        )
    onward = reachable(links, pump.b, pump, forward=True)
    behind = reachable(links, pump.a, pump, forward=False)
    lifts = [
        link.lift_m for link in links if isinstance(link, PipeLink) and link.lift_m > 0 and link.a in onward
    ]
    if TUB in onward and TUB in behind and lifts:
        return f"{who} cannot lift the water: {shutoff:.1f} m at no flow against {min(lifts):.1f} m"
    for region, verb in ((onward, "pumps against"), (behind, "draws from")):
        shut = [link.name for link in links if is_shut(link) and {link.a, link.b} & (region - {TUB})]
        if TUB not in region and shut:
            return f"{who} {verb} a shut way: {_names(shut)}"
        end = "b" if verb == "pumps against" else "a"
        stops = [x.name for x in links if one_way(x) and x is not pump and getattr(x, end) in region - {TUB}]
        if TUB not in region and stops:
            return f"{who} {verb} {_names(stops)}, which lets water pass only the other way"
        if TUB not in region:
            return f"{who} has no way {'to' if verb == 'pumps against' else 'from'} the tub"
    return f"{who} moves no water"


def problems(
    links: Sequence[Link], flows: Sequence[float], at: Mapping[str, float], heads: Mapping[str, float]
) -> list[str]:
    """What a builder should know of this duty; `at` has the heads of nodes joined to the tub, `heads` all."""
    problems: list[str] = []
    backwards: list[str] = []
    chains = _chains(links)
    runs = [isinstance(link, PumpLink) and link.curve is not None for link in links]
    for chain in chains:
        pumps = [link for i in chain if runs[i] and isinstance(link := links[i], PumpLink)]
        if pumps and abs(flows[chain[0]]) < NO_FLOW_M3_S:
            rest = [
                links[i].name for i in chain if not isinstance(links[i], PumpLink) and not is_shut(links[i])
            ]
            cause = _no_flow_cause(pumps[0], pumps, links, flows, heads)
            problems.append(cause + (f"; no water moves in {_names(rest)}" if rest else ""))
    for link, q in zip(links, flows, strict=True):
        if not isinstance(link, PumpLink):
            continue
        if link.curve is None:
            if q < -NO_FLOW_M3_S:
                problems.append(
                    f"{link.name} stands still without a check valve: {_l_min(q)} run back through it"
                )
            continue
        last, shutoff = link.curve.last_flow_m3_s, link.curve.head_m(0.0)
        if q > last * (1 + 1e-9):
            problems.append(
                f"{link.name} runs at {_l_min(q)}, past the last point of its curve ({_l_min(last)})"
            )
        if q < -NO_FLOW_M3_S:
            problems.append(
                f"{link.name} is pushed backwards, {_l_min(q)}: it makes {shutoff:.1f} m at no flow against "
                f"{heads[link.b] - heads[link.a]:.1f} m, and has no check valve"
            )
        if q > NO_FLOW_M3_S and link.a not in at:
            problems.append(f"{link.name} sends water round without reaching the tub")
    moving = any(run and q > NO_FLOW_M3_S for run, q in zip(runs, flows, strict=True))
    for chain in chains:
        back = [
            links[i].name for i in chain if flows[i] < -NO_FLOW_M3_S and not isinstance(links[i], PumpLink)
        ]
        if back:
            through = [links[i].name for i in chain if isinstance(links[i], PumpLink) and flows[i] < 0]
            backwards.append(
                f"water runs backwards in {_names(back)}, {_l_min(flows[chain[0]])}"
                + (f": it comes back through {_names(through)}" if through else "")
            )
        for i in chain:
            link = links[i]
            shut = any(is_shut(links[k]) for k in chain)  # then it is meant to get none
            if isinstance(link, PipeLink) and link.lift_m > 0 and flows[i] == 0 and moving and not shut:
                there = at.get(link.a, 0.0)
                if there > 0.05:
                    need = f"its outlet needs {link.lift_m:.1f} m"
                    problems.append(f"{link.name} gets no water: {need} and {there:.1f} m are there")
    return [*backwards, *problems]
