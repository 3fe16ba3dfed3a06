"""Facts of time: from the times that the file declares, and seen again on a year's trace."""

from __future__ import annotations

from collections.abc import Iterator

from cyclesim.analysis.amounts import lasting
from cyclesim.analysis.findings import Breach
from cyclesim.analysis.history import History
from cyclesim.analysis.rules import RULES, judge
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.engine import simulate_trace
from cyclesim.simulation.programme import Programme
from cyclesim.verification.answer import Timed

TRACE_DAYS = 365
_HOUR_S = 3600.0


def timed(plant: Assembly, programme: Programme) -> Iterator[Timed]:
    """Run-on, proof, changeover and starts in an hour: as declared, then on the trace of a year."""
    limits, dwell_s = plant.scenario.limits, programme.controller.dwell_s
    for name in programme.switched:
        own_s = plant.sheet.heat_sources[name].own_flow_switch_s or 0
        run_on_s = max(programme.run_on_s(name), _outlasts_s(programme, name))
        proof_s = max(programme.proof_s(name) or 0, own_s)
        yield _at_least("run-on", name, run_on_s, limits.run_on_s)
        yield _at_least("proof of flow", name, proof_s, limits.proof_time_s)
    for name, pump in plant.pumps.items():
        if len(pump.speeds) > 1:
            change_s = dwell_s[name]["changing"]
            sentence = (
                f"changeover of {lasting(change_s)}, contacts open within {lasting(pump.opens_within_s)}"
            )
            yield Timed(
                sentence, name, change_s, pump.opens_within_s, change_s >= pump.opens_within_s, "declared"
            )
        apart_s = dwell_s[name]["stopped"] + min(dwell_s[name][speed] for speed in pump.speeds)
        most = _HOUR_S / apart_s if apart_s else float("inf")
        count = f"at most {most:.0f}" if apart_s else "any number of"
        sentence = f"{count} starts an hour, {limits.starts_per_hour:g} are allowed"
        yield Timed(sentence, name, most, limits.starts_per_hour, most <= limits.starts_per_hour, "declared")
    history = History(plant, programme, simulate_trace(plant, programme, days=TRACE_DAYS))
    subjects = {
        "heat-before-proof": ("proof of flow", programme.switched, limits.proof_time_s),
        "both-speeds-at-once": (
            "changeover", [n for n, pump in plant.pumps.items() if len(pump.speeds) > 1], 0.0
        ),
        "no-run-on": ("run-on", programme.switched, limits.run_on_s),
        "too-many-starts": ("starts an hour", list(plant.pumps), limits.starts_per_hour),
    }  # fmt: skip
    for rule, (kind, names, limit) in subjects.items():
        broken = {b.subject: b.worst for b in judge(RULES[rule], history) if isinstance(b, Breach)}
        for name in names:
            yield Timed(kind, name, broken.get(name) or 0.0, limit, name not in broken, "trace")


def _outlasts_s(programme: Programme, source: str) -> float:
    """How long a contact that a heat source closes outlasts it, and so keeps its pump running [s]."""
    return max(
        (b.line.lasting_s or 0.0 for b in programme.beside if b.line.contact_of == source), default=0.0
    )


def _at_least(kind: str, name: str, is_s: float, limit_s: float) -> Timed:
    sentence = (
        f"{kind} of {lasting(is_s)}, expected {lasting(limit_s)}"
        if is_s
        else f"no {kind}, expected {lasting(limit_s)}"
    )
    return Timed(sentence, name, is_s, limit_s, is_s >= limit_s, "declared")
