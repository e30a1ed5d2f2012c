"""What a run says about the rows that it had to reject: a line a problem, at most 20 a file, and a count of the rest.

What does not belong here: the table of them (`sql/load/rejected_row.sql`).
"""

from __future__ import annotations

from collections.abc import Callable

from pipeline.warehouse import Warehouse

SAID_PER_FILE = 20

REJECTED = f"""
WITH rejected AS (
    SELECT load_id, line_number, reason, detail FROM refused_row
    UNION ALL
    SELECT t.load_id, l.line_number, t.reason, t.detail
    FROM row_fate AS t LEFT JOIN row_line AS l ON t.load_id = l.load_id AND t.ordinal = l.ordinal
    WHERE t.fate = 'rejected'
)
SELECT f.file, r.line_number, r.detail, r.reason, count(*) OVER of_file AS n, f.load_id
FROM rejected AS r INNER JOIN load_file AS f ON r.load_id = f.load_id
WHERE NOT f.accepted
WINDOW of_file AS (PARTITION BY r.load_id)
QUALIFY row_number() OVER (PARTITION BY r.load_id ORDER BY r.line_number) <= {SAID_PER_FILE}
ORDER BY r.load_id, r.line_number
"""


def say_rejected(warehouse: Warehouse, say: Callable[[str], None]) -> None:
    """Say what was rejected in the files of this run."""
    rows = warehouse.con.sql(REJECTED).fetchall()
    for place, (file, line, detail, reason, n, load_id) in enumerate(rows):
        say(f"{file}:{line}: {detail} [{reason}]")
        last = place + 1 == len(rows) or rows[place + 1][5] != load_id
        if last and n > SAID_PER_FILE:
            say(f"{file}: and {n - SAID_PER_FILE} more rows were rejected; all are in the table rejected_row")
