"""Do airflows or pressures of a file look as if they were in another unit? Asked, not judged: a mapping says which.

Airflows are held against the equipment's tons at 400 cfm a ton (common practice, no source), or its design where tons
are not known. Readings that say in. w.c. are mended one by one, between Pa and in. w.c. only
(`sql/repair/2_unit.sql`): mm w.c. that nobody named pass there for a few Pa, and a whole fleet of them for one without
any pressure. What does not belong here: converting units (`values.py`), and units that a column's name bears
(`guesses.py`).
"""

from __future__ import annotations

from collections.abc import Callable

from pipeline.load.mapping import AIRFLOW
from pipeline.warehouse import Warehouse

LEAST = 5  # units, or visits, for a median that says something
LOOKED_AT = 10_000  # rows of a file, or units
NEW = "SELECT load_id, file FROM load_file WHERE NOT accepted AND table_name = '{table}' ORDER BY load_id"

CFM_PER_TON = 400
AIRFLOWS = {"m3_per_h": "m3/h", "l_per_s": "l/s"}  # units of a mapping, and their signs
WITHIN = (
    1.2  # times what is expected, up or down, that a median may be in its unit: real ones lie nearer to 1
)
EXPECTED = f"coalesce({CFM_PER_TON} * nullif(e.nominal_tons, 0), nullif(e.design_cooling_cfm, 0))"
# By table: the column that is looked at, and how many times what is expected it says, of one load.
LOOKS = {
    "equipment": (
        "design_cooling_cfm",
        f"SELECT design_cooling_cfm / ({CFM_PER_TON} * nullif(nominal_tons, 0)) AS times FROM staging.equipment "
        f"WHERE load_id = {{load_id}} LIMIT {LOOKED_AT}",
    ),
    # the tap that cools, at the static nearest to the rating
    "blower_tables": (
        "airflow_cfm",
        "SELECT arg_min(b.airflow_cfm, abs(b.external_static_inwc - e.rated_tesp_inwc)) "
        f"/ any_value({EXPECTED}) AS times "
        f"FROM (FROM equipment LIMIT {LOOKED_AT}) AS e INNER JOIN staging.blower_tables AS b "
        "ON e.blower_table_id = b.blower_table_id AND e.cooling_tap = b.tap "
        "WHERE b.load_id = {load_id} GROUP BY e.equipment_id",
    ),
    "visits": (
        "airflow_cfm",
        f"SELECT v.airflow_cfm / {EXPECTED} AS times FROM (SELECT equipment_id, airflow_cfm FROM staging.visits "
        f"WHERE load_id = {{load_id}} AND mode = 'cooling' AND airflow_cfm > 0 LIMIT {LOOKED_AT}) AS v "
        "INNER JOIN equipment AS e ON v.equipment_id = e.equipment_id",
    ),
}

PRESSURES = {"mmwc": "mm w.c.", "pa": "Pa"}  # likewise
TYPICAL = 0.3  # in. w.c., the larger of two readings at a unit (common practice, no source): tells mm from Pa
# The larger reading in the middle of a load's rows that say in. w.c. or nothing; in each unit, how far from typical.
LARGER = f"""
WITH larger AS (
    SELECT greatest(abs(return_static), abs(supply_static)) AS reading
    FROM staging.visits
    WHERE load_id = {{load_id}} AND coalesce(pressure_unit, 'inwc') = 'inwc'
    LIMIT {LOOKED_AT}
),

middle AS (SELECT median(reading) AS reading FROM larger HAVING count(reading) >= {LEAST})

SELECT
    reading,
    [{", ".join(f"abs(ln(reading * inwc_per('{unit}') / {TYPICAL}))" for unit in PRESSURES)}]
FROM middle
WHERE exceeds(reading, getvariable('plausible_limit_inwc'))
"""


def say_other_units(warehouse: Warehouse, say: Callable[[str], None]) -> None:
    """Say of which files of this run airflows, or readings that say in. w.c., seem to be in another unit."""
    for table, (column, query) in LOOKS.items():
        for load_id, file in _new(warehouse, table):
            for unit, times in _airflow_units(warehouse, query.format(load_id=load_id)):
                say(
                    f"{file}: the median of {column} in cooling is {times:.2f} times what the units' tons "
                    f"(or design) ask for. Is it {AIRFLOWS[unit]}? "
                    f'Say so in a mapping: [units.{table}] {column} = "{unit}"'
                )
    for load_id, file in _new(warehouse, "visits"):
        for reading, far in warehouse.con.sql(LARGER.format(load_id=load_id)).fetchall():
            _, unit = min(zip(far, PRESSURES, strict=True))
            say(
                f"{file}: half of the visits in in. w.c. show {reading:.3g} and more. Is it {PRESSURES[unit]}? Say so "
                f'in a mapping: pressure_unit = "{unit}", of rows that name none'
            )


def _new(warehouse: Warehouse, table: str) -> list[tuple[int, str]]:
    """The files of this run of a table: load and name."""
    return warehouse.con.sql(NEW.format(table=table)).fetchall()


def _airflow_units(warehouse: Warehouse, looked: str) -> list[tuple[str, float]]:
    """The unit in which the median of `looked` (times) is about what is expected, and that median: none or one."""
    in_unit = ", ".join(f"median(times) * {AIRFLOW[unit]}" for unit in AIRFLOWS)
    ((times, n, converted),) = warehouse.con.sql(
        f"SELECT median(times), count(times), [{in_unit}] FROM ({looked})"
    ).fetchall()
    if n < LEAST:
        return []
    return [(unit, times) for unit, x in zip(AIRFLOWS, converted, strict=True) if 1 / WITHIN < x < WITHIN]
