"""Which cause explains the readings: each is fitted, and weighed by how well it explains all of them.

What the plant as drawn may be off by within practice (`doubts`) is taken as linear and normal, and put to the
readings' own tolerances as one covariance, so that only a cause's own amount is left to fit. One amount is
integrated over its range (trapezoids on the prediction, interpolated between runs of the model); for two at
once the integral is Laplace's approximation at scipy's bounded least squares. Odds are these evidences' ratio
times the odds beforehand: as drawn, as likely as one cause, which is four times as likely as two.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from functools import cached_property
from itertools import combinations
from typing import NamedTuple

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.optimize import least_squares

from cyclesim.decide.readings.built import AsBuilt
from cyclesim.decide.readings.cause import Cause
from cyclesim.decide.readings.causes import causes
from cyclesim.decide.readings.doubts import FLOW, TO_ENDS, DrawnReadings, Floats, drawn, felt_by
from cyclesim.decide.readings.explanation import Explained, Explanation, Fit, with_causes
from cyclesim.decide.readings.odd_reading import Odd, TriedCause, odd_one
from cyclesim.decide.readings.predicted import Prediction, predicted_each, predictions
from cyclesim.decide.sweeps.sweep import HERE, How
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.readings import Cooling, Energy, Reading, Running, WarmUp

ONE, TWO, OTHER = 1.0, 0.25, 0.05
"""Odds beforehand, beside the plant as drawn, of one cause, of two, and of one that is not on the list."""
_NODES, _HEAT_NODES, _GRID = 9, 5, 201
"""Runs of the model over a cause's range, fewer where it moves heat alone, and steps of its integral."""
_OTHER_OFF = 0.3
"""By how much of itself a cause that is not on the list moves a reading: no more is known of it."""
_SLACK = 3.0
"""Logarithm of evidence that a pair may gain when it is fitted in full."""
_PAIRS, _AGAIN, _TOLD = 8, 6, 0.005
"""So many pairs are fitted in full; what is less likely than this share is not told."""
_MOST = 6
_PER_CAUSE = 2.706
"""What a cause takes off the sum of squares at least: the 90 % point of chi-squared with one degree."""
_SEEN = 1.0
"""Standard deviations of what all readings together are off by, below which nothing is seen."""


def _white(covariance: Floats) -> tuple[Floats, float]:
    """The inverse of a covariance's root, and the logarithm of its determinant."""
    white = np.linalg.inv(np.linalg.cholesky(covariance))
    return white, float(np.sum(np.log(np.diag(white))))


class _Promising(NamedTuple):
    """Two causes by their places in the list, the sum of squares that they leave, and where."""

    score: float
    left: float
    one: int
    two: int
    start: Floats


