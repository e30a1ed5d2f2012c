"""What each check finds at each technician's visits, against the fleet: planted counts."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipeline.checks import all_checks
from pipeline.simulate.make import make_fleet
from pipeline.simulate.profile import Profile
from pipeline.technician.practice import judge_practice
from pipeline.technician.skipping import skip_rates
from pipeline.warehouse import Warehouse
from tests.conftest import FIELD_TODAY, query_of, run_stages

CHECKS = [check.check_id for check in all_checks()]
OF_READING = [check.check_id for check in all_checks() if check.of == "reading"]
VISITS = {f"T{n}": 40 + n for n in range(30)} | {"few": 3}
FOUND = {
    (name, check): min((7 * n + len(check)) % 11, VISITS[name])
    for n, name in enumerate(VISITS)
    for check in [*OF_READING[:9:2], "rating_unlikely"]
} | {
    ("T7", OF_READING[2]): 44,
    ("few", OF_READING[2]): 3,
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
    for check in OF_READING[1:4]:
        found = np.array([FOUND.get((name, check), 0) for name in names], dtype=np.float64)
        own = skip_rates(found, visits, warehouse.settings["funnel_p"], visits >= 20)
        rows = fit.filter(check_id=check)
        assert rows["fleet_rate"].unique().to_list() == [own.fleet_rate]
        for name in ("p_value", "funnel_hi", "shrunk_rate"):
            assert rows[name].to_list() == list(getattr(own, name))


def test_q_is_benjamini_hochbergs_over_those_with_enough_visits(warehouse: Warehouse) -> None:
    fit = judge(warehouse, VISITS, FOUND)
    assert fit.filter(technician_id="few")["q_value"].null_count() == len(CHECKS)
    judged = pl.col("check_id").is_in(OF_READING)
    tested = (
        fit.filter(judged, pl.col("technician_id") != "few").sort("p_value", descending=True).rows(named=True)
    )
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


def test_what_belongs_to_unit_or_gauge_judges_nobody(warehouse: Warehouse) -> None:
    """Counted as ever; no fleet's rate, no limit and no q beside it, and q of the rest as if it were not there."""
    assert {check.check_id for check in all_checks() if check.of != "reading"} == {
        "rating_unlikely", "coil_dirty", "blower_dirty", "visit_before_install", "visit_after_retirement",
        "calibration_long_past",
    }  # fmt: skip
    often = FOUND | {("T9", "rating_unlikely"): 40, ("T9", "calibration_long_past"): 40}
    plain, fit = judge(warehouse, VISITS, FOUND), judge(warehouse, VISITS, often)
    aside = fit.filter(~pl.col("check_id").is_in(OF_READING))
    assert aside.filter(technician_id="T9", check_id="rating_unlikely")["n_found"].to_list() == [40]
    for name in ("fleet_rate", "p_value", "funnel_hi", "shrunk_rate", "q_value"):
        assert aside[name].null_count() == aside.height
    judged = pl.col("check_id").is_in(OF_READING)
    assert fit.filter(judged).equals(plain.filter(judged))
    warehouse.run("technician/practice_rate.sql")
    said = warehouse.query("SELECT check_id, practice_state FROM practice_rate WHERE technician_id = 'T9'")
    assert set(said.filter(~judged)["practice_state"]) == {"not_judged"}
    assert "not_judged" not in set(said.filter(judged)["practice_state"])


def test_sound_technicians_who_stay_at_their_own_sites_are_named_for_no_unit(tmp_path: Path) -> None:
    """Units with a slip in the equipment table, each visited by its usual technician: many findings, nobody's habit."""
    profile = Profile(
        n_sites=200, total_visits=2400, n_technicians=14, home_technician_share=0.8, growth_share=0.0,
        n_skippers=0, n_paper_zeroers=0, n_wrong_ports=0,
    )  # fmt: skip
    make_fleet(tmp_path / "drop", profile, 2)
    ask = query_of(run_stages([tmp_path / "drop"], tmp_path / "out", FIELD_TODAY, without=("gate", "report")))
    found = ask("FROM practice_rate WHERE check_id = 'rating_unlikely'")
    assert (found["n_found"] >= 7).sum() >= 4  # of some 150 visits each: they would stand out
    counted = ask("SELECT technician_id, rating_unlikely_n AS n FROM technician_practice ORDER BY ALL")
    assert counted.rows() == found.select("technician_id", "n_found").sort("technician_id").rows()
    assert ask("FROM practice_rate WHERE practice_state = 'above_fleet'").is_empty()
    assert ask("FROM coaching_visit WHERE finding = 'rating_unlikely'").is_empty()
