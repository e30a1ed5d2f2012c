"""How sure a rank is: the intervals against a simulation of our own, and how often drawn ranks lie in them."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from numpy.typing import NDArray
from scipy import stats

from pipeline.site.ranks import rank_frame, rank_intervals
from pipeline.warehouse import Warehouse

Floats = NDArray[np.float64]
# How far levels lie apart, and how unsure they are (in. w.c.): hardly told apart, as in a fleet, in plain order.
LISTS = {"tied": (0.05, 0.03), "as in a fleet": (0.3, 0.03), "in order": (1.0, 0.005)}


def a_list(n: int, kind: str) -> tuple[Floats, Floats, Floats, Floats]:
    """Level, error, df, rated of n rows."""
    generator = np.random.default_rng(9)
    apart, unsure = LISTS[kind]
    level, rated = 0.5 + apart * generator.random(n) ** 2, np.full(n, 0.5)
    return level, unsure * (0.3 + generator.random(n)), generator.choice([3.0, 7.0, 12.0], n), rated


def drawn_ranks(rows: tuple[Floats, Floats, Floats, Floats], draws: int) -> NDArray[np.int64]:
    """Ranks by draws of scipy.stats, of shape (draws, rows)."""
    level, error, df, rated = rows
    drawn = level + error * stats.t.rvs(df, size=(draws, len(level)), random_state=10) - rated
    return np.argsort(np.argsort(-drawn, axis=1), axis=1) + 1


@pytest.mark.parametrize("kind", LISTS)
@pytest.mark.parametrize("n", [2, 5, 60, 400])
def test_intervals_are_those_of_a_plain_simulation(n: int, kind: str) -> None:
    rows = a_list(n, kind)
    low, high = rank_intervals(*rows)
    expected_low, expected_high = np.quantile(drawn_ranks(rows, 10_000), [0.025, 0.975], axis=0)
    assert np.abs(low - expected_low).max() <= 1.5 + 0.05 * n
    assert np.abs(high - expected_high).max() <= 1.5 + 0.05 * n
    assert abs((high - low - expected_high + expected_low).mean()) <= 0.3 + 0.01 * n
    if n == 60:  # there was something to find
        assert np.mean(high - low) > {"tied": 45, "as in a fleet": 10, "in order": 0.5}[kind]


@pytest.mark.parametrize("kind", LISTS)
@pytest.mark.parametrize("n", [60, 400])
def test_drawn_ranks_lie_in_their_intervals(n: int, kind: str) -> None:
    """95 % of them over the list, and nearly so at every single row; ranks are whole, so short intervals hold more."""
    rows = a_list(n, kind)
    low, high = rank_intervals(*rows)
    ranks = drawn_ranks(rows, 5000)
    inside = (ranks >= low) & (ranks <= high)
    assert 0.94 < inside.mean() < (0.97 if kind != "in order" else 0.995)
    assert inside.mean(axis=0).min() > 0.9


def test_intervals_do_not_depend_on_the_order_of_rows() -> None:
    rows = a_list(500, "as in a fleet")
    order = np.random.default_rng(3).permutation(500)
    low, high = rank_intervals(*rows)
    again = rank_intervals(*(values[order] for values in rows))
    assert (again[0] == low[order]).all()
    assert (again[1] == high[order]).all()


def test_levels_beyond_the_grid_keep_their_order() -> None:
    """Far outside of what a duct can hold nothing breaks: first and last stay so."""
    level = np.array([0.6, 9.0, 0.7, -9.0])
    low, high = rank_intervals(level, np.full(4, 0.01), np.full(4, 5.0), np.full(4, 0.5))
    assert low.tolist() == high.tolist() == [3, 1, 2, 4]


def test_an_empty_list_has_no_ranks() -> None:
    empty = np.zeros(0)
    low, high = rank_intervals(empty, empty, empty, empty)
    assert len(low) == len(high) == 0


def test_the_interval_shown_holds_the_rank() -> None:
    """A sure unit a hair below its rating among unsure ones: last by expected excess, in the middle by its level.

    And an unsure one among sure ones a hair above theirs: first by expected excess, mostly last by its level.
    """
    sure_last = [(0.499, 0.0001)] + [(0.495, 0.02)] * 60
    unsure_first = [(1.498, 0.004)] + [(1.5003, 0.0001)] * 60
    excess = [0.0, *[0.006] * 60, 0.0009, *[0.0003] * 60]  # about; what counts is their order
    rows = pl.DataFrame(
        {
            "unit_no": range(122),
            "equipment_id": [f"E{i:03d}" for i in range(122)],
            "mode": "cooling",
            "problem_side": "return",
            "static_state": "uncertain",
            "check_first": "Return duct first.",
            "motor_says": "",
            "expected_excess_inwc": excess,
            "level_inwc": [level for level, _ in sure_last + unsure_first],
            "level_se_inwc": [error for _, error in sure_last + unsure_first],
            "level_df": 20.0,
            "rated_tesp_inwc": [0.5] * 61 + [1.5] * 61,
        }
    )
    for first, last in ((0, 61), (61, 122)):
        listed = rows[first:last]
        found = rank_frame(listed)
        with Warehouse() as warehouse:
            warehouse.store("priority_row", listed)
            warehouse.store("rank_interval", found)
            warehouse.store("equipment_trend", listed.select("equipment_id", pl.lit("steady").alias("trend")))
            warehouse.run("site/site_priority.sql")
            shown = warehouse.query(
                "SELECT equipment_id, rank, rank_lo, rank_hi FROM site_priority ORDER BY rank"
            )
        assert shown.select(pl.col("rank").is_between("rank_lo", "rank_hi").all()).item()
        # Only where the rank lies outside is the interval of the draws widened, to just that rank.
        asked = listed.join(found, on="unit_no", suffix="_drawn").join(shown, on="equipment_id")
        wider = asked.filter(
            (pl.col("rank_lo") != pl.col("rank_lo_right")) | (pl.col("rank_hi") != pl.col("rank_hi_right"))
        )
        assert wider.height
        for row in wider.iter_rows(named=True):
            assert row["rank_lo_right"] == min(row["rank_lo"], row["rank"])
            assert row["rank_hi_right"] == max(row["rank_hi"], row["rank"])
