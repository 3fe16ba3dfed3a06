"""Changes of the plumbing: what they do to water, jets and heaters, and that each could stand in a file."""

from math import pi
from pathlib import Path

import fluids
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cyclesim.analysis.amounts import lasting
from cyclesim.analysis.flush_rules import never_flushed
from cyclesim.analysis.result import simulate
from cyclesim.decide.tuning.duty_effect import BeforeAfter, duty_effect
from cyclesim.decide.tuning.plumbing import Plumbing, next_narrower, plumbing
from cyclesim.physics.friction import fitting_k
from cyclesim.physics.water import density_kg_m3, viscosity_pa_s
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.forms.pipes import PIPES
from cyclesim.scenario.reading.load import load, load_text
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme

SCHEDULES = Path(__file__).parents[2] / "schedules"
FILES = sorted(SCHEDULES.glob("*.yaml"))
CIRCULATOR = SCHEDULES / "walled-garden-circulator.yaml"
L_MIN = 1 / 60_000
SPARE = ("  pumps:\n", "    spare: {pipe: 50 PN10, length: 4 m, zone: soil, dead_end: true}\n  pumps:\n")
NETWORK = "    - [tub, drain, circulator, filter, element, return, tub]\n"
JETS = (
    "    - [tub, {parallel: [suction_left, suction_right]}, jets, "
    "{parallel: [left_bench, right_bench]}, tub]\n"
)


def edited(*changes: tuple[str, str], text: str | None = None) -> Scenario:
    """The circulator's plant with each `old -> new` of its text."""
    text = CIRCULATOR.read_text(encoding="utf-8") if text is None else text
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    return load_text(text)


def kinds(scenario: Scenario, *legs: str) -> dict[str, Plumbing]:
    """The changes offered for these legs, by kind."""
    return {one.kind: one for one in plumbing(scenario, legs)}


def long_leg(length: str = "40 m") -> Scenario:
    """A right bench so far away that the controller's only flush does not reach it."""
    return edited(
        (
            "right_bench:\n      {pipe: 63 PN10, length: 11 m",
            f"right_bench:\n      {{pipe: 63 PN10, length: {length}",
        ),
        ("flush_lengths: [15 s, 30 s, 45 s, 60 s]", "flush_lengths: [15 s]"),
        ("lasts: 45 s", "lasts: 15 s"),
    )


def bled(scenario: Scenario) -> Assembly:
    """The plant with its bleed."""
    return Assembly(kinds(scenario, "left_bench", "right_bench, last jet")["bleed"].scenario)


# -- the bleed -----------------------------------------------------------------------------------------------


def test_the_bleed_is_what_a_person_would_write():
    """Built from objects, it equals a file with the same words, which every check of a file has passed."""
    found = kinds(load(CIRCULATOR), "left_bench")["bleed"]
    head_m = found.scenario.plant.valves["bleed_throttle"].drop_at("trickle").head_m
    by_hand = edited(
        (
            "  pumps:\n",
            "    bleed: {pipe: 20 PN16, length: 2 m, fittings: {tee_branch: 2, elbow: 2}, zone: pump_room,\n"
            "            insulation: 9 mm}\n"
            "  check_valves: {bleed_check: {drop: 0.2 m at 20 L/min}}\n"
            "  valves:\n"
            "    bleed_throttle: {usual: trickle, drop: 0.1 m at 20 L/min,\n"
            f"                     throttled: {{trickle: {head_m} m at 2 L/min}}}}\n"
            "  junctions: [bleed_end, bleed_tap]\n"
            "  pumps:\n",
        ),
        (NETWORK, NETWORK.replace("element, ", "element, bleed_tap, ")),
        (
            JETS,
            JETS.replace("jets, ", "jets, bleed_end, ")
            + "    - [bleed_tap, bleed, bleed_check, bleed_throttle, bleed_end]\n",
        ),
    )
    assert by_hand == found.scenario
    assert ("bleed", "left_bench and right_bench") == (found.kind, found.subject)


