"""Counting inside the database: right counts, the session as the stages see it, and rules that raise."""

from __future__ import annotations

import socket
from pathlib import Path

import duckdb
import pytest

from expectations.rules import Rule, count_failing, examples, together
from pipeline.errors import StageError
from pipeline.warehouse import Warehouse


@pytest.fixture
def warehouse(tmp_path: Path) -> Warehouse:
    folder = tmp_path / "a fleet of $HOME, 100 %41 #1"  # names that mean something in a URL or a template
    folder.mkdir()
    made = Warehouse(folder / "work.duckdb")
    made.execute("CREATE TABLE numbers AS SELECT range AS n, 'r:' || range AS name FROM range(1000)")
    made.set_variable("today", "2026-03-31", "DATE")
    made.set_variable("word", "it's", "VARCHAR")
    return made


def counts(warehouse: Warehouse, *queries: str) -> list[int]:
    rules = [Rule(f"rule {i}", "numbers", sql) for i, sql in enumerate(queries)]
    return [outcome.failing for outcome in count_failing(warehouse, rules)]


def test_counts_are_those_of_the_database(warehouse: Warehouse) -> None:
    assert counts(
        warehouse,
        "SELECT n FROM numbers WHERE n >= 990",
        "SELECT n FROM numbers WHERE n < 0",
        "SELECT n FROM numbers",
        "SELECT n FROM numbers WHERE n = 1 UNION ALL SELECT n FROM numbers WHERE n = 2",
    ) == [10, 0, 1000, 2]


def test_a_query_may_hold_what_means_something_to_others(warehouse: Warehouse) -> None:
    assert counts(
        warehouse,
        "WITH few AS (SELECT * FROM numbers LIMIT 3) SELECT n FROM few  -- a comment: {batch} :name",
        "SELECT 1 WHERE strftime(TIMESTAMP '2026-01-02 03:04:05', '%H:%M {x}') = '03:04 {x}'",
        "SELECT n FROM numbers WHERE name = 'r:7' AND n::VARCHAR = '7' AND name LIKE 'r:%'",
        "SELECT 1 WHERE regexp_matches('a:b{2}', '^a\\:b\\{\\d\\}$')",
        "SELECT [1, 2, 3][1:2], {'k': 1}.k",
    ) == [3, 1, 1, 1, 1]


def test_settings_variables_macros_and_time_zone_are_those_of_the_stages(warehouse: Warehouse) -> None:
    assert counts(
        warehouse,
        "SELECT 1 WHERE getvariable('chronic_probability') = 0.95",
        "SELECT 1 WHERE getvariable('today') = DATE '2026-03-31' AND getvariable('word') = 'it''s'",
        "SELECT 1 WHERE exceeds(0.53 - 0.51, 0.02)",
        "SELECT 1 WHERE current_setting('TimeZone') = 'UTC'",
    ) == [1, 1, 0, 1]


def test_a_rule_that_raises_is_an_error_with_its_name_and_query_not_a_failed_rule(
    warehouse: Warehouse,
) -> None:
    rules = [
        Rule("holds", "numbers", "SELECT n FROM numbers WHERE n < 0"),
        Rule("is broken itself", "numbers", "SELECT n FROM numbers WHERE no_such_column > 0"),
    ]
    with pytest.raises(StageError) as caught:
        count_failing(warehouse, rules)
    assert "'is broken itself' broke" in str(caught.value)
    assert 'Referenced column "no_such_column" not found' in str(caught.value)
    assert str(caught.value).endswith("--- its query was:\nSELECT n FROM numbers WHERE no_such_column > 0")


def test_a_conversion_that_fails_on_a_row_raises_too(warehouse: Warehouse) -> None:
    with pytest.raises(StageError, match="Could not convert string 'r:0'"):
        counts(warehouse, "SELECT n FROM numbers WHERE CAST(name AS INTEGER) > 0")


def test_the_work_file_is_as_it_was_afterwards_with_its_variables(warehouse: Warehouse) -> None:
    with pytest.raises(StageError):
        counts(warehouse, "SELECT nothing")
    warehouse.execute("CREATE TABLE more AS SELECT 1 AS n")
    assert str(warehouse.scalar("SELECT getvariable('today')")) == "2026-03-31"
    assert counts(warehouse, "SELECT n FROM more") == [1]


def test_nothing_can_be_changed_by_who_asks(warehouse: Warehouse) -> None:
    from expectations.datasource import ReadingConnection

    asking = ReadingConnection(warehouse.con.cursor())
    asking.begin()
    with pytest.raises(duckdb.Error, match="read-only"):
        asking.execute("CREATE TABLE intruder (n INTEGER)")
    asking.close()
    assert "intruder" not in warehouse.tables()


def test_no_rules_ask_nothing() -> None:
    assert count_failing(Warehouse(), []) == []


def test_nothing_is_sent_anywhere(warehouse: Warehouse, monkeypatch: pytest.MonkeyPatch) -> None:
    tried: list[object] = []
    monkeypatch.setattr(socket.socket, "connect", lambda _, address: tried.append(address))
    monkeypatch.setattr(socket, "getaddrinfo", lambda *where, **_: tried.append(where) or [])
    assert counts(warehouse, "SELECT n FROM numbers WHERE n = 1") == [1]
    assert tried == []


def test_examples_are_the_first_column_of_the_first_rows(warehouse: Warehouse) -> None:
    rule = Rule("x", "numbers", "SELECT name, n FROM numbers WHERE n > 996 ORDER BY n")
    assert examples(warehouse, rule, 2) == ["r:997", "r:998"]


def test_rules_asked_together_are_counted_apart_where_one_is_broken(warehouse: Warehouse) -> None:
    rules = together(
        [
            Rule("holds", "numbers", "SELECT n FROM numbers WHERE n < 0"),
            Rule("breaks", "numbers", "SELECT n FROM numbers WHERE n >= 997  -- a comment at the end"),
        ]
    )
    assert [outcome.failing for outcome in count_failing(warehouse, rules)] == [0, 3]
    assert [outcome.failing for outcome in count_failing(warehouse, rules[:1])] == [0]


def test_a_rule_is_asked_only_where_its_screen_finds_something(warehouse: Warehouse) -> None:
    broken = "SELECT n FROM numbers WHERE n >= 990"
    screens = (
        "FROM numbers HAVING max(n) > 999",
        "FROM numbers HAVING max(n) > 998",
        "FROM numbers HAVING max(n) > 998",
    )
    asked = (broken, broken, "SELECT n FROM numbers WHERE n > 999")
    rules = [
        Rule(f"rule {i}", "numbers", sql, screen=f"SELECT 1 AS what {screen}")
        for i, (sql, screen) in enumerate(zip(asked, screens, strict=True))
    ]
    assert [outcome.failing for outcome in count_failing(warehouse, rules)] == [0, 10, 0]


def test_of_rules_asked_together_the_one_that_raises_is_named(warehouse: Warehouse) -> None:
    rules = together(
        [
            Rule("holds", "numbers", "SELECT n FROM numbers WHERE n < 0"),
            Rule("is broken itself", "numbers", "SELECT n FROM numbers WHERE no_such_column > 0"),
        ]
    )
    with pytest.raises(StageError, match=r"'is broken itself' broke: .*no_such_column"):
        count_failing(warehouse, rules)
