"""A heat source's own water behind a plate exchanger: what goes over, and its temperature through time.

All of it is one stirred body while its circulator turns it:

    C dT/dt = Q(T) - U (T - T_zone) - G (T - T_cold)

with G the effectiveness times the smaller heat capacity flow, so that Q goes over per kelvin between the two
inlets. While it stands, what is in the source keeps the source's heat and what is in the rest of the circuit
cools by itself. Each piece of constant forcing is solved in closed form, as the tub's nodes are.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from math import ceil, log
from typing import NamedTuple

from cyclesim.physics.heat import decay, mode
from cyclesim.physics.laws import Law
from cyclesim.spreads import Assumption

PIECE_S = 120
"""Longest piece [s] while heat goes in or over: the tub's temperature counts as its mean over each."""
GLYCOL_HEAT = Assumption(
    0.2,
    0.15,
    0.3,
    "heat capacity of a litre lost per share of propylene glycol, quoted from memory; document not checked; "
    "mixing the heat capacities of both by mass gives 0.28",
)
_FREEZES = (
    (0.0, 0.0), (0.05, -1.1), (0.10, -2.2), (0.15, -3.9), (0.20, -6.7), (0.25, -8.9), (0.30, -12.8),
    (0.35, -16.1), (0.40, -20.6), (0.45, -26.7), (0.50, -33.3),
)  # fmt: skip
MOST_GLYCOL = _FREEZES[-1][0]


def freezes_c(glycol: float) -> float:
    """Freezing point [degC] of water with this share of propylene glycol by volume [0 to 0.5].

    Lange's Handbook of Chemistry, 15th ed., table 5.13, read in a copy; straight between its rows. Raises
    ValueError beyond them.
    """
    if not 0.0 <= glycol <= MOST_GLYCOL:
        raise ValueError(f"glycol is known from 0 to {MOST_GLYCOL:.0%}, not {glycol!r}")
    i = min(bisect_right(_FREEZES, (glycol, 1.0)), len(_FREEZES) - 1)
    (share, at_c), (next_share, next_c) = _FREEZES[i - 1], _FREEZES[i]
    return at_c + (next_c - at_c) * (glycol - share) / (next_share - share)


def over_w_k(ua_w_k: float, hot_w_k: float, cold_w_k: float, *, parallel: bool = False) -> float:
    """Heat that goes over per kelvin between the two inlets [W/K]: effectiveness times the smaller flow.

    ua_w_k of the plates, hot_w_k and cold_w_k the heat capacity flows [W/K]; counterflow unless *parallel*,
    which it is where the water of one side runs backwards. Nothing goes over where one side stands.
    """
    from ht.hx import effectiveness_from_NTU  # importing it is for plants that have an exchanger

    least, most = sorted((hot_w_k, cold_w_k))
    if least <= 0.0:
        return 0.0
    way = "parallel" if parallel else "counterflow"
    return least * float(effectiveness_from_NTU(ua_w_k / least, least / most, subtype=way))


def ua_w_k(heat_w: float, hot_in_c: float, cold_in_c: float, hot_w_k: float, cold_w_k: float) -> float:
    """UA [W/K] of plates in counterflow that are rated for heat_w [W] between these inlets [degC].

    hot_w_k and cold_w_k are the heat capacity flows of the rating [W/K]. Raises ValueError where no exchanger
    does that.
    """
    from ht.hx import NTU_from_effectiveness

    least, most = sorted((hot_w_k, cold_w_k))
    limit_w = least * (hot_in_c - cold_in_c)
    if not 0.0 < heat_w < limit_w:
        raise ValueError(f"expected more than 0 W and less than {limit_w:.6g} W, not {heat_w:.6g} W")
    return least * float(NTU_from_effectiveness(heat_w / limit_w, least / most, subtype="counterflow"))


class OwnPiece(NamedTuple):
    """A piece of a source's own water: temperatures at its start [degC], what went in, over and away [J]."""

    start_s: int
    end_s: int
    source_c: float
    rest_c: float
    coldest_c: float
    given_j: float
    input_j: float
    over_j: float
    lost_j: float


