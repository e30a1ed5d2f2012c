"""The contract's section 4 for one equipment: segments between works, states, trends, one series at a time.

Choices that the contract leaves open:
 1. Work later than the reference day has not been done yet.
 2. The span of visits is counted in local days, from the first to the last.
 3. A visit before the first work lies in segment 0; the last segment begins after the last work's day.
 4. x of a trend is in years of 365.25 days; the interval of its slope is scipy's (Sen's, ties, rounded ranks).
 5. Where x has ties too (two visits at one moment), Kendall's variance is the full one for ties in both.
 6. Readings that differ by less than 1e-9 in. w.c. are equal: 0.44 - 0.001 and 0.439 are a tie.
 7. The modes' variances are added without a covariance: they are other series, not seasons of the same years.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import pymannkendall
from scipy import stats

Row = Mapping[str, Any]
Series = tuple[Sequence[float], Sequence[float]]  # x in years, y

NO_NEW_SEGMENT = ("other", "filter_changed")
MIN_VISITS, MIN_SPAN_DAYS, CHRONIC, WITHIN = 3, 90, 0.95, 0.05
TREND_VISITS, TREND_SPAN_DAYS = 5, 180


def work_days(works: Iterable[Row], today: date) -> list[date]:
    """The days that start a new segment, in order."""
    return sorted(
        {w["done_on"] for w in works if w["work_kind"] not in NO_NEW_SEGMENT and w["done_on"] <= today}
    )


def segment_of(day: date, works: Iterable[Row], today: date) -> int | None:
    """How many works came before the day; None on the day of a work."""
    days = work_days(works, today)
    return None if day in days else sum(done < day for done in days)


def last_segment(visits: Sequence[Row], works: Sequence[Row], today: date) -> list[Row]:
    """The visits of one equipment since its last work."""
    last = len(work_days(works, today))
    return [v for v in visits if segment_of(v["visited_on"], works, today) == last]


def static_state(days: Sequence[date], prob_over_rated: float | None) -> str:
    """chronic, uncertain, within_rating or too_few_visits, of like-new valid visits since the last work."""
    if len(days) < MIN_VISITS or prob_over_rated is None:
        return "too_few_visits"
    if prob_over_rated <= WITHIN:
        return "within_rating"
    if prob_over_rated >= CHRONIC and (max(days) - min(days)).days >= MIN_SPAN_DAYS:
        return "chronic"
    return "uncertain"


@dataclass(frozen=True)
class Kendall:
    """Kendall's S, its variance, the statistic corrected for continuity and its two-sided p-value."""

    s: int
    variance: float
    z: float
    p: float


def kendall_from(s: int, variance: float) -> Kendall:
    z = 0.0 if s == 0 else (s - math.copysign(1, s)) / math.sqrt(variance)
    return Kendall(s, variance, z, float(2 * stats.norm.sf(abs(z))))


def tie_sizes(values: Sequence[float]) -> list[int]:
    return [t for t in Counter(values).values() if t > 1]


def kendall(series: Series) -> Kendall:
    """Mann-Kendall by pymannkendall; where moments are tied, S by counting and the variance for ties in both."""
    x, y = series[0], [round(value, 9) for value in series[1]]
    if len(set(x)) == len(x):
        ordered = [value for _, value in sorted(zip(x, y, strict=True))]
        test = pymannkendall.original_test(ordered)
        return kendall_from(int(test.s), float(test.var_s))
    n, s = len(x), 0
    for i in range(n):
        for j in range(i):
            s += int(np.sign(x[i] - x[j]) * np.sign(y[i] - y[j]))
    tx, ty = tie_sizes(x), tie_sizes(y)
    variance = (n * (n - 1) * (2 * n + 5) - sum(t * (t - 1) * (2 * t + 5) for t in tx + ty)) / 18
    variance += sum(t * (t - 1) for t in tx) * sum(t * (t - 1) for t in ty) / (2 * n * (n - 1))
    if n > 2:
        triples = sum(t * (t - 1) * (t - 2) for t in tx) * sum(t * (t - 1) * (t - 2) for t in ty)
        variance += triples / (9 * n * (n - 1) * (n - 2))
    return kendall_from(s, variance)


@dataclass(frozen=True)
class Trend:
    """A slope per year with its 95 % interval, and Kendall's test beside it."""

    slope: float
    lo: float
    hi: float
    test: Kendall


def enough_for_a_trend(series: Series) -> bool:
    x = series[0]
    return len(x) >= TREND_VISITS and (max(x) - min(x)) * 365.25 >= TREND_SPAN_DAYS - 1e-6


def mode_trend(series: Series) -> Trend | None:
    """Theil-Sen by scipy and Mann-Kendall of one equipment and mode; None where there is too little."""
    if not enough_for_a_trend(series):
        return None
    x, y = series
    fit = stats.theilslopes(y, x, 0.95)
    return Trend(float(fit.slope), float(fit.low_slope), float(fit.high_slope), kendall(series))


def slopes_within(series: Series) -> list[float]:
    x, y = series
    return [(y[j] - y[i]) / (x[j] - x[i]) for i in range(len(x)) for j in range(len(x)) if x[j] > x[i]]


def seasonal_kendall(modes: Sequence[Series]) -> tuple[float, Kendall]:
    """The median slope within modes, and Kendall's S and variance summed over the modes."""
    tests = [kendall(series) for series in modes if len(series[0]) > 1]
    slopes = [slope for series in modes for slope in slopes_within(series)]
    summed = kendall_from(sum(t.s for t in tests), sum(t.variance for t in tests))
    return float(np.median(slopes)), summed
