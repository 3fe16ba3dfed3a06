"""Every shipped plant run twice, by cyclesim and by the reference of this folder, and laid side by side.

Open loop: the reference is driven by what cyclesim's actuators did. Closed loop: it has a control of its own.
`python -m tests.wholes.compare` prints the rows.

Where the two differ by design the reference has both readings, and the difference is a row of its own:

- cyclesim lets pumps and sources warm the tub at once; here heat enters where the device sits and arrives
  with the flow. In open loop the reference keeps to the truth, and the difference in heat lost is compared
  with what UA times the warmer stretch comes to. In closed loop it follows cyclesim's reading: heat that is
  late by the way from heater to tub makes a thermostat's cycle a few per cent longer, and the phase of every
  cycle after it another. Energy hardly minds, which is a row of its own. Starts do, but either way: whether
  one falls into a filter run is luck, over forty days of long-table with bands of 0.25 to 0.4 K from a
  quarter fewer to a tenth more.
- cyclesim mixes a loop's cold water into the tub when it has turned over; here it arrives bit by bit. Until
  then cyclesim's tub is the warmer one, by no more than the cold that the loop held; ten minutes later by
  nothing.
- Inertia is a fact, not water: a pump that coasts moves nothing more in cyclesim. With the coasting water the
  oldest ages stay the same.

No shipped plant lets water circle past the tub, so that nothing is said of that here.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

import cyclesim
from cyclesim.scenario.load import load
from cyclesim.scenario.model import Scenario
from tests.evidence.record import Check
from tests.wholes.closedloop import Closed
from tests.wholes.hydraulics import Hydraulics
from tests.wholes.openloop import Run, driven, states_of
from tests.wholes.plant import TUB, Layout
from tests.wholes.rules import RESTATED, broken
from tests.wholes.water import STILL_M3_S, Duties, ages

FOLDER = Path(__file__).parents[2] / "schedules"
DAYS, FILLS_DAYS, DAY_S, HOUR_S = 16, 2, 86_400, 3600
"""Two weeks, and two days before them that fill the pipes with water of known birth in open loop."""
SOURCE, STATUS = "tests/wholes, an independent reference at 1 s", "computed"
AGE_S, AGE_SHARE, TUB_K, ENERGY_OPEN = 2.0, 1e-3, 0.05, 2e-3
AGE_CLOSED, STARTS, ENERGY_CLOSED = 0.02, 0.01, 5e-3


@dataclass(frozen=True)
class Case:
    """A shipped file, when it is run, what is set so that the span has frost, and what it has."""

    file: str
    first_day: date
    sets: tuple[str, ...]
    has: str
    spoiled: tuple[str, ...]
    """What is set besides to break rules."""


EUROPE, AMERICA = date(2027, 3, 16), date(2027, 3, 2)
COLD = "place.weather.mean=7 degC"
CASES = {
    case.file: case
    for case in (
        Case(
            "walled-garden",
            EUROPE,
            (COLD,),
            "frost protection (8 K colder than shipped), clock change on 28 March",
            (
                "interlocks.2=null",
                "interlocks.0=null",
                "schedule.line_flushes.0.lasts=10 s",
                "plant.pumps.main.changeover=30 s",
            ),
        ),
        Case(
            "walled-garden-circulator",
            EUROPE,
            (COLD,),
            "frost protection (8 K colder than shipped), clock change on 28 March",
            (
                'schedule.line_flushes=[{pump: jets, start: "23:30", lasts: 30 s, days: [monday, friday]}]',
                "schedule.filter_runs.0.lasts=30 min",
                "interlocks.2=null",
                "schedule.frost_protection.starts_below=-20 degC",
                "schedule.heating.within=8 K",
            ),
        ),
        Case(
            "high-valley",
            EUROPE,
            (),
            "frost protection, bathing, three ready-by, heat pump and element, clock change on 28 March",
            (
                "schedule.frost_protection.starts_below=-30 degC",
                "place.weather.mean=-4 degC",
                "schedule.outages=[{from: 2027-03-24 01:00, lasts: 6 h}]",
            ),
        ),
        Case(
            "long-table",
            EUROPE,
            ("place.weather.mean=4 degC", "place.zones.cellar.never_below=1 degC"),
            "frost protection (7 K colder than shipped, cellar unheated), drawn bathing, blower, ready-by on"
            " three days a week, clock change on 28 March in which the filter run at 02:00 does not exist",
            (
                'schedule.line_flushes.0.start=["07:15", "18:40"]',
                "supply.breaker=28 A",
                "plant.pumps.main.rest=20 s",
                'schedule.filter_runs=[{pump: main low, start: ["02:00", "10:00"], lasts: 2 h},'
                ' {pump: main low, start: "12:01", lasts: 2 h}]',
            ),
        ),
        Case(
            "cedar-yard",
            AMERICA,
            (),
            "frost protection, bathing, boiler, clock change on 14 March",
            (
                "plant.pumps.circulator.rest=20 s",
                "schedule.heating.within=5 degF",
                "schedule.bathing.0.lasts=70 min",
                'schedule.line_flushes.0.start=["08:00", "20:20"]',
            ),
        ),
    )
}


@cache
def scenario(case: Case, *, spoiled: bool = False) -> Scenario:
    """The file with what is set."""
    sets = case.sets + (case.spoiled if spoiled else ())
    return load(FOLDER / f"{case.file}.yaml", sets=sets)


@cache
def ours(case: Case, *, spoiled: bool = False) -> Any:
    """cyclesim's own run."""
    return cyclesim.simulate(scenario(case, spoiled=spoiled), start=case.first_day, days=DAYS)


