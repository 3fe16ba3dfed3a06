"""Pumps and blowers sized: against systems of the handbooks, hydrostatics, and a psychrometric library."""

import math
from pathlib import Path

import iapws
import psychrolib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cyclesim.decide.sizing.blower_sizing import size_blower
from cyclesim.decide.sizing.pump_sizing import Arrangement, CannotSizeError, PumpSizing, next_wider, size_pump
from cyclesim.said.size_blower import blower_advice
from cyclesim.said.size_pump import pump_advice
from cyclesim.scenario.forms.pipes import PIPES
from cyclesim.scenario.reading.defaults import filled_in
from cyclesim.scenario.reading.load import load, load_text

SCHEDULES = Path(__file__).parents[2] / "schedules"
G = 9.80665
M3_H = 3600.0

SYSTEM = """
format: 1
title: one loop of jets
place:
  year: 2027
  time_zone: Etc/UTC
  weather: {{mean: 12 degC, seasonal_swing: 0 K, daily_swing: 0 K, coldest_day: 20 January}}
  zones: {{room: {{follows: weather}}}}
supply: {{voltage: 230 V, breaker: 20 A, tariff: 0.20 EUR/kWh}}
plant:
  tub:
    water: 1500 L
    surface: 3 m2
    cover: {{foam: 60 mm, fit: good}}
    shell: {{wall: 120 mm, of: concrete, insulation: 50 mm, area: 7 m2, zone: room}}
  legs:
    run:
      {{{pipe}, length: {length}, zone: room,
        manifold: {{jets: {jets}, spacing: 10 mm, each: {each}, needs: {needs}}}}}
  pumps: {{pump: {{{curve}, power: 400 W, zone: room}}}}
  network: [[tub, pump, run, tub]]
schedule: {{}}
"""
QUADRATIC = "max_head: 14 m, max_flow: 15.2752523 m3/h"
"""H = 14 - 0.06 Q2, in m and m3/h: no head at the square root of 14 / 0.06."""


def system(
    each: str = "10 m3/h at 8 m",
    needs: str = "10 m3/h",
    jets: int = 1,
    pipe: str = "bore: 250 mm, outside: 260 mm",
    length: str = "100 mm",
    curve: str = QUADRATIC,
    more: str = "",
) -> PumpSizing:
    """A pump on jets; the pipe is so wide and short that the jets are all there is, unless told."""
    text = SYSTEM.format(each=each, needs=needs, jets=jets, pipe=pipe, length=length, curve=curve)
    return size_pump(load_text(text + more))


@pytest.mark.parametrize(
    ("each", "flow", "head"), [("10 m3/h at 8 m", 10.0, 8.0), ("10 m3/h at 3 m", 12.4722, 4.6667)]
)
def test_a_parabola_meets_a_parabola(each: str, flow: float, head: float) -> None:
    """H = 14 - 0.06 Q2 with h = 0.08 Q2, and with 0.03 Q2: exact intersections, worked by hand."""
    given_ = system(each).given[0]
    assert flow == pytest.approx(given_.flow_m3_s * M3_H, rel=1e-3)
    assert head == pytest.approx(given_.head_m, rel=1e-3)
    assert flow / 10.0 == pytest.approx(given_.weakest_jet_share, rel=1e-3)


def test_what_is_asked_is_the_jets_own_flow_and_head() -> None:
    """10 m3/h at 8 m, where nothing else takes head."""
    asked = system().asked
    assert 10.0 == pytest.approx(asked.flow_m3_s * M3_H, rel=1e-3)
    assert 8.0 == pytest.approx(asked.head_m, rel=1e-3)


def test_half_the_speed_gives_half_the_flow_and_a_quarter_of_the_head() -> None:
    """Affinity, for losses that go with the square of flow: Q 5, h 2."""
    two = "low: {speed: 50 %, power: 60 W}, high: {max_head: 14 m, max_flow: 15.2752523 m3/h, power: 400 W}"
    text = SYSTEM.replace("{{{curve}, power: 400 W, zone: room}}", "{{{curve}, zone: room}}")
    told = text.format(
        each="10 m3/h at 8 m", needs="10 m3/h", jets=1, pipe="bore: 250 mm, outside: 260 mm", length="100 mm",
        curve=two,
    )  # fmt: skip
    low, high = size_pump(load_text(told)).given
    assert 5.0 == pytest.approx(low.flow_m3_s * M3_H, rel=1e-3)
    assert 2.0 == pytest.approx(low.head_m, rel=1e-3)
    assert 10.0 == pytest.approx(high.flow_m3_s * M3_H, rel=1e-3)
    assert low.wh_per_m3 == pytest.approx(60.0 / 5.0, rel=1e-3)


