"""Do airflows of a file look as if they were no cfm? Asked, not judged: a mapping says what they are.

Held against the equipment's tons at 400 cfm a ton (common practice, no source), or its design where tons are not known.
What does not belong here: converting units (`values.py`), and units that a column's name bears (`guesses.py`).
"""

from __future__ import annotations

from collections.abc import Callable

from pipeline.warehouse import Warehouse

CFM_PER_TON = 400
LEAST = 5  # units, or visits, for a median that says something
LOOKED_AT = 10_000  # rows of a file, or units
# By unit of a mapping: what 1 cfm is in it (1 ft = 0.3048 m exactly), and its sign.
UNITS = {"m3_per_h": (0.3048**3 * 60, "m3/h"), "l_per_s": (0.3048**3 * 1000 / 60, "l/s")}
WITHIN = (
    1.2  # a median so much off a unit's factor, up or down, may be of that unit: real ones lie nearer to 1
)
NEW = "SELECT load_id, file FROM load_file WHERE NOT accepted AND table_name = '{table}' ORDER BY load_id"
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


def say_other_units(warehouse: Warehouse, say: Callable[[str], None]) -> None:
    """Say of which files of this run the airflows seem to be in another unit."""
    for table, (column, query) in LOOKS.items():
        for load_id, file in warehouse.con.sql(NEW.format(table=table)).fetchall():
            looked = query.format(load_id=load_id)
            ((times, n),) = warehouse.con.sql(
                f"SELECT median(times), count(times) FROM ({looked})"
            ).fetchall()
            for unit, (factor, sign) in UNITS.items() if n >= LEAST else ():
                if factor / WITHIN < times < factor * WITHIN:
                    say(
                        f"{file}: the median of {column} in cooling is {times:.2f} times what the units' tons "
                        f'(or design) ask for. Is it {sign}? Say so in a mapping: [units.{table}] {column} = "{unit}"'
                    )
