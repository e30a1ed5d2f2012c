"""How sure a rank is: neighbours in a list are often tied. Ranks over draws from the levels' distributions."""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

Floats = NDArray[np.float64]

DRAWS = 400
SEED = 19760101  # any fixed number: the same fleet gives the same intervals


def rank_intervals(level: Floats, error: Floats, df: Floats, rated: Floats) -> tuple[Floats, Floats]:
    """95 % interval of each row's rank by excess over the rating; arrays of shape (n,), in in. w.c."""
    if len(level) == 0:
        return level, level
    generator = np.random.default_rng(SEED)
    ranks = np.empty((DRAWS, len(level)), dtype=np.int32)
    places = np.arange(1, len(level) + 1, dtype=np.int32)
    for draw in range(DRAWS):
        excess = level + error * generator.standard_t(df) - rated
        ranks[draw, np.argsort(-excess)] = places  # no two draws are equal: any sort gives the same order
    by_row = np.ascontiguousarray(ranks.T)
    by_row.sort(axis=1)
    low, high = (np.rint(share * (DRAWS - 1)).astype(int) for share in (0.025, 0.975))
    return by_row[:, low].astype(np.float64), by_row[:, high].astype(np.float64)


def rank_frame(rows: pl.DataFrame) -> pl.DataFrame:
    """unit_no, rank_lo, rank_hi for the rows of a list (level_inwc, level_se_inwc, level_df, rated)."""
    columns = ("level_inwc", "level_se_inwc", "level_df", "rated_tesp_inwc")
    low, high = rank_intervals(*(rows[c].to_numpy().astype(np.float64) for c in columns))
    return rows.select("unit_no").with_columns(
        pl.Series("rank_lo", low, dtype=pl.Float64).cast(pl.Int64),
        pl.Series("rank_hi", high, dtype=pl.Float64).cast(pl.Int64),
    )
