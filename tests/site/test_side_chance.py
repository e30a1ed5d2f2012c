"""The probability that a cause is the largest, against draws of the same two leads."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from pipeline.warehouse import Warehouse

PRIOR_DF, CAUSE_VARIANCE = 6.0, 4e-4
# Means of the three causes (the largest first), and the variances between visits of its leads and of the rivals'.
UNITS = {
    "all alike": ((0.067, 0.067, 0.067), (4e-4, 4e-4, 4e-4), 5),
    "two alike, the third far below": ((0.05, 0.05, -0.2), (4e-4, 5e-4, 3e-4), 4),
    "a growing return against a fan": ((0.021, 0.017, -0.015), (9e-3, 2e-2, 3e-3), 4),
    "rivals that go against one another": ((0.03, 0.02, 0.021), (1e-3, 1e-3, 3.8e-3), 6),
    "one visit": ((0.03, 0.025, 0.01), (None, None, None), 1),
    "plain": ((0.2, 0.05, -0.02), (4e-4, 4e-4, 4e-4), 8),
}


def _drawn(means: tuple[float, ...], variances: tuple[float | None, ...], n: int) -> float:
    df = PRIOR_DF + n - 1
    one, two, rivals = ((PRIOR_DF * CAUSE_VARIANCE + (n - 1) * (v or 0)) / df / n for v in variances)
    both = (one + two - rivals) / 2
    rng = np.random.default_rng(7)
    lead = rng.multivariate_normal([0, 0], [[one, both], [both, two]], 400_000)
    lead /= np.sqrt(rng.chisquare(df, 400_000) / df)[:, None]
    lead += (means[0] - means[1], means[0] - means[2])
    return float((lead > 0).all(axis=1).mean())


@pytest.mark.parametrize("what", UNITS)
def test_the_probability_is_that_of_draws(what: str) -> None:
    means, variances, n = UNITS[what]
    lead: dict[str, object] = {"unit_no": 1, "n": n, "airflow_known": True}
    lead |= {"margin_1": means[0] - means[1], "margin_2": means[0] - means[2]}
    names = ("variance_1", "variance_2", "variance_rivals")
    schema = dict.fromkeys(names, pl.Float64)
    with Warehouse() as warehouse:
        warehouse.set_variable("scatter_prior_df", PRIOR_DF, "DOUBLE")
        warehouse.set_variable("cause_variance", CAUSE_VARIANCE, "DOUBLE")
        warehouse.store(
            "cause_lead",
            pl.DataFrame([lead | dict(zip(names, variances, strict=True))], schema_overrides=schema),
        )
        warehouse.run("site/side_chance.sql")
        found = warehouse.query("SELECT prob_side FROM side_chance").item()
    assert found == pytest.approx(_drawn(means, variances, n), abs=0.005)
