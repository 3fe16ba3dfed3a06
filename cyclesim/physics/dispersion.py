"""How much old water a flush leaves at the far end where water does not pass in order: tanks in series.

The run itself moves water in order (plug flow), which is the best a flush can do. A row of N stirred tanks of
the same volume in all is the usual way to tell how far from it a real line is; N = 1 is a stirred housing and
plug flow is the limit of many. A straight smooth pipe in turbulent flow would be some 2 L/d tanks (Taylor,
1954, from memory, not opened), hundreds; elbows, tees, manifolds and housings make it few. Fronts of warmth
measured on 39 m of straight 52 mm steel pipe spread as 20, 22 and 28 tanks do (tests/evidence/carried.py):
the middle one is taken for the best that a line does; 5 for a poor one is common practice, no source.
"""

import math

FEW_TANKS, MEASURED_TANKS = 5.0, 22.0


def left_in_order(t_s: float, passes_in_s: float) -> float:
    """Share of old water [0 to 1] in what leaves a line after *t_s* [s] of flow, in order: all or nothing.

    passes_in_s: its volume over its flow [s], above 0.
    """
    return 1.0 if t_s < passes_in_s else 0.0


def left_by_tanks(t_s: float, passes_in_s: float, tanks: float) -> float:
    """The same share [0 to 1] for a row of stirred tanks: the upper tail of the gamma distribution.

    Q(N, N t / tau), with N = *tanks* above 0 (not only whole) and tau = *passes_in_s* [s] above 0.
    Levenspiel, Chemical Reaction Engineering, tanks-in-series model, from memory, not opened.

    >>> left_by_tanks(60.0, 60.0, 1)
    0.3679
    """
    from scipy.special import gammaincc

    return float(gammaincc(tanks, tanks * max(t_s, 0.0) / passes_in_s))


def lasts_for(left: float, passes_in_s: float, tanks: float) -> float:
    """Seconds [s] of flow until no more than a share *left* [0 to 1] of old water leaves a row of *tanks*.

    *passes_in_s* as in `left_by_tanks`, of which this is the inverse.
    """
    from scipy.special import gammainccinv

    return float(gammainccinv(tanks, left)) * passes_in_s / tanks


def left_with_stirred(t_s: float, stirred_in_s: float, passes_in_s: float, tanks: float) -> float:
    """The same share [0 to 1] with one stirred housing in the row, of volume over flow *stirred_in_s* [s].

    *passes_in_s* and *tanks* are of the others, as in `left_by_tanks`.
    The sum of an exponential and a gamma time, in closed form: with z = (lambda - mu) t, where mu is the
    housing's rate and lambda a tank's, the housing adds e^(-lambda t) (lambda t)^N / N! 1F1(1, N + 1, z).
    """
    if stirred_in_s <= 0.0:
        return left_by_tanks(t_s, passes_in_s, tanks)
    if passes_in_s <= 0.0:
        return left_by_tanks(t_s, stirred_in_s, 1.0)
    if t_s <= 0.0:
        return 1.0
    from scipy.special import gammainc, hyp1f1

    rate, stirred = tanks / passes_in_s, 1.0 / stirred_in_s
    faster, x = rate - stirred, rate * t_s
    if faster * t_s > 30.0:  # the same by Kummer's transformation, where 1F1 would grow large
        log = tanks * math.log(rate / faster) - stirred * t_s
        lag = math.exp(log) * float(gammainc(tanks, faster * t_s))
    else:
        lag = math.exp(tanks * math.log(x) - x - math.lgamma(tanks + 1.0)) * float(
            hyp1f1(1.0, tanks + 1.0, faster * t_s)
        )
    return left_by_tanks(t_s, passes_in_s, tanks) + lag
