"""A sensor that reads too warm or too cold: the engine acts on what is read, and the water is as it is."""

import numpy as np
import pytest

from cyclesim.analysis.spans import while_in
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.engine import simulate_trace
from cyclesim.simulation.programme import FROST, Programme


def run(scenario, days=4):
    """A trace in January."""
    return simulate_trace(Assembly(scenario), Programme(scenario), days=days)


@pytest.mark.parametrize(("reads", "apart_k"), [("+2 K", -2.0), ("-1.5 K", 1.5)])
def test_a_thermostat_that_reads_wrong_keeps_the_water_wrong(build, reads, apart_k):
    """By hand: what reads 2 K too warm stops at 36 read, which are 34 true."""
    right = run(build()).tub
    wrong = run(build(("keep_at: 36 degC", f"reads: {reads}, keep_at: 36 degC"))).tub
    assert np.max(right.water_c[-50:]) == pytest.approx(36.0, abs=0.1)
    assert np.max(wrong.water_c[-50:]) == pytest.approx(36.0 + apart_k, abs=0.1)


def test_frost_protection_that_reads_too_warm_comes_later(build):
    """From 6 to 8 degC as read, 2 K too warm, are 4 to 6 degC: it runs as one that reads right does there."""

    def called(reads, starts, stops):
        line = f"watches: room, {reads}starts_below: {starts} degC, stops_above: {stops} degC, pump: main low"
        scenario = build(("  heating: {with", f"  frost_protection: {{{line}}}\n  heating: {{with"))
        return while_in(run(scenario).demands[FROST], "raised").tolist()

    assert called("reads: +2 K, ", 6, 8) == called("", 4, 6)
    assert called("", 6, 8) != called("", 4, 6)
