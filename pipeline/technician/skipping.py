"""How often technicians skip zeroing, against a fleet that is not inflated by the skippers.

A robust fleet rate by trimming, a beta-binomial for the honest spread between technicians, fitted anew with each
trimming (the honest tail belongs to the fleet), one-sided tests, funnel limits (Spiegelhalter 2005, with
over-dispersion) and empirical-Bayes shrinkage (Efron and Morris 1977).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special, stats

Floats = NDArray[np.float64]

TRIM_P = 0.001  # a technician this unlikely in the fleet does not help to set its rate and spread
OUTSIDE = np.log(20)  # of how much likelier it must be that a technician is outside of the fleet, to stay out
# Logarithms of a + b of the flattest beta-binomial, and of one that is a binomial for every purpose here.
SIZES = (float(np.log(2.0)), float(np.log(1e6)))
AROUND = 0.5  # of another one's, where one that differs by a technician is looked for
AT_END = 0.05  # of what was looked at, where the likeliest may lie beyond


@dataclass(frozen=True)
class SkipRates:
    """Per technician (arrays) and for the fleet (floats)."""

    fleet_rate: float
    p_value: Floats  # one-sided: at least so many skipped, if as the fleet
    funnel_hi: Floats
    shrunk_rate: Floats


@dataclass(frozen=True)
class Fit:
    """A beta-binomial a, b, and the log likelihood of what it was fitted to, without the number of ways."""

    a: float
    b: float
    log_likelihood: float

    @property
    def log_size(self) -> float:
        """The logarithm of a + b."""
        return float(np.log(self.a + self.b))


class Counted:
    """How many technicians have so many skips in so many visits: `skipped` and `visits`, whole numbers, shape (k,)."""

    def __init__(self, skipped: Floats, visits: Floats) -> None:
        most = visits.max(initial=0.0) + 1  # of two whole numbers one
        both, self.kind = np.unique(skipped * most + visits, return_inverse=True)
        self.skipped, self.visits = np.divmod(both, most)

    def of(self, who: NDArray[np.bool_]) -> Floats:
        """How many of `who`, shape (k,), are of each kind."""
        return np.bincount(self.kind[who], minlength=len(self.visits)).astype(np.float64)


def skip_rates(skipped: Floats, visits: Floats, funnel_p: float, counts: NDArray[np.bool_]) -> SkipRates:
    """Judge `skipped` of `visits` (shape (k,)); the fleet's rate comes from technicians marked in `counts`."""
    base = counts if counts.any() else visits > 0
    counted = Counted(skipped, visits)
    kept, fleet = _honest(skipped, visits, base, counted)
    of_all = fleet if (kept == base).all() else likeliest(counted, counted.of(base))
    chances = BetaBinomial(fleet.a, fleet.b, most=int(visits.max()))
    p_value = at_least(skipped, visits, chances)
    # Who belongs to the fleet is drawn towards its rate; who stands outside, towards that of all: the fleet's narrow
    # spread would hide how far outside.
    belongs = kept | (~base & (p_value >= TRIM_P))
    prior_a, prior_b = np.where(belongs, fleet.a, of_all.a), np.where(belongs, fleet.b, of_all.b)
    return SkipRates(
        fleet_rate=_pooled(skipped[kept], visits[kept]),
        p_value=p_value,
        funnel_hi=funnel_limit(visits, chances, funnel_p),
        shrunk_rate=(skipped + prior_a) / (visits + prior_a + prior_b),
    )


def _honest(
    skipped: Floats, visits: Floats, base: NDArray[np.bool_], counted: Counted
) -> tuple[NDArray[np.bool_], Fit]:
    """Which technicians of `base` set the fleet's rate, and the beta-binomial of these.

    From a start without anybody who would be unlikely if all had one rate, so that skippers do not hide one another:
    then those are out who are unlikely in the fleet as it is without them. The likeliest of these come back, one by
    one, until one is OUTSIDE: the fleet without it and any rate as likely for it, against the fleet fitted anew with
    it. For a cut tail makes the spread too small, which cuts off more of the tail.
    """
    kept = base
    for _ in range(20):
        rate = _pooled(skipped[kept], visits[kept])
        new = base.copy()
        many = base & (skipped > rate * visits)  # as many as expected, or fewer, are likely
        new[many] = stats.binom.sf(skipped[many] - 1, visits[many], rate) >= TRIM_P
        if not new.any() or (new == kept).all():
            break
        kept = new
    fit = likeliest(counted, counted.of(kept))
    for _ in range(20):
        new = base & (_tail(skipped, visits, fit) >= TRIM_P)
        if not new.any() or (new == kept).all():
            break
        kept = new
        fit = likeliest(counted, counted.of(kept))
    kept, times = kept.copy(), counted.of(kept)
    out = np.flatnonzero(base & ~kept)
    for who in out[np.argsort(-_tail(skipped, visits, fit)[out], kind="stable")]:
        times[counted.kind[who]] += 1
        with_it = likeliest(counted, times, near=fit)
        if fit.log_likelihood + _any_rate(skipped[who], visits[who]) - with_it.log_likelihood >= OUTSIDE:
            break
        kept[who], fit = True, with_it
    return kept, fit


