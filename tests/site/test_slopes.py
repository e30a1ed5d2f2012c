"""Slopes of many series at once against scipy, pymannkendall and sums by hand, ties included."""

from __future__ import annotations

import numpy as np
import polars as pl
import pymannkendall
import pytest
from polars.testing import assert_frame_equal
from scipy import stats

from pipeline.site import groups, visits
from pipeline.site.groups import Groups
from pipeline.site.slopes import theil_sen
from pipeline.site.stage import look_at_visits, weigh_visits
from pipeline.warehouse import Warehouse

SERIES = 300
TABLES = (
    "level_centre",
    "level_distance",
    "level_scatter",
    "cause_mean",
    "series_test",
    "trend_start",
    "trend_distance",
    "trend_line",
    "change_place",
)


@pytest.fixture(scope="module")
def rows() -> pl.DataFrame:
    """Series of 1 to 14 readings to two decimals, so that many are tied; in two strata, sorted by time in each."""
    rng = np.random.default_rng(20261125)
    key = np.repeat(np.arange(SERIES), rng.integers(1, 15, SERIES))
    return pl.DataFrame(
        {
            "key": key,
            "stratum": rng.integers(0, 2, len(key)),
            "x": rng.uniform(0, 4, len(key)),
            "y": np.round(rng.normal(0.5, 0.03, len(key)), 2),
        }
    ).sort("key", "stratum", "x")


def columns(rows: pl.DataFrame) -> list[np.ndarray]:
    return [rows[c].to_numpy() for c in ("key", "x", "y", "stratum")]


def test_each_series_equals_scipy_and_pymannkendall(rows) -> None:
    key, x, y, _ = columns(rows.sort("key", "x"))
    found = theil_sen(Groups(key), x, y, key)
    for i in range(SERIES):
        xs, ys = x[key == i], y[key == i]
        if len(xs) < 2:
            assert np.isnan(found.slope[i])
            continue
        expected = stats.theilslopes(ys, xs, 0.95)
        assert found.slope[i] == pytest.approx(expected.slope, abs=1e-12)
        if len(xs) > 4:  # scipy's ranks leave the list where there are few slopes; here its ends hold
            assert (found.lo[i], found.hi[i]) == pytest.approx(
                (expected.low_slope, expected.high_slope), abs=1e-12
            )
        if len(np.unique(ys)) > 1:
            rank = pymannkendall.original_test(ys)
            assert found.s[i] == rank.s
            assert found.p[i] == pytest.approx(rank.p, abs=1e-12)


def test_strata_are_summed_and_not_mixed(rows) -> None:
    """Hirsch and Slack 1984: S and its variance summed over seasons; the slope is the median of all their pairs."""
    key, x, y, stratum = columns(rows)
    found = theil_sen(Groups(key), x, y, stratum)
    for i in range(SERIES):
        s, variance, slopes = 0.0, 0.0, []
        for season in (0, 1):
            own = (key == i) & (stratum == season)
            if own.sum() > 1:
                a, b = np.triu_indices(own.sum(), 1)
                slopes += list((y[own][b] - y[own][a]) / (x[own][b] - x[own][a]))
                s += np.sign(np.round(y[own][b] - y[own][a], 9)).sum()
                variance += pymannkendall.original_test(y[own]).var_s if len(np.unique(y[own])) > 1 else 0
        if not slopes:
            assert np.isnan(found.slope[i])
            continue
        assert found.slope[i] == pytest.approx(np.median(slopes), abs=1e-12)
        assert found.s[i] == s
        z = (s - np.sign(s)) / np.sqrt(variance) if s else 0
        assert found.p[i] == pytest.approx(2 * stats.norm.sf(abs(z)), abs=1e-12)


def test_visits_at_one_time_make_no_pair() -> None:
    """Three readings, two of them at once: two pairs, and the variance of S less the tie's 2 * 1 * 9 / 18."""
    found = theil_sen(Groups(np.zeros(3)), np.array([0.0, 1.0, 1.0]), np.array([0.0, 1.0, 3.0]), np.zeros(3))
    assert found.slope[0] == 2.0
    assert found.s[0] == 2
    assert found.p[0] == pytest.approx(2 * stats.norm.sf(1 / np.sqrt(3 * 2 * 11 / 18 - 1)), abs=1e-12)


def test_groups_equal_polars_and_do_not_depend_on_the_size_of_a_block(rows, monkeypatch) -> None:
    key, x, y, stratum = columns(rows)
    expected = rows.group_by("key", maintain_order=True).agg(pl.median("y").alias("median"), pl.sum("x"))
    whole = theil_sen(Groups(key), x, y, stratum)
    assert Groups(key).median(y) == pytest.approx(expected["median"].to_numpy(), abs=1e-12)
    assert Groups(key).sum(x) == pytest.approx(expected["x"].to_numpy(), abs=1e-9)
    monkeypatch.setattr(groups, "LARGEST_BLOCK", 100)
    small = theil_sen(Groups(key), x, y, stratum)
    assert np.array_equal(whole.slope, small.slope, equal_nan=True)
    assert np.array_equal(whole.p, small.p, equal_nan=True)


def test_no_rows_are_no_groups() -> None:
    found = theil_sen(Groups(np.zeros(0)), np.zeros(0), np.zeros(0), np.zeros(0))
    assert len(found.slope) == 0


def test_parts_of_the_fleet_make_the_same_trends(monkeypatch) -> None:
    """Ten pieces of equipment at once or a few at a time: memory is bounded, the tables are the same."""
    rng = np.random.default_rng(7)
    unit = np.repeat(np.arange(20, dtype=np.int32), 6)
    at_year = np.sort(rng.uniform(50, 54, (20, 6)), axis=1).ravel()
    level_visit = pl.DataFrame(
        {
            "unit_no": unit,
            "at_year": at_year,
            "visited_on": pl.Series((at_year * 365.25).astype(np.int32)).cast(pl.Date),
            "tesp_inwc": rng.normal(0.5, 0.03, len(unit)),
            "airflow_ratio": rng.uniform(0.8, 1.1, len(unit)),
            "measurer": rng.integers(0, 3, len(unit)).astype(np.uint64),
            "measurer_variance": 1e-4,
            "offset_corrected": rng.random(len(unit)) < 0.1,
            "sides_known": rng.random(len(unit)) < 0.8,
            "return_inwc": -rng.uniform(0.1, 0.3, len(unit)),
            "supply_inwc": rng.uniform(0.1, 0.3, len(unit)),
            "airflow_cfm": 1200.0,
            "power_w": pl.Series([None if i % 5 else 400.0 for i in range(len(unit))]),
            "return_restriction_inwc": rng.normal(0, 0.1, len(unit)),
            "supply_restriction_inwc": rng.normal(0, 0.1, len(unit)),
            "airflow_setting_inwc": rng.normal(0, 0.1, len(unit)),
        }
    )
    made = []
    for rows_at_once in (1_000_000, 20):
        monkeypatch.setattr(visits, "ROWS_AT_ONCE", rows_at_once)
        with Warehouse() as warehouse:
            warehouse.store("level_visit", level_visit)
            warehouse.set_variable("trend_scatter_inwc", 0.02, "DOUBLE")
            warehouse.set_variable("level_scatter_inwc", 0.02, "DOUBLE")
            look_at_visits(warehouse)
            weigh_visits(warehouse)
            made.append([warehouse.query(f"SELECT * FROM {name} ORDER BY ALL") for name in TABLES])
    for whole, parts in zip(*made, strict=True):
        assert whole.height >= 9
        assert_frame_equal(whole, parts)
