"""The crossed fit of places and measurers: exact cases, a reference library, planted offsets, honest errors."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.sparse import linalg

from pipeline.technician import crossed, crossed_error
from pipeline.technician.crossed import CrossedRows, Measurers
from pipeline.technician.places import Places
from pipeline.technician.stage import CELL_BISQUARE_ROUNDS, CELL_HUBER_ROUNDS
from tests.fits import fit_crossed


def crossed_readings(
    seed: int, *, n_places: int = 200, n_measurers: int = 12, visits: int = 6, home: float = 0.0
):
    """Seeded readings: places around 0.5, offsets of sound measurers sd 0.002, noise sd 0.015."""
    rng = np.random.default_rng(seed)
    place = np.repeat(np.arange(n_places), visits)
    own = rng.integers(0, n_measurers, n_places)
    measurer = np.where(rng.random(len(place)) < home, own[place], rng.integers(0, n_measurers, len(place)))
    offset = rng.normal(0, 0.002, n_measurers)
    level = rng.normal(0.5, 0.15, n_places)
    reading = level[place] + offset[measurer] + rng.normal(0, 0.015, len(place))
    return reading, place, measurer, offset, rng


def test_exact_data_give_exact_offsets() -> None:
    offset = np.array([0.00, 0.03, -0.02, 0.01, -0.01])
    place = np.repeat(np.arange(20), 5)
    measurer = np.tile(np.arange(5), 20)
    fit = fit_crossed(0.4 + 0.01 * place + offset[measurer], place, measurer)
    assert fit.offset == pytest.approx(offset - np.median(offset), abs=1e-9)


def test_equals_least_squares_with_dummies_on_clean_data() -> None:
    """statsmodels OLS on dummies; without outliers the robust weights hardly matter."""
    reading, place, measurer, _, _ = crossed_readings(1, n_places=60)
    dummies = np.column_stack(
        [*(place == p for p in range(60)), *(measurer == m for m in range(1, 12))]
    ).astype(float)
    ols = sm.OLS(reading, dummies).fit()
    expected = np.concatenate([[0.0], ols.params[60:]])
    fit = fit_crossed(reading, place, measurer)
    assert fit.offset - fit.offset[0] == pytest.approx(expected, abs=0.0025)
    assert fit.scale == pytest.approx(np.sqrt(ols.scale), rel=0.15)


def test_paper_zeroer_is_found_among_slips_and_changing_places() -> None:
    reading, place, measurer, offset, rng = crossed_readings(2)
    shifted = (measurer == 3) & (rng.random(len(reading)) < 0.85)
    reading = reading + 0.05 * shifted
    wild = rng.random(len(reading)) < 0.03
    reading = reading + wild * rng.choice([-0.3, 0.3], len(reading))
    fit = fit_crossed(reading, place, measurer)
    assert fit.offset[3] == pytest.approx(0.05, abs=0.012)
    others = np.delete(np.arange(12), 3)
    assert np.abs(fit.offset[others] - offset[others]).max() < 0.008


@pytest.mark.parametrize("home", [0.0, 0.8])
def test_intervals_of_sound_measurers_cover(home: float) -> None:
    """Errors are honest also where most visits to a place are by one measurer."""
    hits = []
    for seed in range(40):
        reading, place, measurer, offset, _ = crossed_readings(100 + seed, n_places=80, home=home)
        fit = fit_crossed(reading, place, measurer)
        miss = (fit.offset - np.median(fit.offset)) - (offset - np.median(offset))
        hits.append(np.abs(miss) <= 1.96 * fit.standard_error)
    assert 0.90 <= np.mean(hits) <= 0.99


def test_groups_that_share_no_place_are_told_apart() -> None:
    place = np.array([0, 0, 1, 1, 2, 2, 3, 3])
    measurer = np.array([0, 1, 0, 1, 2, 3, 2, 3])
    fit = fit_crossed(np.array([0.5, 0.6, 0.4, 0.5, 0.3, 0.3, 0.2, 0.2]), place, measurer)
    assert fit.group[0] == fit.group[1] != fit.group[2] == fit.group[3]
    assert list(fit.group_size) == [2, 2, 2, 2]


def test_one_reading_is_no_error() -> None:
    fit = fit_crossed(np.array([0.5]), np.array([0]), np.array([0]))
    assert fit.offset == pytest.approx([0.0])


def test_the_order_of_the_rows_changes_nothing() -> None:
    reading, place, measurer, _, rng = crossed_readings(3)
    mixed = rng.permutation(len(reading))
    one, other = (
        fit_crossed(reading, place, measurer),
        fit_crossed(reading[mixed], place[mixed], measurer[mixed]),
    )
    assert other.offset == pytest.approx(one.offset, abs=1e-9)
    assert other.standard_error == pytest.approx(one.standard_error, rel=1e-6)


def test_places_with_one_reading_tell_nothing() -> None:
    reading, place, measurer, _, _ = crossed_readings(4)
    more = np.arange(50)
    fit = fit_crossed(
        np.append(reading, 9.0 + more), np.append(place, 200 + more), np.append(measurer, more % 12)
    )
    assert fit.offset == pytest.approx(fit_crossed(reading, place, measurer).offset, abs=1e-9)


def test_errors_of_a_large_group_by_series_equal_those_by_inverse(monkeypatch: pytest.MonkeyPatch) -> None:
    """The series' bound may overstate a standard error a little; it must not understate it."""
    reading, place, measurer, _, _ = crossed_readings(5, n_places=4000, n_measurers=400)
    by_series = fit_crossed(reading, place, measurer).standard_error
    assert crossed_error.EXACT_UP_TO < 400
    monkeypatch.setattr(crossed_error, "EXACT_UP_TO", 400)
    exact = fit_crossed(reading, place, measurer).standard_error
    assert not np.array_equal(by_series, exact)  # the other way was taken
    assert by_series / exact == pytest.approx(np.ones(400), abs=0.01)


