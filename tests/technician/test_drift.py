"""Gauge drift: the line against statsmodels, a step at calibration, planted drift found and sound gauges left alone."""

from __future__ import annotations

from datetime import date

import numpy as np
import polars as pl
import pytest
import statsmodels.api as sm

from pipeline.simulate.profile import Profile
from pipeline.technician.drift import drift_lines, gauge_line
from tests.planted import Planted, plant

FLEET = Profile(
    n_sites=300, n_technicians=20, n_skippers=2, n_paper_zeroers=2, n_drifting_gauges=4, visits_per_site=12
)


def test_line_equals_weighted_least_squares_of_statsmodels() -> None:
    rng = np.random.default_rng(1)
    years = np.tile(np.arange(6.0), 2)
    hand = np.repeat([0, 1], 6)
    after = years >= 4
    error = rng.uniform(0.001, 0.004, 12)
    offset = 0.004 * years - 0.012 * after + 0.01 * hand + rng.normal(0, error)
    line = gauge_line(offset, error, years, hand, after, step=True)
    x = np.column_stack([years - 5, after, hand == 0, hand == 1]).astype(float)
    ols = sm.WLS(offset, x, weights=error**-2).fit()
    assert line is not None
    assert (line.slope, line.step) == pytest.approx(tuple(ols.params[:2]))
    assert line.scatter == pytest.approx(ols.scale)
    assert line.df == ols.df_resid == 8
    assert line.slope_variance * line.scatter == pytest.approx(ols.bse[0] ** 2)
    assert line.step_variance * line.scatter == pytest.approx(ols.bse[1] ** 2)


def test_two_years_make_no_line() -> None:
    two = np.array([0.0, 1.0])
    none = np.zeros(2, bool)
    assert gauge_line(two, two + 1, two, np.zeros(2, np.int64), none, step=False) is None


def cells(seed: int, *, step: float) -> pl.DataFrame:
    """30 gauges over six years in one hand each; the first is stepped at its calibration after year 3."""
    rng = np.random.default_rng(seed)
    gauge = np.repeat(np.arange(30), 6)
    year = np.tile(np.arange(6), 30)
    se = np.full(180, 0.002)
    offset = np.where((gauge == 0) & (year >= 3), step, 0.0) + rng.normal(0, 0.002, 180)
    return pl.DataFrame(
        {
            "instrument_id": [f"M{g:02d}" for g in gauge],
            "technician_id": [f"T{g:02d}" for g in gauge],
            "years": year + 0.5,
            "after_calibration": year >= 3,
            "n_visits": np.full(180, 40),
            "group_no": np.zeros(180, np.int64),
            "offset": offset,
            "se": se,
        }
    )


def test_a_step_at_calibration_is_no_drift() -> None:
    lines = drift_lines(cells(2, step=-0.03), "return", 20).row(0, named=True)
    assert lines["step"] == pytest.approx(-0.03, abs=0.008)
    assert abs(lines["slope"]) < 3 * lines["slope_se"]


def test_intervals_of_slopes_cover() -> None:
    hits = []
    for seed in range(20):
        lines = drift_lines(cells(50 + seed, step=0.0), "return", 20)
        hits.append((lines["slope"].abs() <= 1.96 * lines["slope_se"]).mean())
    assert 0.92 <= np.mean(hits) <= 0.99


@pytest.fixture(scope="module")
def fleets(tmp_path_factory: pytest.TempPathFactory) -> list[Planted]:
    return [plant(tmp_path_factory.mktemp(f"drift{seed}"), FLEET, seed) for seed in range(2)]


def judged(fleets: list[Planted]) -> pl.DataFrame:
    """instrument_drift beside what was planted: a gain that grows, so the slope differs from place to place; the true
    slope of the middle reading is its size, less what the drift has put on it by the middle of the time, times it."""
    frames = []
    for number, fleet in enumerate(fleets):
        drift = fleet.gauges.group_by("instrument_id").agg(pl.col("drift_per_year").max())
        reading = fleet.ask(
            "SELECT instrument_id, median(return_inwc) AS return, median(supply_inwc) AS supply, "
            "median(tesp_inwc) AS both "
            "FROM visit_static WHERE like_new AND instrument_id IS NOT NULL GROUP BY ALL"
        ).unpivot(index="instrument_id", variable_name="port", value_name="reading_inwc")
        frames.append(
            fleet.ask("SELECT * FROM instrument_drift")
            .join(drift, on="instrument_id")
            .join(reading, on=["instrument_id", "port"])
            .with_columns(
                true_slope=pl.col("drift_per_year")
                * pl.col("reading_inwc")
                / (1 + pl.col("drift_per_year") * FLEET.years / 2),
                fleet=pl.lit(number),
            )
        )
    return pl.concat(frames)


@pytest.mark.slow
def test_drifting_gauges_are_found_and_sound_ones_left_alone(fleets: list[Planted]) -> None:
    gauges = (
        judged(fleets)
        .group_by("fleet", "instrument_id")
        .agg(found=(pl.col("drift_state") == "drifting").any(), drifts=(pl.col("drift_per_year") > 0).any())
    )
    drifting, sound = gauges.filter("drifts"), gauges.filter(~pl.col("drifts"))
    assert drifting.height >= 6
    assert drifting["found"].mean() >= 0.85
    assert sound["found"].mean() <= 0.03


@pytest.mark.slow
def test_slopes_and_their_intervals(fleets: list[Planted]) -> None:
    told = judged(fleets).filter(pl.col("slope_inwc_per_year").is_not_null())
    sound = told.filter(pl.col("drift_per_year") == 0)
    covers = sound.select(pl.lit(0.0).is_between("slope_lo", "slope_hi").mean()).item()
    assert covers >= 0.90
    drifting = told.filter(pl.col("drift_per_year") > 0)
    share = drifting["slope_inwc_per_year"] / drifting["true_slope"]
    assert 0.75 <= share.median() <= 1.1


@pytest.mark.slow
def test_the_day_of_recalibration_follows_from_the_line(fleets: list[Planted]) -> None:
    for row in judged(fleets).filter(pl.col("drift_state") == "drifting").iter_rows(named=True):
        target = 0.02 if row["slope_inwc_per_year"] > 0 else -0.02
        years = (target - row["latest_offset_inwc"]) / row["slope_inwc_per_year"]
        if abs(years) <= 10:
            days = (row["material_on"] - row["last_on"]).days
            assert days == pytest.approx(years * 365.25, abs=1)
            due = row["material_on"] <= date(2026, 11, 25) or years <= 0
            assert row["advice"] == ("recalibrate_now" if due else "recalibrate_by_then")
        else:
            assert row["material_on"] is None
    nothing = judged(fleets).filter(pl.col("drift_state") != "drifting")
    assert nothing["material_on"].null_count() == nothing.height
    assert not set(nothing["advice"]) & {"recalibrate_now", "recalibrate_by_then"}
    assert (nothing.filter(pl.col("n_visits") < 20)["drift_state"] == "too_few_visits").all()