class Explainer:
    """Readings of one plant, and everything that may explain them."""

    def __init__(
        self,
        scenario: Scenario,
        readings: Sequence[Reading],
        measured: date,
        told: DrawnReadings,
        how: How = HERE,
    ) -> None:
        self.scenario, self.readings, self.measured, self.told = scenario, readings, measured, told
        self._how = how
        self.read = np.array([reading.value for reading in readings])
        self.noise = np.diag([(reading.give_or_take / TO_ENDS) ** 2 for reading in readings])
        self.list = causes(scenario)
        self._felt = [felt_by(reading) for reading in readings]

    # -- the model -------------------------------------------------------------------------------------------

    def _moved(self, of: Sequence[Cause]) -> list[int]:
        """The readings that feel one of these causes."""
        feels = frozenset[str]().union(*(cause.feels for cause in of))
        return [i for i, felt in enumerate(self._felt) if felt & feels]

    def _near(self, of: Sequence[Cause], at: Sequence[int], shares: Sequence[float] | Floats) -> Floats:
        """The effect of causes, by their curves added where no two are felt by one reading.

        What takes a run between two dates is never run for it: its curve stands for it.
        """
        added = np.asarray(sum(self._curve(k, float(u)) for k, u in zip(at, shares, strict=True)))
        first, *second = (cause.feels for cause in of)
        if second and not first & second[0]:
            return added
        effect = self.effect(of, shares, self._runs)
        effect[self._runs] = added[self._runs]
        return effect

    @cached_property
    def _runs(self) -> list[int]:
        """The readings that take a run between two dates."""
        return [i for i, r in enumerate(self.readings) if isinstance(r, Energy | Running)]

    def _curve(self, k: int, share: float) -> Floats:
        nodes, effects = self.curves[k]
        return np.asarray(effects[0] if self.list[k].outright else PchipInterpolator(nodes, effects)(share))

    def effect(
        self, of: Sequence[Cause], shares: Sequence[float] | Floats, without: Sequence[int] = ()
    ) -> Floats:
        """How far causes at shares of their ranges move each reading from what is told."""
        moved = [i for i in self._moved(of) if i not in without]
        effect = np.zeros(len(self.readings))
        if moved:
            built = with_causes(AsBuilt(self.scenario), of, shares)
            there = predictions(built, [self.readings[i] for i in moved], self.measured)
            effect[moved] = np.array(there) - self.told.told[moved]
        return effect

    def _whitened(
        self, doubts_of: Sequence[Cause], told: DrawnReadings | None = None
    ) -> tuple[Floats, Floats, float]:
        """What turns a residual into standard deviations, without the doubts that causes replace; the
        residual of what is told; and the covariance's part of the logarithm of evidence.
        """
        told = told or self.told
        without = {cause.doubt for cause in doubts_of if cause.doubt}
        white, log_root = _white(self.noise + told.covariance(without))
        rest = self.read - told.told - told.likely(without)
        return white, rest, log_root

    @cached_property
    def white(self) -> Floats:
        """What turns a residual of the plant as drawn into standard deviations."""
        return self._whitened(())[0]

    # -- one cause ---------------------------------------------------------------------------------------

    @cached_property
    def curves(self) -> list[tuple[Floats, Floats]]:
        """Of each cause, shares of its range and its effect there."""
        ranges = [
            np.array([0.5])
            if cause.outright
            else np.linspace(0.0, 1.0, _NODES if FLOW in cause.feels else _HEAT_NODES)
            for cause in self.list
        ]
        at = [(k, u) for k, nodes in enumerate(ranges) for u in nodes]
        tasks, moved = list[Prediction](), [self._moved([cause]) for cause in self.list]
        for k, u in at:
            built = with_causes(AsBuilt(self.scenario), [self.list[k]], [u])
            tasks.append(Prediction(built, [self.readings[i] for i in moved[k]], self.measured))
        effects = [np.zeros((len(nodes), len(self.readings))) for nodes in ranges]
        rows = [row for nodes in ranges for row in range(len(nodes))]
        for (k, _), row, values in zip(at, rows, predicted_each(tasks, self._how), strict=True):
            effects[k][row, moved[k]] = np.array(values) - self.told.told[moved[k]]
        return list(zip(ranges, effects, strict=True))

    def doubts_at(self, fit: Fit) -> DrawnReadings:
        """The doubts about flows as they are at a fit: where a jet is all but shut, little moves its flow."""
        flows = [i for i, felt in enumerate(self._felt) if FLOW in felt]
        near = drawn(
            self.scenario,
            [self.readings[i] for i in flows],
            self.measured,
            lambda built: with_causes(built, fit.causes, fit.shares),
        )
        middle = {name: d.copy() for name, d in self.told.middle.items()}
        deviation = {name: d.copy() for name, d in self.told.deviation.items()}
        for name in deviation:
            middle[name][flows] = near.middle.get(name, 0.0)
            deviation[name][flows] = near.deviation.get(name, 0.0)
        return DrawnReadings(self.told.told, middle, deviation)

    def single(self, k: int, told: DrawnReadings | None = None) -> Fit:
        """One cause, fitted; with *told* for what the doubts do to the readings."""
        cause, (nodes, effects) = self.list[k], self.curves[k]
        white, rest, log_root = self._whitened([cause], told)
        if cause.outright:
            z = white @ (rest - effects[0])
            fit = Fit((cause,), nodes, log_root - 0.5 * float(z @ z))
            return self._finished(fit, effects[0], z)
        for _ in range(3):
            curve = PchipInterpolator(nodes, effects)

            def left(u: Floats, curve: PchipInterpolator = curve) -> Floats:
                return np.asarray((rest - curve(u)) @ white.T)

            grid = np.linspace(0.0, 1.0, _GRID)
            start = float(grid[np.argmin(np.sum(left(grid) ** 2, axis=1))])
            best = least_squares(lambda u: left(u)[0], [start], bounds=(0.0, 1.0), xtol=1e-6)
            u = float(best.x[0])
            near = float(np.min(np.abs(nodes - u)))
            if near < 1e-3:
                break
            there = self._near([cause], [k], [u])
            off = white @ (there - curve(u))
            nodes, effects = np.append(nodes, u), np.vstack([effects, there])
            order = np.argsort(nodes)
            nodes, effects = nodes[order], effects[order]
            if float(np.linalg.norm(off)) < 0.05:
                break
        curve = PchipInterpolator(nodes, effects)
        wide = 1.0 / max(float(np.linalg.norm(best.jac)), 1e-3)
        fine = np.unique(np.clip(np.concatenate([grid, u + wide * np.linspace(-6, 6, _GRID)]), 0.0, 1.0))
        z = (rest - curve(fine)) @ white.T
        log_like = -0.5 * np.sum(z**2, axis=1)
        top = float(np.max(log_like))
        density = np.exp(log_like - top)
        sums = np.concatenate([[0.0], np.cumsum(np.diff(fine) * (density[1:] + density[:-1]) / 2.0)])
        fit = Fit((cause,), np.array([u]), log_root + top + math.log(max(float(sums[-1]), 1e-300)))
        low, middle, high = np.interp(np.array([0.05, 0.5, 0.95]) * sums[-1], sums, fine)
        fit.low, fit.high, fit.shares = np.array([low]), np.array([high]), np.array([middle])
        return self._finished(fit, np.asarray(curve(middle)), white @ (rest - curve(middle)))

    @staticmethod
    def _finished(fit: Fit, effect: Floats, z: Floats) -> Fit:
        fit.effect, fit.misfit = effect, float(np.sqrt(np.mean(z**2)))
        return fit

    # -- two causes ------------------------------------------------------------------------------------------

    def pairs(self, likeliest: float) -> list[Fit]:
        """The pairs that promise most where their effects are added, each fitted in full.

        *likeliest* is the logarithm of evidence and prior of the likeliest explanation without a pair: where
        a pair's own prior is taken off, it may not come near that.
        """
        log_root = self._whitened(())[2]
        few = math.log(2.0 * TWO / len(self.list) ** 2) - math.log(_TOLD)
        bound = 2.0 * (log_root + few + _SLACK - likeliest)
        near = [pair for pair in self._promising if pair.left <= bound]
        return [self._pair(pair.one, pair.two, pair.start) for pair in near[:_PAIRS]]

    def nearest_pair(self) -> Fit | None:
        """The pair that promises most, fitted in full, however much it leaves."""
        first = next(iter(self._promising), None)
        return first and self._pair(first.one, first.two, first.start)

    @cached_property
    def _promising(self) -> list[_Promising]:
        """Every pair of causes with its effects added, that which leaves least first."""
        white, rest, _ = self._whitened(())
        r = white @ rest
        grids, found = [], list[_Promising]()
        for cause, (nodes, effects) in zip(self.list, self.curves, strict=True):
            u = nodes if cause.outright else np.linspace(0.0, 1.0, 31)
            at = effects if cause.outright else PchipInterpolator(nodes, effects)(u)
            grids.append((u, at @ white.T))
        seen = [k for k, (_, e) in enumerate(grids) if float(np.max(np.linalg.norm(e, axis=1))) > _SEEN]
        for i, j in combinations(seen, 2):
            one, two = self.list[i], self.list[j]
            if one.doubt and one.doubt == two.doubt:
                continue
            (_, e1), (_, e2) = grids[i], grids[j]
            left = r @ r - 2.0 * ((e1 @ r)[:, None] + (e2 @ r)[None, :])
            left = left + np.sum(e1**2, axis=1)[:, None] + np.sum(e2**2, axis=1)[None, :] + 2.0 * e1 @ e2.T
            a, b = np.unravel_index(int(np.argmin(left)), left.shape)
            amounts = (not one.outright) + (not two.outright)
            score = float(left[a, b]) + 2.0 * amounts - 2.0 * math.log(one.weight * two.weight)
            start = np.array([float(grids[i][0][a]), float(grids[j][0][b])])
            found.append(_Promising(score, float(left[a, b]), i, j, start))
        return sorted(found, key=lambda pair: pair[:4])

    def _pair(self, i: int, j: int, start: Floats, told: DrawnReadings | None = None) -> Fit:
        of = (self.list[i], self.list[j])
        white, rest, log_root = self._whitened(of, told)
        free = [k for k, cause in enumerate(of) if not cause.outright]
        shares = start.copy()
        effects: list[Floats] = []

        def left(u: Floats) -> Floats:
            shares[free] = u
            effects[:] = [self._near(of, (i, j), shares)]
            return np.asarray(white @ (rest - effects[0]))

        if not free:
            z = left(np.zeros(0))
            fit = Fit(of, shares, log_root - 0.5 * float(z @ z))
            return self._finished(fit, effects[0], z)
        begin = np.clip(start[free], 0.01, 0.99)
        best = least_squares(
            left, begin, bounds=(0.0, 1.0), diff_step=0.01, xtol=1e-3, ftol=1e-3, max_nfev=12
        )
        z = left(best.x)
        curvature = best.jac.T @ best.jac + np.eye(len(free)) * 1e-6
        volume = 0.5 * len(free) * math.log(2.0 * math.pi) - 0.5 * float(np.linalg.slogdet(curvature)[1])
        fit = Fit(of, shares.copy(), log_root - 0.5 * float(z @ z) + min(0.0, volume))
        spread = TO_ENDS * np.sqrt(np.diag(np.linalg.inv(curvature)))
        fit.low, fit.high = shares.copy(), shares.copy()
        fit.low[free], fit.high[free] = np.clip(best.x - spread, 0, 1), np.clip(best.x + spread, 0, 1)
        return self._finished(fit, effects[0], z)

    # -- all of them -------------------------------------------------------------------------------------

    @cached_property
    def fits(self) -> list[tuple[float, Fit]]:
        """Every fit with its logarithm of evidence and odds beforehand, the likeliest first."""
        weights = sum(cause.weight for cause in self.list)
        fits = []
        for k, cause in enumerate(self.list):
            fit = self.single(k)
            fits.append((fit.log_evidence + math.log(ONE * cause.weight / weights), fit))
        fits = self._again(fits)
        likeliest = max(self.log_as_drawn, self.log_other, *(log for log, _ in fits))
        pairs = []
        for fit in self.pairs(likeliest):
            one, two = fit.causes
            prior = 2.0 * TWO * one.weight * two.weight / weights**2
            pairs.append((fit.log_evidence + math.log(prior), fit))
        return sorted([*fits, *self._again(pairs)], key=lambda pair: -pair[0])

    def refitted(self, fit: Fit) -> Fit:
        """A fit made once more, with the doubts as they are there; itself where it moves no flow."""
        if not any(FLOW in cause.feels for cause in fit.causes):
            return fit
        first, *second = (self.list.index(cause) for cause in fit.causes)
        there = self.doubts_at(fit)
        return self._pair(first, second[0], fit.shares, there) if second else self.single(first, there)

    def _again(self, fits: list[tuple[float, Fit]]) -> list[tuple[float, Fit]]:
        """The likeliest fits fitted once more, with the doubts as they are there, and the rest."""
        fits.sort(key=lambda pair: -pair[0])
        again = []
        for log, fit in fits[:_AGAIN]:
            refit = fit
            if log > self.log_as_drawn - _SLACK:
                refit = self.refitted(fit)
            again.append((log - fit.log_evidence + refit.log_evidence, refit))
        return [*again, *fits[_AGAIN:]]

    @cached_property
    def log_as_drawn(self) -> float:
        """The logarithm of the evidence that nothing but the usual doubts is at work."""
        white, rest, log_root = self._whitened(())
        z = white @ rest
        return log_root - 0.5 * float(z @ z)

    @cached_property
    def log_other(self) -> float:
        """Likewise, with its odds beforehand, of something that moves each reading in a way of its own."""
        off = np.array([_OTHER_OFF * self._size(k, reading) for k, reading in enumerate(self.readings)])
        white, log_root = _white(self.noise + self.told.covariance() + np.diag(off**2))
        z = white @ (self.read - self.told.told - self.told.likely())
        return math.log(OTHER) + log_root - 0.5 * float(z @ z)

    def _size(self, k: int, reading: Reading) -> float:
        if isinstance(reading, WarmUp | Cooling):
            return abs(reading.to_c - reading.from_c)
        return max(abs(reading.value), min(abs(float(self.told.told[k])), 3.0 * abs(reading.value)))

    @cached_property
    def _log_whole(self) -> float:
        """The logarithm of all evidence times its odds beforehand."""
        logs = [self.log_as_drawn, self.log_other, *(log for log, _ in self.fits)]
        return max(logs) + math.log(sum(math.exp(log - max(logs)) for log in logs))

    @cached_property
    def as_drawn(self) -> float:
        """How likely it is that nothing but the usual doubts is at work."""
        return math.exp(self.log_as_drawn - self._log_whole)

    @cached_property
    def likeliest(self) -> list[tuple[float, Fit]]:
        """What is told of all explanations: each with how likely it is."""
        told = list[tuple[float, Fit]]()
        for log, fit in self.fits:
            share = math.exp(log - self._log_whole)
            if share > _TOLD and self._explains(fit, [other for _, other in told]):
                told.append((share, fit))
        return told[:_MOST]

    def explained(self) -> Explained:
        """What explains the readings, the likeliest first."""
        told = self.likeliest
        best = tuple(
            Explanation(
                fit.amounts(),
                share / self.as_drawn if self.as_drawn else math.inf,
                share,
                fit.misfit,
                tuple((self.told.told + fit.effect).tolist()),
                tuple(other.name for _, other in told if other is not fit and self.alike(fit, other)),
            )
            for share, fit in told
        )
        found = Explained(
            self.as_drawn,
            math.exp(self.log_other - self._log_whole),
            best,
            tuple(self.unseen()),
            len(self.list),
            self.misfit_as_drawn,
        )
        return found if found.fits else replace(found, odd=self._odd())

    @cached_property
    def misfit_as_drawn(self) -> float:
        """The root mean square of what the readings are off by as drawn, in standard deviations."""
        white, rest, _ = self._whitened(())
        return float(np.sqrt(np.mean((white @ rest) ** 2)))

    def off(self, fit: Fit) -> Floats:
        """What a fit leaves of each reading, over what that and its prediction may both be off by."""
        without = {cause.doubt for cause in fit.causes if cause.doubt}
        rest = self.read - self.told.told - self.told.likely(without) - fit.effect
        covariance = self.noise + self.told.covariance(without)
        return np.asarray(rest / (TO_ENDS * np.sqrt(np.diag(covariance))))

    def _odd(self) -> Odd | None:
        """The one reading that stands against all others, if there is one."""
        tried = [("", frozenset[str](), np.zeros((1, len(self.readings))))]
        for cause, (nodes, effects) in zip(self.list, self.curves, strict=True):
            shares = np.linspace(0.0, 1.0, _GRID)
            moved = effects if cause.outright else PchipInterpolator(nodes, effects)(shares)
            tried.append((cause.name, frozenset({cause.doubt} - {""}), np.asarray(moved)))
        return odd_one(
            [reading.words for reading in self.readings],
            [
                TriedCause(
                    name,
                    self.read - self.told.told - self.told.likely(without) - moved,
                    self.noise + self.told.covariance(without),
                )
                for name, without, moved in tried
            ],
        )

    def _explains(self, fit: Fit, told: Sequence[Fit]) -> bool:
        """Whether a fit leaves less than the plant as drawn, or a part of it alone, for each cause more."""
        count = len(self.readings)
        if (self.misfit_as_drawn**2 - fit.misfit**2) * count < _PER_CAUSE * len(fit.causes):
            return False
        parts = [other for other in told if set(other.causes) < set(fit.causes)]
        return all((other.misfit**2 - fit.misfit**2) * count > _PER_CAUSE for other in parts)

    def alike(self, one: Fit, two: Fit) -> bool:
        """Whether the readings cannot tell two fits apart: side by side their effects are as good as one.

        By the smaller singular value of the two effects in standard deviations of what the readings are off
        by: along it the two differ, and nothing below one deviation is seen. Effects of one direction must be
        of one size, too.
        """
        effects = [self.white @ fit.effect for fit in (one, two)]
        values = np.linalg.svd(np.column_stack(effects), compute_uv=False)
        apart = float(np.linalg.norm(effects[0] - effects[1]))
        return (len(values) < 2 or float(values[1]) < _SEEN) and apart < 2.0 * _SEEN

    def unseen(self) -> list[str]:
        """Causes that at no amount move all readings together by more than they are off by anyway."""
        names = []
        for cause, (_, effects) in zip(self.list, self.curves, strict=True):
            moved = self.white @ effects.T
            if float(np.max(np.linalg.norm(moved, axis=0))) < _SEEN:
                names.append(cause.name)
        return names