def test_a_large_group_with_weak_links_is_inverted(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two halves that share one place: the series would be coarse, and says so."""
    monkeypatch.setattr(crossed_error, "EXACT_UP_TO", 10)
    reading, place, measurer, _, _ = crossed_readings(6, n_measurers=12)
    halves = np.where(place % 2 == 0, measurer % 6, 6 + measurer % 6)
    halves[:2] = [0, 6]
    by_default = fit_crossed(reading, place, halves).standard_error
    monkeypatch.setattr(crossed_error, "EXACT_UP_TO", 400)
    assert np.array_equal(by_default, fit_crossed(reading, place, halves).standard_error)


def test_products_of_pairs_equal_those_of_the_matrix() -> None:
    """M' M from the pairs that met at places, against the matrix itself; some measurers came twice."""
    rng = np.random.default_rng(8)
    place, measurer = rng.integers(0, 40, 150), rng.integers(0, 9, 150)
    places = Places(place)
    value = rng.normal(size=places.n_rows)
    matrix = np.zeros((40, 9))
    np.add.at(matrix, (place[places.order], measurer[places.order]), value)
    squared = crossed_error.Pairs(places, measurer[places.order], 9).squared(value)
    assert squared.dense() == pytest.approx(matrix.T @ matrix, abs=1e-12)
    without = squared.dense() - np.diag(squared.diagonal)
    assert squared.times(squared.values)(np.arange(9.0)) == pytest.approx(without @ np.arange(9.0), abs=1e-12)


def test_sums_over_places_are_numpys() -> None:
    rng = np.random.default_rng(9)
    place = rng.integers(0, 60, 200) * 1_000_003  # any numbers will do
    places = Places(place)
    kept = place[places.order]
    assert sorted(places.order) == [i for i in range(200) if (place == place[i]).sum() > 1]
    codes, at = np.unique(kept, return_inverse=True)
    value = rng.normal(size=len(kept))
    expected = np.bincount(at, value)
    by_place = np.empty(places.n_places, np.int64)
    for k, rows, where in places.classes:
        assert (np.bincount(at)[at[rows]] == k).all()
        by_place[where] = at[rows].reshape(k, -1)[0]
    assert places.totals(value) == pytest.approx(expected[by_place])
    spread = value.copy()
    places.add(spread, places.totals(value))
    assert spread == pytest.approx(value + expected[at])
    assert places.times(value, places.totals(value), np.empty_like(value)) == pytest.approx(
        value * expected[at]
    )
    assert len(codes) == places.n_places


def test_cells_that_start_from_their_measurers_end_where_a_fit_of_their_own_does() -> None:
    """Gauges that drift: the few rounds of the cells' fit, from the measurers' offsets, against a fit from nothing."""
    reading, place, measurer, _, rng = crossed_readings(10, n_places=800)
    year = rng.integers(0, 5, len(reading))
    reading = reading + np.where(measurer < 3, 0.01 * (year - 2), 0.0)
    cell = measurer * 5 + year
    places = Places(place)
    rows = CrossedRows(places, Measurers(places, measurer), reading)
    rows.fit()
    few = rows.split(Measurers(places, cell)).fit(CELL_HUBER_ROUNDS, CELL_BISQUARE_ROUNDS)
    own = fit_crossed(reading, place, cell)
    assert np.abs(few.offset - own.offset).max() < 0.1 * own.standard_error.min()
    assert few.standard_error == pytest.approx(own.standard_error, rel=0.02)


def test_steps_equal_those_of_scipy(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(crossed, "STEP_RTOL", 1e-10)
    rng = np.random.default_rng(7)
    half = rng.normal(size=(40, 30))
    matrix, right = half.T @ half, rng.normal(size=30)
    scaling = 1 / np.diag(matrix)
    found = crossed._conjugate_gradients(lambda v: matrix @ v, right, scaling)
    theirs, failed = linalg.cg(matrix, right, rtol=1e-10, M=np.diag(scaling))
    assert not failed
    assert found == pytest.approx(theirs, abs=1e-8)
    assert found == pytest.approx(np.linalg.solve(matrix, right), abs=1e-7)
