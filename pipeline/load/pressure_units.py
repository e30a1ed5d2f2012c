"""Do readings of a file look as if they were no in. w.c.? Asked, not judged: a mapping says what they are.

One by one rows are mended between Pa and in. w.c. only (`sql/repair/2_unit.sql`): mm w.c. that nobody named pass there
for a few Pa, and a whole fleet of them for one without any pressure. What does not belong here: converting units.
"""

from __future__ import annotations

from collections.abc import Callable

from pipeline.warehouse import Warehouse

TYPICAL = 0.3  # in. w.c., the larger of two readings at a unit (common practice, no source): tells mm from Pa
LEAST = 5  # visits, for a median that says something
LOOKED_AT = 10_000  # rows of a file
UNITS = {"mmwc": "mm w.c.", "pa": "Pa"}
NEW = "SELECT load_id, file FROM load_file WHERE NOT accepted AND table_name = 'visits' ORDER BY load_id"
# The larger reading in the middle of a load's rows that say in. w.c. or nothing; in each unit, how far from typical.
LOOK = f"""
WITH larger AS (
    SELECT greatest(abs(return_static), abs(supply_static)) AS reading
    FROM staging.visits
    WHERE load_id = {{load_id}} AND coalesce(pressure_unit, 'inwc') = 'inwc'
    LIMIT {LOOKED_AT}
),

middle AS (SELECT median(reading) AS reading FROM larger HAVING count(reading) >= {LEAST})

SELECT
    reading,
    [{", ".join(f"abs(ln(reading * inwc_per('{unit}') / {TYPICAL}))" for unit in UNITS)}]
FROM middle
WHERE exceeds(reading, getvariable('plausible_limit_inwc'))
"""


def say_other_pressures(warehouse: Warehouse, say: Callable[[str], None]) -> None:
    """Say of which files of this run the readings seem to be in another unit than in. w.c."""
    for load_id, file in warehouse.con.sql(NEW).fetchall():
        for reading, far in warehouse.con.sql(LOOK.format(load_id=load_id)).fetchall():
            _, unit = min(zip(far, UNITS, strict=True))
            say(
                f"{file}: half of the visits in in. w.c. show {reading:.3g} and more. Is it {UNITS[unit]}? Say so in a "
                f'mapping: pressure_unit = "{unit}", of rows that name none'
            )