def test_ten_metres_more_ask_for_the_friction_of_ten_metres() -> None:
    """2 in Sch 40 at 8 m3/h and 38 degC: 1897.9 Pa (Colebrook, IF97; computed with fluids and iapws)."""
    found = system("8 m3/h at 5 m", "8 m3/h", pipe="pipe: 2 in Sch 40", length="10 m")
    heads = {one.what: one.asked.head_m for one in found.changes if one.asked}
    more_m = heads["10 m longer to the jets"] - heads["as drawn"]
    rho = iapws.IAPWS97(T=311.15, P=0.101325).rho
    assert 1897.9 / (rho * G) == pytest.approx(more_m, rel=5e-3)


def test_two_in_parallel_and_two_loops_by_hand() -> None:
    """Parallel: 14 - 0.06 (Q/2)2 = 0.08 Q2; loops of one jet each: 14 - 0.06 q2 = 0.32 q2 each."""
    found = system("5 m3/h at 8 m", "5 m3/h", jets=2)
    flows = {one.how: one.total_flow_m3_s * M3_H for one in found.arrangements}
    assert 10.0 == pytest.approx(flows["one pump"], rel=2e-3)
    assert (14.0 / 0.095) ** 0.5 == pytest.approx(flows["two in parallel"], rel=2e-3)
    assert 2.0 * (14.0 / 0.38) ** 0.5 == pytest.approx(flows["two loops"], rel=2e-3)


@settings(max_examples=15)
@given(st.floats(3.0, 12.0), st.floats(8.0, 20.0), st.sampled_from(("40 PN10", "50 PN10", "63 PN10")))
def test_more_pipe_never_gives_more(head: float, flow: float, pipe: str) -> None:
    """Longer, narrower, with more elbows or jets: less at the weakest jet; wider: more."""
    found = system(
        "8 m3/h at 3 m", "3 m3/h", jets=2, pipe=f"pipe: {pipe}", length="8 m",
        curve=f"max_head: {head:.3f} m, max_flow: {flow:.3f} m3/h",
    )  # fmt: skip
    weakest = {one.what: one.as_drawn.weakest_jet_share for one in found.changes}
    drawn = weakest.pop("as drawn")
    wider = weakest.pop("the next wider pipe")
    assert wider > drawn
    assert all(other < drawn for other in weakest.values())
    assert weakest["10 m longer to the jets"] < weakest["5 m longer to the jets"]
    one, parallel, _ = _kinds(found)
    assert one.total_flow_m3_s <= parallel.total_flow_m3_s < 2.0 * one.total_flow_m3_s


def _kinds(found: PumpSizing) -> list[Arrangement]:
    """One, two in parallel, two loops; of the pump as drawn."""
    return [one for one in found.arrangements if one.pump.endswith("(as drawn)")]


def test_the_advised_has_the_least_power_that_does() -> None:
    """Of three candidates one is too weak, one does, one does with more power."""
    offers = """
candidates:
  pumps:
    weak: {max_head: 6 m, max_flow: 10 m3/h, power: 200 W}
    fit: {max_head: 14 m, max_flow: 18 m3/h, power: 350 W, price: 500 EUR}
    strong: {max_head: 25 m, max_flow: 25 m3/h, power: 1.2 kW}
"""
    found = system("10 m3/h at 8 m", "9 m3/h", more=offers)
    assert found.best is not None
    assert ("fit", 500.0) == (found.best.pump, found.best.price)
    assert (found.best.flow_spare_share or 0.0) >= 0.1
    most = system("10 m3/h at 8 m", "13 m3/h", more=offers)
    assert most.best is not None
    assert "strong" == most.best.pump
    assert system("10 m3/h at 8 m", "20 m3/h", more=offers).best is None


