"""From counts to verdicts: the table `gate_result`, one row an expectation.

Columns: stage (loaded | published), expectation, table_name, success, observed (rows that break it), allowed
(rows that may), detail (the first such rows, in words), asked (of all rows, or of those that may have changed).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from expectations.rules import Outcome, examples
from pipeline.warehouse import Warehouse

SCHEMA = {
    "stage": pl.String,
    "expectation": pl.String,
    "table_name": pl.String,
    "success": pl.Boolean,
    "observed": pl.Int64,
    "allowed": pl.Int64,
    "detail": pl.String,
    "asked": pl.String,
}


@dataclass(frozen=True)
class Judged:
    """One expectation's verdict."""

    expectation: str
    table_name: str
    success: bool
    observed: int
    allowed: int
    examples: tuple[str, ...] = ()
    sentences: bool = False
    asked: str = "all"

    def row(self, stage: str) -> tuple[object, ...]:
        """As a row of `gate_result`."""
        detail = "; ".join(self.examples) or None
        return (
            *(stage, self.expectation, self.table_name, self.success, self.observed, self.allowed),
            *(detail, self.asked),
        )


def judge(warehouse: Warehouse, outcomes: Sequence[Outcome]) -> list[Judged]:
    """Compare each count with what is allowed; name the first rows of those that break."""
    return [_judge(warehouse, outcome) for outcome in outcomes]


def _judge(warehouse: Warehouse, outcome: Outcome) -> Judged:
    rule = outcome.rule
    allowed = 0
    if rule.allowed > 0 and outcome.failing:
        rows = int(warehouse.scalar(f"SELECT count(*) FROM {rule.table_name}"))
        allowed = math.floor(rule.allowed * rows + 1e-9)
    named = tuple(examples(warehouse, rule)) if outcome.failing else ()
    success = outcome.failing <= allowed
    counted = (success, outcome.failing, allowed, named)
    return Judged(rule.name, rule.table_name, *counted, rule.sentences, rule.asked)


def keep(warehouse: Warehouse, stage: str, judged: Sequence[Judged]) -> None:
    """Put the verdicts of one stage into `gate_result`, in the place of those of the run before."""
    rows = pl.DataFrame([row.row(stage) for row in judged], schema=SCHEMA, orient="row")
    if "gate_result" in warehouse.tables():
        others = warehouse.query(f"SELECT * FROM gate_result WHERE stage <> '{stage}'")
        rows = pl.concat([others, rows]) if stage == "published" else rows
    warehouse.store("gate_result", rows)
