"""Work that does nothing gets no credit, work that does gets its own: small fleets, works triggered by a high reading.

The full run, 100 fleets of each kind, is tests/benchmarks/work.py; its figures stand in docs/statistics.md.
"""

from __future__ import annotations

from dataclasses import replace
from statistics import median

import pytest

from tests.benchmarks.work import FLEET, Told, told

pytestmark = pytest.mark.slow

FLEETS = 10


@pytest.fixture(scope="module")
def fleets() -> list[Told]:
    return list(told(replace(FLEET, triggered_work_share=1.0), range(500, 500 + FLEETS)))


def test_sham_work_changes_nothing(fleets: list[Told]) -> None:
    assert sum(f.sham_holds() for f in fleets) >= FLEETS - 1
    assert abs(median(f.sham.estimate for f in fleets)) <= 0.002


def test_the_careless_comparison_gives_it_credit(fleets: list[Told]) -> None:
    """Last reading before against first after: what regression to the mean would sell. So the test above can fail."""
    assert median(f.careless.estimate for f in fleets) < -0.004
    assert sum(f.careless_holds() for f in fleets) <= FLEETS / 2


def test_real_work_gets_what_it_did(fleets: list[Told]) -> None:
    errors = [error for f in fleets for error in f.errors]
    assert len(errors) >= 20
    assert median(errors) <= 0.02
