"""Do two files call different things by the same ids, as two firms do whose exports come together? Asked, not judged:
a branch may have been renamed, an export renumbered.

What does not belong here: which row of one key wins (`resolve.py`), and the prefix that keeps ids apart (`values.py`).
"""

from __future__ import annotations

from collections.abc import Callable

from pipeline.load.inputs import BY_NAME, Table
from pipeline.warehouse import Warehouse

LEAST = 3  # rows that say other things of the same ids
HALF = 0.5  # of the shorter file that they must be
# By table what changes together where an id is another's: columns, and what they are called.
TELLING: dict[str, tuple[tuple[str, ...], str]] = {
    "sites": (("branch", "site_label"), "have another branch and name"),
    "technicians": (("branch",), "are of another branch"),
    "equipment": (("site_id",), "stand at another site"),
    "visits": (("equipment_id", "visited_on"), "are of another unit and day"),
    "work": (("equipment_id", "done_on"), "are of another unit and day"),
}

MIXED = """
WITH pair AS (
    SELECT f.row_id, f.by_row_id FROM {fates} AS f WHERE f.fate = 'superseded'
),
-- rows are looked up by where they stand, so that no others are read
shown AS (
    SELECT rowid AS row_id, load_id, {columns} FROM {staged}
    WHERE rowid IN (SELECT row_id FROM pair UNION ALL SELECT by_row_id FROM pair)
)
SELECT
    if(l.accepted, e.file, l.file) AS told,
    if(l.accepted, l.file, e.file) AS other,
    count(*) AS n,
    least(l.rows_staged, e.rows_staged) AS n_both
FROM pair AS p
INNER JOIN shown AS a ON p.row_id = a.row_id
INNER JOIN shown AS b ON p.by_row_id = b.row_id
INNER JOIN load_file AS e ON a.load_id = e.load_id
INNER JOIN load_file AS l ON b.load_id = l.load_id
WHERE a.load_id <> b.load_id AND NOT (e.accepted AND l.accepted) AND {differ}
GROUP BY ALL
HAVING n >= {least} AND n >= {half} * n_both
ORDER BY ALL
"""


def say_mixed(warehouse: Warehouse, say: Callable[[str], None]) -> None:
    """Say of which files of this run many ids mean something else in a file of this run or of an earlier one."""
    for name, (columns, what) in TELLING.items():
        table = BY_NAME[name]
        for told, other, n, n_both in warehouse.con.sql(_query(table, columns)).fetchall():
            say(
                f"{told}: {n} of {n_both} {name} whose ids {other} has too {what} there. Where two firms use the same "
                "ids, their visits are pooled: set id_prefix in the mapping of one firm, and give its files again"
            )


def _query(table: Table, columns: tuple[str, ...]) -> str:
    first, *more = columns
    differ = [f"a.{first} <> b.{first}", *(f"coalesce(a.{c} <> b.{c}, true)" for c in more)]
    return MIXED.format(
        fates=table.fates,
        staged=table.staged,
        columns=", ".join(columns),
        differ=" AND ".join(differ),
        least=LEAST,
        half=HALF,
    )
