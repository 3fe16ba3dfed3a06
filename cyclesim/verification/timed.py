"""Facts of time: from the times that the file declares, and seen again on a year's trace."""

from __future__ import annotations

from collections.abc import Iterator
from math import inf

from cyclesim.analysis.amounts import lasting
from cyclesim.analysis.energy import starts_of, within_an_hour
from cyclesim.analysis.findings import Breach
from cyclesim.analysis.history import History
from cyclesim.analysis.rules import RULES, judge
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.engine import simulate_trace
from cyclesim.simulation.programme import Programme
from cyclesim.verification.answer import Timed

TRACE_DAYS = 365
_HOUR_S = 3600.0


def year_of(plant: Assembly, programme: Programme) -> History:
    """A year of the plant as it is."""
    return History(plant, programme, simulate_trace(plant, programme, days=TRACE_DAYS))


def timed(plant: Assembly, programme: Programme, year: History | None = None) -> Iterator[Timed]:
    """Run-on, proof, changeover and starts in an hour: as declared, and on the trace of a year."""
    limits, dwell_s = plant.scenario.limits, programme.controller.dwell_s
    history = year or year_of(plant, programme)
    run_on, proof, changes = (_broken(history, rule) for rule in _SEEN)
    for name in programme.switched:
        own_s = plant.sheet.heat_sources[name].own_flow_switch_s or 0
        run_on_s = max(programme.run_on_s(name), _outlasts_s(programme, name))
        proof_s = max(programme.proof_s(name) or 0, own_s)
        yield _at_least("run-on", name, run_on_s, limits.run_on_s, run_on.get(name))
        yield _at_least("proof of flow", name, proof_s, limits.proof_time_s, proof.get(name))
    for name, pump in plant.pumps.items():
        if len(pump.speeds) > 1:
            change_s, opens_s = dwell_s[name]["changing"], pump.opens_within_s
            holds, seen = change_s > opens_s, changes.get(name)
            enough = "is long enough" if holds else "is too short"
            said = f"its changeover of {lasting(change_s)} {enough}: its contacts open within "
            said += f"{lasting(opens_s)}{_in_year(holds, seen)}"
            yield Timed("changeover", name, change_s, opens_s, holds, seen is None, said)
        apart_s = dwell_s[name]["stopped"] + min(dwell_s[name][speed] for speed in pump.speeds)
        yield _starts(history, name, _HOUR_S / apart_s if apart_s else inf, limits.starts_per_hour)


_SEEN = ("no-run-on", "heat-before-proof", "both-speeds-at-once")


def _broken(history: History, rule: str) -> dict[str, Breach]:
    """What broke a rule in the year, the worst for each subject."""
    breaches = [b for b in judge(RULES[rule], history) if isinstance(b, Breach)]
    return {b.subject: b for b in sorted(breaches, key=lambda b: b.worst or 0.0)}


def _in_year(holds: bool, seen: Breach | None) -> str:
    """What the year adds to what is declared."""
    if seen is not None:
        also = "; all the same" if holds else "; and"
        return f"{also} the simulated year did not keep it: {seen.cause}"
    return ", and the simulated year kept it" if holds else "; the simulated year kept it all the same"


def _starts(history: History, name: str, most: float, limit: float) -> Timed:
    """How often a pump may start in an hour, and how often it did."""
    counts = within_an_hour(starts_of(history.trace.pumps[name]))
    had = int(counts.max()) if len(counts) else 0
    holds = most <= limit
    said = f"its rest and least run allow {most:.0f} starts an hour, with {limit:g} allowed"
    if not holds:
        allow = (
            f"its rest and least run allow {most:.0f}" if most < inf else "it has no rest and no least run"
        )
        said = f"nothing limits it to {limit:g} starts an hour ({allow})"
    said += f"; the simulated year had {had or 'none'}{' at most' if had else ''}"
    return Timed("starts in an hour", name, most, limit, holds, had <= limit, said)


def _outlasts_s(programme: Programme, source: str) -> float:
    """How long a contact that a heat source closes outlasts it, and so keeps its pump running [s]."""
    return max(
        (b.line.lasting_s or 0.0 for b in programme.beside if b.line.contact_of == source), default=0.0
    )


def _at_least(kind: str, name: str, is_s: float, limit_s: float, seen: Breach | None) -> Timed:
    holds = is_s >= limit_s
    said = f"it has no {kind}, expected {lasting(limit_s)}"
    if is_s:
        enough = "is long enough" if holds else "is too short"
        said = f"its {kind} of {lasting(is_s)} {enough} ({lasting(limit_s)} expected)"
    return Timed(kind, name, is_s, limit_s, holds, seen is None, said + _in_year(holds, seen))