def test_the_throttle_takes_the_head_that_the_return_needs():
    """Darcy-Weisbach with the friction factor of fluids (computed with the library), at the flow as it was:
    what the return loses on the way to the tub is the head that stands at the tap."""
    before, after = Assembly(load(CIRCULATOR)), bled(load(CIRCULATOR))
    q = before.duty(before.at("circulator", "on")).flow_m3_s("return")
    bore_m, t = PIPES["50 PN10"].bore_m, before.temp_c
    speed = q / (pi / 4 * bore_m**2)
    factor = fluids.friction_factor(speed * bore_m * density_kg_m3(t) / viscosity_pa_s(t), 1.5e-6 / bore_m)
    k = 6 * fitting_k("elbow", bore_m) + fitting_k("exit", bore_m)
    lost_m = (factor * 9 / bore_m + k) * speed**2 / (2 * 9.80665)
    assert pytest.approx(lost_m, rel=0.01) == after.sheet.valves["bleed_throttle"].drop_at("trickle").head_m


def test_jets_move_whenever_the_circulator_runs():
    """By the solver: what goes in through the bleed comes out at the jets and through the jet pump."""
    before, after = Assembly(load(CIRCULATOR)), bled(load(CIRCULATOR))
    at = before.at("circulator", "on")
    for leg in ("left_bench", "right_bench", "left_bench jet 6", "right_bench jet 6"):
        assert before.duty(at).flow_m3_s(leg) == 0
        assert after.duty(at).flow_m3_s(leg) > 0
    duty = after.duty(at)
    through = duty.flow_m3_s("bleed")
    assert 1.8 * L_MIN < through <= 2 * L_MIN  # a little less than it is set to: pipe and jets take some head
    # What comes in through the bleed leaves through the jets and back through the jet pump.
    out = duty.flow_m3_s("left_bench") + duty.flow_m3_s("right_bench") - duty.flow_m3_s("jets")
    assert pytest.approx(through, rel=1e-9) == out
    assert duty.reached_s["right_bench to jet 6"] * 2 <= 3 * 3600  # twice in a filter run of 3 h


def test_without_any_flush_the_bleed_keeps_the_jets_fresh():
    """Twenty days of the programme without its flushes, with and without the bleed."""
    scenario = load(CIRCULATOR, sets=["schedule.line_flushes=null"])
    legs = ["left_bench", "left_bench, last jet", "right_bench", "right_bench, last jet"]
    limit_h = scenario.limits.water_age_s / 3600
    stale = simulate(scenario, days=20).metrics.legs
    fresh = simulate(kinds(scenario, *legs)["bleed"].scenario, days=20).metrics.legs
    for leg in legs:
        assert stale[leg].oldest_water_h is None or stale[leg].oldest_water_h > limit_h
        assert fresh[leg].oldest_water_h is not None
        assert fresh[leg].oldest_water_h < limit_h


def test_no_pump_pushes_water_back_through_the_bleed():
    """Its check valve: whatever runs, the heater gets no less than before, and no water the other way."""
    before, after = Assembly(load(CIRCULATOR)), bled(load(CIRCULATOR))
    for was, now in zip(before.duties(), after.duties(), strict=True):
        assert now.flow_m3_s("bleed") >= 0
        assert now.flow_m3_s("element") >= was.flow_m3_s("element") * (1 - 1e-9)
    jets = after.duty(after.at("jets", "on"))
    assert jets.flow_m3_s("bleed") == 0
    assert jets.flow_m3_s("element") == 0


def test_a_bleed_that_starves_a_heater_is_left_out():
    """A tap before the heater takes 2 L/min of its flow: enough to matter only to one that needs it all."""
    split = (
        "    - [tub, drain, circulator, filter, tee]\n    - [tee, element, return, tub]\n  junctions: [tee]\n"
    )
    plant = Assembly(edited((NETWORK, ""), (JETS, JETS + split)))
    q_l_min = plant.duty(plant.at("circulator", "on")).flow_m3_s("element") / L_MIN
    for needs, given_ in ((q_l_min - 5, True), (q_l_min - 0.2, False)):
        need = ("needs_flow: 60 L/min", f"needs_flow: {needs:.2f} L/min")
        found = kinds(edited((NETWORK, ""), (JETS, JETS + split), need), "left_bench")
        assert given_ == ("bleed" in found)
    assert (
        "A bleed from behind filter into"
        in kinds(edited((NETWORK, ""), (JETS, JETS + split)), "left_bench")["bleed"].sentence
    )


