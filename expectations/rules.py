"""A rule is one SELECT of the rows that break it; Great Expectations counts them inside the database.

What belongs here: what a rule is, counting, and turning "it raised" into an error of the stage. What does
not: the rules (`contracts.py`, `published.py`, `sql/checks/`) and the library's classes (`datasource.py`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from pipeline.errors import StageError
from pipeline.imports import collecting_later
from pipeline.warehouse import Warehouse, literal


@dataclass(frozen=True)
class Rule:
    """`sql` selects a row for each thing that is wrong, its first column in words (`sentences`: whole ones).

    `allowed` is the share of the table's rows that may be wrong. `screen` is a query for several rules, or a cheaper
    one: where it finds no row, none breaks the rule; where it finds any, the rule itself is asked. `by_equipment`: what
    it says of a row depends on rows of the same piece of equipment only. `asked` of 'all' rows, or of those that may
    have 'changed' since it held of all.
    """

    name: str
    table_name: str
    sql: str
    allowed: float = 0.0
    sentences: bool = False
    screen: str | None = None
    by_equipment: bool = False
    asked: str = "all"


@dataclass(frozen=True)
class Outcome:
    """What a rule found: `failing` rows, and how many `seconds` the counting took."""

    rule: Rule
    failing: int
    seconds: float


def count_failing(warehouse: Warehouse, rules: Sequence[Rule], *set_up: str) -> list[Outcome]:
    """Count the rows that break each rule, in order. A rule that raises is a StageError with name and SQL.

    `set_up`: statements that the session runs first, for temporary tables that several rules read.
    """
    if not rules:
        return []
    with collecting_later():
        from expectations.datasource import count_rows

    session = [*_set_up(warehouse), *set_up]
    first = list(dict.fromkeys(rule.screen or rule.sql for rule in rules))
    counted = dict(zip(first, count_rows(warehouse.con.cursor, session, first), strict=True))
    again = [r.sql for r in rules if r.screen and not _clean(counted[r.screen])]
    if again:
        counted |= zip(again, count_rows(warehouse.con.cursor, session, again), strict=True)
    outcomes = []
    for rule in rules:
        told = rule.screen if rule.screen and _clean(counted[rule.screen]) else rule.sql
        count = counted[told]
        if isinstance(count, str):
            raise StageError(
                f"the expectation {rule.name!r} broke: {count}\n--- its query was:\n{rule.sql.strip()}"
            )
        outcomes.append(Outcome(rule, *count))
    return outcomes


def _clean(count: tuple[int, float] | str) -> bool:
    """No row was found, and nothing raised."""
    return not isinstance(count, str) and count[0] == 0


def together(rules: Sequence[Rule]) -> list[Rule]:
    """The rules with one screen for all: their own queries in one."""
    return screened([replace(rule, screen=f"FROM ({rule.sql}\n)") for rule in rules])


def screened(rules: Sequence[Rule]) -> list[Rule]:
    """The rules with one screen for all of theirs, each of which begins with FROM."""
    screen = "\nUNION ALL\n".join(f"SELECT 1 AS what {rule.screen}" for rule in rules)
    return [replace(rule, screen=screen) for rule in rules]


def _set_up(warehouse: Warehouse) -> list[str]:
    """The session as the stages see it: time zone and variables, which are each connection's own."""
    variables = warehouse.con.sql("SELECT name, value, type FROM duckdb_variables() ORDER BY name").fetchall()
    return [
        "SET TimeZone = 'UTC'",
        *(f"SET VARIABLE {name} = CAST({literal(value)} AS {kind})" for name, value, kind in variables),
    ]


def examples(warehouse: Warehouse, rule: Rule, at_most: int = 20) -> list[str]:
    """The first of the rows that break the rule, in words (its first column)."""
    rows = warehouse.con.sql(f"SELECT * FROM ({rule.sql}\n) LIMIT {at_most}").fetchall()
    return [str(row[0]) for row in rows]
