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


@dataclass(frozen=True)
class Line:
    """One gauge's line: slope, step at calibration (nan: none fitted), offset at the last reading, their variances
    under the cells' own standard errors, and the scatter about the line as a multiple of what those explain."""

    slope: float
    slope_variance: float
    step: float
    step_variance: float
    latest: float
    latest_variance: float
    scatter: float
    df: int


def gauge_line(
    offset: Floats,
    error: Floats,
    years: Floats,
    hand: NDArray[np.int64],
    after: NDArray[np.bool_],
    *,
    step: bool,
) -> Line | None:
    """Weighted least squares over a gauge's cells (arrays of one length; `hand` from 0); None: no slope to be had."""
    hands = np.eye(int(hand.max()) + 1)[hand]
    last = float(years.max())
    columns = [years - last, *([after.astype(np.float64)] if step else []), *hands.T]
    x = np.column_stack(columns) / error[:, None]
    y = offset / error
    df = len(y) - x.shape[1]
    if df < 1 or np.linalg.matrix_rank(x) < x.shape[1]:
        return None
    covariance = np.linalg.inv(x.T @ x)
    beta = covariance @ (x.T @ y)
    residual = y - x @ beta
    # The offset at the last reading: the hands' mean level, weighted as they read, after the step.
    share = (hands / error[:, None] ** 2).sum(axis=0)
    to_latest = np.concatenate([[0.0], [1.0] if step else [], share / share.sum()])
    return Line(
        slope=float(beta[0]),
        slope_variance=float(covariance[0, 0]),
        step=float(beta[1]) if step else float("nan"),
        step_variance=float(covariance[1, 1]) if step else float("nan"),
        latest=float(to_latest @ beta),
        latest_variance=float(to_latest @ covariance @ to_latest),
        scatter=float(residual @ residual) / df,
        df=df,
    )


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
    lines: list[tuple[str, int, Line]] = []
    for (gauge,), part in cells.partition_by("instrument_id", as_dict=True, maintain_order=True).items():
        after = part["after_calibration"].to_numpy()
        n = part["n_visits"].to_numpy()
        hand = np.unique(part["technician_id"].to_numpy(), return_inverse=True)[1]
        line = gauge_line(
            part["offset"].to_numpy(),
            np.maximum(part["se"].to_numpy(), 1e-6),
            part["years"].to_numpy(),
            hand,
            after,
            step=bool(n[after].sum() >= min_visits and n[~after].sum() >= min_visits),
        )
        if line is not None:
            lines.append((str(gauge), int(part["group_no"][0]), line))
    if not lines:
        return pl.DataFrame(schema=SCHEMA)
    scatter = np.array([line.scatter for *_, line in lines])
    df = np.array([float(line.df) for *_, line in lines])
    prior_df, prior = fit_prior(np.maximum(scatter, SMALLEST_SCATTER), df)
    prior_df = max(prior_df, LEAST_PRIOR_DF)
    pooled = np.maximum(
        (prior_df * prior + df * scatter) / (prior_df + df), 1.0
    )  # never below the cells' own errors
    rows = [
        (
            gauge, port, group,
            line.slope, float(np.sqrt(line.slope_variance * s2)),
            line.step, float(np.sqrt(line.step_variance * s2)),
            line.latest, float(np.sqrt(line.latest_variance * s2)),
            float(d + prior_df),
        )
        for (gauge, group, line), s2, d in zip(lines, pooled, df, strict=True)
    ]  # fmt: skip
    return pl.DataFrame(rows, schema=SCHEMA, orient="row").with_columns(
        pl.col("step", "step_se").fill_nan(None)
    )