def test_no_bleed_where_filtering_moves_the_jets():
    """One pump does all, and every filter run moves the benches."""
    assert {} == kinds(load(SCHEDULES / "walled-garden.yaml"), "left_bench", "right_bench")


def test_a_name_that_is_taken_is_not_given_again():
    """A leg called bleed stays what it is."""
    scenario = edited((SPARE[0], SPARE[1].replace("spare", "bleed")))
    after = kinds(scenario, "left_bench")["bleed"].scenario
    assert scenario.plant.legs["bleed"] == after.plant.legs["bleed"]
    assert "bleed_2" in after.plant.legs


def test_a_bleed_in_inches():
    """US sizes beside US pipes, and a tee that is there already serves."""
    found = kinds(load(SCHEDULES / "cedar-yard.yaml"), "east_seats")["bleed"]
    assert "2 m of 0.5 in Sch 40" in found.sentence
    assert "suction_tee" in found.scenario.plant.junctions


# -- a narrower pipe -----------------------------------------------------------------------------------------


def test_the_next_narrower_pipe_is_of_the_same_standard():
    """EN ISO 1452-2 and ASTM D1785 sizes, as in scenario/forms/pipes.py (from memory)."""
    names = {"63 PN10": "50 PN10", "63 PN16": "50 PN16", "2 in Sch 40": "1.5 in Sch 40", "32 PN10": None}
    found = {name: next_narrower(PIPES[name]) for name in names}
    assert names == {name: pipe and pipe.name for name, pipe in found.items()}
    assert next_narrower(None) is None


def test_a_narrower_pipe_holds_less_and_is_reached_sooner():
    """Outside 63 and 50 mm with walls of 3.0 and 2.4 mm: bores of 57.0 and 45.2 mm, by arithmetic."""
    before = long_leg()
    found = kinds(before, "right_bench, last jet")["narrower pipe"]
    after = found.scenario
    was_m3, now_m3 = (Assembly(one).leg_volume_m3("right_bench") for one in (before, after))
    assert pytest.approx(pi / 4 * 0.057**2 * (40 + 5 * 0.4)) == was_m3
    assert pytest.approx(was_m3 * (45.2 / 57.0) ** 2) == now_m3
    effects = {one.what: one for one in duty_effect(before, after)}
    reach = effects["tub water at the last jet of right_bench at jets, after"]
    assert reach.before is not None
    assert reach.after is not None
    assert reach.after < reach.before
    jet = effects["weakest jet of right_bench at jets"]
    assert jet.after < jet.before
    needs_m3_s = 0.75 * 38 * L_MIN
    assert ("too little" in found.sentence) == (jet.after < needs_m3_s)
    assert f"{1000 * now_m3:.1f} L in place of {1000 * was_m3:.1f} L" in found.sentence
    lines = [one.text for one in effects.values()]
    assert f"water in right_bench: {1000 * now_m3:.1f} L, was {1000 * was_m3:.1f} L" in lines


def test_a_body_on_the_way_is_told_that_no_pipe_shortens():
    """120 L at the flow of the narrowed plant, all of which its two suction legs draw."""
    before = edited(
        (
            "right_bench:\n      {pipe: 63 PN10, length: 11 m",
            "right_bench:\n      {pipe: 63 PN10, length: 40 m",
        ),
        ("flush_lengths: [15 s, 30 s, 45 s, 60 s]", "flush_lengths: [15 s]"),
        ("lasts: 45 s", "lasts: 15 s"),
        text=CIRCULATOR.with_stem("walled-garden").read_text(encoding="utf-8"),
    )
    large = before.plant.heat_sources["element"].model_copy(update={"volume_m3": 0.120})
    built = before.plant.model_copy(update={"heat_sources": {"element": large}})
    found = kinds(before.model_copy(update={"plant": built}), "right_bench, last jet")["narrower pipe"]
    duty = Assembly(found.scenario).duty(("high",))
    flow_m3_s = duty.flow_m3_s("suction_left") + duty.flow_m3_s("suction_right")
    assert f", {lasting(0.120 / flow_m3_s)} of it in the 120 L of element. " in found.sentence


