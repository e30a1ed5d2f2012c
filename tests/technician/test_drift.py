"""Gauge drift: the line against statsmodels, a step at calibration, planted drift found and sound gauges left alone."""

from __future__ import annotations

from datetime import date

import numpy as np
import polars as pl
import pytest
import statsmodels.api as sm

from pipeline.simulate.profile import Profile
from pipeline.technician.drift import drift_lines, gauge_lines
from tests.planted import Planted, plant

FLEET = Profile(
    n_sites=300, n_technicians=20, n_skippers=2, n_paper_zeroers=2, n_drifting_gauges=4, visits_per_site=12
)


def test_lines_equal_weighted_least_squares_of_statsmodels() -> None:
    """Gauge 0 in two hands, stepped at its calibration; gauge 1 in three hands, without a step."""
    rng = np.random.default_rng(1)
    gauge, hand = np.repeat([0, 1], [12, 9]), np.repeat([0, 1, 2, 3, 4], [6, 6, 4, 3, 2])
    years = np.concatenate([np.tile(np.arange(6.0), 2), np.arange(4.0), np.arange(3.0) + 0.3, [1.0, 2.6]])
    after = (years >= 4).astype(float)
    error = rng.uniform(0.001, 0.004, 21)
    offset = 0.004 * years - 0.012 * after + 0.01 * hand + rng.normal(0, error)
    lines = gauge_lines(gauge, hand, offset, error, years, after, np.array([True, False]))
    assert lines.told.all()
    for g, stepped in enumerate((True, False)):
        own = gauge == g
        last = years[own].max()
        hands = (hand[own][:, None] == np.unique(hand[own])).astype(float)
        x = np.column_stack([years[own] - last, *([after[own]] if stepped else []), hands])
        ols = sm.WLS(offset[own], x, weights=error[own] ** -2).fit()
        assert lines.slope[g] == pytest.approx(ols.params[0])
        assert lines.scatter[g] == pytest.approx(ols.scale)
        assert lines.df[g] == ols.df_resid
        assert lines.slope_variance[g] * lines.scatter[g] == pytest.approx(ols.bse[0] ** 2)
        share = (hands / error[own][:, None] ** 2).sum(axis=0)
        latest = ols.t_test(np.concatenate([[0.0], [1.0] if stepped else [], share / share.sum()]))
        assert lines.latest[g] == pytest.approx(latest.effect[0])
        assert lines.latest_variance[g] * lines.scatter[g] == pytest.approx(latest.sd[0, 0] ** 2)
        if stepped:
            assert lines.step[g] == pytest.approx(ols.params[1])
            assert lines.step_variance[g] * lines.scatter[g] == pytest.approx(ols.bse[1] ** 2)
        else:
            assert np.isnan(lines.step[g])


@pytest.mark.parametrize(
    ("hand", "years", "after"),
    [
        ([0, 0], [0.0, 1.0], [0, 0]),  # as many levels and slopes as cells
        ([0, 1, 2], [0.1, 1.1, 2.2], [0, 0, 0]),  # every hand in one year: level and time are one
        ([0, 0, 0, 0], [0.0, 0.0, 1.0, 1.0], [0, 0, 1, 1]),  # the years move with the calibration
    ],
)
def test_no_line_where_nothing_tells_the_slope(hand: list[int], years: list[float], after: list[int]) -> None:
    n = len(hand)
    stepped = np.array([sum(after) > 0])
    offset, gauge = np.array(years), np.zeros(n, np.int64)
    lines = gauge_lines(
        gauge, np.array(hand), offset, np.ones(n), np.array(years), np.array(after, float), stepped
    )
    assert not lines.told.any()


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
