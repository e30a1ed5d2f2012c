"""How often technicians skip zeroing, against a fleet that is not inflated by the skippers.

A robust fleet rate by trimming, a beta-binomial for the honest spread between technicians, one-sided tests,
funnel limits (Spiegelhalter 2005, with over-dispersion) and empirical-Bayes shrinkage (Efron and Morris 1977).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special, stats

Floats = NDArray[np.float64]

TRIM_P = 0.001  # a technician this unlikely under the pooled rate does not help to set it
LARGEST_PRIOR = 1e6  # a + b of a beta-binomial that is a binomial for every purpose here


@dataclass(frozen=True)
class SkipRates:
    """Per technician (arrays) and for the fleet (floats)."""

    fleet_rate: float
    p_value: Floats  # one-sided: at least so many skipped, if as the fleet
    funnel_hi: Floats
    shrunk_rate: Floats


def skip_rates(skipped: Floats, visits: Floats, funnel_p: float, counts: NDArray[np.bool_]) -> SkipRates:
    """Judge `skipped` of `visits` (shape (k,)); the fleet's rate comes from technicians marked in `counts`."""
    base = counts if counts.any() else visits > 0
    kept = base
    for _ in range(20):
        rate = _pooled(skipped[kept], visits[kept])
        likely = np.asarray(stats.binom.sf(skipped - 1, visits, rate) >= TRIM_P, dtype=np.bool_)
        new = base & likely
        if not new.any() or (new == kept).all():
            break
        kept = new
    a, b = beta_binomial(skipped[kept], visits[kept])
    all_a, all_b = beta_binomial(skipped[base], visits[base])
    pairs, where = np.unique(np.stack([skipped, visits]), axis=1, return_inverse=True)
    chance = np.asarray(stats.betabinom.sf(pairs[0] - 1, pairs[1], a, b), dtype=np.float64)
    return SkipRates(
        fleet_rate=_pooled(skipped[kept], visits[kept]),
        p_value=chance[where],
        funnel_hi=funnel_limit(visits, a, b, funnel_p),
        shrunk_rate=(skipped + all_a) / (visits + all_a + all_b),
    )


def _pooled(skipped: Floats, visits: Floats) -> float:
    """Rate with half a skip added (Jeffreys), so that a fleet without any skip still has a rate above 0."""
    return float((skipped.sum() + 0.5) / (visits.sum() + 1.0))


def beta_binomial(skipped: Floats, visits: Floats) -> tuple[float, float]:
    """Maximum-likelihood a, b of a beta-binomial; nearly a binomial where the data show no extra spread."""
    rate = _pooled(skipped, visits)
    (k, n), times = np.unique(np.stack([skipped, visits]), axis=1, return_counts=True)

    def loss(log_size: float) -> float:
        a, b = rate * np.exp(log_size), (1 - rate) * np.exp(log_size)
        return -float((times * (special.betaln(k + a, n - k + b) - special.betaln(a, b))).sum())

    best = optimize.minimize_scalar(loss, bounds=(np.log(2.0), np.log(LARGEST_PRIOR)), method="bounded")
    size = float(np.exp(best.x))
    return rate * size, (1 - rate) * size


def funnel_limit(visits: Floats, a: float, b: float, p: float) -> Floats:
    """Upper funnel limit of the rate at probability p, interpolated between counts (Spiegelhalter 2005, A.1.1)."""
    n, where = np.unique(
        np.maximum(visits, 1), return_inverse=True
    )  # technicians share their limits by visits
    at = stats.betabinom.ppf(p, n, a, b)
    above, below = stats.betabinom.cdf(at, n, a, b), stats.betabinom.cdf(at - 1, n, a, b)
    share = (above - p) / np.maximum(above - below, 1e-15)
    return np.asarray(np.clip((at - share) / n, 0, 1)[where], dtype=np.float64)
