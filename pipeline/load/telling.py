"""What a run says about rows: those that it had to reject, a line a problem, at most 20 a file, and a count of the
rest; and what its files do to the rows of files that came before, a line a file.

What does not belong here: the tables of them (`sql/load/rejected_row.sql`, `superseded_row.sql`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import duckdb

from pipeline.change import last_publication
from pipeline.load.inputs import BY_NAME
from pipeline.stages import RunOrder
from pipeline.warehouse import Warehouse

SAID_PER_FILE = 20
SAID_FILES = 20

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


# By file of this run: how many rows of which other files it replaces by what was not said before; and how many of its
# own are not used, because those of files that came before stand later.
SUPERSEDED = """
SELECT {told}.file, count(DISTINCT t.key) AS n, list(DISTINCT {other}.file ORDER BY {other}.file) AS others
FROM row_fate AS t
INNER JOIN load_file AS f ON t.load_id = f.load_id
INNER JOIN load_file AS b ON t.by_load_id = b.load_id
{unless}
WHERE t.fate = 'superseded' AND f.load_id <> b.load_id AND NOT {told}.accepted {which}
GROUP BY {told}.load_id, {told}.file
ORDER BY {told}.load_id
"""
SAID_BEFORE = """
ANTI JOIN (FROM row_fate WHERE fate = 'repeated') AS r ON t.by_load_id = r.load_id AND t.by_ordinal = r.ordinal
"""
REPLACES = SUPERSEDED.format(told="b", other="f", unless=SAID_BEFORE, which="")
NOT_USED = SUPERSEDED.format(told="f", other="b", unless="", which="AND b.accepted")
# By file of this run: how many of its rows other rows of its own replace, the first of them, and by which.
WITHIN = """
SELECT
    f.file, f.table_name, count(*) AS n, min(l.line_number) AS line, arg_min(b.line_number, l.line_number) AS by_line
FROM row_fate AS t
INNER JOIN load_file AS f ON t.load_id = f.load_id
LEFT JOIN row_line AS l ON t.load_id = l.load_id AND t.ordinal = l.ordinal
LEFT JOIN row_line AS b ON t.by_load_id = b.load_id AND t.by_ordinal = b.ordinal
WHERE t.fate = 'superseded' AND t.load_id = t.by_load_id AND NOT f.accepted
GROUP BY f.load_id, f.file, f.table_name
ORDER BY f.load_id
"""


def say_superseded(warehouse: Warehouse, say: Callable[[str], None]) -> None:
    """Say what the files of this run replace, in themselves too, and which of their rows came too late."""
    _say_some(
        say,
        [
            f"{file}: replaces {counted(n, 'row')} of {_files(others)}"
            for file, n, others in warehouse.con.sql(REPLACES).fetchall()
        ],
    )
    _say_some(
        say,
        [
            f"{file}: {counted(n, 'row')} {'is' if n == 1 else 'are'} not used: {_files(others)}, loaded before, has "
            f"the same key{'' if n == 1 else 's'} and wins by a later recorded_at, else by its name in natural order; "
            "a correction needs a later recorded_at or name"
            for file, n, others in warehouse.con.sql(NOT_USED).fetchall()
        ],
    )
    _say_some(
        say,
        [
            f"{file}:{line}: {counted(n, 'row')} of this file {'is' if n == 1 else 'are'} replaced within it, here by "
            f"line {by_line} with the same {' and '.join(BY_NAME[table].key)}; what is no correction needs one of its "
            "own"
            for file, table, n, line, by_line in warehouse.con.sql(WITHIN).fetchall()
        ],
    )


# The rejected rows of files that came before this run, now and in the last publication (attached as `former`).
OF_EARLIER = """
SELECT r.table_name, r.file, r.line_number FROM {rejected} AS r
SEMI JOIN (FROM load_file WHERE accepted) AS f ON r.table_name = f.table_name AND r.file = f.file
ANTI JOIN (FROM load_file WHERE NOT accepted) AS f ON r.table_name = f.table_name AND r.file = f.file
"""
BEFORE, NOW = OF_EARLIER.format(rejected="former.rejected_row"), OF_EARLIER.format(rejected="rejected_row")
OTHERWISE = """
SELECT d.file, d.n, d.line_number, any_value(r.detail) AS detail, any_value(r.reason) AS reason
FROM (
    SELECT table_name, file, count(*) AS n, min(line_number) AS line_number FROM ({those} EXCEPT ALL {but}) GROUP BY ALL
) AS d
LEFT JOIN rejected_row AS r USING (table_name, file, line_number)
GROUP BY ALL ORDER BY ALL
"""


def say_since(warehouse: Warehouse, order: RunOrder) -> None:
    """Say what has become, since the last publication, of rows of files that came before: rejected now, or no more; and
    whether this run looks back to an earlier day."""
    say = order.say
    with last_publication(warehouse, order.published_file) as is_there:
        if not is_there:
            return
        try:
            then = warehouse.scalar("SELECT today FROM former.publication")
            fallen = warehouse.con.sql(OTHERWISE.format(those=NOW, but=BEFORE)).fetchall()
            risen = warehouse.con.sql(OTHERWISE.format(those=BEFORE, but=NOW)).fetchall()
        except duckdb.Error:  # damaged, or of a version that wrote it otherwise: it is about to be replaced
            return
    if then is not None and then > order.today:
        say(
            f"--today {order.today} lies before the reference day of the last publication, {then}: visits after "
            f"{order.today} are set aside, works after it do not count"
        )
    _say_some(
        say,
        [
            f"{file}:{line}: loaded before, rejected now{_more(n)}: {detail} [{reason}]"
            for file, n, line, detail, reason in fallen
        ],
    )
    _say_some(say, [f"{file}:{line}: rejected before, loaded now{_more(n)}" for file, n, line, *_ in risen])


def _more(n: int) -> str:
    return "" if n == 1 else f", and {n - 1} more of its rows"


def counted(n: int, what: str) -> str:
    """How many there are: 1 row, 2 rows."""
    return f"{n} {what}{'' if n == 1 else 's'}"


def _files(names: Sequence[str]) -> str:
    more = len(names) - 1
    return names[0] + (f" and {more} more file{'s' if more > 1 else ''}" if more else "")


def _say_some(say: Callable[[str], None], lines: Sequence[str]) -> None:
    for line in lines[:SAID_FILES]:
        say(line)
    if len(lines) > SAID_FILES:
        say(f"and {len(lines) - SAID_FILES} more files likewise")