class OwnWater:
    """The own water of one source: source_j_k of it [J/K] in the source, rest_j_k in the rest of its circuit.

    source_w_k and rest_w_k are what each loses to its zone [W/K]; *zone* is hourly [degC].
    """

    def __init__(
        self,
        source_j_k: float,
        rest_j_k: float,
        source_w_k: float,
        rest_w_k: float,
        zone: Sequence[float],
        water_c: float,
    ) -> None:
        self._apart = (source_j_k, source_w_k), (rest_j_k, rest_w_k)
        self._whole = source_j_k + rest_j_k, source_w_k + rest_w_k
        self._zone = zone
        self.source_c = self.rest_c = water_c
        self.moves, self.g_w_k = False, 0.0
        self._law: Law | None = None
        self.watched: tuple[tuple[float, bool, bool], ...] = ()
        """Levels to stop at: (temperature [degC], rising, whether that in the source is read)."""

    def change(self, law: Law | None, g_w_k: float, *, moves: bool) -> None:
        """From now on *law* gives it heat, it *moves*, and g_w_k [W/K] goes over to the tub's side."""
        if moves and not self.moves:
            self.source_c = self.rest_c = self.content_j() / self._whole[0]
        self._law, self.moves, self.g_w_k = law, moves, g_w_k if moves else 0.0

    def content_j(self) -> float:
        """Heat above 0 degC [J]."""
        (source_j_k, _), (rest_j_k, _) = self._apart
        return source_j_k * self.source_c + rest_j_k * self.rest_c

    def later_c(self, hour: int, cold_c: float, dt_s: float) -> float:
        """Temperature in the source [degC] dt_s [s] later in an hour, if all goes on as it is."""
        k, h = self._rates(hour, 0, cold_c)
        kept, once = decay(k, dt_s)
        return self.source_c * kept + h * once

    def piece_s(self, hour: int, cold_c: float, most_s: int) -> int:
        """The longest piece [s], at most most_s: up to a second in which it has reached a watched level."""
        if self._law is not None or self.g_w_k:
            most_s = min(most_s, PIECE_S)
        for level_c, rising, in_source in self.watched:
            at_s = self._crossing_s(hour, cold_c, level_c, rising=rising, in_source=in_source)
            if at_s is not None and at_s < most_s:
                most_s = max(1, ceil(at_s))
        return most_s

    def reached(self) -> bool:
        """Whether a watched level is reached."""
        for level_c, rising, in_source in self.watched:
            at_c = self.source_c if in_source else self.rest_c
            if (at_c >= level_c) if rising else (at_c <= level_c):
                return True
        return False

    def _crossing_s(
        self, hour: int, cold_c: float, level_c: float, *, rising: bool, in_source: bool
    ) -> float | None:
        """Seconds until it reaches a level [s]: one exponential goes one way only."""
        temp_c = self.source_c if in_source else self.rest_c
        if (temp_c >= level_c) if rising else (temp_c <= level_c):
            return 0.0
        k, h = self._rates(hour, 0 if in_source or self.moves else 1, cold_c)
        slope, at_level = h - k * temp_c, h - k * level_c
        if slope * (1.0 if rising else -1.0) <= 0.0 or slope * at_level <= 0.0:
            return None  # it goes the other way, or comes to rest before
        return (level_c - temp_c) / slope if k < 1e-12 else log(slope / at_level) / k

    def _rates(self, hour: int, part: int, cold_c: float) -> tuple[float, float]:
        """(k, h) of dT/dt = h - k T [1/s, K/s], of all of it or, while it stands, of one part.

        Over goes what the exchanger lets over to *cold_c*.
        """
        c, u = self._whole if self.moves else self._apart[part]
        slope_w_k, forced_w = -u, u * self._zone[hour]
        if part == 0:
            if self._law is not None:
                x = self._law(hour, self.source_c)
                slope_w_k += x.slope_w_k
                forced_w += x.heat_w - x.slope_w_k * self.source_c
            slope_w_k -= self.g_w_k
            forced_w += self.g_w_k * cold_c
        return -slope_w_k / c, forced_w / c

    def over(self, hour: int, cold_c: float, dt_s: int) -> tuple[float, float]:
        """Heat that goes over in the mean of a piece [W] to water of cold_c [degC], and its slope [W/K]."""
        if not self.g_w_k:
            return 0.0, 0.0
        k, h = self._rates(hour, 0, cold_c)
        _, once, twice = mode(k, dt_s)
        mean_k = (self.source_c * once + h * twice) / dt_s - cold_c
        follows = self.g_w_k / self._whole[0] * twice / dt_s
        return self.g_w_k * mean_k, self.g_w_k * (follows - 1.0)

    def advance(self, hour: int, start_s: int, end_s: int, over_j: float) -> OwnPiece:
        """Go on to end_s [s] while *over_j* [J] goes over; closed to the last joule."""
        dt = end_s - start_s
        source_c, rest_c, zone_c = self.source_c, self.rest_c, self._zone[hour]
        c, u = self._whole if self.moves else self._apart[0]
        slope_w_k, forced_w = -u, u * zone_c
        law, x = self._law, None
        if law is not None:
            x = law(hour, source_c)
            slope_w_k += x.slope_w_k
            forced_w += x.heat_w - x.slope_w_k * source_c
        _, once, twice = mode(-slope_w_k / c, dt)
        warmth_k_s = source_c * once + (forced_w - over_j / dt) / c * twice
        lost_j = u * (warmth_k_s - zone_c * dt)
        given_j = input_j = 0.0
        if x is not None:
            warmer_k_s = warmth_k_s - source_c * dt
            given_j = x.heat_w * dt + x.slope_w_k * warmer_k_s
            input_j = x.input_w * dt + x.input_slope_w_k * warmer_k_s
        after_c = rest_after_c = source_c + (given_j - (lost_j + over_j)) / c
        if not self.moves:  # the rest cools by itself
            c, u = self._apart[1]
            _, once, twice = mode(u / c, dt)
            rest_lost_j = u * (rest_c * once + u * zone_c / c * twice - zone_c * dt)
            rest_after_c = rest_c - rest_lost_j / c
            lost_j += rest_lost_j
        self.source_c, self.rest_c = after_c, rest_after_c
        coldest_c = min(source_c, rest_c, after_c, rest_after_c)
        row = (start_s, end_s, source_c, rest_c, coldest_c, given_j, input_j, over_j, lost_j)
        return tuple.__new__(OwnPiece, row)  # half the time of OwnPiece(...), and there are many
