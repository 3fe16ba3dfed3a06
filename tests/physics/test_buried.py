"""Pipes that share a trench, against handbook formulas and the field between them worked out another way."""

from itertools import pairwise
from math import acosh, log, pi, sinh

import numpy as np
import pytest

from cyclesim.physics.buried import BuriedPipe, side_by_side_ua_per_m
from cyclesim.physics.walls import SOIL_W_MK, pipe_ua_per_m

K = SOIL_W_MK.value
PVC = BuriedPipe(0.057, 0.063, 0.0, "PVC")
SKIN = BuriedPipe(0.0629, 0.063, 0.0, "copper")
"""A pipe whose wall is as good as none: 2e-7 m K/W."""
D = 0.063
IN_BARE_SKINS = [(1.05, 0.035, 0.85), (1.5, 0.02, 0.26), (2.0, 0.012, 0.12), (5.0, 0.004, 0.01)]
"""Diameters from axis to axis; how near all together and each is to the field."""


def test_one_pipe_is_a_pipe_alone() -> None:
    """Nothing is added to it."""
    assert side_by_side_ua_per_m([PVC], 0.1, 0.6) == [pytest.approx(pipe_ua_per_m(0.057, 0.063, depth_m=0.6))]


def test_two_alike_by_the_standard() -> None:
    """EN 13941, from memory: q = dT / (R_alone + R_mutual), R_mutual = ln(1 + (2 z / x)^2) / (4 pi k)."""
    alone = 1.0 / pipe_ua_per_m(0.057, 0.063, depth_m=0.6)
    mutual = log(1.0 + (2 * 0.6 / 0.2) ** 2) / (4.0 * pi * K)
    due = 1.0 / (alone + mutual)
    assert side_by_side_ua_per_m([PVC, PVC], 0.2, 0.6) == [pytest.approx(due)] * 2


@pytest.mark.parametrize("spacing_m", [0.1, 0.3])
def test_the_middle_of_a_long_row(spacing_m: float) -> None:
    """2 pi k / ln(2 w / (pi D) sinh(2 pi z / w)), z > D, w > 1.5 D: Incropera & DeWitt table 4.1.

    As a list of shape factors has it (read). That row has no end; here it has 1,501 pipes; 1 %.
    """
    row = side_by_side_ua_per_m([SKIN] * 1501, spacing_m, 0.6)
    x = 2 * pi * 0.6 / spacing_m
    due = 2 * pi * K / (log(2 * spacing_m / (pi * D)) + log(sinh(x) if x < 300 else 0.0))
    assert row[750] == pytest.approx(due, rel=0.01)


def field_ua_per_m(count: int, spacing_m: float, depth_m: float, wall_mk_w: float = 0.0) -> list[float]:
    """W/(m K) of pipes with water at 1 under a surface at 0, by sources in each that make it so all round.

    Sixteen sources in each pipe, with as many images, are fitted at 48 points of each skin, where what the
    wall lets through, (1 - T) / (pi D R), is what the soil takes away, -k dT/dn.
    """
    centres = [np.array([i * spacing_m, -depth_m]) for i in range(count)]
    angles = np.linspace(0, 2 * pi, 16, endpoint=False)
    ring = np.column_stack((np.cos(angles), np.sin(angles)))
    sources = np.concatenate([c + 0.5 * D / 2 * ring for c in centres])
    around = np.linspace(0, 2 * pi, 48, endpoint=False)
    skin = np.column_stack((np.cos(around), np.sin(around)))
    points = np.concatenate([c + D / 2 * skin for c in centres])
    normal = np.tile(skin, (count, 1))
    near = points[:, None] - sources[None]
    far = points[:, None] - sources[None] * np.array([1.0, -1.0])
    near2, far2 = (near**2).sum(axis=2), (far**2).sum(axis=2)
    temp = 0.5 * np.log(far2 / near2) / (2 * pi * K)
    slope = np.einsum("ijk,ik->ij", far / far2[..., None] - near / near2[..., None], normal) / (2 * pi * K)
    held = temp - pi * D * wall_mk_w * K * slope
    strengths = np.linalg.lstsq(held, np.ones(len(points)), rcond=None)[0]
    return strengths.reshape(count, 16).sum(axis=1).tolist()


