"""What the published tables must hold. A break here is the house's fault, not a drop's: nothing is published.

Keys and words stand in the catalog, probabilities and intervals below; whatever joins tables or says more is a file in
`sql/contracts/`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace

from expectations.contracts import in_list, key_text, rules_in, unique
from expectations.results import judge, keep
from expectations.rules import Outcome, Rule, screened, together
from pipeline.catalog import all_tables, table_entry
from pipeline.errors import StageError
from pipeline.load.inputs import TABLES
from pipeline.warehouse import Warehouse

# The tables of the data contract that a run makes: their numbers are looked at, too.
CONTRACTED = (
    "load_ledger",
    "check_catalog",
    "finding",
    "visit_static",
    "site_static",
    "site_trend",
    "equipment_trend",
    "site_priority",
    "technician_zeroing",
    "instrument_offset",
    "technician_practice",
    "work_effect",
)
KEYS: dict[str, tuple[str, ...]] = {name: table_entry(name).key for name in CONTRACTED}
# The rules whose screens find a row that is there twice, too.
COMPLETE = {
    "every loaded visit has its row, and no other",
    "every equipment and mode with a visit has its row, and no other",
    "every row of site_static has a trend, and no other",
}
# A view that computes columns, and the table whose columns it passes on as they stand (tests/static/test_stored.py).
COMPUTES = {"visit_static": "staging.visit_measured"}
PROBABILITIES: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("visit_static", ("prob_over_rated",)),
    ("site_static", ("prob_over_rated", "prob_side")),
    ("site_trend", ("p_value", "q_value")),
    ("equipment_trend", ("kendall_p", "p_value", "q_value")),
    ("technician_zeroing", ("skip_rate", "shrunk_skip_rate", "fleet_skip_rate", "funnel_hi", "q_value")),
    ("instrument_offset", ("q_value",)),
    ("work_effect", ("share_within_rating_before", "share_within_rating_after")),
)
INTERVALS: tuple[tuple[str, str, str, str], ...] = (
    ("site_static", "level_lo_inwc", "level_inwc", "level_hi_inwc"),
    ("site_trend", "slope_lo", "slope_inwc_per_year", "slope_hi"),
    ("equipment_trend", "slope_lo", "slope_inwc_per_year", "slope_hi"),
    ("site_priority", "rank_lo", "rank", "rank_hi"),
    ("technician_zeroing", "skip_lo", "skip_rate", "skip_hi"),
    ("work_effect", "shift_lo", "shift_inwc", "shift_hi"),
)
NOT_NEGATIVE: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("visit_static", ("u_tesp_inwc", "airflow_cfm")),
    ("site_static", ("expected_excess_inwc", "n_visits", "n_offset_corrected")),
    ("site_priority", ("expected_excess_inwc", "airflow_shortfall_cfm")),
    ("instrument_offset", ("return_offset_se", "supply_offset_se")),
)

NOT_FINITE = 'NOT isfinite("{}")'


def published_rules(warehouse: Warehouse) -> list[Rule]:
    """The contracts of the tables about to be published.

    Most hold a row at a time and are asked together; they cost less so than their number.
    """
    bounds = [_within(table, columns, 0, 1, "in 0..1") for table, columns in PROBABILITIES]
    bounds += [_within(table, columns, 0, None, "not negative") for table, columns in NOT_NEGATIVE]
    bounds += [_finite(warehouse, table) for table in KEYS]
    there = warehouse.relations()
    beyond = beyond_contract(there)
    single = [rule for table, key in (KEYS | beyond).items() for rule in words_of(table, key)]
    single += words_of("rejected_row", ("file", "line_number"))
    single += [_ordered(*interval) for interval in INTERVALS]
    # After a day's drop: of the other rows it held when they were made, and they are what they were.
    looked_at = ("visit", *KEYS, *beyond)
    computed = {table: f"changed.{table}" for table in looked_at if f"changed.{table}" in there}
    # Of equipment that was judged anew not all visits were looked at anew; what units they are of is listed apart.
    units = {"visit_static": "changed.unit_visit"} if "changed.unit_visit" in there else {}
    rules = rules_in("contracts", after_a_day="changed.touched_visit" in there)
    files = [_of_computed(rule, computed | units) for rule in rules]
    single += [rule for rule in files if not rule.screen]
    scanned = {name: name for name, kind in there.items() if kind == "VIEW"} | computed
    looked_up = [r for r in bounds if r.table_name not in computed.keys() | COMPUTES]
    by_scan = [r for r in (*bounds, *single) if r.table_name in scanned and _broken(r) and r not in looked_up]
    stored = {table: warehouse.columns(of) for table, of in COMPUTES.items() if of in there}
    return [
        *_keys(files, computed, beyond),
        *screened([rule for rule in bounds if rule not in by_scan]),
        *together([rule for rule in single if rule not in by_scan]),
        *(
            rule
            for table, rows in sorted(scanned.items())
            for rule in _in_one_scan(by_scan, table, rows, stored.get(table, ()))
        ),
        *(rule for rule in files if rule.screen),
    ]


def beyond_contract(there: Mapping[str, str]) -> dict[str, tuple[str, ...]]:
    """The keys of the other tables of the catalog that are in the work file. The gate asks what came with the drop; a
    view has its rows of tables that are asked; what is told of the runs themselves is not there at the first."""
    others = {
        name: entry.key
        for name, entry in all_tables().items()
        if there.get(name) == "TABLE" and entry.key and not entry.optional
    }
    elsewhere = KEYS.keys() | {table.cleaned for table in TABLES}
    return {name: key for name, key in others.items() if name not in elsewhere}


def words_of(table: str, key: tuple[str, ...]) -> list[Rule]:
    """A rule for each column whose only words the catalog lists."""
    return [
        in_list(table, key, column.name, column.words)
        for column in table_entry(table).columns
        if column.words
    ]


def _of_computed(rule: Rule, computed: Mapping[str, str]) -> Rule:
    """A rule that compares rows of one piece of equipment only, asked of those that were computed, without a screen."""
    if not rule.by_equipment or rule.table_name not in computed:
        return rule
    rows = ", ".join(f"{table} AS (FROM {changed})" for table, changed in computed.items())
    return replace(rule, sql=f"WITH {rows}\nSELECT * FROM ({rule.sql}\n)", screen=None, asked="changed")


def _broken(rule: Rule) -> str | None:
    """The condition of a rule that looks at one row at a time; None for any other."""
    found = re.search(r"\bFROM \w+\s+WHERE\b(.*)", rule.sql, re.DOTALL)
    return found[1].strip() if found and rule.sql.count("FROM") == 1 else None


def _in_one_scan(rules: Sequence[Rule], table: str, rows: str, stored: Sequence[str]) -> list[Rule]:
    """The rules of one view, or of rows that were computed, with one screen for all: such columns have no statistics,
    and those of a view are computed once so. Of columns that are `stored`, the ends tell whether all are finite.

    `rows` names those of its rows that may break a rule.
    """
    mine = [rule for rule in rules if rule.table_name == table]
    broken = " OR ".join(f"({_broken(rule)})" for rule in mine)
    ends = [name for name in stored if NOT_FINITE.format(name) in broken]
    for name in ends:
        broken = broken.replace(NOT_FINITE.format(name), "false")
    screen = f"SELECT 1 AS what FROM {rows} WHERE {broken}"
    if ends:
        screen += f"\nUNION ALL\nSELECT 1 AS what FROM {rows} HAVING {_ends_not_finite(ends)}"
    return [replace(rule, screen=screen, asked="all" if rows == table else "changed") for rule in mine]


def _keys(
    files: Sequence[Rule], computed: Mapping[str, str], beyond: dict[str, tuple[str, ...]]
) -> list[Rule]:
    """Rows told apart by a hash of their key are told apart by the key; that is the cheaper question. None is asked
    where the rows are just those of another table, each once.

    Of what was computed all rows of each piece of equipment, or of each visit, are there: none has its like elsewhere.
    """
    complete = {rule.table_name: rule for rule in files if rule.name in COMPLETE and rule.screen}
    rules, others = [], []
    for table, key in (KEYS | beyond).items():
        rule = unique(table, key)
        if table in complete:
            rules.append(replace(rule, screen=complete[table].screen, asked=complete[table].asked))
            continue
        rows = computed.get(table, table)
        screen = f"FROM {rows} HAVING count(*) <> count(DISTINCT hash({', '.join(key)}))"
        others.append(replace(rule, screen=screen, asked="all" if rows == table else "changed"))
    return [*screened(others), *rules]


def _within(table: str, columns: tuple[str, ...], low: float, high: float | None, words: str) -> Rule:
    """The least and the largest of a column stand in the file's statistics: they cost no scan."""
    test = f">= {low}" if high is None else f"BETWEEN {low} AND {high}"
    broken = " OR ".join(f"NOT {c} {test}" for c in columns)
    beyond = [f"min({c}) < {low}" for c in columns]
    beyond += [f"max({c}) > {high}" for c in columns if high is not None]
    return Rule(
        f"{', '.join(columns)} {'is' if len(columns) == 1 else 'are'} {words}",
        table,
        f"SELECT {key_text(KEYS[table])} AS what FROM {table} WHERE {broken}",
        screen=f"FROM {table} HAVING {' OR '.join(beyond)}",
    )


