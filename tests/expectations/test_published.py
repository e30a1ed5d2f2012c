"""Every contract of a published table holds on a finished run and is broken by the fault that it is there for."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from functools import cache
from pathlib import Path

import duckdb
import pytest

from expectations import published
from expectations.contracts import rules_in
from expectations.rules import Rule, count_failing
from pipeline.catalog import all_tables, table_entry
from pipeline.errors import StageError
from pipeline.load.inputs import TABLES
from pipeline.warehouse import Warehouse

from .planted import Name, name_of, planted, verdict, verdict_after

CONTRACTS = {name_of(rule): rule for rule in rules_in("contracts")}


def update(table: str, change: str, where: str = "true") -> list[str]:
    """Change the first row of `table` for which `where` is true."""
    return [f"UPDATE {table} SET {change} WHERE rowid = (SELECT min(rowid) FROM {table} WHERE {where})"]


def delete(table: str) -> list[str]:
    return [f"DELETE FROM {table} WHERE rowid = (SELECT min(rowid) FROM {table})"]


CHRONIC, WITHIN = "static_state = 'chronic'", "static_state = 'within_rating'"
ENOUGH, AIR = "static_state <> 'too_few_visits'", "airflow_cfm > 0"
VISIT, SITE, PRIORITY = "visit_static", "site_static", "site_priority"

# For each file in sql/contracts one or more ways to break it.
PLANTED: dict[Name, list[list[str]]] = {
    (VISIT, "an airflow that the excess is split by has a source, any other none"): [
        update(VISIT, "airflow_source = 'none'", AIR),
        update(VISIT, "airflow_source = 'measured'", "airflow_ratio IS NULL"),
        update(VISIT, "airflow_cfm = NULL", "airflow_ratio > 0"),
    ],
    (SITE, "chronic needs its visits and its probability"): [
        update(SITE, "static_state = 'chronic', n_visits = 2"),
        update(SITE, "prob_over_rated = 0.94", CHRONIC),
        update(SITE, "first_on = last_on - 89", CHRONIC),
        update(SITE, "static_state = 'within_rating', prob_over_rated = 0.06"),
        update(SITE, "static_state = 'too_few_visits'", ENOUGH),
        update(SITE, "problem_side = 'return'", WITHIN),
    ],
    (VISIT, "the terms of the excess add up to TESP minus the rating"): [
        ["UPDATE visit_static SET airflow_setting_inwc = airflow_setting_inwc + 2e-9"],
        update(VISIT, "return_restriction_inwc = NULL"),
    ],
    ("finding", "a finding names a check of the catalog and a loaded visit"): [
        update("finding", "check_id = 'no_such_check'"),
        update("finding", "visit_id = 'no such visit'"),
    ],
    (VISIT, "where the airflow is unknown all of the excess is restriction"): [
        ["UPDATE visit_static SET airflow_ratio = NULL, airflow_setting_inwc = 0.01"],
    ],
    ("visit_count", "every visit and every finding is counted once"): [
        update("visit_count", "n_visits = n_visits + 1", "counted_by = 'day'"),
        delete("finding"),
    ],
    ("technician_practice", "each technician's visits are all counted"): [
        update("technician_practice", "n_visits = n_visits - 1", "n_visits > 0"),
        delete("technician_practice"),
    ],
    (PRIORITY, "the order of work holds just the chronic and uncertain rows in service"): [
        delete(PRIORITY),
        [
            "UPDATE equipment SET retired_on = getvariable('today') "
            "WHERE equipment_id = (SELECT min(equipment_id) FROM site_priority)"
        ],
    ],
    (PRIORITY, "ranks run from 1 without a gap, by falling excess, in all and within a side"): [
        update(PRIORITY, "rank = rank + 1"),
        update(PRIORITY, "rank_in_side = 0"),
        ["UPDATE site_priority SET expected_excess_inwc = rank / 1000"],
    ],
    ("load_ledger", "every rejected row is kept with its reason, and every superseded one"): [
        update("load_ledger", "rows_rejected = rows_rejected + 1"),
        update("load_ledger", "rows_superseded = rows_superseded + 1"),
    ],
    (SITE, "every equipment and mode with a visit has its row, and no other"): [
        delete(SITE),
        update(SITE, "equipment_id = 'unknown'"),
    ],
    ("site_trend", "every row of site_static has a trend, and no other"): [
        delete("site_trend"),
        update("site_trend", "equipment_id = 'unknown'"),
    ],
    (VISIT, "TESP is supply minus return"): [
        update(VISIT, "tesp_inwc = tesp_inwc + 2e-9", "valid"),
        update(VISIT, "tesp_inwc = NULL", "valid"),
    ],
    (VISIT, "a visit is valid or says why not, and only a valid one is like new"): [
        update(VISIT, "set_aside_because = 'mood'", "valid"),
        update(VISIT, "set_aside_because = NULL", "NOT valid"),
        update(VISIT, "like_new = true", "NOT valid"),
    ],
    (VISIT, "every loaded visit has its row, and no other"): [
        delete(VISIT),
        update(VISIT, "visit_id = 'unknown'"),
    ],
}


def test_every_file_has_its_fault() -> None:
    assert PLANTED.keys() == CONTRACTS.keys()


@pytest.mark.parametrize("name", CONTRACTS, ids=" ".join)
def test_a_file_holds_on_a_finished_run_and_breaks_on_its_fault(finished: Warehouse, name: Name) -> None:
    assert verdict(finished, CONTRACTS[name]).success
    for faults in PLANTED[name]:
        assert not verdict_after(finished, CONTRACTS[name], faults).success, faults


@cache
def _rules(warehouse: Warehouse) -> Sequence[Rule]:
    return published.published_rules(warehouse)


def rule_of(warehouse: Warehouse, table: str, start: str) -> Rule:
    """The one rule of `table` whose name begins with `start`; it holds."""
    (rule,) = [r for r in _rules(warehouse) if r.table_name == table and r.name.startswith(start)]
    assert verdict(warehouse, rule).success
    return rule


def breaks(warehouse: Warehouse, rule: Rule, column: str, value: str) -> bool:
    """Does the rule break when one row's `column` is set to `value`?"""
    return not verdict_after(warehouse, rule, update(rule.table_name, f"{column} = {value}")).success