@cache
def closed(case: Case, *, to_tub: bool = True, spoiled: bool = False) -> Closed:
    """The reference under its own control."""
    return Closed(scenario(case, spoiled=spoiled), case.first_day, DAYS, to_tub=to_tub).run()


def starts_of(trace: Any) -> list[int]:
    """The seconds at which some pump starts from rest."""
    found = set()
    for stream in trace.pumps.values():
        at, states = states_of(stream)
        found |= {int(t) for t, was, now in zip(at[1:], states, states[1:], strict=False) if was == "stopped"}
    return sorted(found)


@cache
def opened(case: Case, *, to_tub: bool = False) -> Run:
    """The reference driven by cyclesim's actuators."""
    trace = ours(case).trace
    moments = tuple(t + after for t in starts_of(trace) for after in AFTER_START_S)
    return driven(scenario(case), trace, to_tub=to_tub, moments=moments)


AFTER_START_S = (5, 10, 20, 30, 40, 60, 80, 600)


def tub_at(trace: Any, seconds: np.ndarray) -> np.ndarray:
    """cyclesim's tub: known where its pieces begin, a straight line from their mean in between."""
    tub = trace.tub
    k = np.searchsorted(tub.start_s, seconds, side="right") - 1
    lasts = (tub.end_s - tub.start_s)[k]
    slope = 2.0 * (tub.water_integral_k_s[k] / lasts - tub.water_c[k]) / lasts
    return np.asarray(tub.water_c[k] + slope * (seconds - tub.start_s[k]))


def hourly(trace: Any) -> np.ndarray:
    """cyclesim's tub at every hour and at the end."""
    return np.append(tub_at(trace, np.arange(0, trace.span_s, HOUR_S)), trace.end_water_c)


# -- rows ------------------------------------------------------------------------------------------------


def checks(files: tuple[str, ...] = tuple(CASES), *, design: bool = True) -> Iterator[Check]:
    """Every row of these files; without *design* only open and closed loop as shipped."""
    for file in files:
        case = CASES[file]
        yield from open_loop(case)
        yield from closed_loop(case)
        if design:
            yield from spoiled(case)
            yield from by_design(case)


def _row(case: Case, group: str, what: str, says: float, got: float, unit: str, tolerance: float) -> Check:
    inputs = f"{case.file}, {DAYS} days from {case.first_day}: {case.has}"
    return Check(
        f"wholes/{case.file}/{group}/{what}".replace(" ", "-"),
        f"whole plants, {group}",
        what,
        inputs,
        float(says),
        float(got),
        unit,
        float(tolerance),
        SOURCE,
        STATUS,
    )


