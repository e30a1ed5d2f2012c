"""What each check finds at each technician's visits, against the fleet: planted counts."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import polars as pl
import pytest

from pipeline.checks import all_checks
from pipeline.technician.practice import judge_practice
from pipeline.technician.skipping import skip_rates
from pipeline.warehouse import Warehouse

CHECKS = [check.check_id for check in all_checks()]
VISITS = {f"T{n}": 40 + n for n in range(30)} | {"few": 3}
FOUND = {
    (name, check): min((7 * n + len(check)) % 11, VISITS[name])
    for n, name in enumerate(VISITS)
    for check in CHECKS[:9:2]
} | {
    ("T7", CHECKS[2]): 44,
    ("few", CHECKS[2]): 3,
}


@pytest.fixture
def warehouse() -> Iterator[Warehouse]:
    with Warehouse() as made:
        yield made


def judge(warehouse: Warehouse, visits: dict[str, int], found: dict[tuple[str, str], int]) -> pl.DataFrame:
    counts = {"technician_id": list(visits), "n_visits": list(visits.values())}
    warehouse.store(
        "technician_visits", pl.DataFrame(counts, schema={"technician_id": pl.String, "n_visits": pl.Int64})
    )
    rows = [(*key, n) for key, n in found.items()]
    schema = {"technician_id": pl.String, "check_id": pl.String, "n_found": pl.Int64}
    warehouse.store("technician_found", pl.DataFrame(rows, schema=schema, orient="row"))
    judge_practice(warehouse)
    return warehouse.query("FROM practice_fit")


def test_every_technician_is_judged_by_every_check(warehouse: Warehouse) -> None:
    fit = judge(warehouse, VISITS, FOUND)
    assert fit.select("technician_id", "check_id").rows() == [(t, c) for t in sorted(VISITS) for c in CHECKS]
    for technician, check, visits, n in fit.select("technician_id", "check_id", "n_visits", "n_found").rows():
        assert (visits, n) == (VISITS[technician], FOUND.get((technician, check), 0))


def test_each_check_is_judged_by_itself(warehouse: Warehouse) -> None:
    fit = judge(warehouse, VISITS, FOUND)
    names, visits = sorted(VISITS), np.array([VISITS[name] for name in sorted(VISITS)], dtype=np.float64)
    for check in CHECKS[1:4]:
        found = np.array([FOUND.get((name, check), 0) for name in names], dtype=np.float64)
        own = skip_rates(found, visits, warehouse.settings["funnel_p"], visits >= 20)
        rows = fit.filter(check_id=check)
        assert rows["fleet_rate"].unique().to_list() == [own.fleet_rate]
        for name in ("p_value", "funnel_hi", "shrunk_rate"):
            assert rows[name].to_list() == list(getattr(own, name))


def test_q_is_benjamini_hochbergs_over_those_with_enough_visits(warehouse: Warehouse) -> None:
    fit = judge(warehouse, VISITS, FOUND)
    assert fit.filter(technician_id="few")["q_value"].null_count() == len(CHECKS)
    tested = fit.filter(pl.col("technician_id") != "few").sort("p_value", descending=True).rows(named=True)
    least = 1.0
    for place, row in enumerate(tested):
        least = min(least, row["p_value"] * len(tested) / (len(tested) - place))
        assert row["q_value"] == pytest.approx(least, rel=1e-12)
    assert 0 < least < 0.05


def test_practice_has_a_count_and_a_rate_of_every_check(warehouse: Warehouse) -> None:
    judge(warehouse, VISITS, FOUND)
    rows = warehouse.query("FROM technician_practice").rows(named=True)
    assert [row["technician_id"] for row in rows] == sorted(VISITS)
    for row in rows:
        for check in CHECKS:
            n = FOUND.get((row["technician_id"], check), 0)
            assert (row[f"{check}_n"], row[f"{check}_rate"]) == (n, n / row["n_visits"])


def test_nobody_has_been_anywhere(warehouse: Warehouse) -> None:
    assert judge(warehouse, {}, {}).is_empty()
    assert warehouse.columns("technician_practice")[:2] == ["technician_id", "n_visits"]


def test_all_have_few_visits(warehouse: Warehouse) -> None:
    assert judge(warehouse, {"few": 3}, {("few", CHECKS[0]): 1})["q_value"].to_list() == [None] * len(CHECKS)
