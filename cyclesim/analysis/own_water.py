"""Own water of heat sources: what it did, whether it stood while the source was on, whether it froze."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from cyclesim.analysis import mends
from cyclesim.analysis.amounts import apart
from cyclesim.analysis.device_metrics import OwnWaterMetrics
from cyclesim.analysis.energy import Meter, starts_of
from cyclesim.analysis.findings import PRACTICE, Breach, Change, Judged, Rule, Subject
from cyclesim.analysis.history import History
from cyclesim.analysis.spans import meet, spans, total_s, while_in
from cyclesim.analysis.truth import Snapshot, Timeline, own_still
from cyclesim.scenario.blocks.schedule import Block
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.own_water import circuits
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.trace import Trace

_H_S, _KWH = 3600.0, 3.6e6
OWN_WATER_FREEZES = "own-water-freezes"


def measure_own_waters(
    plant: Assembly, trace: Trace, truth: Timeline, metered: Meter
) -> dict[str, OwnWaterMetrics]:
    """What the own water of each source did that has some, and its circulator."""
    found = {}
    for name, circuit in circuits(plant).items():
        rows, turned = trace.own_waters[name], circuit.sheet.circulator
        pump, heat = trace.circulators[turned], while_in(trace.burners[name], "on")
        total = metered.total(turned)
        found[name] = OwnWaterMetrics(
            circulator=turned,
            circulator_h=total_s(while_in(pump, "on")) / _H_S,
            circulator_starts=len(starts_of(pump)),
            circulator_energy_kwh=total.energy_kwh,
            circulator_cost=total.cost,
            flow_l_min=circuit.flow_m3_s * 60_000.0,
            ua_w_k=circuit.ua_w_k,
            heat_on_h=total_s(heat) / _H_S,
            heat_starts=int(np.sum(heat[:, 0] > 0.0)),
            still_while_on_h=total_s(meet(truth.hot[name], own_still(plant, trace, name))) / _H_S,
            given_kwh=float(np.sum(rows.given_j)) / _KWH,
            over_kwh=float(np.sum(rows.over_j)) / _KWH,
            lost_kwh=float(np.sum(rows.lost_j)) / _KWH,
            hottest_c=float(np.max(rows.source_c)),
            coldest_c=float(np.min(rows.coldest_c)),
            freezes_c=circuit.freezes_c,
        )
    return found


def own_water_still(snapshot: Snapshot, plant: Assembly) -> Iterator[Breach]:
    """A source is on while no circulator turns its own water: what stands in it takes all of its heat."""
    running = {name for name, speeds in snapshot.contacts if speeds}
    for name, truth in snapshot.sources:
        if not (truth.hot and truth.own_still) or name in plant.behind_plates:
            continue
        circuit = plant.sheet.heat_sources[name].own_water
        assert circuit is not None, "its own water stands"
        turned = circuit.circulator
        cause = f"it is on while {turned} stands"
        if turned in running:
            cause = f"it is on, and {turned} turns none of its own water though it is switched on"
        ways = [s.partition(", ")[2] for s in sorted(snapshot.started) if s.startswith(f"{name}, ")]
        if ways:
            cause = f"its {ways[0]} runs it while {turned} stands"
        mend = _FLOW_SWITCH
        if circuit.flow_switch:
            mend = "see why its contactor stays closed"
        elif not (ways or turned in running or _is_blocked(plant, name, turned)):
            mend = f"wire {{block: {name}, while: {turned} stopped}}"
        yield Breach(name, cause, None, "s", "", mend)


_FLOW_SWITCH = "a flow switch in its own water that holds it off: own_water: flow_switch: true"


def _is_blocked(plant: Assembly, name: str, turned: str) -> bool:
    blocks = [line for line in plant.scenario.interlocks if isinstance(line, Block)]
    return any(line.block == name and line.while_ == f"{turned} stopped" for line in blocks)


def _turned(plant: Assembly, programme: Programme, about: Subject) -> Iterator[Change]:
    """Hold it off while its circulator stands: by the controller, or by a switch that feels the water."""
    del programme
    circuit = plant.sheet.heat_sources[about.name].own_water
    assert circuit is not None, "only these are judged"
    if not _is_blocked(plant, about.name, circuit.circulator):
        yield mends.blocked_while(about.name, f"{circuit.circulator} stopped")
    if not circuit.flow_switch:
        switch = mends.with_value(True, "plant", "heat_sources", about.name, "own_water", "flow_switch")
        yield mends.change(_FLOW_SWITCH, switch)


def _sources(plant: Assembly, programme: Programme) -> Iterator[Subject]:
    """Every heat source with water of its own; collectors are built to stand hot."""
    del programme
    for name, source in plant.sheet.heat_sources.items():
        if source.own_water is not None and source.switched:
            yield Subject(name, (name, source.own_water.circulator), late=True)


def own_water_unwatched(plant: Assembly, programme: Programme) -> Judged:
    """Nothing holds a source off while its circulator stands: no block by its contact, no switch."""
    for about in _sources(plant, programme):
        circuit = plant.sheet.heat_sources[about.name].own_water
        assert circuit is not None, "only these are judged"
        if not (circuit.flow_switch or _is_blocked(plant, about.name, circuit.circulator)):
            cause = f"nothing holds it off while {circuit.circulator} stands"
            yield Breach(about.name, cause, None, "", "", _FLOW_SWITCH)


def plates_hardly_possible(plant: Assembly, programme: Programme) -> Judged:
    """A rating of plates is nearly all that its smaller flow could take: a misread line of a data sheet."""
    del programme
    for name, source in plant.sheet.heat_sources.items():
        rated = source.own_water.exchanger.rated if source.own_water else None
        if rated is None:
            continue
        least_w_k = plant.per_m3_k * min(rated.hot_flow_m3_s, rated.cold_flow_m3_s)
        share = rated.output_w / (least_w_k * (rated.hot_in_c - rated.cold_in_c))
        if share > _HARDLY_POSSIBLE:
            value, most = apart(100.0 * share, 100.0 * _HARDLY_POSSIBLE, 1)
            cause = "its plates are rated at nearly all that their smaller flow could take"
            text = f"{value} % of what is possible; more than {most} % is rare"
            yield Breach(name, cause, 100.0 * share, "%", text, _READ_AGAIN)


_HARDLY_POSSIBLE = 0.95
"""Common practice, no source: few plates are built for more, and a misread flow soon says so."""
_READ_AGAIN = "read output, flows and inlets in one line of the data sheet again"


def own_water_freezes(history: History) -> Judged:
    """The own water of a source comes to its freezing point, glycol in it or none."""
    for name, circuit in circuits(history.plant).items():
        rows = history.trace.own_waters[name]
        below = rows.coldest_c <= circuit.freezes_c
        for start, end in spans(np.column_stack((rows.start_s[below], rows.end_s[below]))).tolist():
            inside = below & (rows.start_s >= start) & (rows.end_s <= end)
            coldest = float(np.min(rows.coldest_c[inside]))
            kept = _kept_by(circuit.sheet.glycol)
            cause = f"{circuit.zone} cools it, and {kept} {circuit.freezes_c:.1f} degC"
            text = f"{coldest:.1f} degC, if it were liquid still"
            yield Breach(
                name, cause, coldest, "degC", text, _MORE_GLYCOL, start, end - start, less_is_worse=True
            )


_MORE_GLYCOL = "own_water: more glycol, measured with a refractometer; or let it lie where it does not freeze"


def _kept_by(glycol: float) -> str:
    return f"{100.0 * glycol:g} % glycol keeps it down to" if glycol else "water without glycol freezes at"


RULES: tuple[Rule, ...] = (
    Rule(
        "own-water-still",
        "state",
        "danger",  # what stands in it boils, and its vessel has only its relief valve left
        sentence="No switched heat source is on while its own water, behind a plate exchanger, stands.",
        source=PRACTICE,
        mend="hold it off while its circulator stands",
        judge=own_water_still,
        principles=(
            "a high limit of its own behind the interlock, and a relief valve behind both: common practice, "
            "no source",
        ),
        subjects=_sources,
        nothing="no switched heat source has water of its own",
        changes=_turned,
    ),
    Rule(
        "own-water-unwatched",
        "plant",
        "danger",  # a circulator that fails is found out by its boiling
        sentence="Every heat source with water of its own is held off while its circulator stands.",
        source=PRACTICE,
        mend="a flow switch in its own water, or a block by its circulator's contact",
        judge=own_water_unwatched,
        applies=lambda plant, programme: any(_sources(plant, programme)),
    ),
    Rule(
        "plates-hardly-possible",
        "plant",
        "comfort",  # less heat goes over than the file makes believe
        sentence="No plate exchanger is rated at more than 95 % of what its smaller flow could take.",
        source=PRACTICE,
        mend=_READ_AGAIN,
        judge=plates_hardly_possible,
        applies=lambda plant, _: any(
            source.own_water and source.own_water.exchanger.rated
            for source in plant.sheet.heat_sources.values()
        ),
    ),
    Rule(
        OWN_WATER_FREEZES,
        "history",
        "danger",  # ice bursts plates, pipes and the source
        sentence="No heat source's own water comes to its freezing point.",
        source="Lange's Handbook of Chemistry, 15th ed., table 5.13, for propylene glycol; 0 degC without",
        mend=_MORE_GLYCOL,
        judge=own_water_freezes,
        applies=lambda plant, _: any(source.own_water for source in plant.sheet.heat_sources.values()),
    ),
)