@pytest.mark.parametrize(("table", "columns"), published.PROBABILITIES)
def test_probabilities_lie_between_0_and_1(finished: Warehouse, table: str, columns: tuple[str, ...]) -> None:
    rule = rule_of(finished, table, f"{', '.join(columns)} {'is' if len(columns) == 1 else 'are'} in 0..1")
    for column in columns:
        assert breaks(finished, rule, column, "-0.001")
        assert breaks(finished, rule, column, "1.001")
        assert not breaks(finished, rule, column, "1")


@pytest.mark.parametrize(("table", "columns"), published.NOT_NEGATIVE)
def test_some_numbers_are_never_negative(finished: Warehouse, table: str, columns: tuple[str, ...]) -> None:
    rule = rule_of(finished, table, f"{', '.join(columns)} {'is' if len(columns) == 1 else 'are'} not")
    for column in columns:
        assert breaks(finished, rule, column, "-1")
        assert not breaks(finished, rule, column, "0")


@pytest.mark.parametrize(("table", "low", "middle", "high"), published.INTERVALS)
def test_an_interval_holds_its_middle(
    finished: Warehouse, table: str, low: str, middle: str, high: str
) -> None:
    rule = rule_of(finished, table, f"{low} <= {middle} <= {high}")
    for values, holds in [
        (("1", "2", "3"), True),
        (("2", "2", "2"), True),
        (("NULL", "NULL", "NULL"), True),
        (("3", "2", "4"), False),
        (("1", "3", "2"), False),
        (("NULL", "2", "3"), False),
        (("1", "NULL", "3"), False),
        (("1", "2", "NULL"), False),
    ]:
        change = ", ".join(f"{c} = {v}" for c, v in zip((low, middle, high), values, strict=True))
        assert verdict_after(finished, rule, update(table, change)).success is holds, values


def asked_beside(warehouse: Warehouse) -> dict[str, tuple[str, ...]]:
    """The tables beyond the contract whose keys and words are asked."""
    return published.beyond_contract(warehouse.relations())


