"""Rules of the trade about flow, put to the test: flushes, jets on a pump, longer runs, two pumps."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cache, partial
from math import pi

from cyclesim.physics.links import loss
from cyclesim.scenario.forms.pipes import read_pipe
from cyclesim.simulation.assembly import Assembly, PlantDuty
from cyclesim.simulation.jets import jet_name, stretch_name
from tests.evidence.pipes import colebrook
from tests.evidence.plants import L_MIN, duty, plant, run
from tests.evidence.record import PRACTICE, Check, near

PAIR = "walled-garden-circulator"
RATED_L_MIN, ENOUGH = 38.0, 0.75
BOTH = ("left_bench", "right_bench")


# -- flushes ------------------------------------------------------------------------------------------------


def _with_length(metres: float) -> Assembly:
    return plant(PAIR, *(f"plant.legs.{leg}.length={metres:.2f} m" for leg in BOTH))


def _twice_s(on: Assembly, found: PlantDuty) -> float:
    """Seconds in which the slowest last jet gets its water twice, as cyclesim reckons."""
    last = [stretch_name(leg, on.sheet.legs[leg].manifold.jets) for leg in BOTH]  # type: ignore[union-attr]
    return 2.0 * max(found.reached_s[name] for name in last)


def _twice_by_hand_s(on: Assembly, found: PlantDuty) -> float:
    """The same, each stretch's volume over its flow added up along the way."""
    slowest = 0.0
    suction = on.sheet.legs["suction_left"]
    way_in = pi / 4.0 * suction.bore_m**2 * suction.length_m / found.flow_m3_s("suction_left")
    way_in += on.pumps["jets"].volume_m3 / found.flow_m3_s("jets")
    for leg in BOTH:
        sheet = on.sheet.legs[leg]
        assert sheet.manifold is not None
        area, spacing, jets = pi / 4.0 * sheet.bore_m**2, sheet.manifold.spacing_m, sheet.manifold.jets
        along = area * sheet.length_m / found.flow_m3_s(leg)
        for k in range(2, jets + 1):
            beyond = sum(found.flow_m3_s(jet_name(leg, i)) for i in range(k, jets + 1))
            along += area * spacing / beyond
        slowest = max(slowest, way_in + along)
    return 2.0 * slowest


def _longest_m(reckon: Callable[[Assembly, PlantDuty], float], seconds: float) -> float:
    """The longest pair of legs that a flush of so many seconds passes twice, to 0.25 m; 0 for none."""
    lengths = [0.0, *(0.25 * k for k in range(1, 4 * 60 + 1))]
    low, high = 0, len(lengths)
    while high - low > 1:
        middle = (low + high) // 2
        on = _with_length(lengths[middle])
        low, high = (middle, high) if reckon(on, duty(on, jets="on")) <= seconds else (low, middle)
    return lengths[low]


@cache
def _longest(reckon: Callable[[Assembly, PlantDuty], float], seconds: float) -> float:
    return _longest_m(reckon, seconds)


FLUSHED_BY = {
    "walled-garden": {"main": "high"},
    PAIR: {"jets": "on"},
    "high-valley": {"main": "high"},
    "long-table": {"main": "high"},
    "cedar-yard": {"jets": "on"},
}


def _needs_s(name: str, *sets: str) -> float:
    """Seconds in which a shipped plant's flush passes its slowest jet leg twice."""
    on = plant(name, *sets)
    legs = {leg: sheet.manifold.jets for leg, sheet in on.sheet.legs.items() if sheet.manifold is not None}
    found = duty(on, **FLUSHED_BY[name])
    return 2.0 * max(found.reached_s[stretch_name(leg, jets)] for leg, jets in legs.items())


def _flush_range() -> str:
    short, long = _longest(_twice_s, 15.0), _longest(_twice_s, 60.0)
    needs = sorted(_needs_s(name) for name in FLUSHED_BY)
    slow = _needs_s("walled-garden") / _low_s()
    return (
        f"Flushes of 15 to 60 s: the shipped plants need {needs[0]:.0f} to {needs[-1]:.0f} s to pass their"
        f" slowest jet"
        f" leg twice, so the lower end of the rule falls short by {100 * (1 - 15 / needs[0]):.0f} to"
        f" {100 * (1 - 15 / needs[-1]):.0f} %. With 6 jets to a 63 PN10 leg and a suction of 7 m, 15 s serve"
        f" {f'legs up to {short:g} m' if short else 'no leg at all'}, 60 s legs up to {long:g} m; on the"
        f" low speed of a two-speed pump a flush takes"
        f" {1 / slow:.1f} times as long."
    )


