"""Rules of the trade about flow, put to the test: flushes, jets on a pump, longer runs, two pumps."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cache, partial
from math import pi

from cyclesim.physics.links import loss
from cyclesim.scenario.pipes import read_pipe
from cyclesim.simulation.assembly import Plant, PlantDuty, jet_name, stretch_name
from tests.evidence.pipes import colebrook
from tests.evidence.plants import L_MIN, duty, plant, run
from tests.evidence.record import PRACTICE, Check, near

PAIR = "walled-garden-circulator"
RATED_L_MIN, ENOUGH = 38.0, 0.75
_BOTH = ("left_bench", "right_bench")
_JETS = "[[0 L/min, 15 m], [250 L/min, 13 m], [460 L/min, 9.3 m], [600 L/min, 5 m]]"


# -- flushes ------------------------------------------------------------------------------------------------


def _with_length(metres: float) -> Plant:
    return plant(PAIR, *(f"plant.legs.{leg}.length={metres:.2f} m" for leg in _BOTH))


def _twice_s(on: Plant, found: PlantDuty) -> float:
    """Seconds in which the slowest last jet gets its water twice, as cyclesim reckons."""
    last = [stretch_name(leg, on.sheet.legs[leg].manifold.jets) for leg in _BOTH]  # type: ignore[union-attr]
    return 2.0 * max(found.reached_s[name] for name in last)


def _twice_by_hand_s(on: Plant, found: PlantDuty) -> float:
    """The same, each stretch's volume over its flow added up along the way."""
    slowest = 0.0
    suction = on.sheet.legs["suction_left"]
    way_in = pi / 4.0 * suction.bore_m**2 * suction.length_m / found.flow_m3_s("suction_left")
    way_in += on.pumps["jets"].volume_m3 / found.flow_m3_s("jets")
    for leg in _BOTH:
        sheet = on.sheet.legs[leg]
        assert sheet.manifold is not None
        area, spacing, jets = pi / 4.0 * sheet.bore_m**2, sheet.manifold.spacing_m, sheet.manifold.jets
        along = area * sheet.length_m / found.flow_m3_s(leg)
        for k in range(2, jets + 1):
            beyond = sum(found.flow_m3_s(jet_name(leg, i)) for i in range(k, jets + 1))
            along += area * spacing / beyond
        slowest = max(slowest, way_in + along)
    return 2.0 * slowest


def _longest_m(reckon: Callable[[Plant, PlantDuty], float], seconds: float) -> float:
    """The longest pair of legs that a flush of so many seconds passes twice, to 0.25 m; 0 for none."""
    lengths = [0.0, *(0.25 * k for k in range(1, 4 * 60 + 1))]
    low, high = 0, len(lengths)
    while high - low > 1:
        middle = (low + high) // 2
        on = _with_length(lengths[middle])
        low, high = (middle, high) if reckon(on, duty(on, jets="on")) <= seconds else (low, middle)
    return lengths[low]


@cache
def _longest(reckon: Callable[[Plant, PlantDuty], float], seconds: float) -> float:
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
    return 2.0 * max(found.reached_s[stretch_name(leg, 6)] for leg in _BOTH)


def _flushed(per_day: int) -> float:
    """Oldest water in a jet leg with so many flushes a day, evenly spread, and nothing else that moves it."""
    starts = ", ".join(f'"{24 * k // per_day:02}:30"' for k in range(per_day))
    sets = (f"schedule.line_flushes.0.start=[{starts}]", "schedule.quiet_hours=null")
    legs = run(PAIR, *sets, days=21).metrics.legs
    return max(legs[leg].oldest_water_h or 0.0 for leg in _BOTH)


def _flushes_a_day() -> str:
    ages = {n: _flushed(n) for n in (1, 2, 4)}
    return (
        f"One to four flushes a day: the oldest water in a jet leg is {ages[1]:.1f}, {ages[2]:.1f} and"
        f" {ages[4]:.1f} h old at 1, 2 and 4 a day. One a day has nothing in hand against a limit of 24 h;"
        " four a day keep 6 h, and nothing here says that so much is needed."
    )


# -- jets on one pump ---------------------------------------------------------------------------------------


def _with_jets(each_leg: int, *sets: str, name: str = PAIR) -> Plant:
    return plant(name, *(f"plant.legs.{leg}.manifold.jets={each_leg}" for leg in _BOTH), *sets)


def _last_jet(on: Plant, **speeds: str) -> float:
    """Flow of the weakest last jet as a share of its rating."""
    found = duty(on, **speeds)
    jets = on.sheet.legs["left_bench"].manifold.jets  # type: ignore[union-attr]
    return min(found.flow_m3_s(jet_name(leg, jets)) for leg in _BOTH) * L_MIN / RATED_L_MIN


def most_jets(*sets: str, **speeds: str) -> int:
    """Jets, half on each leg, of which the last still gets three quarters of its rating."""
    return max(2 * n for n in range(1, 31) if n == 1 or _last_jet(_with_jets(n, *sets), **speeds) >= ENOUGH)


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


