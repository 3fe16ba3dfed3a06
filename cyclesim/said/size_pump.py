"""What sizing a pump found, for a person: a table, and a sentence of advice with its reason."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import Any

from cyclesim.analysis.amounts import flow, listed
from cyclesim.decide.sizing.pump_given import Given
from cyclesim.decide.sizing.pump_sizing import SPARE, Arrangement, PumpSizing
from cyclesim.said.cautions import ADVICE, say_cautions
from cyclesim.said.page import Cell, Column, Page, Row, words
from cyclesim.said.words import number, of_pump

SERIES = (
    "Two in series are not offered: they add head, not flow. They help where a pump cannot reach the head "
    "that is asked for, and waste power where it can."
)
ELECTRIC = (
    "A larger motor draws more and starts harder: breaker, cable, residual-current device and bonding are "
    "for an electrician to judge by the local code."
)
SUCTION = (
    "More flow pulls harder at every suction fitting: covers must be rated for the pump that is fitted, with "
    "another one blocked."
)


def pump_page(sizing: PumpSizing) -> Page:
    """Everything that sizing a pump says, the advice first."""
    page = Page()
    page.line(
        f"{sizing.scenario.title}: a pump in the place of {sizing.pump}", tone="strong", as_written=True
    )
    asked = sizing.asked
    page.line(
        f"The jets need {flow(sizing.rated_m3_s)} in all{_filled_in(sizing)}. For the weakest of them, in "
        f"{asked.weakest}, to get its share, {flow(asked.flow_m3_s)} must pass {sizing.pump} at "
        f"{asked.head_m:.1f} m."
    )
    parts = sorted(asked.taken_by_m.items(), key=lambda part: -part[1])
    page.line(
        f"Of that head: {', '.join(f'{name} {number(head_m, 2)} m' for name, head_m in parts)}. The jets lie "
        "under water: nothing is lifted."
    )
    page.heading("Advice")
    for sentence in pump_advice(sizing):
        page.line(f"- {of_pump(sentence)}", hang=2)
    page.table(
        [
            words("pump, speed"),
            Column("flow\n{unit}", unit="L/min"),
            Column("head\n{unit}", unit="m"),
            Column("weakest\njet, {unit}", unit="%"),
            Column("to spare, {unit}\nflow", unit="%", kind="change"),
            Column("\nhead", unit="%", kind="change"),
            Column("power\n{unit}", unit="W of pump"),
            Column(
                "price\n{unit}", unit=next((given.currency for given in sizing.given if given.currency), "")
            ),
        ],
        (_given_row(given, given is sizing.best) for given in sizing.given),
        "What each gives on these pipes",
        [
            "Weakest jet: what it gets, of what it needs. Head to spare is at the flow that is asked for. * "
            f"{'comes nearest' if sizing.best and sizing.best.cautions else 'the one advised'}. The other "
            "pumps stand still."
        ],
    )
    if sizing.assumed:
        page.line(
            f"Worked out from the other speed: the power of {listed(list(sizing.assumed))} (-30 to +30 %, "
            "common practice, no source)."
        )
    _say_draws(page, sizing)
    _say_changes(page, sizing)
    _say_arrangements(page, sizing)
    say_cautions(page, (SUCTION, ELECTRIC, ADVICE))
    return page


def _titled(given: Given, advised: bool = False) -> str:
    return f"{given.pump}{'' if given.speed == 'on' else f', {given.speed}'}{' *' if advised else ''}"


def _given_row(given: Given, advised: bool) -> Row:
    cells = (
        given.flow_m3_s * 60_000.0,
        given.head_m,
        100.0 * given.weakest_jet_share,
        percent(given.flow_spare_share),
        percent(given.head_spare_share),
        given.power_w,
        given.price,
    )
    return Row((_titled(given, advised), *cells), given.pump)


def percent(share: float | None) -> float | None:
    """A share in percent; None where nothing is known to measure it by."""
    return None if share is None else 100.0 * share


def _say_draws(page: Page, sizing: PumpSizing) -> None:
    """The jets' own flow, and what suction and filters say of each pump."""
    page.table(
        [
            words("pump, speed"),
            Column("weakest jet\n{unit}", unit="L/min"),
            Column("suction\n{unit}", unit="m/s", digits=2),
            Column("NPSH, {unit}\nleft", unit="m"),
            Column("\ndue", unit="m"),
            Column("filter, {unit} of\nits most", unit="%"),
            Column("{unit}", unit="Wh/m3"),
        ],
        (
            (
                _titled(given, given is sizing.best),
                given.weakest_jet_m3_s * 60_000.0,
                given.suction_m_s,
                given.npsh_left_m,
                given.npsh_due_m,
                percent(given.filter_share),
                given.wh_per_m3,
            )
            for given in sizing.given
        ),
        "What reaches a jet, what suction and filter bear, and the power for it",
    )
    for given in sizing.given:
        if given.cautions:
            page.line(f"- {named(given)}: {'; '.join(given.cautions)}.", hang=2)
    limit = number(sizing.scenario.limits.suction_speed_m_s)
    page.line(f"Suction: the fastest leg from the tub, {limit} m/s at most. - is not known.")


