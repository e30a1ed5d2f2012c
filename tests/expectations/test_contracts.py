"""Every contract of a loaded table holds on sound tables and is broken by the fault that it is there for."""

from __future__ import annotations

import pytest

from expectations.contracts import loaded_rules
from expectations.rules import count_failing
from pipeline.load.inputs import TABLES
from pipeline.warehouse import Warehouse

from .planted import Name, name_of, verdict, verdict_after

REJECTED = ("load_ledger", "few rows of each table of the drop are rejected")
RULES = {name_of(rule): rule for rule in loaded_rules()}


def first(table: str) -> str:
    return f"rowid = (SELECT min(rowid) FROM {table})"


def planted() -> dict[Name, list[list[str]]]:
    """For each rule one or more ways to break it."""
    ways: dict[Name, list[list[str]]] = {
        ("load_ledger", "rows read are loaded, rejected or repeated, none lost"): [
            [f"UPDATE load_ledger SET rows_loaded = rows_loaded - 1 WHERE {first('load_ledger')}"],
            [f"UPDATE load_ledger SET rows_rejected = NULL WHERE {first('load_ledger')}"],
        ],
        ("visit", "no key table is empty where visits came"): [
            ["DELETE FROM site"],
            ["DELETE FROM technician"],
        ],
        ("equipment", "equipment stands at a known site"): [["DELETE FROM site WHERE " + first("site")]],
        ("visit", "a visit names a known site, its own equipment and a known technician"): [
            [f"UPDATE visit SET site_id = 'elsewhere' WHERE {first('visit')}"],
            [f"UPDATE visit SET equipment_id = 'unknown' WHERE {first('visit')}"],
            [f"UPDATE visit SET technician_id = 'unknown' WHERE {first('visit')}"],
            ["UPDATE equipment SET site_id = (SELECT max(site_id) FROM site)"],
        ],
        ("work", "work is done on known equipment"): [
            [f"UPDATE work SET equipment_id = 'unknown' WHERE {first('work')}"]
        ],
        REJECTED: [["UPDATE load_file SET accepted = false", REFUSE_TOO_MANY]],
        ("gate_fact", "every file has the required columns of its table"): [
            [
                "INSERT INTO gate_fact (file, problem, detail) VALUES ('a.csv', 'missing_column', 'has no column b')"
            ]
        ],
    }
    for table in TABLES:
        name = table.cleaned
        ways[name, f"{', '.join(table.key)} is unique"] = [
            [f"INSERT INTO {name} SELECT * FROM {name} LIMIT 1"]
        ]
        for column in table.columns:
            if column.required:
                ways[name, f"{column.name} is filled"] = [
                    [f"UPDATE {name} SET {column.name} = NULL WHERE {first(name)}"]
                ]
            if column.words:
                ways[name, f"{column.name} is one of {', '.join(column.words)}"] = [
                    [f"UPDATE {name} SET {column.name} = 'nonsense' WHERE {first(name)}"]
                ]
            if column.bounded:
                (rule,) = [r for r in RULES if r[0] == name and r[1].startswith(f"{column.name} lies in ")]
                ways[rule] = [
                    [f"UPDATE {name} SET {column.name} = {value} WHERE {first(name)}"]
                    for value in (column.lowest - 1e-7, column.highest + 1e-7, "'nan'")
                ]
    return ways


REFUSE_TOO_MANY = """
INSERT INTO refused_row (load_id, reason)
SELECT load_id, 'bad_number' FROM load_file, range(rows_read // 20 + 1) WHERE table_name = 'visits'
"""
REFUSE_JUST_FEW = """
INSERT INTO refused_row (load_id, reason)
SELECT load_id, 'bad_number'
FROM
    (SELECT min(load_id) AS load_id, sum(rows_read)::BIGINT AS n FROM load_file WHERE table_name = 'visits'),
    range(n // 20)
"""
PLANTED = planted()


def test_every_rule_has_its_fault() -> None:
    assert PLANTED.keys() == RULES.keys()


@pytest.mark.parametrize("name", RULES, ids=" ".join)
def test_a_rule_holds_on_sound_tables_and_breaks_on_its_fault(finished: Warehouse, name: Name) -> None:
    rule = RULES[name]
    assert verdict(finished, rule).success
    for faults in PLANTED[name]:
        judged = verdict_after(finished, rule, faults)
        assert not judged.success, faults
        assert judged.examples


def test_the_library_counts_no_broken_rule_on_sound_tables(own: Warehouse) -> None:
    outcomes = count_failing(own, list(RULES.values()))
    assert [o.rule.name for o in outcomes if o.failing] == []
    assert [o.rule for o in outcomes] == list(RULES.values())
    assert all(o.seconds > 0 for o in outcomes)


def test_exactly_the_allowed_share_of_rejected_rows_passes(finished: Warehouse) -> None:
    rule = RULES[REJECTED]
    none = ["DELETE FROM refused_row", "DELETE FROM row_fate WHERE fate = 'rejected'"]
    faults = [*none, "UPDATE load_file SET accepted = false", REFUSE_JUST_FEW]
    assert verdict_after(finished, rule, faults).success
    one_more = "INSERT INTO refused_row (load_id, reason) SELECT load_id, 'bad_date' FROM refused_row LIMIT 1"
    judged = verdict_after(finished, rule, [*faults, one_more])
    assert not judged.success
    n = finished.scalar("SELECT sum(rows_read)::BIGINT FROM load_file WHERE table_name = 'visits'")
    (said,) = judged.examples
    assert said.startswith(
        f"visits: {n // 20 + 1} of {n} rows rejected (bad_number {n // 20}, bad_date 1), expected at most 5 % (or "
        "fewer than 5 rows); in visits"
    )


def test_files_that_an_earlier_gate_accepted_are_not_judged_again(finished: Warehouse) -> None:
    rule = RULES[REJECTED]
    assert verdict_after(finished, rule, ["UPDATE load_file SET accepted = true", REFUSE_TOO_MANY]).success


def test_no_visits_at_all_need_no_key_tables(finished: Warehouse) -> None:
    rule = RULES["visit", "no key table is empty where visits came"]
    emptied = [
        "DELETE FROM site",
        "DELETE FROM technician",
        "DELETE FROM load_ledger WHERE table_name = 'visits'",
    ]
    assert verdict_after(finished, rule, emptied).success