def test_words_come_from_the_catalog(finished: Warehouse) -> None:
    worded = [
        (table, column.name)
        for table in (*published.KEYS, *asked_beside(finished), "rejected_row")
        for column in table_entry(table).columns
        if column.words
    ]
    assert {
        ("site_static", "static_state"),
        ("work_follow_up", "follow_up"),
        ("rejected_row", "reason"),
    } <= set(worded)
    listed = [rule for rule in _rules(finished) if " is one of" in rule.name]
    rules = {(rule.table_name, rule.name.partition(" is one of")[0]): rule for rule in listed}
    assert len(rules) == len(listed)
    for table, column in worded:
        sql = rules[table, column].sql
        for value, found in (("nonsense", 1), (table_entry(table).column(column).words[-1], 0)):
            row = f"INSERT INTO {table} ({column}) VALUES ('{value}')"
            with planted(finished, [row]):
                assert finished.scalar(f"SELECT count(*) FROM ({sql})") == found, (table, column, value)
    rule, row = rules["site_static", "mode"], "INSERT INTO site_static (mode) VALUES ('nonsense')"
    assert not verdict_after(finished, rule, [row]).success


def test_keys_of_tables_beyond_the_contract_are_unique(finished: Warehouse) -> None:
    keys = asked_beside(finished)
    assert {"work_follow_up", "restriction_trend", "technician_training", "coaching_visit"} <= keys.keys()
    for table, key in keys.items():
        rule = rule_of(finished, table, f"{', '.join(key)} is unique")
        twice = [f"INSERT INTO {table} DEFAULT VALUES"] * 2
        assert not verdict_after(finished, rule, twice).success, table


def test_every_published_table_with_a_key_is_asked_for_it_by_somebody(
    small_file: Path, tmp_path: Path
) -> None:
    """Of what came with the drop the gate asks; the rest are views of these, or made by publishing."""
    views = {
        "visit_reading",
        "visit_uncertainty",
        "visit_split_uncertainty",
        "visit_segment",
        "visit_component",
        "part_allowance",
        "equipment_static",
        "restriction_trend",
    }
    made_last = {"dictionary", "publication", "setting", "check_run", "site_change"}
    shutil.copyfile(small_file.parent / "work.duckdb", tmp_path / "work.duckdb")
    with Warehouse(tmp_path / "work.duckdb") as warehouse:
        asked = asked_beside(warehouse).keys() | published.KEYS.keys()
    came = {table.cleaned for table in TABLES}
    with_key = {name for name, entry in all_tables().items() if entry.key}
    assert with_key - asked - came - views - made_last == set()


@pytest.mark.parametrize("table", published.KEYS)
def test_keys_are_unique_and_numbers_finite(finished: Warehouse, table: str) -> None:
    unique = rule_of(finished, table, f"{', '.join(published.KEYS[table])} is unique")
    finite = rule_of(finished, table, "every number is finite")
    assert not verdict_after(finished, unique, [f"INSERT INTO {table} SELECT * FROM {table} LIMIT 1"]).success
    numbers = finished.con.sql(
        f"SELECT column_name FROM duckdb_columns() WHERE table_name = '{table}' AND data_type = 'DOUBLE'"
    ).fetchall()
    for (column,) in numbers:
        assert breaks(finished, finite, column, "'NaN'::DOUBLE"), column
        assert breaks(finished, finite, column, "'-inf'::DOUBLE"), column


