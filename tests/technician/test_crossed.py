"""The crossed fit of places and measurers: exact cases, a reference library, planted offsets, honest errors."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import sparse
from scipy.sparse import linalg

from pipeline.technician import crossed, crossed_error
from pipeline.technician import places as places_module
from pipeline.technician.crossed import CrossedRows, Measurers, _conjugate_gradients
from pipeline.technician.places import Places
from pipeline.technician.readings import CELL_BISQUARE_ROUNDS, CELL_HUBER_ROUNDS
from tests.conftest import Query
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


def test_hands_with_one_gauge_have_one_voice_on_what_is_zero() -> None:
    """Four of six hold one gauge that reads 0.04 high: two gauges against one, not four hands against two."""
    offset = np.array([0.04, 0.04, 0.04, 0.04, 0.0, 0.001])
    place, measurer = np.repeat(np.arange(20), 6), np.tile(np.arange(6), 20)
    reading = 0.4 + 0.01 * place + offset[measurer]
    alone = fit_crossed(reading, place, measurer)
    assert alone.offset == pytest.approx(offset - 0.04, abs=1e-9)
    together = fit_crossed(reading, place, measurer, np.array([7, 7, 7, 7, 1, 2]))
    assert together.offset == pytest.approx(offset - 0.001, abs=1e-9)
    assert list(together.group_size) == [6] * 6
    own = fit_crossed(reading, place, measurer, np.arange(6))
    assert (own.offset == alone.offset).all()


def test_who_borrows_a_gauge_once_takes_its_owner_no_vote() -> None:
    group, readings = np.zeros(4, np.int64), np.array([99, 1, 50, 50])
    assert crossed._votes(group, readings, np.array([1, 1, 2, 3])) == pytest.approx([0.99, 0.01, 1, 1])
    assert crossed._votes(np.array([0, 0, 1, 1]), readings, np.array([1, 1, 1, 2])) == pytest.approx(
        [0.99, 0.01, 1, 1]
    )


def test_gauges_in_one_hand_have_one_voice_on_what_is_zero() -> None:
    """One of three takes three gauges in turn and probes at a wrong place: two hands against one, not against three."""
    offset = np.array([0.0, 0.001, 0.05, 0.05, 0.05])
    place, measurer = np.repeat(np.arange(20), 5), np.tile(np.arange(5), 20)
    reading = 0.4 + 0.01 * place + offset[measurer]
    fit = fit_crossed(reading, place, measurer, np.arange(5), np.array([0, 1, 2, 2, 2]))
    assert fit.offset == pytest.approx(offset - 0.001, abs=1e-9)


def test_a_vote_is_the_least_share_of_gauge_and_hand() -> None:
    group, readings = np.zeros(4, np.int64), np.array([60, 40, 20, 80])
    gauge, hand = np.array([1, 2, 1, 3]), np.array([1, 1, 2, 3])
    assert crossed._votes(group, readings, gauge, hand) == pytest.approx([0.6, 0.4, 0.25, 1])


@pytest.mark.parametrize("n", [1, 2, 5, 8])
def test_the_centre_of_whoever_has_a_voice_of_their_own_is_numpys_median(n: int) -> None:
    offset = np.random.default_rng(n).normal(0, 0.01, n)
    centre = crossed._group_centres(offset, np.zeros(n, np.int64), np.ones(n))
    assert centre == pytest.approx([np.median(offset)], abs=1e-15)


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


def test_sums_over_pairs_equal_those_of_the_matrices() -> None:
    """What the series needs, summed place by place, against squared matrices; many met again, some themselves."""
    rng = np.random.default_rng(8)
    place, measurer = rng.integers(0, 40, 150), rng.integers(0, 9, 150)
    places = Places(place)
    at = measurer[places.order]
    tie, score = rng.normal(size=(2, places.n_rows))
    a, b = np.zeros((2, 40, 9))
    np.add.at(a, (place[places.order], at), tie)
    np.add.at(b, (place[places.order], at), score)
    ties, meat = a.T @ a, b.T @ b
    met = crossed_error.Equations(
        places, at, crossed_error.Meetings(places, at, 9), np.array([0, 9]), rng.random(9) + 1, tie, score
    )
    assert met.own_squares(tie) == pytest.approx(np.diag(ties))
    v, own = rng.random((2, 9))
    assert met.ties(v) == pytest.approx(ties @ v)
    ((_, dense_ties, dense_meat),) = crossed_error._dense(met, np.array([True]))
    assert dense_ties == pytest.approx(ties)
    assert dense_meat == pytest.approx(meat)
    np.fill_diagonal(ties, 0)  # of the others only
    second, across = met.over_pairs(v, own)
    assert second == pytest.approx(ties**2 @ v)
    assert across == pytest.approx(2 * (ties * meat) @ v + ties**2 @ (own * v))


@pytest.mark.parametrize("above", [1000, 1 << 62])
def test_what_occurs_again_is_found_however_large_the_numbers(above: int) -> None:
    key = np.random.default_rng(11).integers(0, 1000, 700)
    _, at, count = np.unique(key, return_inverse=True, return_counts=True)
    where, slot = crossed_error.occurs_again(key, above)
    assert 0 < len(where) < 700
    assert np.array_equal(where, np.flatnonzero(count[at] > 1))
    assert np.array_equal(slot, np.unique(key[where], return_inverse=True)[1])


def test_the_largest_eigenvalue_is_found_or_a_little_more() -> None:
    """Two blocks, against numpy's."""
    rng = np.random.default_rng(12)
    blocks = [x + x.T for x in (rng.normal(size=(60, 60)), 3 * rng.normal(size=(90, 90)))]
    apply = sparse.block_diag(blocks).tocsr()
    found = crossed_error.largest_eigenvalues(lambda v: apply @ v, np.array([0, 60, 150]))
    for value, block in zip(found, blocks, strict=True):
        largest = np.abs(np.linalg.eigvalsh(block)).max()
        assert 0.99 * largest <= value <= 1.2 * largest


