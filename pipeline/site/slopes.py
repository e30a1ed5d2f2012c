"""Theil-Sen and Mann-Kendall for all series of the fleet at once.

Theil 1950, Sen 1968: the slope is the median of the slopes between all pairs, its interval two of them by rank (ranks
rounded half to even, as scipy.stats.theilslopes). Kendall 1975: S and its variance with ties. Series in strata are
summed over these, pairs within a stratum only (seasonal Kendall: Hirsch and Slack 1984).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

from pipeline.site.groups import Floats, Groups, Ints

Z_95 = 1.959963984540054


@dataclass(frozen=True)
class Slopes:
    """A row a series, each of shape (series,); NaN where no two visits are at different times."""

    slope: Floats
    lo: Floats
    hi: Floats
    s: Floats
    p: Floats


def theil_sen(series: Groups, x: Floats, y: Floats, stratum: NDArray[Any]) -> Slopes:
    """Slopes of y over x; rows sorted by x within a stratum, strata one after the other within a series."""
    shape = len(series.n)
    slope, lo, hi, s, p = (np.full(shape, np.nan) for _ in range(5))
    for group, rows in series.blocks():
        if rows.shape[1] < 2:
            continue
        i, j = np.triu_indices(rows.shape[1], 1)
        xs, ys, strata = x[rows], y[rows], stratum[rows]
        run = xs[:, j] - xs[:, i]
        rise = ys[:, j] - ys[:, i]
        counts = (strata[:, j] == strata[:, i]) & (run > 0)
        slopes = np.full(run.shape, np.nan)
        np.divide(rise, run, out=slopes, where=counts)
        slopes.sort(axis=1)  # those that do not count are last
        n_slopes = counts.sum(axis=1)
        s[group] = (np.sign(np.round(rise, 9)) * counts).sum(axis=1)
        apart = None if (strata == strata[:, :1]).all() else strata
        variance = (_untied(ys, apart) - _tied(np.round(ys, 9), apart)) / 18
        if (run == 0).any():
            variance -= _tied(xs, apart) / 18
        sigma = np.sqrt(np.maximum(variance, 0))
        slope[group] = (_pick(slopes, (n_slopes - 1) // 2) + _pick(slopes, n_slopes // 2)) / 2
        lo[group] = _pick(slopes, np.round((n_slopes - Z_95 * sigma) / 2).astype(int) - 1)
        hi[group] = _pick(
            slopes, np.minimum(np.round((n_slopes + Z_95 * sigma) / 2).astype(int), n_slopes - 1)
        )
        z = np.zeros(len(group))
        np.divide(np.abs(s[group]) - 1, sigma, out=z, where=(s[group] != 0) & (sigma > 0))
        p[group] = np.where(n_slopes > 0, 2 * special.ndtr(-z), np.nan)
    return Slopes(slope, lo, hi, s, p)


def _pick(ordered: Floats, place: Ints) -> Floats:
    """One value of each row, at least its first."""
    picked: Floats = np.take_along_axis(ordered, np.maximum(place, 0)[:, None], axis=1)[:, 0]
    return picked


def _untied(values: Floats, strata: NDArray[Any] | None) -> Ints | int:
    """n (n - 1)(2 n + 5), summed over strata of n values."""
    n = values.shape[1]
    return n * (n - 1) * (2 * n + 5) if strata is None else _tied(np.zeros_like(values), strata)


def _tied(values: Floats, strata: NDArray[Any] | None) -> Ints:
    """The sum over groups of t equal values of t (t - 1)(2 t + 5), within a stratum each; values of shape (m, n)."""
    t = np.zeros(values.shape, dtype=np.int64)  # of each value, how many are of its group, itself included
    for k in range(values.shape[1]):
        same = values == values[:, k : k + 1]
        t += same if strata is None else same & (strata == strata[:, k : k + 1])
    summed: Ints = ((t - 1) * (2 * t + 5)).sum(axis=1)
    return summed