def test_plants_that_say_too_little_are_refused() -> None:
    """No jets, jets of which only the nozzle is known, no blower, and names that nobody has."""
    plain = load(SCHEDULES / "walled-garden.yaml", sets=["plant.legs.left_bench.manifold=null"])
    with pytest.raises(CannotSizeError, match="no jets"):
        size_pump(load(SCHEDULES / "walled-garden-circulator.yaml"), "circulator")
    with pytest.raises(CannotSizeError, match="'mian' is no pump"):
        size_pump(plain, "mian")
    with pytest.raises(CannotSizeError, match="There is no blower"):
        size_blower(plain)
    with pytest.raises(CannotSizeError, match="'fan' is no blower"):
        size_blower(load(SCHEDULES / "long-table.yaml"), "fan")


def test_wider_and_narrower_are_neighbours() -> None:
    """Of one standard; none beyond the largest."""
    assert next_wider(PIPES["50 PN10"]) == PIPES["63 PN10"]
    assert next_wider(PIPES["160 PN10"]) is None
    assert next_wider(None) is None


def test_the_head_asked_for_is_the_sum_of_what_takes_it() -> None:
    """20 m take 2 x 1897.9 Pa (fluids, iapws), an elbow 30 fT with fT 0.0188 (TP-410, from memory)."""
    found = system("8 m3/h at 5 m", "8 m3/h", pipe="pipe: 2 in Sch 40, fittings: {elbow: 4}", length="20 m")
    parts = found.asked.taken_by_m
    water = iapws.IAPWS97(T=311.15, P=0.101325)
    assert found.asked.head_m == pytest.approx(sum(parts.values()), abs=1e-3)
    assert 2.0 * 1897.9 / (water.rho * G) == pytest.approx(parts["straight pipe"], rel=5e-3)
    assert 4 * 30 * 0.0188 * 1.0265**2 / (2 * G) == pytest.approx(parts["fittings"], rel=0.1)
    assert 5.0 == pytest.approx(parts["the jet itself"], rel=1e-3)


def test_head_to_spare_is_at_the_flow_that_is_asked_for() -> None:
    """14 - 0.06 x 82 = 10.16 m where 0.08 x 82 = 5.12 m are asked for."""
    one = system("10 m3/h at 8 m", "8 m3/h").given[0]
    assert 10.16 / 5.12 - 1.0 == pytest.approx(one.head_spare_share, rel=2e-3)


def test_advice_names_the_pump_that_would_do_with_less_power() -> None:
    """400 W give 1 % more than the need, 1200 W give plenty: it is not the least power of all that do."""
    found = system(
        "10 m3/h at 8 m",
        "9.9 m3/h",
        more="\ncandidates:\n  pumps:\n    strong: {max_head: 25 m, max_flow: 25 m3/h, power: 1.2 kW}\n",
    )
    said = " ".join(pump_advice(found))
    assert found.best is not None
    assert "strong" == found.best.pump
    assert (
        "of the pumps that give every jet enough within what suction, filter and breaker bear and have flow "
        "to spare" in said
    )
    assert "pump (as drawn) gives every jet enough with 400 W, but: only 1" in said


def test_where_none_does_wider_pipe_is_tried_with_every_pump() -> None:
    """Neither does on 40 PN10; on wider pipe the candidate does, and the jets of the pump as drawn do not."""
    found = system(
        "8 m3/h at 3 m", "7.5 m3/h", pipe="pipe: 40 PN10", length="40 m",
        curve="max_head: 3 m, max_flow: 9 m3/h",
        more="\ncandidates:\n  pumps:\n    other: {max_head: 7 m, max_flow: 14 m3/h, power: 500 W}\n",
    )  # fmt: skip
    assert found.best is None
    assert found.mend is not None
    what, one = found.mend
    assert "other" == one.pump
    assert one.enough
    assert f"With {what}, other would do" in " ".join(pump_advice(found))
    hopeless = system(
        "8 m3/h at 3 m", "7.5 m3/h", pipe="pipe: 40 PN10", curve="max_head: 1 m, max_flow: 1 m3/h"
    )
    assert hopeless.mend is None


