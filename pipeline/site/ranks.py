"""How sure a rank is: neighbours in a list are often tied. Ranks by the expected number of units that lie higher.

A unit's excess over the rating is uncertain, and so is everybody else's. At a given excess the number of others above
it has as its mean the sum of their chances to be there, and as its variance the sum of chance times counter-chance.
Both sums, over the whole list, are written down once on a fine grid of the excess; each unit then reads them at three
points of its own distribution.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import special

Floats = NDArray[np.float64]

POINTS = 64  # equally probable ones of each unit's distribution, which stand for it
CELL_INWC = 0.0005  # of the grid: a twentieth of the surest level's standard error
REACH_INWC = 3.0  # beyond it on either side nothing is told apart
TAIL = 0.025  # beyond either end of the interval


def rank_intervals(level: Floats, error: Floats, df: Floats, rated: Floats) -> tuple[Floats, Floats]:
    """95 % interval of each row's rank by excess over the rating; arrays of shape (n,), in in. w.c."""
    n = len(level)
    excess = level - rated
    different, which = np.unique(df, return_inverse=True)

    def at(chance: float) -> Floats:
        """The point of each row's distribution above which it lies with that chance."""
        point: Floats = excess + error * special.stdtrit(different, 1 - chance)[which]
        return point

    chances = (np.arange(POINTS) + 0.5) / POINTS
    # Two draws from one unit both lie above a point with the square of the chance: what the variance asks for.
    above = Above(at(chance) for chance in chances)
    both_above = Above(at(np.sqrt(chance)) for chance in chances)

    def ranks(chance: float) -> tuple[Floats, Floats]:
        """Mean and variance of the rank of rows that lie at that point of their distribution, themselves left out."""
        points = at(chance)
        higher = np.maximum(above.count(points) - chance, 0)
        return 1 + higher, np.maximum(higher - np.maximum(both_above.count(points) - chance**2, 0), 0)

    (middle, _), (least, of_least), (most, of_most) = ranks(0.5), ranks(TAIL), ranks(1 - TAIL)
    # What its own uncertainty does and what the others' does are independent: they add up in squares.
    z = -special.ndtri(TAIL)
    low = middle - np.sqrt((middle - least) ** 2 + z**2 * of_least)
    high = middle + np.sqrt((most - middle) ** 2 + z**2 * of_most)
    return np.clip(np.rint(low), 1, n), np.clip(np.rint(high), 1, n)


class Above:
    """How many rows lie above a point, each counted by the share of its points there."""

    def __init__(self, points: Iterable[Floats]) -> None:
        cells = round(2 * REACH_INWC / CELL_INWC)
        count = np.zeros(cells, dtype=np.int64)
        for of_rows in points:
            count += np.bincount(_cell(of_rows).astype(np.int64), minlength=cells)
        # At the lower end of each cell, and at the upper end of the last one: whole numbers, so in any order the same.
        self._above = np.append(np.cumsum(count[::-1])[::-1], 0) / POINTS

    def count(self, points: Floats) -> Floats:
        """Shape of `points`; between the ends of a cell along a line."""
        place = _cell(points)
        cell = place.astype(np.int64)
        lower = self._above[cell]
        counted: Floats = lower + (place - cell) * (self._above[cell + 1] - lower)
        return counted


def _cell(points: Floats) -> Floats:
    """Where points lie in the grid, in cells from its lower end."""
    place: Floats = np.clip((points + REACH_INWC) / CELL_INWC, 0, 2 * REACH_INWC / CELL_INWC - 0.5)
    return place


def rank_frame(rows: pl.DataFrame) -> pl.DataFrame:
    """unit_no, rank_lo, rank_hi for the rows of a list (level_inwc, level_se_inwc, level_df, rated)."""
    columns = ("level_inwc", "level_se_inwc", "level_df", "rated_tesp_inwc")
    low, high = rank_intervals(*(rows[c].to_numpy().astype(np.float64) for c in columns))
    return rows.select("unit_no").with_columns(
        pl.Series("rank_lo", low, dtype=pl.Float64).cast(pl.Int64),
        pl.Series("rank_hi", high, dtype=pl.Float64).cast(pl.Int64),
    )
