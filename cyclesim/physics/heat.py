"""Tub water and shell as two coupled linear nodes, and standing water against its zone: all in closed form.

On a piece of constant forcing the pair obeys

    C_w dTw/dt = f_w - UA_w Tw - g (Tw - Ts)        f_w = sum(UA_z T_z) + heat into the water
    C_s dTs/dt = f_s - UA_s Ts + g (Tw - Ts)        f_s = UA_s T_z

which two modes with real rates >= 0 solve exactly, so no step size enters any answer.
"""

from __future__ import annotations

from array import array
from collections.abc import Sequence
from dataclasses import dataclass, field
from math import exp, expm1, hypot, log, sqrt

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

HOUR_S = 3600.0
_KEPT = 100
_ROOT_S = 1e-7  # a crossing is bracketed to this; the controller looks once a second


def decay(rate_1_s: float, dt_s: float) -> tuple[float, float]:
    """The first two of `mode`, which is all that one temperature needs."""
    x = rate_1_s * dt_s
    if x < 1e-3:  # the differences below would cancel; rate 0 (no loss at all) lands here too
        once = dt_s * (1.0 - x / 2.0 * (1.0 - x / 3.0 * (1.0 - x / 4.0)))
        return 1.0 - rate_1_s * once, once
    gone = -expm1(-x)
    return 1.0 - gone, gone / rate_1_s


def mode(rate_1_s: float, dt_s: float) -> tuple[float, float, float]:
    """Decay exp(-rate dt) [-], its integral [s], and the integral of that [s2].

    They carry start value and forcing; a rate [1/s] of 0, no loss at all, is one of them.
    """
    kept, once = decay(rate_1_s, dt_s)
    x = rate_1_s * dt_s
    if x < 1e-3:
        return kept, once, dt_s * dt_s / 2.0 * (1.0 - x / 3.0 * (1.0 - x / 4.0 * (1.0 - x / 5.0)))
    return kept, once, (dt_s - once) / rate_1_s


