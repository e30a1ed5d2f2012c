"""The checks that look along each technician's visits, asked again only around the visits that came, went or changed.

What belongs here: the rows of `finding` of checks of scope `fleet`. The header of such a check's file says which visits
an answer rests on: those of its technician in its own piece of time, and in so many beside it. So answers move only in
the pieces of a changed visit and those beside. All that these rest on is put into a database `around` that stands
before the work file on the search path; there the same SQL finds `visit`. A check whose header says nothing is asked
over everything, and only its rows that differ are replaced.
"""

from __future__ import annotations

import re

from pipeline.checks import Check, all_checks, find
from pipeline.day.touched import touch
from pipeline.scale.part import without_comments
from pipeline.warehouse import Warehouse, literal

FLEET_CHECKS = tuple(check for check in all_checks() if check.scope == "fleet")
IS_FLEET_CHECK = f"check_id IN ({', '.join(literal(check.check_id) for check in FLEET_CHECKS)})"

# What was found of the visits that were asked again, before and now, where it decides on figures.
MOVED = """
    SELECT visit_id FROM ({before} EXCEPT {now}) UNION ALL SELECT visit_id FROM ({now} EXCEPT {before})
""".format(
    before="(SELECT visit_id, check_id, consequence FROM finding SEMI JOIN asked USING (visit_id, check_id) "
    "WHERE consequence <> 'note')",
    now="(SELECT visit_id, check_id, consequence FROM found WHERE consequence <> 'note')",
)


def ask_around_changes(warehouse: Warehouse) -> None:
    """Ask the fleet's checks again: what was `asked`, and `found`. Equipment of which they decide otherwise is touched.

    Needs `changed_visit` (touched.py).
    """
    warehouse.execute("CREATE OR REPLACE TEMP TABLE asked (visit_id VARCHAR, check_id VARCHAR)")
    warehouse.execute("CREATE OR REPLACE TEMP TABLE found AS FROM finding LIMIT 0")
    warehouse.execute("ATTACH ':memory:' AS around")
    try:
        for check in FLEET_CHECKS:
            (_ask_everywhere if check.piece is None else _ask_around)(warehouse, check)
    finally:
        warehouse.execute("DETACH around")
    touch(warehouse, f"SELECT equipment_id FROM visit SEMI JOIN ({MOVED}) USING (visit_id)")


def replace_findings(warehouse: Warehouse) -> None:
    """Bring what `finding` holds of the fleet's checks up to date."""
    with warehouse.transaction():
        warehouse.execute(
            "DELETE FROM finding WHERE (visit_id, check_id) IN (SELECT (visit_id, check_id) FROM asked)"
        )
        warehouse.execute("INSERT INTO finding FROM found")


def _ask_around(warehouse: Warehouse, check: Check) -> None:
    steps = f"range({-2 * check.beside}, {2 * check.beside + 1})"
    piece = "piece + step" if check.beside else "piece"
    warehouse.execute(
        f"CREATE OR REPLACE TABLE around.piece AS SELECT technician_id, {piece} AS piece, min(abs(step)) AS away "
        f"FROM (SELECT technician_id, {check.piece} AS piece, unnest({steps}) AS step FROM changed_visit) GROUP BY ALL"
    )
    words = re.findall(r"\w+", re.sub(r"'[^']*'", "", without_comments(check.sql)))
    columns = {"visit_id", *words} & set(warehouse.columns("visit"))
    brought = ", ".join(f"v.{column}" for column in sorted(columns))
    own_piece = re.sub(r"\b(visited_at|visited_on)\b", r"v.\1", str(check.piece))
    warehouse.execute(
        f"CREATE OR REPLACE TABLE around.visit AS SELECT {brought}, p.away FROM visit AS v "
        f"INNER JOIN around.piece AS p ON v.technician_id = p.technician_id AND {own_piece} = p.piece"
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