def _low_s() -> float:
    """The walled garden flushed on low."""
    on = plant("walled-garden")
    found = duty(on, main="low")
    return 2.0 * max(found.reached_s[stretch_name(leg, 6)] for leg in BOTH)


def _flushed(per_day: int) -> float:
    """Oldest water in a jet leg with so many flushes a day, evenly spread, and nothing else that moves it."""
    starts = ", ".join(f'"{24 * k // per_day:02}:30"' for k in range(per_day))
    sets = (f"schedule.line_flushes.0.start=[{starts}]", "schedule.quiet_hours=null")
    legs = run(PAIR, *sets, days=21).metrics.legs
    return max(legs[leg].oldest_water_h or 0.0 for leg in BOTH)


def _flushes_a_day() -> str:
    ages = {n: _flushed(n) for n in (1, 2, 4)}
    return (
        f"One to four flushes a day: the oldest water in a jet leg is {ages[1]:.1f}, {ages[2]:.1f} and"
        f" {ages[4]:.1f} h old at 1, 2 and 4 a day. One a day has nothing in hand against a limit of 24 h;"
        " four a day keep 6 h, and nothing here says that so much is needed."
    )


# -- jets on one pump ---------------------------------------------------------------------------------------


def with_jets(each_leg: int, *sets: str, name: str = PAIR) -> Assembly:
    """The shipped pair with so many jets on each of its two legs."""
    return plant(name, *(f"plant.legs.{leg}.manifold.jets={each_leg}" for leg in BOTH), *sets)


def _last_jet(on: Assembly, **speeds: str) -> float:
    """Flow of the weakest last jet as a share of its rating."""
    found = duty(on, **speeds)
    jets = on.sheet.legs["left_bench"].manifold.jets  # type: ignore[union-attr]
    return min(found.flow_m3_s(jet_name(leg, jets)) for leg in BOTH) * L_MIN / RATED_L_MIN


def most_jets(*sets: str, **speeds: str) -> int:
    """Jets, half on each leg, of which the last still gets three quarters of its rating."""
    return max(2 * n for n in range(1, 31) if n == 1 or _last_jet(with_jets(n, *sets), **speeds) >= ENOUGH)


def _bound_without_pipes(points: list[tuple[float, float]]) -> float:
    """Jets that a pump could feed at three quarters if nothing else cost head, by scipy."""
    from scipy.interpolate import PchipInterpolator
    from scipy.optimize import brentq

    flows, heads = zip(*points, strict=True)
    curve = PchipInterpolator(flows, heads)
    head = 6.0 * ENOUGH**2
    steep = float(curve.derivative()(flows[-1]))
    if heads[-1] > head:  # beyond the last point the curve goes on with its slope
        flow = flows[-1] + (head - heads[-1]) / steep
    else:
        flow = float(brentq(lambda q: float(curve(q)) - head, flows[0], flows[-1]))
    return flow / (RATED_L_MIN * ENOUGH)


def _most_on(name: str) -> int:
    """The same for a shipped plant's own legs, pump and jets."""
    own = {leg: sheet for leg, sheet in plant(name).sheet.legs.items() if sheet.manifold is not None}

    def enough(each: int) -> bool:
        on = plant(name, *(f"plant.legs.{leg}.manifold.jets={each}" for leg in own))
        found = duty(on, **FLUSHED_BY[name])
        needs = {leg: on.sheet.legs[leg].manifold.needs_flow_m3_s for leg in own}  # type: ignore[union-attr]
        return all(found.flow_m3_s(jet_name(leg, each)) >= (need or 0.0) for leg, need in needs.items())

    each = 1
    while each < 30 and enough(each + 1):
        each += 1
    return len(own) * each


