"""The water age of one circuit through any history of flows: which water is where, and how old.

Two facts keep a year cheap. Standing water is not touched. And once a pattern has left its steady profile in
each plug, the next passage depends on nothing but the pair of patterns and how long the water stood: it is
worked out once per pair and read off ever after, every age in old water being shifted by the standing time.
Plugs that stopped at different times are groups, the freshest first. A profile is of water that came in
after the groups behind it had stopped, so which is the oldest at each moment does not depend on the times.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from itertools import pairwise

from cyclesim.physics import parcels
from cyclesim.physics.age_book import FAR_S, AgeBook, Ages, Emitted, Floats, Passage, Passages, group_of
from cyclesim.physics.parcels import Parcel
from cyclesim.physics.water_age import Pattern, Plug, ages_of, pattern_of, run_through

_PROFILED_S = 0.25 * FAR_S
"""What takes longer to clear is followed by parcels [s]: as it moves on it would be as old as what stood for
FAR_S more."""

Known = dict[tuple[float, ...], Pattern]
"""Patterns by their flows [m3/s]."""


class _Held:
    """What plugs that last moved together have held since then."""

    __slots__ = ("base_s", "contents", "number", "pattern")

    def __init__(
        self, base_s: float, pattern: Pattern | None, contents: dict[int, list[Parcel]] | None = None
    ) -> None:
        self.base_s = base_s
        """When they stopped."""
        self.pattern = pattern
        """What moved them; None while all is the tub's water of the start."""
        self.number = pattern.index if pattern else -1
        self.contents = contents
        """Their parcels by plug; None for the pattern's profile."""

    def ages(self, plugs: Iterable[int]) -> tuple[float, Ages]:
        """When, and the oldest and the mean age [s] of each of these plugs then."""
        if self.contents is not None:
            return 0.0, {i: ages_of(self.contents[i], 0.0) for i in plugs}
        if self.pattern is None:
            return self.base_s, dict.fromkeys(plugs, (0.0, 0.0))
        return self.base_s, self.pattern.steady


