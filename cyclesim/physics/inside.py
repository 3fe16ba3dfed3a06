"""What a reach holds, second by second, while the water of its circuit passes; linear in what acts.

What comes into it and leaves it is known from the streams that `warmth.move` leads along, so that its heat
follows second by second: dH/dt = rho c Q (T_in - T_out) + P - UA (H / C - T_zone).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from cyclesim.physics import warmth
from cyclesim.physics.heat import decay
from cyclesim.physics.warmth import Floats

if TYPE_CHECKING:
    from cyclesim.physics.ways import Way, Ways


class Inside:
    """Heat above 0 degC in reach *i*, on passages of a way beside a tub of *tub_j_k* [J/K]."""

    def __init__(self, ways: Ways, way: Way, i: int, tub_j_k: float) -> None:
        self._ways, self._way, self._i, self.tub_j_k = ways, way, i, tub_j_k
        self._from = next(links_in for links_in, links_out in way.pattern.nodes if i in links_out)
        self._alone_j: Floats = np.zeros_like(way.passages.returned_j)
        """By the second [J], beside a tub that stays as it is; columns as in Passages."""
        self._known: set[int] = set()
        self.by_second: Floats = self._alone_j
        """By the second [J], beside a tub that what has returned warms; columns as in Passages."""
        self.as_tub_is_warmer_j: Floats = self._alone_j[:, 0]
        """By the second [J/K], of each kelvin that the tub is warmer from the first on."""

    def complete(self) -> None:
        """Work out what the columns that are known of the passages do to the reach."""
        passages = self._way.passages
        missing = passages.known - self._known
        if not missing:
            return
        self._known |= missing
        for column in missing:
            self._alone_j[:, column] = self._held(column)
        # each second's step of the tub does from then on what a tub that is so much warmer does at first
        step, fed = self._alone_j[:, passages.tub], passages.fed(self.tub_j_k)[1]
        later = np.arange(len(step))[:, None] - np.arange(len(step))
        steps: Floats = np.where(later >= 0, step[np.maximum(later, 0)], 0.0)
        rises_k = np.diff(fed, axis=0, prepend=0.0) / self.tub_j_k
        self.by_second = self._alone_j + steps @ rises_k
        self.as_tub_is_warmer_j = step

    def _held(self, column: int) -> Floats:
        """By the second, of one cause [J/K] or [J/W]."""
        ways, way, i = self._ways, self._way, self._i
        size, causes = ways.cause(way, column)
        forces = causes[way.passages.tub :]
        slugs = ways.as_slugs(way.circuit, causes[: way.passages.tub])
        tub_c, only, seconds = float(forces[0]), ways.warmed(way, column), np.arange(way.after_s + 1.0)
        stream = [(float(way.after_s), tub_c, tub_c)]
        streams = ways.lead(way, slugs, stream, forces, only, asked=()).streams
        flows, reach, comes = way.pattern.flows, ways.reaches[i], np.zeros_like(seconds)
        whole = sum(abs(flows[k]) for k in self._from)
        for k in self._from:
            comes += abs(flows[k]) / whole * warmth.gathered(streams[k], seconds)
        if not self._from:
            comes = warmth.gathered(stream, seconds)
        flow_j_k = ways.per_m3_k * abs(flows[i])
        zone_c, heat_w = ways.beside(way, forces)[i]
        gains_j = flow_j_k * np.diff(comes - warmth.gathered(streams[i], seconds))
        gains_j += heat_w + reach.ua_w_k * zone_c
        kept, once = decay(reach.rate_1_s, 1.0)
        held_j = [ways.per_m3_k * warmth.warmth(slugs[i])]
        for gain_j in gains_j.tolist():
            held_j.append(kept * held_j[-1] + once * gain_j)
        return np.array(held_j) / size
