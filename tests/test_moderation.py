"""The prior on variances: recovery of what was planted, and the edges."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.moderation import LARGEST_DF, fit_prior, random_effect_sd, settled, trigamma_inverse


def test_trigamma_inverse_undoes_trigamma() -> None:
    """scipy.special.polygamma is the reference."""
    from scipy.special import polygamma

    for y in (0.05, 0.5, 1.0, 3.0, 40.0):
        assert trigamma_inverse(float(polygamma(1, y))) == pytest.approx(y, rel=1e-9)


@pytest.mark.parametrize(("prior_df", "df"), [(4.0, 3), (8.0, 5), (20.0, 4)])
def test_recovers_a_planted_prior(prior_df: float, df: int) -> None:
    rng = np.random.default_rng(7)
    n = 20_000
    true = 0.02**2 * prior_df / rng.chisquare(prior_df, n)
    sample = true * rng.chisquare(df, n) / df
    found_df, found = fit_prior(sample, np.full(n, float(df)))
    assert found_df == pytest.approx(prior_df, rel=0.15)
    assert np.sqrt(found) == pytest.approx(0.02, rel=0.03)


def test_equal_scatter_everywhere_gives_a_strong_prior() -> None:
    rng = np.random.default_rng(8)
    found_df, found = fit_prior(0.02**2 * rng.chisquare(5, 5000) / 5, np.full(5000, 5.0))
    assert found_df > 100
    assert found_df <= LARGEST_DF
    assert np.sqrt(found) == pytest.approx(0.02, rel=0.03)


@pytest.mark.parametrize("variances", [[], [1e-4], [0.0, 0.0], [np.nan, np.nan, np.nan]])
def test_too_little_to_fit_gives_a_weak_prior(variances: list[float]) -> None:
    df, variance = fit_prior(np.array(variances, dtype=float), np.full(len(variances), 2.0))
    assert df == 1.0
    assert variance > 0


def test_random_effect_is_dersimonian_laird() -> None:
    """BCG trials, log risk ratios: tau^2 0.3088 (references: HSAUR BCG; metafor's print from memory)."""
    cases = np.array(
        [
            (4, 123, 11, 139), (6, 306, 29, 303), (3, 231, 11, 220), (62, 13598, 248, 12867), (33, 5069, 47, 5808),
            (180, 1541, 372, 1451), (8, 2545, 10, 629), (505, 88391, 499, 88391), (29, 7499, 45, 7277),
            (17, 1716, 65, 1665), (186, 50634, 141, 27338), (5, 2498, 3, 2341), (27, 16913, 29, 17854),
        ]
    )  # fmt: skip
    a, n1, c, n2 = cases[:, 0], cases[:, 1], cases[:, 2], cases[:, 3]
    # A row a trial: cases and totals of the vaccinated, cases and totals of the controls.
    log_rr = np.log((a / n1) / (c / n2))
    se = np.sqrt(1 / a - 1 / n1 + 1 / c - 1 / n2)
    assert random_effect_sd(log_rr, se) ** 2 == pytest.approx(0.3088, abs=1e-4)


def test_settled_figures_lie_within_half_a_step_and_stay() -> None:
    rng = np.random.default_rng(11)
    for value in 10 ** rng.uniform(-6, 3, 2000):
        for step in (0.02, 0.05):
            figure = settled(value, step)
            assert abs(figure / value - 1) < step / 2 + 1e-3
            assert settled(figure, step) == figure
    assert len({settled(v) for v in np.geomspace(0.01, 0.02, 10_000)}) in (35, 36, 37)  # ln 2 / ln 1.02 steps
    assert settled(0.0) == 0.0
