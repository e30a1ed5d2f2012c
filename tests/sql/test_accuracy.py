"""Planted slips are found, sound visits left alone, repaired totals near the truth: five fleets of five seeds."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.sql.accuracy import SHOWS, Checked, measure

pytestmark = pytest.mark.slow

SEEDS = range(5)


@pytest.fixture(scope="module")
def fleets(tmp_path_factory: pytest.TempPathFactory) -> list[Checked]:
    folder: Path = tmp_path_factory.mktemp("accuracy")
    return [measure(folder / str(seed), seed) for seed in SEEDS]


@pytest.mark.parametrize("slip", SHOWS)
def test_slips_that_a_row_can_show_are_found(slip: str, fleets: list[Checked]) -> None:
    hits, of = (sum(counts) for counts in zip(*(f.recall[slip] for f in fleets), strict=True))
    assert of >= 20
    assert hits >= 0.98 * of


def test_zero_not_recorded_names_exactly_the_visits_without_a_zero(fleets: list[Checked]) -> None:
    assert [f.zero_not_recorded_wrong for f in fleets] == [0] * len(fleets)


def test_sound_visits_raise_few_alarms(fleets: list[Checked]) -> None:
    for fleet in fleets:
        alarms, of = fleet.false_alarms
        assert of > 5000
        assert alarms <= 0.003 * of, fleet.alarms_by_check


def test_repaired_totals_are_near_the_truth(fleets: list[Checked]) -> None:
    for fleet in fleets:
        assert fleet.repaired_errors.height > 100
        error = fleet.repaired_errors["error"].quantile(0.9, "linear")
        assert error is not None
        assert error <= 0.04
