"""Ids that rows name and no table has: which ones, whether a table has them with other zeros in front, as a spreadsheet
leaves them, and what the files wait for that an earlier run held.

What does not belong here: rejecting such rows (`sql/load/orphan_*.sql`), and holding files (`stage.py`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from pipeline.load.escape import shown
from pipeline.load.inputs import BY_NAME, Table
from pipeline.load.telling import counted
from pipeline.load.work_tables import among
from pipeline.warehouse import Warehouse

SAID = 3  # ids that a message shows
TEXT = "a spreadsheet takes them away: export the ids as text"
# By reason of a rejected row the table that lacks the id, and the tables whose rows name it.
NAMED_BY = {
    "site_unknown": ("sites", ("equipment", "visits")),
    "equipment_unknown": ("equipment", ("visits", "work")),
    "technician_unknown": ("technicians", ("visits",)),
}
# Rows are looked up by where they stand, so that no others are read.
UNKNOWN = """
SELECT l.file, s.{id} AS id, count(*) AS n, l.load_id
FROM {staged} AS s INNER JOIN load_file AS l ON s.load_id = l.load_id
WHERE {which}
AND s.rowid IN (SELECT row_id FROM {fates} WHERE fate = 'rejected' AND reason = '{reason}')
GROUP BY ALL
"""
CAME = """
SELECT DISTINCT t.table_name, t.reason FROM row_fate AS t INNER JOIN load_file AS l ON t.load_id = l.load_id
WHERE t.fate = 'rejected' AND NOT l.accepted
UNION ALL
SELECT DISTINCT table_name, 'came' FROM load_file WHERE NOT accepted
"""
BUT_FOR_ZEROS = """
SELECT u.file, count(DISTINCT u.id), sum(u.n), min_by(u.id, (u.load_id, u.id)), min_by(k.{id}, (u.load_id, u.id))
FROM ({unknown}) AS u INNER JOIN {cleaned} AS k ON ltrim(u.id, '0') = ltrim(k.{id}, '0')
GROUP BY u.load_id, u.file ORDER BY u.load_id
"""
TWINS = """
WITH came AS (
    SELECT DISTINCT s.{id} AS id FROM {staged} AS s INNER JOIN load_file AS l ON s.load_id = l.load_id
    WHERE NOT l.accepted AND s.wrong IS NULL
)
SELECT count(DISTINCT c.id), min(c.id), min_by(k.{id}, c.id)
FROM came AS c INNER JOIN {cleaned} AS k ON ltrim(c.id, '0') = ltrim(k.{id}, '0') AND c.id <> k.{id}
"""


def say_zeros(warehouse: Warehouse, say: Callable[[str], None]) -> None:
    """Say which ids of this run's files are known, but for zeros in front: of rows that name them, and of two in one
    table, which are two things then."""
    came = set(warehouse.con.sql(CAME).fetchall())
    for reason, (name, by) in NAMED_BY.items():
        table = BY_NAME[name]
        for naming in (one for one in by if (one, reason) in came):
            unknown = _unknown(naming, table, reason, "NOT l.accepted")
            query = BUT_FOR_ZEROS.format(unknown=unknown, id=table.key[0], cleaned=table.cleaned)
            for file, n_ids, n, one, known in warehouse.con.sql(query).fetchall():
                say(
                    f"{file}: {counted(n, 'row')} with {counted(n_ids, table.key[0])} that {name} know with other "
                    f"zeros in front ({shown(one)} for {shown(known)}); {TEXT}"
                )
        if (name, "came") not in came:
            continue
        query = TWINS.format(id=table.key[0], staged=table.staged, cleaned=table.cleaned)
        ((n, one, other),) = warehouse.con.sql(query).fetchall()
        if n:
            say(
                f"{name}: {counted(n, table.key[0])} of this run {'is' if n == 1 else 'are'} there with other zeros in "
                f"front, too ({shown(one)} and {shown(other)}), and count as two; {TEXT}"
            )


def waited_for(warehouse: Warehouse, load_ids: Iterable[int]) -> str:
    """In words, the ids that rows of these loads name and no table has."""
    which = f"s.{among(load_ids)}"
    said = []
    for reason, (name, by) in NAMED_BY.items():
        table = BY_NAME[name]
        unknown = " UNION ALL ".join(_unknown(naming, table, reason, which) for naming in by)
        ids = [r[0] for r in warehouse.con.sql(f"SELECT DISTINCT id FROM ({unknown}) ORDER BY id").fetchall()]
        if ids:
            more = f" and {len(ids) - SAID} more" if len(ids) > SAID else ""
            said.append(f"{table.key[0]} {', '.join(map(shown, ids[:SAID]))}{more}")
    return "; ".join(said)


def _unknown(naming: str, table: Table, reason: str, which: str) -> str:
    of = BY_NAME[naming]
    return UNKNOWN.format(id=table.key[0], fates=of.fates, staged=of.staged, reason=reason, which=which)