@dataclass(frozen=True, slots=True)
class TwoNode:
    """Water (J/K, W/K to its forcing temperatures) and shell (J/K, W/K to its zone), coupled by g (W/K).

    A shell without heat capacity follows the water at once; any conductance may be zero.
    Raises ValueError for a negative value or water without heat capacity.
    """

    c_water_j_k: float
    c_shell_j_k: float
    g_w_k: float
    ua_water_w_k: float
    ua_shell_w_k: float
    # slow rate, its vector (water, shell), the vector times capacity, the same of the fast mode, direct K/W
    _modes: tuple[float, ...] = field(init=False, repr=False, compare=False)
    _over: dict[float, tuple[float, ...]] = field(init=False, repr=False, compare=False)
    _losing: dict[float, TwoNode] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        cw, cs, g = self.c_water_j_k, self.c_shell_j_k, self.g_w_k
        uw, us = self.ua_water_w_k, self.ua_shell_w_k
        if not (cw > 0.0 and cs >= 0.0 and g >= 0.0 and uw >= 0.0 and us >= 0.0):
            raise ValueError(f"a negative heat capacity or conductance, or water without capacity: {self}")
        modes = _massless(cw, g, uw, us) if cs == 0.0 and us + g > 0.0 else _pair(cw, cs or 1.0, g, uw, us)
        object.__setattr__(self, "_modes", modes)
        object.__setattr__(self, "_over", {})
        object.__setattr__(self, "_losing", {})

    def losing(self, ua_water_w_k: float) -> TwoNode:
        """The same with so much between water and its forcing temperatures."""
        two = self._losing.get(ua_water_w_k)
        if two is None:
            if len(self._losing) >= _KEPT:  # what leans on the weather never comes again
                self._losing.clear()
            two = TwoNode(self.c_water_j_k, self.c_shell_j_k, self.g_w_k, ua_water_w_k, self.ua_shell_w_k)
            self._losing[ua_water_w_k] = two
        return two

    def advance(
        self, tw: float, ts: float, f_w: float, f_s: float, dt_s: float
    ) -> tuple[float, float, float, float]:
        """Water and shell temperature (degC) after dt_s, and the integral of each over it (K s).

        tw and ts are water and shell at the start [degC], f_w and f_s their forcing [W], as at the top.
        """
        r1, w1, s1, cw1, cs1, r2, w2, s2, cw2, cs2, direct = self._modes
        over = self._over.get(dt_s)
        if over is None:  # an hour, the time until water has settled: the same times come again and again
            over = self._over[dt_s] = mode(r1, dt_s) + mode(r2, dt_s)
        e1, p1, q1, e2, p2, q2 = over
        z1 = cw1 * tw + cs1 * ts
        z2 = cw2 * tw + cs2 * ts
        h1 = w1 * f_w + s1 * f_s
        h2 = w2 * f_w + s2 * f_s
        a1 = e1 * z1 + p1 * h1
        a2 = e2 * z2 + p2 * h2
        i1 = p1 * z1 + q1 * h1
        i2 = p2 * z2 + q2 * h2
        at_once = direct * f_s
        return (
            w1 * a1 + w2 * a2,
            s1 * a1 + s2 * a2 + at_once,
            w1 * i1 + w2 * i2,
            s1 * i1 + s2 * i2 + at_once * dt_s,
        )

    def first_between(
        self,
        begins: Sequence[float],
        ends: Sequence[float],
        f_w: float,
        f_s: float,
        dt_s: float,
        level_c: float,
        rising: bool,
    ) -> float | None:
        """As `first_crossing`, between rows of water and shell, where it *begins* and *ends* [degC].

        f_w and f_s are the forcing of both nodes [W] for dt_s [s]; level_c [degC] is met *rising* or falling.
        """
        water, later = begins[0], ends[0]
        if (water >= level_c) if rising else (water <= level_c):
            return 0.0
        if (later < level_c) if rising else (later > level_c):  # only a turn on the way could reach it
            ua, g = self.ua_water_w_k, self.g_w_k
            at_start = f_w - ua * water - g * (water - begins[1])
            at_end = f_w - ua * later - g * (later - ends[1])
            if not (at_start > 0.0 > at_end if rising else at_start < 0.0 < at_end):
                return None
        return self.first_crossing(water, begins[1], f_w, f_s, dt_s, level_c, rising, later)

    def first_crossing(
        self,
        tw: float,
        ts: float,
        f_w: float,
        f_s: float,
        dt_s: float,
        level_c: float,
        rising: bool,
        later_c: float | None = None,
    ) -> float | None:
        """Seconds [s] until the water first reaches level_c [degC] from below (rising) or from above.

        tw, ts: water and shell at the start [degC]; f_w, f_s: their constant forcing [W], as at the top.
        later_c: the water after dt_s [degC], where that is known.
        0.0 if it is there, or beyond, already; None if it does not get there within dt_s.
        """
        up = 1.0 if rising else -1.0
        if up * (tw - level_c) >= 0.0:
            return 0.0
        r1, w1, s1, cw1, cs1, r2, w2, s2, cw2, cs2, _ = self._modes
        z1 = cw1 * tw + cs1 * ts
        z2 = cw2 * tw + cs2 * ts
        h1 = w1 * f_w + s1 * f_s
        h2 = w2 * f_w + s2 * f_s
        # the way towards the level is d1 exp(-r1 t) + d2 exp(-r2 t): it changes sign once at most
        d1 = up * w1 * (h1 - r1 * z1)
        d2 = up * w2 * (h2 - r2 * z2)
        if d1 <= 0.0 and d2 <= 0.0:
            return None
        early, late = 0.0, dt_s
        if d1 * d2 < 0.0 and abs(d2) >= abs(d1) and r2 > r1:
            turn = log(-d2 / d1) / (r2 - r1)
            if turn < dt_s:
                early, late = (0.0, turn) if d2 > 0.0 else (turn, dt_s)
            elif d2 < 0.0:
                return None
        elif d1 + d2 <= 0.0:
            return None

        if later_c is None or late < dt_s:
            later_c = self.advance(tw, ts, f_w, f_s, late)[0]
        past = up * (later_c - level_c)
        if past < 0.0:
            return None
        t_s, slope = late, up * (later_c - tw) / late  # the chord's, which the curve is close to
        for _ in range(200):  # Newton inside a shrinking bracket, halving where it would leave it
            guess = t_s - past / slope if slope > 0.0 else early
            if not early < guess < late:
                guess = 0.5 * (early + late)
            moved, t_s = abs(guess - t_s), guess
            if moved <= _ROOT_S or late - early <= _ROOT_S:
                break
            e1, p1 = decay(r1, t_s)
            e2, p2 = decay(r2, t_s)
            past = up * (w1 * (e1 * z1 + p1 * h1) + w2 * (e2 * z2 + p2 * h2) - level_c)
            slope = d1 * e1 + d2 * e2
            if past < 0.0:
                early = t_s
            else:
                late = t_s
        return t_s

    def steady(self, f_w: float, f_s: float) -> tuple[float, float] | None:
        """Water and shell temperature (degC) that stay as they are; None if nothing is lost."""
        g, uw, us = self.g_w_k, self.ua_water_w_k, self.ua_shell_w_k
        loss = uw * us + g * (uw + us)
        if loss == 0.0:
            return None
        return ((us + g) * f_w + g * f_s) / loss, ((uw + g) * f_s + g * f_w) / loss

    def steady_shell(self, tw: float, f_s: float) -> float:
        """Shell temperature [degC] in balance with water kept at tw; tw if nothing touches the shell."""
        both = self.ua_shell_w_k + self.g_w_k
        return (f_s + self.g_w_k * tw) / both if both > 0.0 else tw