def test_legs_that_are_alike_are_narrowed_at_once_too():
    """Bores of 57.0 and 45.2 mm, by arithmetic, in both; one leg alone has none beside it."""
    before = long_leg()
    both = kinds(before, "left_bench", "right_bench")["narrower pipes"]
    was, now = Assembly(before), Assembly(both.scenario)
    for name in ("left_bench", "right_bench"):
        assert pytest.approx(was.leg_volume_m3(name) * (45.2 / 57.0) ** 2) == now.leg_volume_m3(name)
    assert "left_bench and right_bench at once" in both.sentence
    assert "narrower pipes" not in kinds(before, "right_bench")


def test_a_pipe_stays_where_its_flush_replaces_it_twice_and_where_it_draws():
    """A longer flush is the easier mend, and suctions are never narrowed."""
    assert "narrower pipe" not in kinds(
        load(CIRCULATOR, sets=["controller.flush_lengths=[300 s]"]), "right_bench"
    )
    assert "narrower pipe" not in kinds(long_leg(), "suction_left")


# -- a dead end ----------------------------------------------------------------------------------------------


def test_a_dead_end_is_cut_off():
    """The plant without it is the file without its line."""
    before = edited(SPARE)
    found = kinds(before, "spare")["dead end removed"]
    assert load(CIRCULATOR) == found.scenario
    broken = [
        {one.subject for one in never_flushed(Assembly(one), Programme(one))}
        for one in (before, found.scenario)
    ]
    assert [{"spare"}, set()] == broken
    # 45.2 mm of bore, 4 m: 6.42 L by arithmetic.
    assert "its 6.4 L are capped" in found.sentence
    assert (BeforeAfter("water in spare", "m3", pytest.approx(0.00642, rel=1e-3), None),) == duty_effect(
        before, found.scenario
    )


def test_a_dead_end_that_is_watched_stays():
    """Frost protection watches the spare."""
    watched = ("{watches: pump_room, starts_below", "{watches: spare, starts_below")
    assert {} == kinds(edited(SPARE, watched), "spare")


def test_names_that_are_no_legs_ask_for_nothing():
    """Housings are reported too, and have no pipe to change."""
    assert {} == kinds(load(CIRCULATOR), "filter", "nothing")


# -- every change of every plant -----------------------------------------------------------------------------


@settings(max_examples=25)
@given(st.data())
def test_every_change_gives_a_plant_whose_duties_balance(data):
    """Water in is water out at every node of every duty, and only the plant is changed."""
    file = data.draw(st.sampled_from(FILES))
    length = data.draw(st.sampled_from(["", "plant.legs.{}.length=60 m", "plant.legs.{}.length=3 m"]))
    names = load(file).plant.legs
    leg = data.draw(st.sampled_from(sorted(names)))
    before = load(file, sets=[length.format(leg)] if length else [])
    reported = sorted(Assembly(before).reported)
    for one in plumbing(before, data.draw(st.lists(st.sampled_from(reported), min_size=1, unique=True))):
        assert before == one.scenario.model_copy(update={"plant": before.plant})
        plant = Assembly(one.scenario)
        for duty in plant.duties():
            assert not [text for text in duty.duty.problems if "could not be worked out" in text]
            into: dict[str, float] = {}
            for link in plant.links:
                into[link.a] = into.get(link.a, 0.0) - duty.flow_m3_s(link.name)
                into[link.b] = into.get(link.b, 0.0) + duty.flow_m3_s(link.name)
            assert all(abs(gained) < 1e-9 for gained in into.values())
        assert all(line.text for line in duty_effect(before, one.scenario))
