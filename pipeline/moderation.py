"""How much a site's scatter should borrow from the fleet's: a scaled inverse chi-square prior on variances.

Smyth 2004, Statistical Applications in Genetics and Molecular Biology 3(1), section 6.2: the prior's degrees of
freedom and location from the mean and variance of the log variances (formulas from memory; checked against
simulation in tests/truth).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special

Floats = NDArray[np.float64]

SETTLED_STEP = 0.02  # between neighbouring values of a figure that every site is judged by
LARGEST_DF = 1e4  # beyond it every site has the fleet's scatter


def trigamma_inverse(x: float) -> float:
    """The y with trigamma(y) = x, for x > 0."""
    solution = optimize.brentq(lambda log_y: float(special.polygamma(1, np.exp(log_y))) - x, -20, 20)
    return float(np.exp(solution))


def fit_prior(variance: Floats, df: Floats) -> tuple[float, float]:
    """(prior degrees of freedom, prior variance) from sample variances with `df` (whole) degrees of freedom each.

    Variances of 0 (readings alike to the last digit) are lifted to a millionth of the median. With fewer than
    three variances the prior is weak: one degree of freedom at their mean.
    """
    usable = (df > 0) & np.isfinite(variance)
    s2, d = variance[usable], df[usable]
    if len(s2) < 3 or not (s2 > 0).any():
        return 1.0, float(s2.mean()) if len(s2) and s2.mean() > 0 else 4e-4
    s2 = np.maximum(s2, np.median(s2[s2 > 0]) * 1e-6)
    times = np.bincount(d.astype(np.int64))  # few different ones, looked up by their number
    half = np.arange(1, len(times)) / 2
    e = np.log(s2) - (special.digamma(half) - np.log(half))[d.astype(np.int64) - 1]
    spread = float(np.var(e, ddof=1)) - float(np.average(special.polygamma(1, half), weights=times[1:]))
    if spread <= 0:
        return LARGEST_DF, float(np.exp(np.mean(e)))
    prior_df = min(2 * trigamma_inverse(spread), LARGEST_DF)
    prior = np.exp(np.mean(e) + special.digamma(prior_df / 2) - np.log(prior_df / 2))
    return prior_df, float(prior)


def random_effect_sd(estimate: Floats, standard_error: Floats) -> float:
    """Standard deviation of the true effects behind noisy estimates centred on 0 (DerSimonian and Laird 1986)."""
    usable = np.isfinite(estimate) & np.isfinite(standard_error) & (standard_error > 0)
    y, w = estimate[usable], 1 / standard_error[usable] ** 2
    if len(y) < 3:
        return 0.0
    q = float((w * (y - np.average(y, weights=w)) ** 2).sum())
    tau2 = (q - (len(y) - 1)) / float(w.sum() - (w**2).sum() / w.sum())
    return float(np.sqrt(max(tau2, 0.0)))


def settled(value: float, step: float = SETTLED_STEP) -> float:
    """A figure fitted over the whole fleet, the nearest of values that lie `step` (a share) apart; to four digits.

    Every piece of equipment is judged by it: half a step matters to nobody, but if it trembled in its last digits every
    day, all of yesterday's verdicts would differ from today's. Digits will not do: between 1.01 and 1.02 they leave ten
    times as much room as between 9.91 and 9.92.
    """
    if value <= 0:
        return 0.0
    steps = round(math.log(value) / math.log1p(step))
    return float(f"{(1 + step) ** steps:.3e}")
