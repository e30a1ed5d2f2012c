"""The last look before publishing: the checks asked again agree with the findings, and each run is remembered."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from expectations.final import look_before_publishing
from expectations.gate import gate
from pipeline.checks import all_checks
from pipeline.errors import StageError
from pipeline.stages import RunOrder
from pipeline.warehouse import Warehouse


def test_every_check_is_counted_and_agrees_with_the_findings(own: Warehouse, order: RunOrder) -> None:
    own.execute("DROP TABLE IF EXISTS check_run")
    look_before_publishing(own, order)
    runs = own.query("SELECT * FROM check_run ORDER BY check_id").to_dicts()
    found = dict(own.con.sql("SELECT check_id, count(*) FROM finding GROUP BY check_id").fetchall())
    visits = own.scalar("SELECT count(*) FROM visit")
    assert [run["check_id"] for run in runs] == [check.check_id for check in all_checks()]
    assert len(found) > 10
    for run in runs:
        assert run["run_id"] == 1
        assert run["rows_looked_at"] == visits
        assert run["failing"] == found.get(run["check_id"], 0)
        assert run["share"] == run["failing"] / visits
        assert run["seconds"] > 0


def test_a_finding_that_no_check_made_stops_the_run(own: Warehouse, order: RunOrder) -> None:
    own.execute("INSERT INTO finding SELECT visit_id, 'zero_stale', 'set_aside', 'x' FROM visit LIMIT 1")
    with pytest.raises(StageError, match=r"do not agree with the findings .*: zero_stale \d+ against \d+$"):
        look_before_publishing(own, order)


def test_a_finding_that_was_lost_stops_the_run(own: Warehouse, order: RunOrder) -> None:
    own.execute("DELETE FROM finding WHERE rowid = (SELECT min(rowid) FROM finding)")
    with pytest.raises(StageError, match="do not agree"):
        look_before_publishing(own, order)


def test_a_repeated_run_replaces_itself_and_another_is_added(own: Warehouse, order: RunOrder) -> None:
    own.execute("DROP TABLE IF EXISTS check_run")
    checks = len(all_checks())
    for _ in range(2):
        look_before_publishing(own, order)
    counted = "SELECT run_id, count(*) FROM check_run GROUP BY run_id ORDER BY run_id"
    assert own.con.sql(counted).fetchall() == [(1, checks)]
    look_before_publishing(own, replace(order, today=order.today + timedelta(days=1)))
    own.execute("UPDATE load_ledger SET file_sha256 = 'another' WHERE table_name = 'visits'")
    look_before_publishing(own, order)
    assert own.con.sql(counted).fetchall() == [(1, checks), (2, checks), (3, checks)]


def test_the_results_of_both_stages_stand_in_gate_result(own: Warehouse, order: RunOrder) -> None:
    gate(own)
    look_before_publishing(own, order)
    stages = own.con.sql(
        "SELECT stage, count(*) > 50, bool_and(success) FROM gate_result GROUP BY ALL ORDER BY ALL"
    )
    assert stages.fetchall() == [("loaded", True, True), ("published", True, True)]
