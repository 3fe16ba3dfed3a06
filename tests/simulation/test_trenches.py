"""Legs in one trench: what they lose in a run and in the lists, and trenches that cannot be."""

from dataclasses import replace

import pytest

from cyclesim.analysis.result import simulate
from cyclesim.decide.sweeps.varied import VariedPlant
from cyclesim.errors import InputError
from cyclesim.physics.buried import BuriedPipe, side_by_side_ua_per_m
from cyclesim.physics.walls import AS_ASSUMED, pipe_ua_per_m
from cyclesim.said.page import Page
from cyclesim.said.trenches import say_trenches
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.shown.terminal import printed
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.buried import shares_of_loss
from cyclesim.simulation.tolerance import AS_TOLD

LEGS = ("suction_left", "suction_right", "left_bench", "right_bench")
TRENCH = "plant.trenches={garden: {legs: [suction_left, suction_right], spacing: 120 mm}}"


def starter(*sets):
    """The starter with changes."""
    return load_text(starter_text(), "starter.yaml", sets=list(sets))


def ua(plant, name):
    """Conductance of a leg to its zone [W/K]."""
    return next(body.ua_w_k for body in plant.bodies if body.name == name)


def test_what_lies_beside_loses_less_and_the_rest_what_it_did():
    """Both suctions side by side for the length of the shorter one; what is longer, and other legs, alone."""
    shared, alone = Assembly(starter(TRENCH)), Assembly(starter())
    legs, depth_m = shared.sheet.legs, 0.6
    pipes = [BuriedPipe(legs[n].bore_m, legs[n].outside_m, legs[n].insulation_m, "PVC") for n in LEGS[:2]]
    beside = dict(zip(LEGS[:2], side_by_side_ua_per_m(pipes, 0.12, depth_m), strict=True))
    along_m = min(legs[name].length_m for name in LEGS[:2])
    for name, pipe in zip(LEGS[:2], pipes, strict=True):
        by_itself = pipe_ua_per_m(*pipe[:3], depth_m=depth_m)
        assert ua(alone, name) == pytest.approx(by_itself * legs[name].length_m)
        rest_m = legs[name].length_m - along_m
        assert ua(shared, name) == pytest.approx(beside[name] * along_m + by_itself * rest_m)
    assert all(ua(shared, name) == ua(alone, name) for name in LEGS[2:])


def test_a_stated_length_is_how_far_they_lie_so():
    """Half of it saves half as much."""
    alone, whole = Assembly(starter()), Assembly(starter(TRENCH))
    along_m = min(whole.sheet.legs[name].length_m for name in LEGS[:2])
    half = Assembly(starter(TRENCH.replace("mm}", f"mm, length: {along_m / 2} m}}")))
    for name in LEGS[:2]:
        assert ua(alone, name) - ua(half, name) == pytest.approx((ua(alone, name) - ua(whole, name)) / 2)


def test_a_run_loses_less_heat_from_them():
    """By the share of their conductances at most: what stands and loses less stays warmer, and loses more."""
    lost = [
        {n: simulate(starter(*sets), days=3).metrics.legs[n].heat_lost_kwh for n in LEGS}
        for sets in ((), (TRENCH,))
    ]
    plants = [Assembly(starter()), Assembly(starter(TRENCH))]
    for name in LEGS[:2]:
        share = ua(plants[1], name) / ua(plants[0], name)
        assert share < lost[1][name] / lost[0][name] < (1.0 + share) / 2.0


def test_soil_that_conducts_otherwise_is_varied_for_all_of_a_trench():
    """As worked out with that soil, beside the others."""
    off = AS_ASSUMED._replace(soil=0.5)
    varied = VariedPlant(starter(TRENCH), replace(AS_TOLD, walls=off))
    legs = varied.sheet.legs
    pipes = [BuriedPipe(legs[n].bore_m, legs[n].outside_m, legs[n].insulation_m, "PVC") for n in LEGS[:2]]
    along_m = min(legs[name].length_m for name in LEGS[:2])
    by_itself = pipe_ua_per_m(*pipes[0][:3], depth_m=0.6, off=off)
    due = side_by_side_ua_per_m(pipes, 0.12, 0.6, off)[0] * along_m
    assert ua(varied, LEGS[0]) == pytest.approx(due + by_itself * (legs[LEGS[0]].length_m - along_m))


