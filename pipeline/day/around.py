"""The checks that look along each technician's visits, asked again only around the visits that came, went or changed.

What belongs here: the rows of `finding` of checks of scope `fleet`. The header of such a check's file says which visits
an answer rests on: those of its technician in its own piece of time, and in so many beside it. So answers move only in
the pieces of a changed visit and those beside. All that these rest on is put into a database `around` that stands
before the work file on the search path; there the same SQL finds `visit`. All visits are looked through once for it,
for all checks, by their day. A check whose header says nothing is asked over everything, and only its rows that differ
are replaced.
"""

from __future__ import annotations

import re

from pipeline.checks import Check, all_checks, columns_read, find
from pipeline.day.touched import touch
from pipeline.warehouse import Warehouse, differing, literal

FLEET_CHECKS = tuple(check for check in all_checks() if check.scope == "fleet")
BOUNDED = {check: str(check.piece) for check in FLEET_CHECKS if check.piece is not None}
IS_FLEET_CHECK = f"check_id IN ({', '.join(literal(check.check_id) for check in FLEET_CHECKS)})"

# Of the visits that were asked again, what is found otherwise than before; where that decides on figures.
OTHERWISE = differing("FROM found_before", "FROM found")
DECIDES = "SELECT visit_id, check_id, consequence FROM {} WHERE consequence <> 'note'"
MOVED = f"SELECT visit_id FROM ({differing(DECIDES.format('found_before'), DECIDES.format('found'))})"
# Of the findings on moved visits which are asked or computed anew.
MOVED_FINDING = f"""
    SELECT
        *,
        rowid AS finding_row,
        CASE
            WHEN {IS_FLEET_CHECK} THEN (visit_id, check_id) IN (SELECT (visit_id, check_id) FROM asked)
            ELSE visit_id IN (SELECT visit_id FROM touched_visit)
        END AS gone
    FROM finding SEMI JOIN moved_visit USING (visit_id)
"""

# All days that have visits: those that are counted, and those of visits that came since.
DAYS = """
    SELECT visited_on FROM visit_count WHERE counted_by = 'day' UNION SELECT visited_on FROM changed_visit
"""


def ask_around_changes(warehouse: Warehouse) -> None:
    """Ask the fleet's checks again: what is `asked` of which visit with another answer than before, and `found`. Visits
    of which they decide otherwise are touched, and their equipment.

    Needs what touched.py makes.
    """
    warehouse.execute("CREATE OR REPLACE TEMP TABLE asked (visit_id VARCHAR, check_id VARCHAR)")
    warehouse.execute("CREATE OR REPLACE TEMP TABLE found AS FROM finding LIMIT 0")
    warehouse.execute("ATTACH ':memory:' AS around")
    try:
        _bring_near(warehouse)
        for check in FLEET_CHECKS:
            (_ask_around if check in BOUNDED else _ask_everywhere)(warehouse, check)
    finally:
        warehouse.execute("DETACH around")
    warehouse.execute(
        "CREATE OR REPLACE TEMP TABLE found_before AS FROM finding SEMI JOIN asked USING (visit_id, check_id)"
    )
    warehouse.execute(f"INSERT INTO touched_visit {MOVED}")
    if warehouse.scalar(f"SELECT count(*) FROM ({MOVED})"):
        touch(warehouse, f"SELECT equipment_id FROM visit SEMI JOIN ({MOVED}) USING (visit_id)")
    warehouse.execute(
        f"CREATE OR REPLACE TEMP TABLE asked AS SELECT DISTINCT visit_id, check_id FROM ({OTHERWISE})"
    )
    warehouse.execute(
        "CREATE OR REPLACE TEMP TABLE found AS FROM found SEMI JOIN asked USING (visit_id, check_id)"
    )


def take_out_findings(warehouse: Warehouse) -> None:
    """Make `moved_finding` of the findings on `moved_visit`; those `gone` from `finding` are asked or computed anew."""
    with warehouse.transaction():
        warehouse.execute(f"CREATE OR REPLACE TEMP TABLE moved_finding AS {MOVED_FINDING}")
        warehouse.execute(
            "DELETE FROM finding WHERE rowid IN (SELECT finding_row FROM moved_finding WHERE gone)"
        )


