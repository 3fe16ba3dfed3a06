"""Where no cause explains all readings: those that explain a part, and what would tell these apart."""

from __future__ import annotations

from copy import copy

import numpy as np

from cyclesim.decide.readings.explained import Explainer
from cyclesim.decide.readings.explanation import Fit, Part

_LEAST, _BESIDE = 0.2, 0.5
"""A cause that takes away less of the sum of squares than this is no hint; nor is one that takes away less
than so much of what the best one does."""
_SINGLE = 3


def parts(explainer: Explainer) -> list[Fit]:
    """The single causes that explain most, at most three, then the pair that explains clearly more."""
    singles = sorted((fit for _, fit in explainer.fits if len(fit.causes) == 1), key=lambda fit: fit.misfit)
    told = list[Fit]()
    for fit in singles[:_SINGLE]:
        share = explains(explainer, fit)
        if share >= max(_LEAST, _BESIDE * explains(explainer, singles[0])):
            told.append(fit)
    pair = explainer.nearest_pair()
    if pair and explains(explainer, pair) >= explains(explainer, singles[0]) + _LEAST:
        told.append(pair)
    return told


def explains(explainer: Explainer, fit: Fit) -> float:
    """The share of the sum of squares, as drawn, that a fit takes away."""
    return 1.0 - (fit.misfit / explainer.misfit_as_drawn) ** 2


def as_told(explainer: Explainer, fit: Fit) -> Part:
    """A part with the readings that it leaves off by more than they and their prediction may be."""
    off = np.abs(explainer.off(fit))
    leaves = [explainer.readings[k].words for k in np.argsort(-off) if off[k] > 1.0]
    return Part(fit.amounts(), explains(explainer, fit), tuple(leaves))


def weighed(explainer: Explainer, told: list[Fit]) -> tuple[Explainer, list[tuple[float, Fit | None]]]:
    """Parts with their shares, and readings taken for as much less exact as the best part leaves them off.

    Birge's ratio, by which those who fit constants widen errors that do not fit.
    """
    ratio = max(1.0, min(fit.misfit for fit in told)) ** 2
    wider = copy(explainer)
    wider.noise = explainer.noise * ratio
    logs = np.array([-0.5 * fit.misfit**2 * len(explainer.readings) / ratio for fit in told])
    shares = np.exp(logs - np.max(logs))
    return wider, list(zip((shares / np.sum(shares)).tolist(), told, strict=True))