def _jets_range() -> str:
    shares = {n: 100 * _last_jet(with_jets(n // 2), jets="on") for n in (8, 16, 24)}
    most = sorted(_most_on(name) for name in FLUSHED_BY)
    return (
        "8 to 16 jets on one pump: with jets of 38 L/min at 6 m and a pump of 1.6 kW, 8 jets give the last"
        " one"
        f" {shares[8]:.0f} % of its rating, 16 give {shares[16]:.0f} %, 24 give {shares[24]:.0f} %. The"
        f" shipped"
        f" plants keep three quarters up to {most[0]} to {most[-1]} jets. Jets are counted where flow is"
        f" meant:"
        " jets of half the flow would be twice as many."
    )


# -- a longer run -------------------------------------------------------------------------------------------


def _more_head_m(metres: float) -> float:
    """What the longer legs cost in head at the shipped flow, by cyclesim's pipes."""
    found = duty(plant(PAIR), jets="on")
    near_links = {link.name: link for link in plant(PAIR).links}
    far = plant(PAIR, f"plant.legs.left_bench.length={9 + metres:g} m")
    far_links, flow = {link.name: link for link in far.links}, found.flow_m3_s("left_bench")
    temp = far.temp_c
    return loss(far_links["left_bench"], temp)(flow)[0] - loss(near_links["left_bench"], temp)(flow)[0]


def _more_by_hand_m(metres: float) -> float:
    """Darcy and Colebrook with IF97 water for the added metres."""
    from iapws import IAPWS97

    bore = read_pipe("63 PN10").bore_m
    state = IAPWS97(T=plant(PAIR).temp_c + 273.15, P=0.101325)
    speed = duty(plant(PAIR), jets="on").flow_m3_s("left_bench") / (pi / 4.0 * bore**2)
    factor = colebrook(speed * bore * state.rho / state.mu, 1.5e-6 / bore)
    return factor * metres / bore * speed**2 / (2.0 * 9.80665)


def _wider() -> float:
    """The last jet's share with legs of 40 m one pipe size wider."""
    sets = [f"plant.legs.{leg}.{key}" for leg in BOTH for key in ("pipe=75 PN10", "length=40 m")]
    return _last_jet(plant(PAIR, *sets), jets="on")


def _longer() -> str:
    shares = {m: 100 * _last_jet(_with_length(m), jets="on") for m in (10.0, 20.0, 40.0)}
    return (
        f"A longer run needs a stronger pump: each 10 m more of 63 PN10 cost {_more_head_m(10.0):.2f} m of"
        f" head at"
        f" the shipped flow. Both legs of 10, 20 and 40 m leave the last jet {shares[10.0]:.0f},"
        f" {shares[20.0]:.0f}"
        f" and {shares[40.0]:.0f} % of its rating, so the saying is true and weak; 40 m one pipe size wider"
        f" give"
        f" {100 * _wider():.0f} % with the same pump."
    )


def checks() -> Iterator[Check]:
    """Flow by rule of thumb."""
    for seconds in (30.0, 60.0):
        yield near(
            f"flush-reach-{seconds:.0f}",
            "practice",
            "longest legs that a flush passes twice",
            f"{PAIR}, {seconds:.0f} s, 6 jets a leg",
            "m",
            partial(_longest, _twice_by_hand_s, seconds),
            partial(_longest, _twice_s, seconds),
            0.25,
            "flush 15 to 60 s, of the trade; volume over flow by hand",
            PRACTICE,
            relative=False,
            conclusion=_flush_range if seconds == 60.0 else None,
        )
    for count in (1, 2, 4):
        yield near(
            f"flushes-a-day-{count}",
            "practice",
            "oldest water in a jet leg",
            f"{PAIR}, {count} flushes a day",
            "h",
            str(24 / count),
            partial(_flushed, count),
            0.1,
            "one to four flushes a day, of the trade; 24 h over their number",
            PRACTICE,
            relative=False,
            conclusion=_flushes_a_day if count == 4 else None,
        )
    points = [(0.0, 15.0), (250.0, 13.0), (460.0, 9.3), (600.0, 5.0)]
    for count in (8, 16):
        yield near(
            f"jets-{count}",
            "practice",
            "last jet's share of its rating",
            f"{PAIR}, {count} jets",
            "",
            str(ENOUGH),
            lambda n=count: _last_jet(with_jets(n // 2), jets="on"),
            0.0,
            "8 to 16 jets on a pump, three quarters are enough, of the trade",
            PRACTICE,
            how="at least",
        )
    yield near(
        "jets-bound",
        "practice",
        "most jets on one pump",
        f"{PAIR}, 1.6 kW",
        "",
        partial(_bound_without_pipes, points),
        lambda: float(most_jets(jets="on")),
        0.0,
        "8 to 16 jets, of the trade; more than pipes without friction allow cannot be",
        PRACTICE,
        how="at most",
        conclusion=_jets_range,
    )
    for metres in (10.0, 30.0):
        yield near(
            f"longer-run-{metres:.0f}",
            "practice",
            "head for so many more metres",
            f"63 PN10, {metres:.0f} m more",
            "m",
            partial(_more_by_hand_m, metres),
            partial(_more_head_m, metres),
            0.005,
            "longer run, stronger pump, of the trade; Darcy and Colebrook by hand",
            PRACTICE,
            conclusion=_longer if metres == 30.0 else None,
        )
    yield near(
        "longer-run-wider",
        "practice",
        "last jet after 40 m of wider pipe",
        f"{PAIR}, both legs 75 PN10",
        "",
        lambda: _last_jet(_with_length(10.0), jets="on"),
        _wider,
        0.01,
        "longer run, stronger pump, of the trade; the shipped size at 10 m",
        PRACTICE,
        how="at least",
    )
