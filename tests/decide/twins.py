"""Plants with a hidden cause, off by what practice strays by, and the readings that one would take there."""

from dataclasses import dataclass

import numpy as np

from cyclesim.decide.ranges.draws import merged
from cyclesim.decide.readings.built import AsBuilt
from cyclesim.decide.readings.cause import Cause
from cyclesim.decide.readings.doubts import TO_ENDS, Doubt, doubts, drawn
from cyclesim.decide.readings.explained import Explainer
from cyclesim.decide.readings.explanation import with_causes
from cyclesim.decide.readings.predicted import predictions
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.readings import Cooling, Readings, WarmUp
from cyclesim.simulation.tolerance import AS_TOLD

AT_AN_END = 0.5 / TO_ENDS**2
"""How often a doubt is at either end, so that its variance is that of a normal one with 90 % between them."""


@dataclass
class Twins:
    """Readings of one plant as drawn, from which plants with hidden causes are made."""

    scenario: Scenario
    readings: Readings
    chance: np.random.Generator

    def __post_init__(self) -> None:
        self.told = drawn(self.scenario, self.readings.readings, self.readings.measured)
        self.drawn = self.explainer()
        self.doubts: list[Doubt] = doubts(self.scenario)
        unseen = set(self.drawn.unseen())
        self.seen = [k for k, cause in enumerate(self.drawn.list) if cause.name not in unseen]

    def explainer(self) -> Explainer:
        """Everything that may explain the readings; none is taken yet."""
        return Explainer(self.scenario, self.readings.readings, self.readings.measured, self.told)

    def built(self, of: tuple[Cause, ...], shares: np.ndarray) -> AsBuilt:
        """A plant with these causes, each usual doubt at its lowest, as told, or at its highest."""
        built, replaced = AsBuilt(self.scenario), {cause.doubt for cause in of}
        for doubt in self.doubts:
            draw = self.chance.random()
            end = doubt.low if draw < AT_AN_END else doubt.high if draw > 1.0 - AT_AN_END else None
            if end is not None and doubt.name not in replaced:
                scenario = merged(self.scenario, built.scenario, end.scenario)
                built = AsBuilt(scenario, merged(AS_TOLD, built.tolerance, end.tolerance))
        return with_causes(built, of, shares)

    def read(self, of: tuple[Cause, ...], shares: np.ndarray) -> Explainer:
        """The readings of such a plant, each off as its tolerance says."""
        readings = self.readings.readings
        true = np.array(predictions(self.built(of, shares), readings, self.readings.measured))
        sizes = [
            value - reading.from_c if isinstance(reading, WarmUp | Cooling) else value
            for value, reading in zip(true, readings, strict=True)
        ]
        off = np.array([r.tolerance.of(size) / TO_ENDS for r, size in zip(readings, sizes, strict=True)])
        explainer = self.explainer()
        explainer.curves = self.drawn.curves
        explainer.read = true + self.chance.normal(size=len(off)) * off
        explainer.noise = np.diag(off**2)
        return explainer

    def seen_by(self, explainer: Explainer, of: tuple[Cause, ...], shares: np.ndarray) -> float:
        """Standard deviations by which causes move the readings of the plant as drawn."""
        root = np.linalg.cholesky(explainer.noise + self.told.covariance())
        return float(np.linalg.norm(np.linalg.solve(root, self.drawn.effect(of, shares))))