def test_sums_over_places_are_numpys(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(places_module, "BLOCK_ROWS", 20)  # several blocks of places of one size
    rng = np.random.default_rng(9)
    place = rng.integers(0, 60, 200) * 1_000_003  # any numbers will do
    places = Places(place)
    kept = place[places.order]
    assert sorted(places.order) == [i for i in range(200) if (place == place[i]).sum() > 1]
    number = places.of_rows()
    assert len(np.unique(np.stack([kept, number]), axis=1).T) == len(np.unique(kept)) == places.n_places
    for k, rows, where in places.blocks:
        assert rows.stop - rows.start <= 20
        assert (np.bincount(number)[where] == k).all()
    one, other = np.concatenate(list(places.pairs()), axis=1)
    together = np.argwhere(np.triu(number[:, None] == number, 1))
    assert sorted(zip(one.tolist(), other.tolist(), strict=True)) == [tuple(x) for x in together.tolist()]


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


def test_steps_equal_those_of_scipy() -> None:
    rng = np.random.default_rng(7)
    half = rng.normal(size=(40, 30))
    matrix, right = half.T @ half, rng.normal(size=30)
    scaling = 1 / np.diag(matrix)
    found = _conjugate_gradients(lambda v: matrix @ v, right, scaling, 1e-10)
    theirs, failed = linalg.cg(matrix, right, rtol=1e-10, M=np.diag(scaling))
    assert not failed
    assert found == pytest.approx(theirs, abs=1e-8)
    assert found == pytest.approx(np.linalg.solve(matrix, right), abs=1e-7)


def test_the_fit_ends_near_its_end_also_where_branches_share_few_places() -> None:
    """Twelve branches in a chain, two places between neighbours: rough steps alone would miss the branches' levels."""
    rng = np.random.default_rng(13)
    place, measurer, n = [], [], 0
    for branch in range(12):
        place.append(np.repeat(np.arange(n, n + 300), 4))
        measurer.append(rng.integers(0, 20, 1200) + 20 * branch)
        n += 300
        if branch:
            place.append(np.repeat([n, n + 1], 2))
            measurer.append(rng.integers(0, 20, 4) + 20 * (branch - np.array([0, 1, 0, 1])))
            n += 2
    at, by = np.concatenate(place), np.concatenate(measurer)
    offset = rng.normal(0, 0.004, 240) + np.repeat(rng.normal(0, 0.02, 12), 20)
    reading = rng.normal(0.5, 0.15, n)[at] + offset[by] + rng.normal(0, 0.015, len(at))
    places = Places(at)
    measurers = Measurers(places, by)
    long = CrossedRows(places, measurers, reading).fit(7, 60)
    fit = CrossedRows(places, measurers, reading).fit()
    assert np.sqrt(np.mean((fit.offset - long.offset) ** 2)) < 0.05 * fit.standard_error.mean()


def test_an_offset_of_nothing_has_no_sign(field: Query) -> None:
    """What rounds to 0.000 is told as 0.0, not as -0.0 (an analyst's CSV, data contract section 3)."""
    told = field(
        "SELECT unnest([return_offset_inwc, supply_offset_inwc])::VARCHAR AS told FROM instrument_offset"
    )
    assert "0.0" in told["told"].to_list()
    assert "-0.0" not in told["told"].to_list()
