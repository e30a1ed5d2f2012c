"""What the check and static stages made of the cases' rows, in a form that can be compared with what is expected."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pipeline.stages import RunOrder, check_stage, static_stage
from pipeline.warehouse import Warehouse
from tests.sql import rows
from tests.sql.cases import Case, Expected, tables_of


@dataclass
class Outcome:
    """Findings (check = consequence), details and values by visit."""

    findings: dict[str, dict[str, str]] = field(default_factory=dict)
    details: dict[str, dict[str, str]] = field(default_factory=dict)
    values: dict[str, dict[str, Any]] = field(default_factory=dict)

    def add(self, found: Iterable[tuple[str, str, str, str]]) -> None:
        """Rows of visit_id, check_id, consequence, detail."""
        for visit_id, check_id, consequence, detail in found:
            if check_id in self.findings.setdefault(visit_id, {}):
                raise AssertionError(f"{check_id} found visit {visit_id} twice")
            self.findings[visit_id][check_id] = consequence
            self.details.setdefault(visit_id, {})[check_id] = detail


def judge(cases: tuple[Case, ...]) -> tuple[Warehouse, Outcome]:
    """Put the rows of the cases into a warehouse in memory and run the check and static stages on them."""
    warehouse = Warehouse()
    rows.fill(warehouse, tables_of(cases))
    order = RunOrder((), Path(), rows.TODAY)
    check_stage(warehouse, order)
    static_stage(warehouse, order)
    outcome = Outcome()
    outcome.add(warehouse.con.sql("SELECT visit_id, check_id, consequence, detail FROM finding").fetchall())
    for table in ("reading", "visit_static"):
        for row in warehouse.query(f"SELECT * FROM {table}").iter_rows(named=True):
            outcome.values.setdefault(row["visit_id"], {}).update(row)
    return warehouse, outcome


def differences(expected: Expected, outcome: Outcome) -> list[str]:
    """What is not as expected about one visit, in words."""
    wrong = []
    found = outcome.findings.get(expected.visit_id, {})
    if found != expected.findings:
        wrong.append(f"found {found}, expected {expected.findings}")
    for check_id, detail in expected.details.items():
        said = outcome.details.get(expected.visit_id, {}).get(check_id)
        if said != detail:
            wrong.append(f"{check_id} says {said!r}, expected {detail!r}")
    for column, value in expected.becomes.items():
        got = outcome.values[expected.visit_id][column]
        if not same(got, None if value == "none" else value):
            wrong.append(f"{column} is {got!r}, expected {value!r}")
    return wrong


def same(got: Any, value: Any) -> bool:
    """Equal; numbers within 1e-9."""
    if isinstance(value, float) and isinstance(got, float):
        return math.isclose(got, value, abs_tol=1e-9)
    return bool(got == value)