def test_the_field_itself_knows_one_pipe() -> None:
    """The reference of the next tests against 2 pi k / acosh(2 z / D), exact, and with a wall in the way."""
    soil_mk_w = acosh(2 * 0.6 / D) / (2 * pi * K)
    assert field_ua_per_m(1, 1.0, 0.6) == [pytest.approx(1.0 / soil_mk_w, rel=1e-6)]
    assert field_ua_per_m(1, 1.0, 0.6, 0.2) == [pytest.approx(1.0 / (soil_mk_w + 0.2), rel=1e-3)]


@pytest.mark.parametrize(("times", "in_all", "each"), IN_BARE_SKINS)
@pytest.mark.parametrize("count", [2, 3, 4])
def test_bare_skins_against_the_field_between_them(
    count: int, times: float, in_all: float, each: float
) -> None:
    """What all lose is near; of three that all but touch the middle one loses more than a line would."""
    due, said = field_ua_per_m(count, times * D, 0.6), side_by_side_ua_per_m([SKIN] * count, times * D, 0.6)
    assert sum(said) == pytest.approx(sum(due), rel=in_all)
    assert said == pytest.approx(due, rel=each)


@pytest.mark.parametrize(
    ("pipe", "conducts", "in_all", "each"),
    [(PVC, 0.19, 0.003, 0.045), (BuriedPipe(0.0514, 0.063, 0.0, "PE"), 0.5, 0.007, 0.10)],
)
@pytest.mark.parametrize("count", [2, 3, 4])
@pytest.mark.parametrize("times", [1.05, 2.0, 5.0])
def test_pipes_of_plastic_against_the_field_between_them(
    pipe: BuriedPipe, conducts: float, in_all: float, each: float, count: int, times: float
) -> None:
    """A wall of plastic in the way evens it out, even where they all but touch."""
    due = field_ua_per_m(count, times * D, 0.6, log(pipe.outside_m / pipe.bore_m) / (2 * pi * conducts))
    said = side_by_side_ua_per_m([pipe] * count, times * D, 0.6)
    assert sum(said) == pytest.approx(sum(due), rel=in_all)
    assert said == pytest.approx(due, rel=each)


def test_no_pipe_is_told_to_lose_nothing() -> None:
    """Of bare metal that touches, the middle one would come out below nothing."""
    row = side_by_side_ua_per_m([SKIN] * 3, D, 0.6)
    alone = pipe_ua_per_m(*SKIN[:2], of="copper", depth_m=0.6)
    assert min(row) == pytest.approx(0.02 * alone)


def test_four_lose_less_than_four_times_one_and_more_than_one() -> None:
    """The further apart, the more; far apart they are four pipes alone."""
    totals = [sum(side_by_side_ua_per_m([PVC] * 4, w, 0.6)) for w in (0.07, 0.12, 0.3, 1.0, 30.0)]
    alone = pipe_ua_per_m(0.057, 0.063, depth_m=0.6)
    assert all(a < b for a, b in pairwise(totals))
    assert alone < totals[0]
    assert totals[-1] == pytest.approx(4 * alone, rel=0.005)


def test_pipes_that_overlap_are_none() -> None:
    """Two of 63 mm with 20 mm of foam are 103 mm thick each."""
    thick = PVC._replace(insulation_m=0.02)
    assert len(side_by_side_ua_per_m([thick, thick], 0.103, 0.6)) == 2
    with pytest.raises(ValueError, match="overlap"):
        side_by_side_ua_per_m([thick, thick], 0.1, 0.6)