def put_in_findings(warehouse: Warehouse) -> None:
    """What was `found` takes the place of what is gone: in `finding`, and in `moved_finding`, now as they are."""
    warehouse.execute(
        "CREATE OR REPLACE TEMP TABLE moved_finding AS "
        "SELECT * EXCLUDE (finding_row, gone) FROM moved_finding WHERE NOT gone UNION ALL FROM found"
    )
    warehouse.execute("INSERT INTO finding FROM found")


def _bring_near(warehouse: Warehouse) -> None:
    """By check the pieces on which answers that may have moved rest, and how far `away` each is from a changed visit;
    and `near`, visits of these technicians on all days of such pieces, with the columns that the checks read."""
    for check, piece in BOUNDED.items():
        steps = f"range({-2 * check.beside}, {2 * check.beside + 1})"
        warehouse.execute(
            f"CREATE TABLE around.{_pieces(check)} AS "
            f"SELECT technician_id, {'piece + step' if check.beside else 'piece'} AS piece, min(abs(step)) AS away "
            f"FROM (SELECT technician_id, {piece} AS piece, unnest({steps}) AS step FROM changed_visit) GROUP BY ALL"
        )
    near_days = [_days_in_pieces(check, piece) for check, piece in BOUNDED.items()]
    warehouse.execute(f"CREATE TABLE around.near_day AS {' UNION '.join(near_days)}")
    own = "visit_id, technician_id, visited_at, visited_on"
    columns = columns_read(warehouse.columns("visit"), own, *(check.sql for check in BOUNDED))
    warehouse.execute(
        f"CREATE TABLE around.near AS SELECT {', '.join(columns)} FROM visit "
        "SEMI JOIN around.near_day USING (visited_on) SEMI JOIN changed_visit USING (technician_id)"
    )


def _days_in_pieces(check: Check, piece: str) -> str:
    """The days on which a visit may fall into one of the check's pieces: the first piece that does not end before the
    day begins has begun when the day ends. Pieces follow each other in time; no clock is a whole day from UTC."""
    ends = ("visited_on - INTERVAL 1 DAY", "visited_on + INTERVAL 2 DAY")
    first, last = (re.sub(r"\bvisited_at\b", f"({end})::TIMESTAMPTZ", piece) for end in ends)
    return (
        f"SELECT visited_on FROM (SELECT visited_on, {first} AS first, {last} AS last FROM ({DAYS})) AS d "
        f"ASOF JOIN (SELECT DISTINCT piece FROM around.{_pieces(check)}) AS p ON d.first <= p.piece "
        "WHERE p.piece <= d.last"
    )


def _pieces(check: Check) -> str:
    return f"piece_{check.check_id}"


def _ask_around(warehouse: Warehouse, check: Check) -> None:
    warehouse.execute(
        "CREATE OR REPLACE TABLE around.visit AS SELECT n.* EXCLUDE (piece), p.away "
        f"FROM (SELECT *, {BOUNDED[check]} AS piece FROM around.near) AS n "
        f"INNER JOIN around.{_pieces(check)} AS p ON n.technician_id = p.technician_id AND n.piece = p.piece"
    )
    warehouse.execute(
        f"INSERT INTO asked SELECT visit_id, '{check.check_id}' FROM around.visit WHERE away <= {check.beside} "
        f"UNION SELECT visit_id, '{check.check_id}' FROM changed_visit"
    )
    home = warehouse.scalar("SELECT current_database()")
    with warehouse.looking_first_at("around.main", f"{home}.main"), warehouse.transaction():
        warehouse.execute("CREATE OR REPLACE TABLE around.answer AS FROM temp.found LIMIT 0")
        find(warehouse, check, "around.answer")
    warehouse.execute(
        f"INSERT INTO found SELECT a.* FROM around.answer AS a SEMI JOIN around.visit AS v "
        f"ON a.visit_id = v.visit_id AND v.away <= {check.beside}"
    )


def _ask_everywhere(warehouse: Warehouse, check: Check) -> None:
    with warehouse.transaction():
        warehouse.execute("CREATE OR REPLACE TEMP TABLE answer AS FROM finding LIMIT 0")
        find(warehouse, check, "answer")
    before = f"FROM finding WHERE check_id = '{check.check_id}'"
    warehouse.execute(f"INSERT INTO found (FROM answer) EXCEPT ({before})")
    warehouse.execute(
        f"INSERT INTO asked SELECT visit_id, check_id FROM found WHERE check_id = '{check.check_id}' "
        f"UNION SELECT visit_id, check_id FROM (({before}) EXCEPT (FROM answer))"
    )
    warehouse.execute("DROP TABLE answer")