def open_loop(case: Case) -> Iterator[Check]:
    """Ages, temperatures, energy under the same actuators."""
    result, run = ours(case), opened(case)
    trace, begin = result.trace, FILLS_DAYS * DAY_S
    for name, piece in Layout(scenario(case)).reported.items():
        rows, age = trace.ages[name], run.ages[piece]
        counted = rows.start_s >= begin
        most, first = float(rows.oldest_peak_s[counted].max()), float(rows.start_s[counted].min())
        says = age.peak_s(first, trace.span_s)
        yield _row(case, "open loop", f"oldest water, {name}", says, most, "s", AGE_S + AGE_SHARE * says)
        got, said = _worst_interval(rows, age, begin)
        yield _row(
            case,
            "open loop",
            f"oldest water in any interval, {name}",
            said,
            got,
            "s",
            AGE_S + AGE_SHARE * said,
        )
    tub = hourly(trace)
    k = int(np.argmax(np.abs(tub - run.hourly_c)))
    yield _row(case, "open loop", f"tub, worst of {len(tub)} hours", run.hourly_c[k], tub[k], "degC", TUB_K)
    energy, fuel = sum(run.energy_j.values()) - run.energy_j["fuel"], run.energy_j["fuel"]
    for what, says, got in (
        ("electricity", energy / 3.6e6, result.metrics.energy.energy_kwh),
        ("fuel", fuel / 3.6e6, result.metrics.energy.fuel_kwh),
        ("lost through the cover", run.lost_j["cover"] / 3.6e6, trace.tub.cover_loss_j.sum() / 3.6e6),
        ("lost through the shell", run.lost_j["shell"] / 3.6e6, trace.tub.shell_loss_j.sum() / 3.6e6),
        ("lost from pipes and housings", run.lost_j["bodies"] / 3.6e6, bodies_j(trace) / 3.6e6),
    ):
        if says or got:
            yield _row(case, "open loop", what, says, got, "kWh", ENERGY_OPEN * says)


def _worst_interval(rows: Any, age: Any, begin_s: float) -> tuple[float, float]:
    """cyclesim's and the reference's peak in the interval of constant flow in which they differ most.

    A front that passes a junction is placed within a second or two by the reference, so that an interval may
    begin with old water in the one and not in the other: the reference's peak is taken with the interval's
    start moved by up to two seconds, whichever is nearest.
    """
    worst = (0.0, 0.0, -1.0)
    for start, end, peak in zip(rows.start_s, rows.end_s, rows.oldest_peak_s, strict=True):
        if start >= begin_s:
            says = min(
                (age.peak_s(start + by, end) for by in range(-2, 3) if start + by < end),
                key=lambda x: abs(x - peak),
            )
            over = abs(says - peak) / (AGE_S + AGE_SHARE * says)
            worst = max(worst, (over, float(peak), says), key=lambda w: w[0])
    return worst[1], worst[2]


def bodies_j(trace: Any) -> float:
    """Heat that pipes and housings lost [J]."""
    return float(sum(stay.loss_j.sum() for stay in trace.stays.values()))


def closed_loop(case: Case) -> Iterator[Check]:
    """Starts, energy, ages and findings of two controls."""
    result, run = ours(case), closed(case)
    for name, pump in result.metrics.pumps.items():
        says = len(run.starts(name))
        # a demand that begins while a pump runs on or rests by chance may cost or save one start
        yield _row(case, "closed loop", f"starts, {name}", says, pump.starts, "", max(1.0, STARTS * says))
    energy = sum(run.energy_j.values()) - run.energy_j["fuel"]
    yield _row(
        case, "closed loop", "electricity", energy / 3.6e6, result.metrics.energy.energy_kwh, "kWh",
        ENERGY_CLOSED * energy / 3.6e6,
    )  # fmt: skip
    if fuel := run.energy_j["fuel"] / 3.6e6:
        got = result.metrics.energy.fuel_kwh
        yield _row(case, "closed loop", "fuel", fuel, got, "kWh", ENERGY_CLOSED * fuel)
    for name, piece in run.layout.reported.items():
        says, got = run.ages[piece].peak_s(0, run.span_s), result.metrics.legs[name].oldest_water_h * HOUR_S
        yield _row(case, "closed loop", f"oldest water, {name}", says, got, "s", AGE_CLOSED * says)
    for name in (d.name for d in run.control.demands if "heating" not in d.name):
        says, got = (
            run.lanes[name].is_(0, run.span_s, "raised").sum(),
            result.trace.demands[name].seconds("raised"),
        )
        yield _row(case, "closed loop", f"raised, {name}", says, got, "s", 0.0)
    ready = [(t, c) for t, c, _ in run.ready if t >= 0]
    for (t, c), (at, water_c, _) in zip(ready, result.trace.ready, strict=True):
        yield _row(case, "closed loop", f"ready by second {t}", c, water_c, "degC", TUB_K)
        yield _row(case, "closed loop", f"ready by, the second of {t}", t, at, "s", 0.0)
    yield from _findings(case, "closed loop", result, run)


def _findings(case: Case, group: str, result: Any, run: Closed) -> Iterator[Check]:
    """1 where a rule is broken, for each of the restated rules."""
    mine, found = broken(run), {finding.rule for finding in result.findings}
    for rule in RESTATED:
        yield _row(case, group, f"breaks {rule}", rule in mine, rule in found, "", 0.0)