def _ordered(table: str, low: str, middle: str, high: str) -> Rule:
    # A rounding in the last digit is no disorder; a limit without its middle is.
    return Rule(
        f"{low} <= {middle} <= {high}",
        table,
        f"SELECT {key_text(KEYS[table])} AS what FROM {table} "
        f"WHERE {low} > {middle} + 1e-9 OR {middle} > {high} + 1e-9 OR ({middle} IS NULL) <> ({low} IS NULL) "
        f"OR ({middle} IS NULL) <> ({high} IS NULL)",
    )


def _finite(warehouse: Warehouse, table: str) -> Rule:
    rows = warehouse.con.sql(
        "SELECT column_name FROM duckdb_columns() WHERE schema_name = 'main' AND data_type = 'DOUBLE' "
        f"AND table_name = '{table}' ORDER BY column_index"
    ).fetchall()
    names = [name for (name,) in rows]
    broken = " OR ".join(NOT_FINITE.format(name) for name in names) or "false"
    return Rule(
        "every number is finite",
        table,
        f"SELECT {key_text(KEYS[table])} AS what FROM {table} WHERE {broken}",
        screen=f"FROM {table} HAVING {_ends_not_finite(names) or 'false'}",
    )


def _ends_not_finite(names: Sequence[str]) -> str:
    return " OR ".join(f'NOT isfinite(min("{name}")) OR NOT isfinite(max("{name}"))' for name in names)


def hold(warehouse: Warehouse, outcomes: Sequence[Outcome]) -> None:
    """Raise StageError if a table about to be published breaks its contract; keep the results either way."""
    judged = judge(warehouse, outcomes)
    keep(warehouse, "published", judged)
    broken = [
        f"  {row.table_name}: {row.expectation}: broken {row.observed} times ({', '.join(row.examples[:5])})"
        for row in judged
        if not row.success
    ]
    if broken:
        raise StageError("\n".join(["tables break their contract, nothing is published:", *broken]))
