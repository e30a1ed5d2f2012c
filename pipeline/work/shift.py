"""Hodges-Lehmann shift with its signed-rank interval, exact for any number of pairs.

The averages of all pairs of values (Walsh averages) are not written down: the k-th smallest is found by counting how
many lie at or below a value, until a few times n are left, so that n pairs cost n log n, not n squared.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import stats

Floats = NDArray[np.float64]

EXACT_UP_TO = (
    50  # above it the normal approximation of the signed-rank statistic, as R's wilcox.test does; from memory
)
LISTED = 4  # averages a value that are written down in the end


class Shift(NamedTuple):
    """Centre and 95 % interval, in the unit of the values."""

    estimate: float
    low: float
    high: float


def hodges_lehmann(values: Floats) -> Shift:
    """Median of the Walsh averages of n >= 1 values, with the interval from the signed-rank statistic.

    Hollander and Wolfe, Nonparametric Statistical Methods, ch. 3 (from memory; checked against their example).
    """
    x = np.sort(values)
    n = len(x)
    total = n * (n + 1) // 2
    middle = (walsh(x, (total + 1) // 2) + walsh(x, total // 2 + 1)) / 2
    rank = max(_lower_rank(n), 1)
    return Shift(middle, walsh(x, rank), walsh(x, total + 1 - rank))


def walsh(sorted_values: Floats, k: int) -> float:
    """The k-th smallest (from 1) of the averages of all pairs, each value with itself included."""
    x = sorted_values
    first = np.arange(len(x))
    low, high = float(x[0]), float(x[-1])
    # Where each row's partners with an average in (low, high] begin and end.
    begin, end = first, np.full(len(x), len(x))
    for _ in range(80):  # bisection until few are left, or down to neighbouring floats where many are alike
        if int((end - begin).sum()) <= LISTED * len(x):
            break
        middle = (low + high) / 2
        if middle in (low, high):
            return high
        upto = np.maximum(np.searchsorted(x, 2 * middle - x, side="right"), first)
        if int((upto - first).sum()) >= k:
            high, end = middle, upto
        else:
            low, begin = middle, upto
    n = end - begin
    partner = np.arange(int(n.sum())) + np.repeat(begin - np.cumsum(n) + n, n)
    averages = (np.repeat(x, n) + x[partner]) / 2
    place = k - 1 - int((begin - first).sum())
    return float(np.partition(averages, place)[place])


def _lower_rank(n: int) -> int:
    """Rank of the interval's lower end among the Walsh averages."""
    if n <= EXACT_UP_TO:
        return _exact_rank(n)
    mean, variance = n * (n + 1) / 4, n * (n + 1) * (2 * n + 1) / 24
    return round(mean - float(stats.norm.ppf(0.975)) * float(np.sqrt(variance)))


def _exact_rank(n: int) -> int:
    """Smallest k with P(signed-rank statistic <= k) >= 0.025, by the statistic's own distribution."""
    ways = np.zeros(n * (n + 1) // 2 + 1)
    ways[0] = 1.0
    for i in range(1, n + 1):
        ways[i:] = ways[i:] + ways[: len(ways) - i]
    cumulative = np.cumsum(ways) / 2.0**n
    return int(np.searchsorted(cumulative, 0.025))