def _filled_in(sizing: PumpSizing) -> str:
    """Says so where the file gives a jet's rated flow and not its need."""
    manifolds = [leg.manifold for leg in sizing.scenario.plant.legs.values() if leg.manifold]
    taken = any(manifold.stated_needs_m3_s is None and manifold.each is not None for manifold in manifolds)
    return " (75 % of what is rated, where the file tells no needs)" if taken else ""


def pump_advice(sizing: PumpSizing) -> Iterator[str]:
    """Which to take and why, each sentence with its numbers."""
    best = sizing.best
    if best is None:
        yield from _none_does(sizing)
        return
    ample, spare = (best.flow_spare_share or 0.0) >= SPARE, number(100.0 * (best.flow_spare_share or 0.0))
    has = (
        f"{number(best.power_w)} W, with {spare} % of flow to spare "
        f"({'at least' if ample else 'less than'} the {100.0 * SPARE:.0f} % that are usual; common "
        "practice, no source)"
    )
    if best.cautions:
        yield (
            f"Nothing is advised: each that gives every jet enough goes beyond a limit. Nearest comes "
            f"{named(best)}, {has}, but: {'; '.join(best.cautions)}."
        )
        yield from _mend_words(sizing)
    else:
        among = "give every jet enough within what suction, filter and breaker bear"
        among += " and have flow to spare" if ample else ""
        yield f"{named(best)}: of the pumps that {among}, it uses the least power: {has}."
    for given in sizing.given:
        if given.enough and given.power_w < best.power_w:
            why = (
                "; ".join(given.cautions)
                or f"only {number(100.0 * (given.flow_spare_share or 0.0))} % to spare"
            )
            yield f"{named(given)} gives every jet enough with {number(given.power_w)} W, but: {why}."
    now = [given for given in sizing.given if given.pump.endswith("(as drawn)")][-1]
    if best.pump != now.pump:
        change = now.power_w - best.power_w
        draws = f"{number(abs(change))} W {'less' if change > 0.0 else 'more'}" if change else "the same"
        yield (
            f"The pump as drawn gives the weakest jet {number(100.0 * now.weakest_jet_share)} % at "
            f"{number(now.power_w)} W: {named(best)} draws {draws} while the jets run."
        )
    then = [(c.what, c.as_drawn if best.pump == now.pump else c.best) for c in sizing.changes]
    worse = [what for what, given in then if given is not None and not given.enough]
    if worse:
        yield f"With {listed(worse)} it would be too small, even at its highest speed."


def _none_does(sizing: PumpSizing) -> Iterator[str]:
    """How near one comes, and what would make one do: wider pipes, or two pumps."""
    most = max(sizing.given, key=lambda given: given.weakest_jet_share)
    yield (
        f"None gives every jet enough: {named(most)} comes nearest, with "
        f"{number(100.0 * most.weakest_jet_share)} % at the weakest."
    )
    yield from _mend_words(sizing)
    enough = [a for a in sizing.arrangements if a.weakest_jet_share >= 1.0]
    if enough:
        least = _least(enough)
        yield (
            f"{least.how.capitalize()} of {least.pump} would do: "
            f"{number(100.0 * least.weakest_jet_share)} % at the weakest, {number(least.power_w)} W"
            f"{_minding(least)}."
        )