def test_a_pump_that_breaks_a_limit_is_not_advised_as_if_it_fitted() -> None:
    """10 m3/h through a suction of 40 PN10 (36.2 mm) are 2.7 m/s; 50 PN10 (45.2 mm) bring them below 1.8."""
    text = SYSTEM.format(
        each="10 m3/h at 3 m", needs="9 m3/h", jets=1, pipe="pipe: 63 PN10", length="1 m", curve=QUADRATIC
    )
    text = text.replace("legs:", "legs:\n    draw: {pipe: 40 PN10, length: 1 m, zone: room}")
    found = size_pump(load_text(text.replace("[tub, pump", "[tub, draw, pump")))
    assert found.best is not None
    speed = found.best.flow_m3_s / (math.pi / 4.0 * 0.0362**2)
    assert speed == pytest.approx(found.best.suction_m_s, rel=1e-6)
    said = " ".join(pump_advice(found))
    assert said.startswith(
        "Nothing is advised: each that gives every jet enough goes beyond a limit. Nearest comes"
    )
    assert found.mend is not None
    assert "pipe two sizes wider to the jets and from the tub" == found.mend[0]
    assert not found.mend[1].cautions


def test_two_loops_of_an_odd_number_of_jets_have_all_of_them_once() -> None:
    """14 - 0.06 q2 = 0.32 (q/n)2 for two jets on one loop and one on the other; none of a single jet."""
    found = system("5 m3/h at 8 m", "5 m3/h", jets=3)
    loops = next(one for one in found.arrangements if one.how == "two loops")
    by_hand = sum((14.0 / (0.06 + 0.32 / n**2)) ** 0.5 for n in (1, 2))
    assert by_hand == pytest.approx(loops.total_flow_m3_s * M3_H, rel=2e-3)
    assert {"one pump", "two in parallel"} == {one.how for one in system().arrangements}


def test_what_a_candidate_says_of_its_own_place_is_used() -> None:
    """Set 6 m higher it has 6 m less at its inlet; unless it says, it stands where the drawn one does."""
    left = {}
    for sets in ([], ["candidates.pumps.small.above_water=5.4 m"]):
        found = size_pump(load(SCHEDULES / "walled-garden.yaml", sets=sets))
        left[bool(sets)] = next(one.npsh_left_m for one in found.given if one.pump == "small")
    assert left[False] is not None
    assert left[True] is not None
    assert 6.0 == pytest.approx(left[False] - left[True], abs=1e-6)


def test_candidates_change_no_run_and_no_list_of_defaults() -> None:
    """A run tells what it rests on, and it rests on no candidate."""
    told = load(SCHEDULES / "walled-garden.yaml")
    assert told.candidates is not None
    assert filled_in(told) == filled_in(told.model_copy(update={"candidates": None}))


def test_two_pumps_on_one_suction_are_held_to_its_limit() -> None:
    """Two of the largest through two legs of 63 PN10 are too fast, though they give every jet enough."""
    found = size_pump(load(SCHEDULES / "walled-garden.yaml"))
    two = next(a for a in found.arrangements if (a.how, a.pump) == ("two in parallel", "large"))
    speed = two.total_flow_m3_s / 2.0 / (math.pi / 4.0 * 0.057**2)
    assert speed > 1.8
    assert any(f"{speed:.1f}"[:3] in caution for caution in two.cautions)


# -- blowers -----------------------------------------------------------------------------------------------


def test_depth_asks_for_its_hydrostatic_pressure() -> None:
    """600 mm of water at its set point, density by IAPWS-IF97."""
    found = size_blower(load(SCHEDULES / "long-table.yaml"))
    rho = iapws.IAPWS97(T=273.15 + found.water_c, P=0.101325).rho
    assert rho * G * 0.6 == pytest.approx(found.depth_pa, rel=1e-3)
    drawn = found.given[0]
    assert 20_000.0 / (rho * G * 0.6) - 1.0 == pytest.approx(
        drawn.pressure_spare_share, rel=2e-3
    )  # 20 kPa at no flow