def _any_rate(skipped: float, visits: float) -> float:
    """Log likelihood of one technician whose rate may be any, all as likely; without the number of ways, as Fit's."""
    return float(special.betaln(skipped + 1, visits - skipped + 1))


def _tail(skipped: Floats, visits: Floats, fit: Fit) -> Floats:
    """P(X >= skipped) with `visits` trials of a beta-binomial."""
    return at_least(skipped, visits, BetaBinomial(fit.a, fit.b, most=int(visits.max(initial=0.0))))


class BetaBinomial:
    """P(X = k) for any number of trials n: C(n, k) (a)_k (b)_(n-k) / (a+b)_n, with (x)_k = x (x + 1) ... (x + k - 1).
    The sums of logarithms up to `most` trials serve all n."""

    def __init__(self, a: float, b: float, most: int) -> None:
        self._ways = _log_rising(1.0, most)
        self._found = _log_rising(a, most) - self._ways
        self._other = _log_rising(b, most) - self._ways
        self._all = self._ways - _log_rising(a + b, most)
        self._known: dict[int, Floats] = {}

    def probabilities(self, n: int) -> Floats:
        """P(X = 0), ..., P(X = n)."""
        if n not in self._known:
            self._known[n] = np.exp(self._found[: n + 1] + self._other[n::-1] + self._all[n])
        return self._known[n]


def _log_rising(x: float, most: int) -> Floats:
    return np.append(0.0, np.cumsum(np.log(x + np.arange(most))))


def at_least(skipped: Floats, visits: Floats, chances: BetaBinomial) -> Floats:
    """P(X >= skipped) with `visits` trials, per technician."""
    if not len(visits):
        return np.ones(0)
    sizes, of_each = _sizes(visits)
    tails = [np.cumsum(chances.probabilities(n)[::-1])[::-1] for n in sizes.tolist()]
    begin = np.zeros(sizes[-1] + 1, np.int64)
    begin[sizes] = np.cumsum([0, *map(len, tails[:-1])])
    p: Floats = np.concatenate(tails)[begin[of_each] + skipped.astype(np.int64)]
    return np.minimum(p, 1.0)


def _sizes(visits: Floats) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """The numbers of visits that there are, and each technician's. They are whole and small: counted, not sorted."""
    of_each = visits.astype(np.int64)
    return np.flatnonzero(np.bincount(of_each)), of_each


def _pooled(skipped: Floats, visits: Floats) -> float:
    """Rate with half a skip added (Jeffreys), so that a fleet without any skip still has a rate above 0."""
    return float((skipped.sum() + 0.5) / (visits.sum() + 1.0))


def likeliest(counted: Counted, times: Floats, near: Fit | None = None) -> Fit:
    """The likeliest beta-binomial of so many technicians of each kind; nearly a binomial where these show no extra
    spread. `near`: another one, around which it is first looked for, with half as many looks."""
    there = times > 0
    k, n, of_each = counted.skipped[there], counted.visits[there], times[there]
    rate = _pooled(of_each * k, of_each * n)

    def loss(log_size: float) -> float:
        a, b = rate * np.exp(log_size), (1 - rate) * np.exp(log_size)
        return -float((of_each * (special.betaln(k + a, n - k + b) - special.betaln(a, b))).sum())

    low, high = SIZES if near is None else np.clip([near.log_size - AROUND, near.log_size + AROUND], *SIZES)
    best = optimize.minimize_scalar(loss, bounds=(low, high), method="bounded")
    if (low > SIZES[0] and best.x < low + AT_END) or (high < SIZES[1] and best.x > high - AT_END):
        return likeliest(counted, times)
    size = float(np.exp(best.x))
    return Fit(rate * size, (1 - rate) * size, -float(best.fun))


def funnel_limit(visits: Floats, chances: BetaBinomial, p: float) -> Floats:
    """Upper funnel limit of the rate at probability p, interpolated between counts (Spiegelhalter 2005, A.1.1)."""
    sizes, of_each = _sizes(visits)
    limits = np.zeros(len(visits) and sizes[-1] + 1)
    for n in sizes[sizes > 0].tolist():
        upto = np.cumsum(chances.probabilities(n))
        at = min(int(np.searchsorted(upto, p)), n)  # smallest count with P(X <= count) >= p
        below = upto[at - 1] if at else 0.0
        share = (upto[at] - p) / max(upto[at] - below, 1e-15)
        limits[n] = min(max((at - share) / n, 0.0), 1.0)
    return limits[of_each]
