"""After a day's drop: a rule that held of every row is asked again of the rows that may have changed.

These are the rows with the keys that were asked when the new files came (`pipeline/load/asked.py`): a key that is used
twice, an empty column, a wrong word, a broken reference is among them, or was there before. Of a table whose rows were
all asked, and where a rule had found a row before, all rows are looked at. What does not belong here: the rules
(`contracts.py`).
"""

from __future__ import annotations

import re
from dataclasses import replace

from expectations.rules import Rule
from pipeline.load.asked import keys_of
from pipeline.load.inputs import TABLES
from pipeline.warehouse import Warehouse


class ChangedRows:
    """The changed rows of the cleaned tables, as tables of the same names in the schema `changed`."""

    def __init__(self, warehouse: Warehouse) -> None:
        """Copy them, so that Great Expectations finds them in the file; who accepts or withdraws drops the schema."""
        there = warehouse.relations()
        self._tables: set[str] = set()
        for table in TABLES:
            if keys_of(table) in there:
                self._tables.add(table.cleaned)
                warehouse.execute(
                    f"CREATE OR REPLACE TABLE changed.{table.cleaned} AS SELECT * FROM {table.cleaned} "
                    f"SEMI JOIN {keys_of(table)} USING ({', '.join(table.key)})"
                )
        self._held = set()
        if self._tables and "gate_result" in there:
            held = "SELECT table_name, expectation FROM gate_result WHERE stage = 'loaded' AND observed = 0"
            self._held = set(warehouse.con.sql(held).fetchall())

    def suffice(self, rule: Rule) -> Rule:
        """The rule asked of the changed rows, where that answers it; else as it is."""
        table = rule.table_name
        if rule.sentences or table not in self._tables or (table, rule.name) not in self._held:
            return rule
        sql, n = re.subn(rf"\bFROM {table}\b", f"FROM changed.{table}", rule.sql, count=1)
        assert n == 1, f"{rule.name}: its rows come from {table} first"
        return replace(rule, sql=sql, asked="changed")
