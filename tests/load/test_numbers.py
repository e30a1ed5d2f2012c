"""Numbers at the edge of what they may be: rows beyond are rejected by line and column, the others never stop a run."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import duckdb
import pytest

from pipeline import runner
from pipeline.load.inputs import BY_NAME, TABLES, Column, Table
from tests.conftest import FIELD_TODAY
from tests.load.drops import SOUND, VISIT_COLUMNS, Store, write_drop

NUMBERS = [(t, c) for t in TABLES for c in t.columns if c.kind == "number"]
READINGS = ("return_static", "supply_static", "filter_drop", "coil_drop", "reported_tesp")

# A row of each table that everything else refers to; {i} tells copies of it apart.
ROWS: dict[str, dict[str, str]] = {
    "sites": {"site_id": "S{i}", "branch": "North"},
    "equipment": {
        "equipment_id": "E{i}",
        "site_id": "S{i}",
        "equipment_kind": "furnace",
        "rated_tesp_inwc": "0.5",
        "design_cooling_cfm": "1200",
        "nominal_tons": "3",
        "blower_table_id": "B{i}",
        "cooling_tap": "high",
    },
    "blower_tables": {
        "blower_table_id": "B{i}",
        "tap": "high",
        "external_static_inwc": "0.3",
        "airflow_cfm": "1250",
        "power_w": "400",
    },
    "technicians": {"technician_id": "T1"},
    "instruments": {"instrument_id": "M{i}"},
    "visits": {
        "visit_id": "V{i}",
        "site_id": "S{i}",
        "equipment_id": "E{i}",
        "technician_id": "T1",
        "instrument_id": "M{i}",
        "visited_at": "2026-03-01T08:00:00-05:00",
        "mode": "cooling",
        "zero_return": "0.001",
        "zero_supply": "0.001",
        "return_static": "-0.22",
        "supply_static": "0.31",
        "return_port": "after_filter",
        "supply_port": "before_coil",
    },
    "work": {
        "work_id": "W{i}",
        "equipment_id": "E{i}",
        "done_on": "2026-03-02",
        "work_kind": "other",
    },
}


def _edges(column: Column) -> list[float]:
    zero = [0.0] if column.or_zero or column.lowest <= 0 else []
    tiny = [1e-300] if column.lowest <= 0 else []
    return [column.lowest, column.highest, *zero, *tiny]


def _files(changes: list[tuple[Table, Column, float]]) -> dict[str, str | bytes]:
    """A site, equipment, blower table, gauge, visits and work for each change, which stands in one value of it."""
    files: dict[str, str | bytes] = {}
    for name, plain in ROWS.items():
        names = list(dict.fromkeys([*plain, *(c.name for t, c, _ in changes if t.name == name)]))
        lines = [",".join(names)]
        for i, (table, column, value) in enumerate(changes):
            row = {n: v.format(i=i) for n, v in plain.items()}
            if table.name == name:
                row[column.name] = repr(value)
            lines += [",".join(again.get(n, "") for n in names) for again in _copies(name, row)]
        files[f"{name}.csv"] = "\n".join(dict.fromkeys(lines)) + "\n"
    return files


def _copies(name: str, row: dict[str, str]) -> Iterator[dict[str, str]]:
    """Four visits, so that they have a level; three points of a blower table."""
    yield row
    for n in range(3):
        if name == "visits":
            yield row | {
                "visit_id": f"{row['visit_id']}-{n}",
                "visited_at": f"202{n}-03-0{n + 2}T08:00:00-05:00",
            }
        elif name == "blower_tables" and n < 2:
            yield row | {"external_static_inwc": str(0.6 + n), "airflow_cfm": str(1100 - n), "power_w": ""}


# As some write what they do not know, and beyond; each beside a little air and much.
SENSELESS = [
    f"{reading},{other},{airflow}"
    for reading in ("-999999", "-99999999", "1e19", "-1e20")
    for other in ("0.31", "99999999")
    for airflow in (1, 600, 50000)
]


def test_no_number_that_is_taken_stops_a_run(tmp_path: Path) -> None:
    changes = [(t, c, value) for t, c in NUMBERS for value in _edges(c)]
    visits = f"{VISIT_COLUMNS},airflow_cfm\n" + "".join(
        f"Z{i},S0,E0,T1,2025-03-01T08:00:00-05:00,cooling,{row}\n" for i, row in enumerate(SENSELESS)
    )
    drop = write_drop(tmp_path / "drop", _files(changes) | {"visits_senseless.csv": visits})
    runner.run_drops([drop], tmp_path / "into", today=FIELD_TODAY, direct=True)
    with duckdb.connect(str(tmp_path / "into" / "fleet.duckdb"), read_only=True) as con:
        assert con.sql("SELECT count(*) FROM rejected_row").fetchall() == [(0,)]
        assert con.sql("SELECT count(*) FROM visit_static").fetchall() == [
            (4 * len(changes) + len(SENSELESS),)
        ]
        numbers = con.sql(
            "SELECT table_name, column_name FROM duckdb_columns() WHERE data_type = 'DOUBLE' AND NOT internal "
            "AND schema_name = 'main'"
        ).fetchall()
        odd = [
            (table, column)
            for table, column in numbers
            if con.sql(f'SELECT count(*) FROM "{table}" WHERE NOT isfinite("{column}")').fetchall() != [(0,)]
        ]
        assert odd == []


@pytest.mark.parametrize(
    ("table", "column"), [(t, c) for t, c in NUMBERS if c.bounded], ids=lambda x: str(x.name)
)
def test_a_number_beyond_its_bounds_is_rejected_by_line_and_column(
    tmp_path: Path, table: Table, column: Column
) -> None:
    beyond = [column.lowest - 1e-7, column.highest * 1.001, *([1e-300] if column.or_zero else [])]
    changes = [(BY_NAME["work"], BY_NAME["work"].column("cost"), 1.0)]
    drop = _files([*changes, *((table, column, value) for value in beyond)])
    store = Store(tmp_path / "into")
    store.run(write_drop(tmp_path / "drop", drop))
    name = f"{table.name}.csv"
    said = [m for m in store.said if m.startswith(name) and "[bad_number]" in m]
    lines = [line.split(",") for line in str(drop[name]).splitlines()]
    place = lines[0].index(column.name)
    found = set()
    for message in said:
        line = int(message.split(":")[1])
        text = lines[line - 1][place]
        assert (
            message == f"{name}:{line}: {column.name} holds '{text}', expected {column.expected} [bad_number]"
        )
        found.add(float(text))
    assert found == set(beyond)


def test_bounds_are_those_of_what_the_mapping_makes_of_a_value(tmp_path: Path) -> None:
    mapping = tmp_path / "m.toml"
    mapping.write_text('[units.sites]\nelevation_ft = "m"\n')
    store = Store(tmp_path / "into")
    sites = "site_id,branch,elevation_ft\nS1,North,6096\nS2,North,6097\n"
    store.run(write_drop(tmp_path / "drop", {"sites.csv": sites}), mapping=mapping)
    assert store.rows("SELECT site_id, elevation_ft FROM site") == [("S1", pytest.approx(20000))]
    assert store.said == [
        "sites.csv:3: elevation_ft holds '6097', expected a number from -1500 to 20000 (ft) once it is converted "
        "from m [bad_number]"
    ]


@pytest.mark.parametrize("column", READINGS)
@pytest.mark.parametrize("value", ["1.23457E+15", "-7", "9e18"])
def test_a_reading_is_left_to_the_checks_however_large(tmp_path: Path, column: str, value: str) -> None:
    more = "" if column in VISIT_COLUMNS else f",{column}"
    values = ["V1", "S1", "E1", "T1", "2026-03-01T08:00:00-05:00", "cooling", "-0.22", "0.31"]
    if more:
        values.append(value)
    else:
        values[VISIT_COLUMNS.split(",").index(column)] = value
    visits = f"{VISIT_COLUMNS}{more}\n{','.join(values)}\n"
    store = Store(tmp_path / "into")
    store.run(write_drop(tmp_path / "drop", SOUND | {"visits.csv": visits}))
    assert store.rows(f"SELECT {column} FROM visit") == [(float(value),)]
    assert store.rows("SELECT count(*) FROM rejected_row") == [(0,)]
