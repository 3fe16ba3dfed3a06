"""What an explanation of readings is: causes at their most likely amounts, and how likely they are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from cyclesim.decide.readings.built import AsBuilt
from cyclesim.decide.readings.cause import Cause, Texts
from cyclesim.decide.readings.doubts import Floats
from cyclesim.decide.readings.odd_reading import Odd
from cyclesim.scenario.blocks.model import Scenario

_FITS = 2.0
"""Standard deviations that each reading may be off on average before that is no longer called a fit."""


@dataclass(frozen=True, slots=True)
class CauseAmount:
    """One cause with its value, and the ends of the interval that holds it in 90 of 100."""

    cause: str
    unit: str
    told: float
    value: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class Explanation:
    """One or two causes: how likely, and what each reading would then be, in SI, without the usual doubts.

    *odds* are those beside the plant as drawn; *share* is out of all that is considered. *misfit* is the
    root mean square of what is left of each reading, in standard deviations: near 1 or less fits.
    """

    amounts: tuple[CauseAmount, ...]
    odds: float
    share: float
    misfit: float
    readings: tuple[float, ...]
    alike: tuple[str, ...] = ()
    """Other explanations among those told whose predictions these readings cannot tell from this one's."""


@dataclass(frozen=True, slots=True)
class Part:
    """One or two causes that explain a part of what the readings are off by.

    *explains*: the share of the sum of squares, in standard deviations, that they take away; *leaves*: the
    readings that still differ, worst first.
    """

    amounts: tuple[CauseAmount, ...]
    explains: float
    leaves: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Explained:
    """What explains the readings.

    *as_drawn*: how likely it is that nothing but the usual doubts is at work; *other*: that it is something
    that is not on the list. *unseen* are causes that these readings would not show at any amount.
    """

    as_drawn: float
    other: float
    best: tuple[Explanation, ...]
    unseen: tuple[str, ...]
    causes: int
    misfit_as_drawn: float
    odd: Odd | None = None
    """Where no cause explains all: the one reading without which the others fit, if there is one."""
    parts: tuple[Part, ...] = ()
    """Where no cause explains all and no single reading is odd: what explains a part, single causes first."""

    @property
    def needs_no_cause(self) -> bool:
        """Whether the plant as drawn is likelier than any cause."""
        return not self.best or self.as_drawn > self.best[0].share

    @property
    def fits(self) -> bool:
        """Whether the likeliest, a cause or the plant as drawn, explains all readings."""
        if self.needs_no_cause:
            return self.as_drawn >= self.other
        return self.best[0].share >= self.other and self.best[0].misfit <= _FITS


class Fit:
    """One or two causes at their most likely amounts (`shares` of their ranges)."""

    def __init__(self, of: tuple[Cause, ...], shares: Floats, log_evidence: float) -> None:
        self.causes, self.shares, self.log_evidence = of, shares, log_evidence
        self.low = self.high = shares
        self.effect: Floats = np.zeros(0)
        self.misfit = 0.0

    @property
    def name(self) -> str:
        """The causes in words."""
        return " and ".join(cause.name for cause in self.causes)

    def built(self, scenario: Scenario) -> AsBuilt:
        """The plant with these causes at these amounts."""
        return with_causes(AsBuilt(scenario), self.causes, self.shares)

    def texts(self, scenario: Scenario) -> Texts:
        """The keys of the file that say it, to two digits; none where one of the causes is no key's there."""
        texts: Texts = {}
        for cause, share in zip(self.causes, self.shares, strict=True):
            said = cause.written(scenario, float(f"{cause.at(float(share)):.2g}")) if cause.written else {}
            if not said:
                return {}
            texts |= said
        return texts

    def amounts(self) -> tuple[CauseAmount, ...]:
        """Each cause's value with its interval."""
        return tuple(
            CauseAmount(cause.name, cause.unit, cause.told, None, None, None)
            if cause.outright
            else CauseAmount(
                cause.name,
                cause.unit,
                cause.told,
                *(cause.at(float(u[k])) for u in (self.shares, self.low, self.high)),
            )
            for k, cause in enumerate(self.causes)
        )


def with_causes(built: AsBuilt, of: Sequence[Cause], shares: Sequence[float] | Floats) -> AsBuilt:
    """A plant with causes at shares of their ranges."""
    for cause, share in zip(of, shares, strict=True):
        built = cause.change(built, cause.at(float(share)))
    return built