def _jets_range() -> str:
    most = most_jets(jets="on")
    shares = {n: 100 * _last_jet(_with_jets(n // 2), jets="on") for n in (8, 16, 24)}
    return (
        f"8 to 16 jets on one pump: with jets of 38 L/min at 6 m and the shipped pump of 1.6 kW, 8 jets"
        f" give the last"
        f" one {shares[8]:.0f} % of its rating, 16 give {shares[16]:.0f} %, 24 give {shares[24]:.0f} %;"
        f" three quarters"
        f" are kept up to {most} jets. The rule counts jets where flow is meant: half as strong a jet"
        f" doubles it."
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


def _longer() -> str:
    shares = {m: 100 * _last_jet(_with_length(m), jets="on") for m in (10.0, 20.0, 40.0)}
    wide = [f"plant.legs.{leg}.pipe=75 PN10" for leg in _BOTH]
    long = [f"plant.legs.{leg}.length=40 m" for leg in _BOTH]
    wider = 100 * _last_jet(plant(PAIR, *long, *wide), jets="on")
    return (
        f"A longer run needs a stronger pump: both legs of 10, 20 and 40 m leave the last jet"
        f" {shares[10.0]:.0f},"
        f" {shares[20.0]:.0f} and {shares[40.0]:.0f} % of its rating; at 40 m one pipe size more gives"
        f" {wider:.0f} % with the same pump. So it holds, but slowly, and a wider pipe does as well as a"
        f" pump."
    )


# -- two pumps ----------------------------------------------------------------------------------------------

_SECOND = f"plant.pumps.second={{curve: {_JETS}, power: 1.6 kW, current: 7.4 A}}"
_SUCTION, _OUT = "{parallel: [suction_left, suction_right]}", "{parallel: [left_bench, right_bench]}"
SERIES = (_SECOND, f"plant.network.1=[tub, {_SUCTION}, jets, second, {_OUT}, tub]")
PARALLEL = (_SECOND, f"plant.network.1=[tub, {_SUCTION}, {{parallel: [jets, second]}}, {_OUT}, tub]")


def _total_l_min(way: tuple[str, ...], each_leg: int) -> float:
    """All jets' flow with two pumps one way or the other."""
    found = duty(_with_jets(each_leg, *way), jets="on", second="on")
    return L_MIN * sum(found.flow_m3_s(leg) for leg in _BOTH)


def _one_l_min(each_leg: int, sets: tuple[str, ...] = ()) -> float:
    found = duty(_with_jets(each_leg, *sets), jets="on")
    return L_MIN * found.flow_m3_s("jets")


def _by_composite(series: bool, each_leg: int) -> float:
    """Two pumps by adding heads or flows, on a system that is quadratic through one pump's duty."""
    from scipy.interpolate import PchipInterpolator
    from scipy.optimize import brentq

    flows, heads = (0.0, 250.0, 460.0, 600.0), (15.0, 13.0, 9.3, 5.0)
    curve, steep = PchipInterpolator(flows, heads), float(PchipInterpolator(flows, heads).derivative()(600.0))

    def pump(q: float) -> float:
        return float(curve(q)) if q <= 600.0 else 5.0 + steep * (q - 600.0)

    one = _one_l_min(each_leg)
    k = pump(one) / one**2
    head = (lambda q: 2.0 * pump(q)) if series else (lambda q: pump(q / 2.0))
    return float(brentq(lambda q: head(q) - k * q * q, one / 2.0, 2.2 * one))


@cache
def _crossing_m() -> float | None:
    """The length of both 63 PN10 legs, with 12 jets, beyond which series gives more than parallel."""
    for metres in range(5, 300, 5):
        sets = tuple(f"plant.legs.{leg}.length={metres} m" for leg in _BOTH)
        flows = {
            way: L_MIN * duty(plant(PAIR, *way, *sets), jets="on", second="on").flow_m3_s("left_bench")
            for way in (SERIES, PARALLEL)
        }
        if flows[SERIES] > flows[PARALLEL]:
            return float(metres)
    return None


def _two_pumps() -> str:
    each = {n: (_total_l_min(SERIES, n // 2), _total_l_min(PARALLEL, n // 2)) for n in (12, 24)}
    one = most_jets(jets="on")
    series, parallel = (most_jets(*way, jets="on", second="on") for way in (SERIES, PARALLEL))
    where = _crossing_m()
    crossing = f"from legs of {where:g} m on" if where else "not even with legs of 295 m"
    return (
        f"'Two pumps in series for more jets' is told the wrong way round: of one pump's {one} jets (the"
        f" last at three"
        f" quarters or more), two in series feed {series} and two in parallel {parallel}. With 24 jets"
        f" series moves"
        f" {each[24][0]:.0f} L/min, parallel {each[24][1]:.0f}; with 12, {each[12][0]:.0f} and"
        f" {each[12][1]:.0f}."
        f" Series adds head: with 12 jets it moves more than parallel {crossing}."
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
            lambda n=count: _last_jet(_with_jets(n // 2), jets="on"),
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
    for way, series in (("series", True), ("parallel", False)):
        for count in (12, 24):
            yield near(
                f"two-pumps-{way}-{count}",
                "practice",
                f"flow of two pumps in {way}",
                f"{PAIR}, {count} jets",
                "L/min",
                partial(_by_composite, series, count // 2),
                partial(_total_l_min, SERIES if series else PARALLEL, count // 2),
                0.02,
                f"{'heads' if series else 'flows'} of two curves added, quadratic system",
                "arithmetic",
            )
    yield near(
        "two-pumps-more-jets",
        "practice",
        "jets of two pumps in parallel over series",
        "the last at 75 % or more",
        "",
        "1",
        lambda: most_jets(*PARALLEL, jets="on", second="on") / most_jets(*SERIES, jets="on", second="on"),
        0.0,
        "'series for more jets', of the trade, and wrong",
        PRACTICE,
        how="at least",
        conclusion=_two_pumps,
    )