def spoiled(case: Case) -> Iterator[Check]:
    """The same file spoilt on purpose: the same rules are broken, and some are."""
    yield from _findings(case, "spoilt on purpose", ours(case, spoiled=True), closed(case, spoiled=True))


def by_design(case: Case) -> Iterator[Check]:
    """Where the two differ on purpose, that they differ by what was expected."""
    yield from _heat_where_it_enters(case)
    yield from _cold_water_arrives(case)
    yield from _coasting(case)


def _heat_where_it_enters(case: Case) -> Iterator[Check]:
    """Water behind a device is warmer than the tub: pipes lose more by UA times that, the tub is colder."""
    truth, tub = opened(case), opened(case, to_tub=True)
    layout = Layout(scenario(case))
    # what a colder tub saves in the pipes belongs to the consequence, not to the cause
    saved_j = _saved_j(layout, truth.duties, np.array(tub.hourly_c) - truth.hourly_c)
    more_j = truth.lost_j["bodies"] - tub.lost_j["bodies"] + saved_j
    expected_j = _warm_stretch_j(case, layout)
    yield _row(
        case, "by design", "more heat lost by pipes, as heat enters where the devices sit", expected_j / 3.6e6,
        more_j / 3.6e6, "kWh", 0.25 * expected_j / 3.6e6,
    )  # fmt: skip
    run, result = closed(case, to_tub=False), ours(case)
    energy = sum(run.energy_j.values()) / 3.6e6
    total = result.metrics.energy.energy_kwh + result.metrics.energy.fuel_kwh
    yield _row(
        case,
        "by design",
        "energy in closed loop, heat where the devices sit",
        energy,
        total,
        "kWh",
        0.015 * energy,
    )


