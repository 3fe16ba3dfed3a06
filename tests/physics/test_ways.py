"""What one passage loses and returns, worked out for each cause alone."""

from itertools import pairwise

import numpy as np
import pytest

from cyclesim.physics import warmth
from cyclesim.physics.inside import Inside
from cyclesim.physics.warmth import Reach
from cyclesim.physics.ways import Ways

L = 1e-3
PER_M3_K = 4.2e6
# out of the tub into a fork, of which one side is in two reaches, and its heater holds no water; back
REACHES = [
    Reach("out", "tub", "fork", 8.4e4, 6.0, "soil"),
    Reach("heater", "fork", "beyond", 0.0),
    Reach("near", "beyond", "tub", 2.1e4, 2.0, "room"),
    Reach("far", "fork", "end", 6.3e4, 5.0, "soil"),
    Reach("jet", "end", "tub", 1.05e4, 1.0, "air"),
    Reach("still", "end", "tub", 1.05e4, 1.0, "air"),
]
FLOWS = (1.0 * L, 0.4 * L, 0.4 * L, 0.6 * L, 0.6 * L, 0.0)


@pytest.mark.parametrize("back", [1.0, -1.0])
def test_what_a_cause_does_not_reach_is_left_out_and_changes_nothing(back: float) -> None:
    """Each column beside the passage of all reaches with that cause alone, which leaves nothing out."""
    ways = Ways(REACHES, PER_M3_K)
    way = ways.of(0, [back * flow for flow in FLOWS])
    assert way is not None
    passages = ways.passages(way, frozenset({1, 3}))
    held, tub = ways.held[0], passages.tub
    heats = tub + ways.first_heat
    assert passages.known == {*range(heats), heats + 1, heats + 3}
    for column in passages.known - {tub}:
        size, causes = ways.cause(way, column)
        assert causes[column] == size == causes.sum()
        if column < tub and held[column % len(held)] not in way.members:
            continue
        slugs = ways.as_slugs(0, causes[:tub])
        lost_j, returned_j = ways.passage(way, slugs, (0.0, 0.0), causes[tub:])
        lost = [lost_j.get(i, 0.0) / size for i in held]
        assert lost == pytest.approx(passages.lost_j[:, column], abs=1e-9)
        assert returned_j / size == pytest.approx(passages.returned_j[:, column], abs=1e-9)
        assert np.any(returned_j) or np.any(passages.lost_j[:, column])


def test_what_a_tub_sends_out_colder_comes_back_as_the_inverse_says() -> None:
    """Second by second: of what has been returned by then, each step of the tub has returned its share.

    Solved with numpy's inverse of the whole matrix, filled entry by entry.
    """
    ways, tub_j_k = Ways(REACHES, PER_M3_K), 6.2e6
    way = ways.of(0, FLOWS)
    assert way is not None
    passages = ways.passages(way, frozenset())
    step = passages.returned_j[:, passages.tub]
    middle = [0.0, *(0.5 * (a + b) for a, b in pairwise(step)), 0.0]
    matrix = np.eye(len(step))
    for t in range(len(step)):
        for j in range(1, t + 1):
            matrix[t, j] -= (middle[t - j + 1] - middle[t - j]) / tub_j_k
    back, fed = passages.fed(tub_j_k)
    assert len(step) > 50
    assert np.max(np.abs(back - np.linalg.inv(matrix))) < 1e-14
    assert np.max(np.abs(back - np.eye(len(step)))) > 1e-5
    assert fed == pytest.approx(np.linalg.solve(matrix, passages.returned_j), rel=1e-12, abs=1e-9)


@pytest.mark.parametrize("i", [0, 2, 3, 4])
def test_what_a_reach_holds_by_the_second_is_what_its_slugs_hold(i: int) -> None:
    """Slugs led along behind a tub that what comes back cools or warms, and 2 K warmer from 10 s on."""
    ways, tub_j_k, heated = Ways(REACHES, PER_M3_K), 6.2e6, frozenset({1, 3})
    way = ways.of(0, FLOWS)
    assert way is not None
    by_return, inside = ways.passages(way, heated).fed(tub_j_k)[1], Inside(ways, way, i, tub_j_k)
    inside.complete()
    draw, tub = np.random.default_rng(i), way.passages.tub
    fronts = draw.uniform(5.0, 40.0, tub // 2)
    backs = fronts + draw.uniform(-3.0, 3.0, tub // 2)
    heats_w = [0.0, draw.uniform(0.0, 4000.0), 0.0, draw.uniform(0.0, 1500.0), 0.0, 0.0]
    acts = [30.0, *draw.uniform(-5.0, 20.0, len(ways.zones)), *heats_w, 0.0]
    causes, seconds = np.concatenate((fronts, backs, acts)), np.arange(way.after_s + 1)
    tub_c = 30.0 + by_return @ causes / tub_j_k + 2.0 * (seconds > 10)
    held_j = inside.by_second @ causes
    held_j[11:] += inside.as_tub_is_warmer_j[1:-10] + inside.as_tub_is_warmer_j[:-11]  # it rises for a second
    for after_s in (1, 7, 20, 33, way.after_s):
        stream = [(1.0, *ends) for ends in pairwise(tub_c[: after_s + 1].tolist())]
        slugs = ways.as_slugs(0, causes[:tub])
        done = ways.follow(way, slugs, stream, causes[tub:], settled_too=True, asked=i)
        off_j = held_j[after_s] - PER_M3_K * warmth.warmth(done.contents[i])
        assert abs(off_j) < 0.03 * REACHES[i].capacity_j_k
