"""Rows put straight into the cleaned tables of a warehouse in memory, so that checks can be asked about them alone.

What belongs here: a sound row of each table, and how a row given as text becomes one of the tables' own types.
What does not: what a check should find (`cases.py`), reading CSV (the load stage has tests of its own).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import Any

import polars as pl

from pipeline.load.inputs import BY_NAME, MADE_OF_VISITS, STAGING, Table
from pipeline.warehouse import Warehouse

TODAY = date(2026, 6, 30)
Row = dict[str, Any]

# A visit to a furnace that nothing can be said against: read at the right ports, zeroed ten minutes before.
SOUND_VISIT: Row = {
    "visited_at": "2026-05-12T14:00:00-05:00",
    "mode": "cooling",
    "blower_stage": "high",
    "zeroed_at": "2026-05-12T13:50:00-05:00",
    "zero_return": "0.000",
    "zero_supply": "0.000",
    "return_static": "-0.22",
    "supply_static": "0.31",
    "pressure_unit": "inwc",
    "return_location": "straight_run",
    "supply_location": "straight_run",
    "probe_kind": "static_tip",
    "filter_condition": "clean",
    "coil_condition": "clean",
    "blower_condition": "clean",
    "registers": "open",
    "holes_plugged": "true",
}
SOUND_EQUIPMENT: Row = {
    "equipment_kind": "furnace",
    "installed_on": "2020-04-01",
    "rated_tesp_inwc": "0.5",
    "filter_in_rating": "false",
}
SOUND_INSTRUMENT: Row = {
    "port_style": "dual_port",
    "accuracy_pct_of_reading": "1",
    "accuracy_floor_inwc": "0.01",
    "resolution_inwc": "0.001",
    "calibrated_on": "2026-01-15",
}


def visit(**columns: Any) -> Row:
    """A sound visit with some columns changed, and the columns that loading makes from the text."""
    row = {**SOUND_VISIT, **columns}
    row["visited_on"] = datetime.fromisoformat(row["visited_at"]).date().isoformat()
    for made, source in (
        ("return_decimals", "return_static"),
        ("supply_decimals", "supply_static"),
        ("reported_decimals", "reported_tesp"),
    ):
        row[made] = None if row.get(source) is None else decimals(row[source])
    return row


def equipment(**columns: Any) -> Row:
    """A sound furnace with some columns changed; a fan coil has its coil in its rating."""
    row = {**SOUND_EQUIPMENT, **columns}
    row.setdefault("coil_in_rating", "true" if row["equipment_kind"] == "fan_coil" else "false")
    return row


def instrument(**columns: Any) -> Row:
    """A sound manometer with some columns changed."""
    return {**SOUND_INSTRUMENT, **columns}


def decimals(number: str | float) -> int:
    """How many decimals were written: "-0.220" has three."""
    exponent = Decimal(str(number)).as_tuple().exponent
    return max(0, -int(exponent))


def fill(warehouse: Warehouse, tables: Mapping[str, Iterable[Row]]) -> None:
    """Make every cleaned table; `tables` holds rows by the name of the input table (visits, equipment, ...)."""
    warehouse.execute(f"CREATE SCHEMA IF NOT EXISTS {STAGING}")  # as the load does
    warehouse.set_variable("today", TODAY, "DATE")
    for name, table in BY_NAME.items():
        _make(warehouse, table, list(tables.get(name, ())))


def _make(warehouse: Warehouse, table: Table, rows: list[Row]) -> None:
    types = {c.name: c.sql_type for c in table.columns}
    if table.name == "visits":
        types |= {made: sql_type for made, sql_type, *_ in MADE_OF_VISITS}
    unknown = {column for row in rows for column in row} - types.keys()
    assert not unknown, f"{table.name} has no column {', '.join(sorted(unknown))}"
    text = [{c: None if row.get(c) is None else str(row[c]) for c in types} for row in rows]
    warehouse.store("_text", pl.DataFrame(text, schema=dict.fromkeys(types, pl.String)))
    typed = ", ".join(f"{column}::{sql_type} AS {column}" for column, sql_type in types.items())
    warehouse.execute(f"CREATE OR REPLACE TABLE {table.cleaned} AS SELECT {typed} FROM _text")
    warehouse.execute("DROP TABLE _text")
