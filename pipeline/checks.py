"""The visit checks: one file each in `sql/checks/`, read here into the catalog and run into `finding`.

A new check is one new file there (header and one SELECT of visit_id, consequence, detail) and its cases in
`tests/sql/check_cases/`. No list of checks is kept; DEVELOPERS.md names the words and pages that go with one.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import takewhile
from pathlib import Path
from typing import get_args

import polars as pl

from pipeline.errors import StageError
from pipeline.steps import Scope
from pipeline.warehouse import SQL_DIR, Warehouse

HEADER = re.compile(r"^-- ([a-z_]+): (.+)$", re.MULTILINE)
HEADER_WORDS = ("title", "consequence", "why", "applies_to", "of", "scope", "piece", "beside")
# What the checks of one piece of equipment read beside the readings.
READ = ("visit", "equipment", "instrument", "blower_table", "finding")
UNREAD = re.compile(r"--.*|'[^']*'")  # comments and texts name no column
# Of findings. The contract's `reject` is of rows that never became visits: they stand in `rejected_row`.
CONSEQUENCES = ("set_aside", "repaired", "not_like_new", "note")
# Only "reading" is about how a visit was made and written down: technicians are judged by nothing else. What belongs to
# a unit, to a gauge or to the office's row of either is found at every visit, whoever comes.
OF = ("reading", "unit", "gauge")


@dataclass(frozen=True)
class Check:
    """One check as its file states it. `sql` selects visit_id, consequence, detail of the visits found."""

    check_id: str
    title: str
    consequence: str
    why: str
    applies_to: str  # "visit", or "drops": then a set_aside leaves the visit itself valid
    of: str  # one of OF
    scope: str  # "equipment", or "fleet": then it looks at visits to other equipment too (pipeline/steps.py)
    sql: str
    # How far a check of scope "fleet" looks: only at `visit`, and there only at the same technician's visits with the
    # same `piece` (SQL of visited_at, visited_on) or, if that is a number, one up to `beside` away. None: anywhere.
    piece: str | None = None
    beside: int = 0


def columns_read(columns: Sequence[str], *sql: str) -> list[str]:
    """Those of a table's columns that the SQL may read, by the words in it."""
    words = {word for text in sql for word in re.findall(r"\w+", UNREAD.sub("", text))}
    return [column for column in columns if column in words]


def read_check(path: Path) -> Check:
    """Parse one check file; what is wrong with its header is an error of the house, named with its file."""
    text = path.read_text(encoding="utf-8")
    head = "\n".join(takewhile(lambda line: line.startswith("--"), text.splitlines()))
    header = dict(HEADER.findall(head))
    if missing := {"title", "consequence", "why"} - header.keys():
        raise StageError(f"sql/checks/{path.name}: the header lacks {', '.join(sorted(missing))}")
    if unknown := header.keys() - set(HEADER_WORDS):
        raise StageError(
            f"sql/checks/{path.name}: the header has unknown lines: {', '.join(sorted(unknown))}; "
            f"known are {', '.join(HEADER_WORDS)}"
        )
    of, scope = header.get("of", "reading"), header.get("scope", "equipment")
    for name, word, known in (("of", of, OF), ("scope", scope, get_args(Scope))):
        if word not in known:
            raise StageError(
                f"sql/checks/{path.name}: {name} is {word!r}; expected one of {', '.join(known)}"
            )
    body = "\n".join(line for line in text.splitlines() if not line.startswith("-- ")).strip().rstrip(";")
    return Check(
        path.stem,
        header["title"],
        header["consequence"],
        header["why"],
        header.get("applies_to", "visit"),
        of,
        scope,
        body,
        header.get("piece"),
        int(header.get("beside", "0")),
    )


@cache
def all_checks() -> tuple[Check, ...]:
    """Every check, in the order of their ids."""
    return tuple(read_check(p) for p in sorted((SQL_DIR / "checks").glob("*.sql")))


def store_catalog(warehouse: Warehouse) -> None:
    """Make `check_catalog`."""
    warehouse.store(
        "check_catalog",
        pl.DataFrame(
            [(c.check_id, c.title, c.consequence, c.why, c.applies_to, c.of) for c in all_checks()],
            schema=["check_id", "title", "consequence", "why", "applies_to", "belongs_to"],
            orient="row",
        ),
    )


def find_over_fleet(warehouse: Warehouse) -> None:
    """Make `finding` (visit_id, check_id, consequence, detail) of what the checks find that look at several pieces of
    equipment."""
    with warehouse.transaction():
        warehouse.execute(
            "CREATE OR REPLACE TABLE finding "
            "(visit_id VARCHAR USING COMPRESSION uncompressed, check_id VARCHAR, consequence VARCHAR, detail VARCHAR)"
        )
        _find(warehouse, "fleet")


def find_by_equipment(warehouse: Warehouse) -> None:
    """Add to `finding` what the checks find that look at one piece of equipment at a time."""
    with warehouse.transaction():
        _find(warehouse, "equipment")


def _find(warehouse: Warehouse, scope: str) -> None:
    for check in all_checks():
        if check.scope == scope:
            find(warehouse, check, "finding")


def find(warehouse: Warehouse, check: Check, into: str) -> None:
    """Add to the table `into` what one check finds; inside the caller's transaction."""
    warehouse.run_in_transaction(
        f"checks/{check.check_id}.sql",
        f"INSERT INTO {into} SELECT visit_id, '{check.check_id}', consequence, detail FROM ({check.sql})",
    )