class WaterAge:
    """Follows the water of every plug from *start_s*, when all of it is the tub's own (age 0).

    *emit* and *limit_s* as for `AgeBook`, once for each closed interval of each plug in *recorded*; a plug's
    intervals tile the time. *known*: the patterns of the same plugs, the same of them recorded, that have
    been met before, with the passages that are known; those that are met now are added.
    """

    def __init__(
        self,
        plugs: Sequence[Plug],
        recorded: Sequence[int],
        limit_s: float,
        start_s: float,
        emit: Callable[[int, Floats], None],
        known: Known | None = None,
    ) -> None:
        self.plugs = tuple(plugs)
        self._asked = frozenset(recorded)
        self._book = AgeBook(recorded, limit_s, emit)
        self._held = [_Held(start_s, None)] * len(plugs)
        self._last: tuple[tuple[int, ...], _Held] | None = None
        """What moved last and what it holds, where that is not among the others yet."""
        self._known: Known = {} if known is None else known
        self.still = self.pattern([0.0] * len(plugs))
        self._now = self.still
        self._from_s = self._closed_s = start_s

    def pattern(self, flows: Sequence[float]) -> Pattern:
        """The pattern of these *flows* [m3/s], one per plug in order; positive runs from a to b."""
        key = tuple(flows)
        if key not in self._known:
            self._known[key] = self._work_out_pattern(key)
        return self._known[key]

    def _work_out_pattern(self, flows: tuple[float, ...]) -> Pattern:
        p = pattern_of(self.plugs, len(self._known), flows)
        p.moving = tuple(i for i in p.moving if self.plugs[i].volume_m3 > 0.0)
        p.asked = tuple(i for i in p.moving if i in self._asked)
        if p.moving and p.clear_s < _PROFILED_S:
            contents = {i: [(self.plugs[i].volume_m3, 0.0, 0.0, 0.0, 0.0)] for i in p.moving}
            end_s = 1.01 * p.clear_s
            p.profile = {
                i: parcels.shifted(c, -end_s)
                for i, c in run_through(self.plugs, p, contents, 0.0, end_s, ())[0].items()
            }
            p.steady = {i: ages_of(c, 0.0) for i, c in p.profile.items()}
        return p

    def change(self, at_s: float, to: Pattern) -> None:
        """From *at_s* on the flows are those of *to*."""
        self._move(at_s)
        self._now = to

    def close(self, at_s: float) -> None:
        """Close every open interval at *at_s*, and tell of all that have been closed."""
        self._move(at_s)
        self._stood(self._kinds(range(len(self.plugs))), at_s)
        self._closed_s = at_s
        self._book.tell()

    def _move(self, at_s: float) -> None:
        """What moves has moved up to *at_s*."""
        if at_s > self._from_s:
            p, last = self._now, self._last
            if p.moving:
                alike = last is not None and last[0] == p.moving  # nearly always
                kinds = {last[1]: p.asked} if last is not None and alike else self._kinds(p.moving)
                self._stood(kinds, self._from_s)
                self._advance(p, self._from_s, at_s, kinds)
            self._from_s = at_s

    def _each(self) -> list[_Held]:
        """What each plug holds."""
        if self._last is not None:
            plugs, held = self._last
            for i in plugs:
                self._held[i] = held
            self._last = None
        return self._held

    def _kinds(self, plugs: Iterable[int]) -> dict[_Held, tuple[int, ...]]:
        """What some plugs hold, with those of them whose ages are asked for."""
        kinds: dict[_Held, tuple[int, ...]] = {}
        held = self._each()
        for i in plugs:
            kinds[held[i]] = kinds.get(held[i], ()) + ((i,) if i in self._asked else ())
        return kinds

    def _stood(self, kinds: Mapping[_Held, tuple[int, ...]], at_s: float) -> None:
        """Put down how long what is so held has stood by *at_s*."""
        for kind, asked in kinds.items():
            since_s = max(kind.base_s, self._closed_s)
            if since_s < at_s:
                self._book.stood(asked, since_s, at_s, *kind.ages(asked))

    def ages(self, plug: int, at_s: float) -> tuple[float, float]:
        """Oldest and mean age [s] in *plug* at *at_s*, not before the last change."""
        self._move(at_s)
        return ages_of(self._content(plug, forward=True), at_s)

    def contents(self, plug: int) -> list[Parcel]:
        """Parcels in *plug* at the last change, from end b to end a."""
        return self._content(plug, forward=True)

    def _content(self, i: int, *, forward: bool) -> list[Parcel]:
        """Content of plug *i* with the end that leaves first in front."""
        held = self._each()[i]
        if not held.contents or held.pattern is None:
            return parcels.shifted(self._stands(i, forward=forward), held.base_s)
        content = held.contents[i]
        return content if (held.pattern.flows[i] > 0.0) == forward else parcels.turned(content)

    def _stands(self, i: int, *, forward: bool) -> list[Parcel]:
        """The profile in plug *i*, likewise, with births beside the time at which what moved it stopped."""
        pattern = self._each()[i].pattern
        if pattern is None:
            return [(self.plugs[i].volume_m3, 0.0, 0.0, 0.0, 0.0)]
        profile = pattern.profile[i]
        return profile if (pattern.flows[i] > 0.0) == forward else parcels.turned(profile)

    def _advance(self, p: Pattern, t0: float, t1: float, kinds: Iterable[_Held]) -> None:
        dt = t1 - t0
        if not p.profile or dt < p.clear_s:
            self._advance_exact(p, t0, dt, 0.0)
            return
        latest = list(kinds)
        if len(latest) > 1:
            latest.sort(key=lambda kind: -kind.base_s)
        if any(kind.contents is not None for kind in latest):
            self._advance_exact(p, t0, p.clear_s, dt - p.clear_s)
        else:
            key = tuple([kind.number for kind in latest])  # each plug's is the latest that moves it
            passages = p.memo.get(key)
            if passages is None:
                passages = p.memo[key] = self._work_out(p, latest)
            self._book.passed(passages, t0, t1, [kind.base_s for kind in latest])
        self._last = p.moving, _Held(t1, p)

    def _advance_exact(self, p: Pattern, t0: float, dt: float, steady_s: float) -> None:
        """Work through *dt* parcel by parcel; then *steady_s* more at the steady profile."""
        contents = {i: self._content(i, forward=p.flows[i] > 0.0) for i in p.moving}
        contents, knots, means = run_through(self.plugs, p, contents, t0, dt, self._asked)
        t1 = t0 + dt + steady_s
        self._last = p.moving, _Held(t1, p, contents)
        for i in p.asked:
            peak, oldest, mean = parcels.peak_s(knots[i]), parcels.integral_s2(knots[i]), means[i]
            steady_oldest, steady_mean = p.steady[i] if steady_s else (0.0, 0.0)
            peak, oldest = max(peak, steady_oldest), oldest + steady_oldest * steady_s
            row = Emitted(i, t0, t1, p.flows[i], peak, oldest, mean + steady_mean * steady_s, 0.0)
            self._book.flowed(row, knots[i], steady_s, steady_oldest)

    def _work_out(self, p: Pattern, kinds: Sequence[_Held]) -> Passages:
        """The passage of *p* through what stands there now, for standing times that are far apart."""
        groups = [kinds.index(self._each()[i]) for i in p.moving]
        stand = [self._stands(i, forward=p.flows[i] > 0.0) for i in p.moving]
        count = len(kinds)
        oldest, means = list[dict[int, float]](), list[dict[int, float]]()
        for farther in (*range(count, 0, -1), 0):  # groups from this one on have stood FAR_S longer
            contents = {
                i: parcels.shifted(c, -FAR_S * (group + (group >= farther))) if group or not farther else c
                for i, c, group in zip(p.moving, stand, groups, strict=True)
            }
            _, knots, mean = run_through(self.plugs, p, contents, 0.0, p.clear_s, self._asked)
            oldest.append({i: parcels.integral_s2(knots[i]) for i in p.asked})
            means.append(mean)
        passages = {}
        for i in oldest[0]:
            slopes = [
                tuple((more[i] - less[i]) / FAR_S for less, more in pairwise(integrals))[::-1]
                for integrals in (oldest, means)
            ]
            peaks = [0.0] + [-math.inf] * count
            for _, age in knots[i]:
                group = group_of(age)
                peaks[group] = max(peaks[group], age - FAR_S * group)
            passages[i] = Passage(knots[i], oldest[0][i], slopes[0], means[0][i], slopes[1], tuple(peaks))
        return Passages(passages, p.flows, p.steady, p.clear_s)