def _mend_words(sizing: PumpSizing) -> Iterator[str]:
    """What wider pipes would do."""
    if sizing.mend:
        what, given = sizing.mend
        yield (
            f"With {what}, {named(given)} would do: {number(100.0 * given.weakest_jet_share)} % at the "
            f"weakest, {number(given.power_w)} W{_minding(given)}."
        )
    else:
        yield "Pipe up to two sizes wider, to the jets and from the tub, does not mend that."


def _least(enough: Sequence[Arrangement]) -> Arrangement:
    """Within its limits first, then the least power."""
    return min(enough, key=lambda arrangement: (bool(arrangement.cautions), arrangement.power_w))


def _minding(candidate: Given | Arrangement) -> str:
    return f"; but: {'; '.join(candidate.cautions)}" if candidate.cautions else ""


def named(given: Given) -> str:
    """A pump and its speed."""
    return given.pump if given.speed == "on" else f"{given.pump} at {given.speed}"


def _say_changes(page: Page, sizing: PumpSizing) -> None:
    best = sizing.best
    jet = "weakest jet, {unit}\n"
    columns = [
        words(""),
        Column("asked\n{unit}", unit="L/min"),
        Column("asked\n{unit}", unit="m"),
        Column(f"{jet}as drawn", unit="%"),
        *([Column(f"{jet}{best.pump}", unit="%")] if best and best.pump != sizing.given[0].pump else []),
    ]
    rows: list[tuple[Cell, ...]] = []
    for change in sizing.changes:
        asked = (
            (None, None) if change.asked is None else (change.asked.flow_m3_s * 60_000.0, change.asked.head_m)
        )
        jets = (change.as_drawn, change.best)[: len(columns) - 3]
        rows.append((change.what, *asked, *(percent(jet.weakest_jet_share) if jet else None for jet in jets)))
    page.table(columns, rows, "What other pipes would do, at the highest speed")


def _say_arrangements(page: Page, sizing: PumpSizing) -> None:
    page.table(
        [
            words(""),
            words("pump"),
            Column("flow in\nall, {unit}", unit="L/min"),
            Column("weakest\njet, {unit}", unit="%"),
            Column("power\n{unit}", unit="W of pump"),
            Column("limits\nkept"),
        ],
        (
            (
                a.how,
                a.pump,
                a.total_flow_m3_s * 60_000.0,
                100.0 * a.weakest_jet_share,
                a.power_w,
                not a.cautions,
            )
            for a in sorted(sizing.arrangements, key=lambda a: (a.weakest_jet_share < 1.0, a.power_w))
        ),
        "One pump, two in parallel, or two loops",
    )
    enough = [a for a in sizing.arrangements if a.weakest_jet_share >= 1.0]
    if enough:
        least = _least(enough)
        taken = f"{least.how}, {least.pump}, {number(least.power_w)} W{_minding(least)}"
        page.line(of_pump(f"Least power that gives every jet enough: {taken}."))
    page.line("Limits: of suction and filters, for two pumps at once where they share them.")
    page.line(
        "Two in parallel share these pipes: at more flow the pipes take more head, so that two never give "
        "twice. Two loops have pipes of their own, as long as these, with half of the jets each."
    )
    page.line(SERIES)


# -- plain values ------------------------------------------------------------------------------------------


def pump_values(sizing: PumpSizing) -> dict[str, Any]:
    """The same as plain values; the unit is in the key."""
    return {
        "title": sizing.scenario.title,
        "pump": sizing.pump,
        "jets_need_m3_s": sizing.rated_m3_s,
        "asked": asdict(sizing.asked),
        "given": [asdict(given) for given in sizing.given],
        "best": None if sizing.best is None else asdict(sizing.best),
        "advice": list(pump_advice(sizing)),
        "assumed_powers": list(sizing.assumed),
        "wider_pipes_that_do": None
        if sizing.mend is None
        else {"what": sizing.mend[0], "given": asdict(sizing.mend[1])},
        "other_pipes": [asdict(change) for change in sizing.changes],
        "arrangements": [asdict(arrangement) for arrangement in sizing.arrangements],
        "system_m3_s_m": sizing.system,
        "curves_m3_s_m": [
            {"pump": pump, "speed": speed, "points": points} for pump, speed, points in sizing.curves
        ],
    }