def _saved_j(layout: Layout, duties: Duties, colder_k: np.ndarray) -> float:
    """Heat that pipes lose less because the tub is colder: UA while they flow, what they forget standing."""
    hydraulics, saved_j = Hydraulics(layout), 0.0
    for body in layout.bodies.values():
        stood = 0
        for start, end, speeds in (*duties, (duties[-1][1], duties[-1][1], layout.still)):
            if hydraulics.flows(speeds)[body.name] <= STILL_M3_S and end > start:
                stood += end - start
                continue
            k = colder_k[start // HOUR_S]
            saved_j += body.capacity_j_k * k * (1.0 - np.exp(-stood * body.ua_w_k / body.capacity_j_k))
            saved_j += body.ua_w_k * k * (end - start)
            stood = 0
    return float(saved_j)


def _warm_stretch_j(case: Case, layout: Layout) -> float:
    """Heat that pipes lose more: UA times how much warmer than the tub the water behind a device is, while it
    flows; and what of that warmth is left in them when it stops, as far as they forget it standing.
    """
    trace, plant, hydraulics = ours(case).trace, scenario(case).plant, Hydraulics(layout)
    streams = {**trace.pumps, **trace.sources}
    known = {name: states_of(s) for name, s in streams.items()}
    edges = sorted({int(t) for at, _ in known.values() for t in at} | {0, trace.span_s})
    whole_j, warmer_k, stood_s = 0.0, dict.fromkeys(layout.bodies, 0.0), dict.fromkeys(layout.bodies, 0)
    for start, end in zip(edges, edges[1:], strict=False):
        now = {n: st[int(np.searchsorted(at, start, side="right")) - 1] for n, (at, st) in known.items()}
        speeds = tuple("stopped" if now[n] == "changing" else now[n] for n in trace.pumps)
        flows = hydraulics.flows(speeds)
        rises = dict.fromkeys(layout.bodies, 0.0)
        for name in streams:
            if flows[name] > STILL_M3_S and (name in plant.pumps or now[name] == "firing"):
                if name in plant.pumps:
                    heat_w = plant.pumps[name].heat_to_water * plant.pumps[name].speeds[now[name]].power_w
                else:
                    heat_w = _output_w(case, name, start, end)
                for body, rise in _rises_k_w(layout, flows, name).items():
                    rises[body] += heat_w * rise
        for name, body in layout.bodies.items():
            if flows[name] <= STILL_M3_S:
                stood_s[name] += end - start
                continue
            forgotten = 1.0 - np.exp(-stood_s[name] * body.ua_w_k / body.capacity_j_k)
            whole_j += body.capacity_j_k * warmer_k[name] * forgotten
            whole_j += body.ua_w_k * rises[name] * (end - start)
            warmer_k[name], stood_s[name] = rises[name], 0
    return float(whole_j)


def _output_w(case: Case, name: str, start: int, end: int) -> float:
    """Mean output of a source over a while."""
    sheet, rows = scenario(case).plant.heat_sources[name], ours(case).trace.exchanges.get(name)
    if sheet.kind != "heat_pump" or rows is None:
        return sheet.output_w
    mine = (rows.start_s >= start) & (rows.end_s <= end)
    return float(rows.heat_j[mine].sum() / (end - start))


def _rises_k_w(layout: Layout, flows: dict[str, float], name: str) -> dict[str, float]:
    """By how much each body is warmer for a watt put in at *name*: the share of it that flows there / c Q."""
    found: dict[str, float] = {}
    if name in layout.bodies:  # its own water warms on the way through
        found[name] = 0.5 / (flows[name] * layout.water_j_m3_k)
    carried = {next(p.b for p in layout.pieces if p.name == name): 1.0}
    while nodes := set(carried) - {TUB}:
        node = nodes.pop()
        heat, out = (
            carried.pop(node),
            [p for p in layout.pieces if p.a == node and flows[p.name] > STILL_M3_S],
        )
        whole = sum(flows[p.name] for p in out)
        for p in out:
            if p.body is not None:
                part = p.volume_m3 / sum(q.volume_m3 for q in layout.pieces if q.body == p.body)
                found[p.body] = found.get(p.body, 0.0) + part * heat / (whole * layout.water_j_m3_k)
            carried[p.b] = carried.get(p.b, 0.0) + heat * flows[p.name] / whole
    return found


def _cold_water_arrives(case: Case) -> Iterator[Check]:
    """Until a loop has turned over cyclesim's tub lacks its cold water; ten minutes on it has all of it."""
    trace, run = ours(case).trace, opened(case)
    seconds = np.array(sorted(run.moments_c))
    apart = dict(
        zip(seconds.tolist(), tub_at(trace, seconds) - [run.moments_c[t] for t in seconds], strict=True)
    )
    starts = [t for t in starts_of(trace) if t in run.cold_k and t + 600 in apart]
    coldest = max(starts, key=lambda t: run.cold_k[t])
    early = max(apart.get(coldest + s, 0.0) for s in AFTER_START_S[:-1])
    cold_k = run.cold_k[coldest]  # the most that it can be; half of it is there a while before the last
    yield _row(
        case, "by design", "tub before its coldest loop counts, above the reference", 0.75 * cold_k, early, "K",
        0.25 * cold_k,
    )  # fmt: skip
    late = max((apart[t + 600] for t in starts), key=abs)
    yield _row(case, "by design", "tub ten minutes after a start, above the reference", 0.0, late, "K", TUB_K)


def _coasting(case: Case) -> Iterator[Check]:
    """Ages if the water of a pump that is switched off ran on for as long as the file says that it coasts."""
    trace, plant = ours(case).trace, scenario(case).plant
    layout = Layout(scenario(case))
    late: Duties = []
    for start, end, speeds in opened(case).duties:
        if late:
            was = late[-1][2]
            coasts = tuple(s if s != "stopped" else w for s, w in zip(speeds, was, strict=True))
            lasts = min(end - start, max(round(p.coasts_s) for p in plant.pumps.values()))
            if coasts != speeds and lasts:
                late.append((start, start + lasts, coasts))
                start += lasts
        if start < end:
            late.append((start, end, speeds))
    found = ages(layout, Hydraulics(layout), late, -1e9)
    for name, piece in layout.reported.items():
        if name in plant.legs:
            rows = trace.ages[name]
            counted = rows.start_s >= FILLS_DAYS * DAY_S
            says = found[piece].peak_s(float(rows.start_s[counted].min()), trace.span_s)
            got = float(rows.oldest_peak_s[counted].max())
            yield _row(
                case,
                "by design",
                f"oldest water if pumps coasted, {name}",
                says,
                got,
                "s",
                AGE_S + AGE_SHARE * says,
            )


def main() -> None:
    """Print every row, those that do not hold marked."""
    import sys

    for check in checks(tuple(sys.argv[1:]) or tuple(CASES)):
        mark = " " if check.holds else "!"
        print(
            f"{mark} {check.id:<90} {check.says:>12.4f} {check.ours:>12.4f} {check.difference:>+10.4f}"
            f" (within {check.tolerance:.4f} {check.unit})"
        )


if __name__ == "__main__":
    main()