def test_cooling_is_that_of_wetted_air() -> None:
    """Air warmed to the water and saturated, by psychrolib; 70 % of the blower's power come back."""
    found = size_blower(load(SCHEDULES / "long-table.yaml", sets=["plant.tub.fill_water=10 degC"]))
    drawn = found.given[0]
    psychrolib.SetUnitSystem(psychrolib.SI)
    water = iapws.IAPWS97(T=273.15 + found.water_c, P=0.101325)
    for cools, air_c, humidity in (
        (drawn.cools_coldest_k_h, found.coldest[1], found.coldest_humidity),
        (drawn.cools_mean_k_h, found.mean_c, found.mean_humidity),
    ):
        ratio_in = psychrolib.GetHumRatioFromRelHum(air_c, humidity, 101_325.0)
        volume = psychrolib.GetMoistAirVolume(air_c, ratio_in, 101_325.0)
        ratio_out = psychrolib.GetHumRatioFromRelHum(found.water_c, 1.0, 101_325.0)
        gained = psychrolib.GetMoistAirEnthalpy(found.water_c, ratio_out) - psychrolib.GetMoistAirEnthalpy(
            air_c, ratio_in
        )
        # what leaves as vapour takes its own heat along; as much comes in at 10 degC and must be warmed
        evaporated = ratio_out - ratio_in
        liquid, makeup = evaporated * 4180.0 * found.water_c, evaporated * 4180.0 * (found.water_c - 10.0)
        heat_w = drawn.flow_m3_s / volume * (gained - liquid + makeup) - 0.7 * drawn.power_w
        water_kg = found.scenario.plant.tub.volume_m3 * water.rho
        assert heat_w * 3600.0 / (water_kg * 1000.0 * water.cp) == pytest.approx(cools, rel=5e-3)


def test_a_blower_that_gives_the_wanted_air_is_advised() -> None:
    """Least power first: 400 W give about 570 L/min, 700 W twice that."""
    table = load(SCHEDULES / "long-table.yaml")
    little, much = (size_blower(table, wanted_m3_s=x / 60_000.0).best for x in (400.0, 1000.0))
    assert little is not None
    assert much is not None
    assert ("quiet", "blower (as drawn)") == (little.blower, much.blower)
    assert size_blower(table, wanted_m3_s=0.05).best is None
    half = size_blower(table, wanted_m3_s=0.01).given[0]
    assert half.flow_m3_s / 0.01 - 1.0 == pytest.approx(half.flow_spare_share)


def test_a_pump_that_its_breaker_does_not_carry_comes_after_one_that_it_does() -> None:
    """32 A on 20 A, though it draws least by its nameplate."""
    offers = """
candidates:
  pumps:
    thirsty: {max_head: 14 m, max_flow: 18 m3/h, power: 350 W, current: 32 A}
    strong: {max_head: 25 m, max_flow: 25 m3/h, power: 1.2 kW}
"""
    found = system("10 m3/h at 8 m", "9 m3/h", more=offers)
    thirsty = next(one for one in found.given if one.pump == "thirsty")
    assert ("32.0 A on supply, whose breaker has 20 A",) == thirsty.cautions
    assert found.best is not None
    assert "pump (as drawn)" == found.best.pump  # 400 W, and 11 % to spare


TWO_SPEEDS = """
candidates:
  pumps:
    plain: {max_head: 14 m, max_flow: 18 m3/h, power: 300 W}
    both:
      low: {max_head: 4 m, max_flow: 8 m3/h, power: 120 W}
      high: {max_head: 14 m, max_flow: 18 m3/h, power: 500 W}
"""


def test_a_candidate_without_a_speed_that_the_programme_uses_is_passed_over() -> None:
    """The plain one gives every jet enough with the least power, and cannot filter at low."""
    text = SYSTEM.format(
        each="10 m3/h at 8 m", needs="9 m3/h", jets=1, pipe="bore: 250 mm, outside: 260 mm", length="100 mm",
        curve="low: {max_head: 4 m, max_flow: 8 m3/h, power: 120 W}, "
        "high: {max_head: 14 m, max_flow: 16 m3/h, power: 700 W}, changeover: 2 s",
    ).replace(", power: 400 W, zone", ", zone")  # fmt: skip
    text = text.replace(
        "schedule: {}", 'schedule: {filter_runs: [{pump: pump low, start: "03:00", lasts: 2 h}]}'
    )
    found = size_pump(load_text(text + TWO_SPEEDS))
    plain = next(one for one in found.given if one.pump == "plain")
    assert plain.enough
    assert ("it has no low speed, which filter run asks for",) == plain.cautions
    assert found.best is not None
    assert ("both", "high") == (found.best.pump, found.best.speed)
    assert "plain gives every jet enough with 300 W, but: it has no low speed" in " ".join(pump_advice(found))


def test_no_blower_is_advised_without_the_air_that_is_wanted() -> None:
    """The least power of those that give any air at all is no advice."""
    found = size_blower(load(SCHEDULES / "long-table.yaml"))
    assert found.best is None
    (said,) = blower_advice(found)
    assert said.startswith("Nothing is advised until --flow says how much is wanted")
