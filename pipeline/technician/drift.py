"""Does a gauge drift? The slope over time of what its readings show beyond what others find at the same places.

The crossed fit with a technician's gauge in each year as a measurer of its own gives an offset a year; a line through
a gauge's years, with a step at its recorded calibration and a level for each hand, gives the slope. Scatter about the
lines is pooled over the gauges (Smyth 2004, `pipeline/moderation.py`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.moderation import fit_prior

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SAME_LINE = 1e-12  # share of a squared distance below which what is left of it is rounding


@dataclass(frozen=True)
class Lines:
    """A line a gauge (arrays by gauge): slope, step at calibration (nan: none fitted) and offset at the last reading,
    their variances under the cells' own standard errors, and the scatter about the line as a multiple of what those
    explain. Where `told` is false no slope is to be had."""

    told: NDArray[np.bool_]
    slope: Floats
    slope_variance: Floats
    step: Floats
    step_variance: Floats
    latest: Floats
    latest_variance: Floats
    scatter: Floats
    df: Ints


def gauge_lines(
    gauge: Ints,
    hand: Ints,
    offset: Floats,
    error: Floats,
    years: Floats,
    after: Floats,
    stepped: NDArray[np.bool_],
) -> Lines:
    """Weighted least squares over the cells of each gauge. A cell each: `gauge` and `hand` from 0 (a hand has one
    gauge), `after` 1 after the calibration, else 0; a gauge each: whether it is `stepped` there.

    The hands' levels are taken out first (Frisch and Waugh 1933), which leaves two unknowns a gauge.
    """
    n_gauges, weight = len(stepped), error**-2

    def total(values: Floats) -> Floats:
        return np.bincount(gauge, weight * values, n_gauges).astype(np.float64, copy=False)

    def beyond_hand(values: Floats) -> Floats:
        per_hand = np.maximum(np.bincount(hand, weight), 1e-300)  # a number that no hand has
        return values - (np.bincount(hand, weight * values) / per_hand)[hand]

    last = np.full(n_gauges, -np.inf)
    np.maximum.at(last, gauge, years)
    from_last, after = years - last[gauge], np.where(stepped[gauge], after, 0.0)
    x, a, y = beyond_hand(from_last), beyond_hand(after), beyond_hand(offset)
    xx, xa, aa, xy, ay = total(x * x), total(x * a), total(a * a), total(x * y), total(a * y)
    aa = np.where(stepped, aa, 1.0)  # without a step: an unknown of its own that touches nothing
    det = xx * aa - xa**2
    df = np.bincount(gauge, minlength=n_gauges) - _hands(gauge, hand, n_gauges) - 1 - stepped
    moved = xx > SAME_LINE * total(from_last**2 + 1)
    told = (df >= 1) & moved & (det > SAME_LINE * xx * np.maximum(aa, SAME_LINE * total(after)))
    with np.errstate(divide="ignore", invalid="ignore"):
        slope, step = (aa * xy - xa * ay) / det, (xx * ay - xa * xy) / det
        residual = y - slope[gauge] * x - step[gauge] * a
        # The offset at the last reading: the hands' mean level, weighted as they read, after the step.
        all_ = total(np.ones(len(y)))
        to_x, to_a = -total(from_last) / all_, np.where(stepped, 1 - total(after) / all_, 0.0)
        return Lines(
            told=told,
            slope=slope,
            slope_variance=aa / det,
            step=np.where(stepped, step, np.nan),
            step_variance=np.where(stepped, xx / det, np.nan),
            latest=total(offset) / all_ + to_x * slope + to_a * step,
            latest_variance=1 / all_ + (to_x**2 * aa - 2 * to_x * to_a * xa + to_a**2 * xx) / det,
            scatter=total(residual**2) / df,
            df=df,
        )


def _hands(gauge: Ints, hand: Ints, n_gauges: int) -> Ints:
    """How many hands each gauge has."""
    owner = np.full(int(hand.max()) + 1, -1)
    owner[hand] = gauge
    return np.bincount(owner[owner >= 0], minlength=n_gauges)


SMALLEST_SCATTER = 0.01  # a line through its cells by chance says nothing about the others' scatter
LEAST_PRIOR_DF = 4.0  # gauges of one fleet tell at least so much about each other

NUMBERS = ("slope", "slope_se", "step", "step_se", "latest", "latest_se", "df")
SCHEMA = {
    "instrument_id": pl.String,
    "port": pl.String,
    "group_no": pl.Int64,
    **dict.fromkeys(NUMBERS, pl.Float64),
}


def drift_lines(cells: pl.DataFrame, port: str, min_visits: float) -> pl.DataFrame:
    """A row per gauge with a line. `cells`: instrument_id, technician_id, years, after_calibration, n_visits, group_no,
    offset, se. A step is fitted where both sides of the calibration have `min_visits` visits."""
    if cells.is_empty():
        return pl.DataFrame(schema=SCHEMA)
    gauge, hand = (
        cells.select(pl.struct(c).rank("dense") - 1).to_series().to_numpy().astype(np.int64)
        for c in (["instrument_id"], ["instrument_id", "technician_id"])
    )
    name = cells.unique("instrument_id", keep="first").sort("instrument_id")
    after = cells["after_calibration"].to_numpy().astype(np.float64)
    n = cells["n_visits"].to_numpy()
    stepped = np.minimum(np.bincount(gauge, n * after), np.bincount(gauge, n * (1 - after))) >= min_visits
    lines = gauge_lines(
        gauge,
        hand,
        cells["offset"].to_numpy(),
        np.maximum(cells["se"].to_numpy(), 1e-6),
        cells["years"].to_numpy(),
        after,
        stepped,
    )
    told = lines.told
    if not told.any():
        return pl.DataFrame(schema=SCHEMA)
    scatter, df = lines.scatter[told], lines.df[told].astype(np.float64)
    prior_df, prior_ = fit_prior(np.maximum(scatter, SMALLEST_SCATTER), df)
    prior_df = max(prior_df, LEAST_PRIOR_DF)
    # Never below the cells' own errors.
    pooled = np.maximum((prior_df * prior_ + df * scatter) / (prior_df + df), 1.0)
    columns = {
        "instrument_id": name["instrument_id"].filter(told),
        "port": np.full(len(df), port),
        "group_no": name["group_no"].filter(told),
        "slope": lines.slope[told],
        "slope_se": np.sqrt(lines.slope_variance[told] * pooled),
        "step": lines.step[told],
        "step_se": np.sqrt(lines.step_variance[told] * pooled),
        "latest": lines.latest[told],
        "latest_se": np.sqrt(lines.latest_variance[told] * pooled),
        "df": df + prior_df,
    }
    return pl.DataFrame(columns, schema=SCHEMA).with_columns(pl.col("step", "step_se").fill_nan(None))