def test_rows_of_a_view_are_asked_in_one_scan_which_finds_each_fault(own: Warehouse) -> None:
    """The work file's visit_static is a view: one screen for its rules, and a fault in what it rests on is found."""
    scan = f"SELECT 1 AS what FROM {VISIT} WHERE"
    rules = {r.name: r for r in published.published_rules(own) if (r.screen or "").startswith(scan)}
    assert len({r.screen for r in rules.values()}) == 1
    assert all(verdict(own, rule).success for rule in rules.values())
    stored = "staging.visit_measured"
    faults = {
        "prob_over_rated is in 0..1": update(stored, "u_tesp_inwc = 'NaN'::DOUBLE"),
        "u_tesp_inwc, airflow_cfm are not negative": update(stored, "airflow_cfm = -1", AIR),
        "every number is finite": update(stored, "u_shared_gain_inwc = 'inf'::DOUBLE", AIR),
        "an airflow that the excess is split by has a source, any other none": update(
            stored, "airflow_from = 'none'", AIR
        ),
        "a visit is valid or says why not, and only a valid one is like new": update(
            stored, "like_new = true", "set_aside_because IS NOT NULL"
        ),
        "the terms of the excess add up to TESP minus the rating": [
            "UPDATE staging.equipment_facts SET return_budget_inwc = return_budget_inwc + 1e-6"
        ],
        "TESP is supply minus return": update(stored, "supply_inwc = 'NaN'::DOUBLE"),
    }
    assert faults.keys() < rules.keys()
    for name, fault in faults.items():
        assert not verdict_after(own, rules[name], fault).success, name


@pytest.mark.parametrize("computed_today", [True, False])
def test_after_a_day_rows_are_asked_that_were_computed(own: Warehouse, computed_today: bool) -> None:
    own.execute(*update("staging.visit_measured", "u_tesp_inwc = 'NaN'::DOUBLE"))
    own.execute("CREATE SCHEMA changed")
    is_broken = "isnan(u_tesp_inwc)" if computed_today else "NOT isnan(u_tesp_inwc)"
    own.execute(f"CREATE TABLE changed.visit_static AS FROM {VISIT} WHERE {is_broken}")
    rules = {r.name: r for r in published.published_rules(own) if r.table_name == VISIT}
    asked = rules["prob_over_rated is in 0..1"]
    assert "FROM changed.visit_static WHERE" in str(asked.screen)
    assert verdict(own, asked).success is not computed_today
    assert verdict(own, asked).observed == (1 if computed_today else 0)


@pytest.mark.parametrize("computed_today", [True, False])
@pytest.mark.parametrize(
    ("name", "fault"),
    [
        ("visit_id, check_id is unique", "INSERT INTO finding FROM finding WHERE {} LIMIT 1"),
        ("a finding names a check", "UPDATE finding SET visit_id = visit_id || '?' WHERE {}"),
        (
            "equipment_id, mode is unique",
            "INSERT INTO staging.unit_verdict FROM staging.unit_verdict WHERE {}",
        ),
        ("every equipment and mode with a visit", "DELETE FROM staging.unit_verdict WHERE {}"),
        ("every number is finite", "UPDATE staging.unit_verdict SET level_inwc = 'inf' WHERE {}"),
        ("chronic needs", "UPDATE staging.unit_verdict SET static_state = 'chronic', n_visits = 1 WHERE {}"),
    ],
)
def test_after_a_day_each_contract_of_equipment_finds_what_is_wrong_with_computed_rows(
    own: Warehouse, name: str, fault: str, computed_today: bool
) -> None:
    """And only with these: the fault is planted in what was computed, or in the rest."""
    one = own.scalar("SELECT min(equipment_id) FROM visit SEMI JOIN finding USING (visit_id)")
    mine = f"equipment_id {'=' if computed_today else '<>'} '{one}'"
    of_visits = f"split_part(visit_id, '?', 1) IN (SELECT visit_id FROM visit WHERE {mine})"
    own.execute(fault.format(of_visits if "finding" in fault else mine))
    own.execute("CREATE SCHEMA changed")
    of_one = f"equipment_id = '{one}'"
    visits = f"split_part(visit_id, '?', 1) IN (SELECT visit_id FROM visit WHERE {of_one})"
    for table, rows in (("visit_static", of_one), ("site_static", of_one), ("finding", visits)):
        own.execute(f"CREATE TABLE changed.{table} AS FROM {table} WHERE {rows}")
    own.execute(f"CREATE TABLE changed.visit AS SELECT visit_id FROM visit WHERE {of_one}")
    (rule,) = [
        r
        for r in published.published_rules(own)
        if r.name.startswith(name) and r.table_name == ("finding" if "finding" in fault else SITE)
    ]
    assert rule.asked == "changed"
    assert verdict(own, rule).success is not computed_today