def _pair(cw: float, cs: float, g: float, uw: float, us: float) -> tuple[float, ...]:
    """Two modes: scaled by sqrt(capacity) the matrix is symmetric, and one Jacobi rotation does it."""
    p, q, r = (uw + g) / cw, (us + g) / cs, g / sqrt(cw * cs)
    tangent = 0.0
    if r > 0.0:
        tau = (p - q) / (2.0 * r)
        tangent = (1.0 if tau >= 0.0 else -1.0) / (abs(tau) + hypot(1.0, tau))
    cos = 1.0 / hypot(1.0, tangent)
    sin = tangent * cos
    of_water = (p + tangent * r, cos / sqrt(cw), -sin / sqrt(cs))
    of_shell = (q - tangent * r, sin / sqrt(cw), cos / sqrt(cs))
    (_, w1, s1), (fast, w2, s2) = sorted((of_water, of_shell))
    # the slow rate from the determinant: exact, and exactly 0 where nothing is lost
    slow = (uw * us + g * (uw + us)) / (cw * (fast * cs)) if fast > 0.0 else 0.0
    return slow, w1, s1, w1 * cw, s1 * cs, fast, w2, s2, w2 * cw, s2 * cs, 0.0


def _massless(cw: float, g: float, uw: float, us: float) -> tuple[float, ...]:
    """One mode: the shell is (f_s + g Tw) / (us + g) at every instant, part of it straight from its zone."""
    share = g / (us + g)
    w = 1.0 / sqrt(cw)
    return (uw + us * share) / cw, w, w * share, w * cw, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0 / (us + g)


def relax(temp_c: float, zone_c: float, dt_s: float, tau_s: float) -> float:
    """Temperature [degC] of standing water after dt_s beside a zone at zone_c; tau_s = heat capacity / UA."""
    return zone_c + (temp_c - zone_c) * exp(-dt_s / tau_s) if tau_s > 0.0 else zone_c


class ZoneFilter:
    """Standing water beside a zone of hourly constant temperature, read at any time at a fixed cost.

    zone_c[i] lasts from origin_s + 3600 i for an hour. Before the series its first value stands, after it the
    last. One particular solution is kept per hour; any start value differs from it by one exponential.
    """

    __slots__ = ("_asked", "_began", "_kept_c", "_last", "_origin_s", "_tau_s", "_zone_c")

    def __init__(self, zone_c: Sequence[float], tau_s: float, origin_s: float = 0.0) -> None:
        """Prepare in one pass. Raises ValueError for an empty series or a negative time constant."""
        if not zone_c or not tau_s >= 0.0:
            raise ValueError(
                f"expected a zone series of 1 hour or more and a time constant >= 0, not {tau_s}"
            )
        decay = exp(-HOUR_S / tau_s) if tau_s > 0.0 else 0.0
        kept = array("d", (zone_c[0],))
        temp_c = zone_c[0]
        for zone in zone_c[:-1]:
            temp_c = zone + (temp_c - zone) * decay
            kept.append(temp_c)
        self._kept_c = kept
        self._zone_c = zone_c
        self._tau_s = tau_s
        self._origin_s = origin_s
        self._last = len(zone_c) - 1
        self._asked = (origin_s, zone_c[0])
        """When it was asked last, and the particular solution then: what stands now was touched then."""
        self._began = self._asked
        """The same of when that began to stand which was asked about last: it may be read again, later on."""

    def _particular(self, t_s: float) -> float:
        since_s = t_s - self._origin_s
        if since_s <= 0.0:
            return self._kept_c[0]
        hour = min(int(since_s // HOUR_S), self._last)
        return relax(self._kept_c[hour], self._zone_c[hour], since_s - hour * HOUR_S, self._tau_s)

    def stood(self, t0_s: float, t_s: float) -> tuple[float, float]:
        """What standing from t0_s to t_s does to any temperature: factor [-], and what is added [degC]."""
        kept = exp((t0_s - t_s) / self._tau_s) if self._tau_s > 0.0 else 0.0
        began_s, before_c = self._began
        if began_s != t0_s:
            asked_s, before_c = self._asked
            if asked_s != t0_s:
                before_c = self._particular(t0_s)
            self._began = (t0_s, before_c)
        now_c = self._particular(t_s)
        self._asked = (t_s, now_c)
        return kept, now_c - before_c * kept

    def by_hour(self, t0_s: float, from_s: float, hours: int) -> tuple[Floats, Floats]:
        """As `stood`, by the end of each of so many hours after *from_s*, or until the series ends."""
        first = int((from_s - self._origin_s) // HOUR_S) + 1
        now_c: Floats = np.frombuffer(self._kept_c)[first : first + hours]
        if len(now_c) < hours:
            now_c = np.append(now_c, self._particular(self._origin_s + HOUR_S * (self._last + 1)))
        late_s = self._origin_s + HOUR_S * np.arange(first, first + len(now_c)) - t0_s
        kept: Floats = np.exp(late_s / -self._tau_s)
        return kept, now_c - self._particular(t0_s) * kept

    def temp_at(self, t_s: float, t0_s: float, temp0_c: float) -> float:
        """Temperature [degC] at t_s of water that was temp0_c at t0_s <= t_s and has stood since."""
        kept, gained = self.stood(t0_s, t_s)
        return temp0_c * kept + gained
