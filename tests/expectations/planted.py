"""Judging one rule on a work file into which a fault was planted, and taking the fault out again."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from expectations.results import Judged, judge
from expectations.rules import Outcome, Rule
from pipeline.warehouse import Warehouse

Name = tuple[str, str]  # table, rule


def name_of(rule: Rule) -> Name:
    return rule.table_name, rule.name


def verdict(warehouse: Warehouse, rule: Rule) -> Judged:
    """The rule's verdict, counted by DuckDB itself (what Great Expectations counts is tested in test_rules.py). A
    screen that finds nothing stands for the rule, as in a run."""
    asked = rule.sql
    if rule.screen and not warehouse.scalar(f"SELECT count(*) FROM ({rule.screen}\n)"):
        asked = rule.screen
    failing = int(warehouse.scalar(f"SELECT count(*) FROM ({asked}\n)"))
    return judge(warehouse, [Outcome(rule, failing, 0.0)])[0]


@contextmanager
def planted(warehouse: Warehouse, faults: list[str]) -> Iterator[None]:
    """The faults stand in the file; it is as before afterwards."""
    warehouse.execute("BEGIN TRANSACTION")
    try:
        for fault in faults:
            warehouse.execute(fault)
        yield
    finally:
        warehouse.execute("ROLLBACK")


def verdict_after(warehouse: Warehouse, rule: Rule, faults: list[str]) -> Judged:
    """The verdict with the faults planted."""
    with planted(warehouse, faults):
        return verdict(warehouse, rule)