@pytest.mark.parametrize(
    "value", ["'NaN'::DOUBLE", "'inf'::DOUBLE", "'-inf'::DOUBLE", "-0.001", "1.001", "0.5", "NULL"]
)
def test_least_and_largest_of_a_file_tell_what_a_scan_tells(tmp_path: Path, value: str) -> None:
    """They come from the statistics that DuckDB wrote with the column, some row groups before the file's end."""
    file = tmp_path / "numbers.duckdb"
    with duckdb.connect(str(file)) as con:
        con.execute(
            f"CREATE TABLE t AS SELECT CASE WHEN range = 130000 THEN {value} ELSE random() END AS x FROM range(300000)"
        )
    with duckdb.connect(str(file), read_only=True) as con:
        told, seen = (
            con.sql(sql).fetchall()
            for sql in (
                "SELECT NOT isfinite(min(x)) OR NOT isfinite(max(x)), min(x) < 0 OR max(x) > 1 FROM t",
                "SELECT bool_or(NOT isfinite(x)), bool_or(NOT x BETWEEN 0 AND 1) FROM t",
            )
        )
    assert told == seen


def test_after_a_day_a_finding_on_a_visit_that_went_is_found(own: Warehouse) -> None:
    """Of moved visits those are left that there still are: a finding on another is on a visit that is gone."""
    gone = own.scalar("SELECT min(visit_id) FROM finding")
    own.execute("CREATE SCHEMA changed")
    own.execute("CREATE TABLE changed.finding AS FROM finding")
    own.execute("CREATE TABLE changed.visit AS SELECT visit_id FROM visit")
    (rule,) = [r for r in published.published_rules(own) if r.name.startswith("a finding names a check")]
    assert rule.asked == "changed"
    assert verdict(own, rule).success
    own.execute(f"DELETE FROM changed.visit WHERE visit_id = '{gone}'")
    told = verdict(own, rule)
    assert not told.success
    assert all(example.startswith(gone) for example in told.examples)


@pytest.mark.parametrize(
    ("fault", "found"),
    [
        (None, 0),
        ("DELETE FROM staging.visit_measured WHERE visit_id = '{other}'", 1),
        ("INSERT INTO staging.visit_measured FROM staging.visit_measured WHERE visit_id = '{other}'", 0),
        ("UPDATE staging.visit_measured SET visit_id = '{one}?' WHERE visit_id = '{one}'", 2),
        ("UPDATE staging.visits SET visit_id = '{one}?' WHERE visit_id = '{one}'", 2),
    ],
)
def test_after_a_day_a_visit_that_was_lost_or_left_is_found(
    own: Warehouse, fault: str | None, found: int
) -> None:
    """Of all it is their number that tells, of a touched visit the visit itself."""
    one, other = own.con.sql("SELECT min(visit_id), max(visit_id) FROM visit").fetchall()[0]
    if fault:
        own.execute(fault.format(one=one, other=other))
    touched = f"(VALUES ('{one}'), ('{one}?')) AS t (visit_id)"
    own.execute("CREATE SCHEMA changed")
    own.execute(
        "CREATE TABLE changed.touched_visit AS "
        f"SELECT visit_id, visit_id IN (SELECT visit_id FROM visit) AS loaded FROM {touched}"
    )
    own.execute(
        f"CREATE TABLE changed.visit AS SELECT visit_id FROM visit_static SEMI JOIN {touched} USING (visit_id)"
    )
    rules = {r.name: r for r in published.published_rules(own) if r.table_name == VISIT}
    complete, unique = rules["every loaded visit has its row, and no other"], rules["visit_id is unique"]
    assert complete.asked == unique.asked == "changed"
    assert verdict(own, complete).observed == found
    assert verdict(own, unique).success is not (fault or "").startswith("INSERT")


def test_a_broken_contract_stops_the_run_with_the_rows_named(own: Warehouse) -> None:
    own.execute(*update("staging.unit_verdict", "static_state = 'fine'", WITHIN))
    with pytest.raises(
        StageError, match=r"(?s)nothing is published:\n  site_static: static_state is one of .*fine"
    ):
        published.hold(own, count_failing(own, published.published_rules(own)))
    kept = own.query("SELECT stage, success, observed FROM gate_result WHERE NOT success").rows()
    assert kept == [("published", False, 1)]