def test_a_change_that_makes_pipes_thicker_moves_them_apart():
    """What is tried of a plant, such as more insulation, may need more room than the trench has."""
    scenario = starter(TRENCH)
    thick = {n: leg.model_copy(update={"insulation_m": 0.05}) for n, leg in scenario.plant.legs.items()}
    plant = Assembly(scenario.model_copy(update={"plant": scenario.plant.model_copy(update={"legs": thick})}))
    wide = starter(TRENCH.replace("120 mm", "163 mm"), *(f"plant.legs.{n}.insulation=50 mm" for n in LEGS))
    assert ua(plant, LEGS[0]) == pytest.approx(ua(Assembly(wide), LEGS[0]))


def test_what_was_taken_is_said():
    """With the share of the loss and what it leaves out; nothing without a trench."""
    page = Page()
    say_trenches(page, starter(TRENCH))
    said = " ".join(printed(page).split())
    share = ua(Assembly(starter(TRENCH)), LEGS[0]) / ua(Assembly(starter()), LEGS[0])
    both = "suction_left and suction_right"
    assert f"In trench garden {both} warm each other's soil: each loses {100 * share:.0f}" in said
    assert "taken as equally warm. One that alone is warm loses more." in said
    empty = Page()
    say_trenches(empty, starter())
    assert [] == empty.blocks


@pytest.mark.parametrize(
    ("words", "path", "said"),
    [
        ("{legs: [suction_left, suction_rihgt], spacing: 120 mm}", "legs.1", "did you mean 'suction_right'?"),
        ("{legs: [suction_left], spacing: 120 mm}", "legs", "two legs or more"),
        ("{legs: [suction_left, suction_left], spacing: 120 mm}", "legs", "each leg stands once"),
        ("{legs: [suction_left, suction_right], spacing: 50 mm}", "spacing", "or two of them overlap"),
        ("{legs: [suction_left, suction_right], spacing: 120 mm, length: 90 m}", "length", "the shortest"),
        ("{legs: [suction_left, suction_right], spacing: 120}", "spacing", "120 mm or 5 in"),
        ("{legs: [suction_left, suction_right]}", "spacing", "expected"),
    ],
)
def test_a_trench_that_cannot_be(words, path, said):
    """At its key, with what is expected."""
    with pytest.raises(InputError) as refused:
        starter(f"plant.trenches={{garden: {words}}}")
    assert any(f.path == f"plant.trenches.garden.{path}" and said in str(f) for f in refused.value.faults), (
        str(refused.value)
    )


def test_legs_of_a_trench_lie_in_one_soil_and_in_one_trench():
    """A leg in a room lies in no soil; a leg in two trenches is told with the first."""
    with pytest.raises(InputError, match="all legs of a trench lie in one zone of soil"):
        starter(TRENCH, "plant.legs.suction_left.zone=pump_room")
    two = TRENCH.replace("mm}}", "mm}, other: {legs: [suction_left, left_bench], spacing: 120 mm}}")
    with pytest.raises(InputError, match="a leg lies in one trench; it is in garden"):
        starter(two)


def test_the_share_that_is_told_is_that_of_the_run():
    """The pipe between the jets of a bench lies beyond the trench, and loses there what it would alone."""
    beside = starter("plant.trenches={garden: {legs: [left_bench, right_bench], spacing: 120 mm}}")
    shares = shares_of_loss(beside, beside.plant.trenches["garden"])
    in_run = {leg: ua(Assembly(beside), leg) / ua(Assembly(starter()), leg) for leg in shares}
    assert shares == pytest.approx(in_run)
    assert set(shares) == {"left_bench", "right_bench"}
