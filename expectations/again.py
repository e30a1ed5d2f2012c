"""Which visits the checks are asked of again: of a long history some, at each reference day other ones.

A check of one visit is asked of the visits of some days, which mostly lie together in the file; one that looks along a
technician is asked of all visits of some technicians. Both are about `look_again_visits`, and in time all are asked of.
What belongs here: which visits those are, and the check's SELECT over them. What does not: counting (`rules.py`).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil

from pipeline.checks import Check, all_checks, columns_read
from pipeline.warehouse import SQL_DIR, Warehouse

# What the checks of one visit read that has a day.
DATED = ("visit", "reading", "noticed_reading")
# The first day of each piece of the history, after the first piece.
PIECES = """
    SELECT min(visited_on)
    FROM (
        SELECT visited_on, (sum(n_visits) OVER (ORDER BY visited_on) - n_visits) // {visits} AS piece
        FROM visit_count
        WHERE counted_by = 'day'
    )
    GROUP BY piece
    ORDER BY piece
    OFFSET 1
"""


@dataclass(frozen=True)
class Again:
    """Two conditions on a row of `visit`."""

    days: str
    technicians: str

    def asked(self, check: Check) -> str:
        """The check's SELECT over these rows, whose place they take by their name."""
        if check.scope == "fleet":
            rows = {"visit": "FROM temp.visit_again", "last_digit_count": _last_digits("temp.visit_again")}
        else:
            rows = {name: f"SELECT * FROM main.{name} WHERE {self.days}" for name in DATED}
            rows["visit"] = "FROM temp.visit_of_days"
        named = [f"{name} AS ({sql})" for name, sql in rows.items() if re.search(rf"\b{name}\b", check.sql)]
        return f"WITH {', '.join(named)}\nSELECT * FROM ({check.sql})"

    def set_up(self, warehouse: Warehouse) -> list[str]:
        """The statements with which a session brings the visits of days and of technicians, once for all checks."""
        columns = warehouse.columns("visit")
        brought = (("equipment", "visit_of_days", self.days), ("fleet", "visit_again", self.technicians))
        return [
            f"CREATE TEMP TABLE {name} AS SELECT {', '.join(_read_by(scope, columns))} FROM visit WHERE {which}"
            for scope, name, which in brought
        ]


def _read_by(scope: str, columns: Sequence[str]) -> list[str]:
    """Those of the columns of `visit` that checks of a scope read."""
    asked = [check.sql for check in all_checks() if check.scope == scope]
    return columns_read(columns, "visit_id", *asked, _last_digits("visit") if scope == "fleet" else "")


def _last_digits(visits: str) -> str:
    """What `sql/count/last_digit_count.sql` counts, of these visits alone: what is kept is not asked."""
    text = (SQL_DIR / "count" / "last_digit_count.sql").read_text(encoding="utf-8")
    counted = text.partition("last_digit_count AS\n")[2].strip().rstrip(";")
    return f"WITH counted_reading AS (SELECT *, 1 AS times FROM {visits}) {counted}"


def number_of_visits(warehouse: Warehouse) -> int:
    """As they are counted; a contract holds that all are."""
    return int(
        warehouse.scalar("SELECT coalesce(sum(n_visits), 0) FROM visit_count WHERE counted_by = 'day'")
    )


def asked_again(warehouse: Warehouse, today: date) -> Again:
    """Whose turn it is. Needs `visit_count`."""
    at_once = int(warehouse.settings["look_again_visits"])
    starts = [day for (day,) in warehouse.con.sql(PIECES.format(visits=at_once)).fetchall()]
    turn = today.toordinal() % (len(starts) + 1)
    since = [f"visited_on >= DATE '{starts[turn - 1]}'"] if turn > 0 else []
    before = [f"visited_on < DATE '{starts[turn]}'"] if turn < len(starts) else []
    groups = max(ceil(number_of_visits(warehouse) / at_once), 1)
    # Sooner found than by the condition itself, which has all columns of all visits read.
    whose = f"hash(technician_id) % {groups} = {today.toordinal() % groups}"
    technicians = f"technician_id IN (SELECT technician_id FROM technician WHERE {whose})"
    return Again(" AND ".join(since + before) or "true", technicians if groups > 1 else "true")
