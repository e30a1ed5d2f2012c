"""The catalog and a publication say the same: columns, types, words, keys, what is never NULL."""

from __future__ import annotations

import shutil
import tomllib
from collections.abc import Iterator
from pathlib import Path

import duckdb
import pytest

from pipeline.catalog import TableEntry, all_tables, table_entry
from pipeline.catalog.dictionary import all_macros, dictionary
from pipeline.catalog.entries import TABLES_DIR, column_entry
from pipeline.catalog.page import page
from pipeline.errors import StageError
from pipeline.publish import OPTIONAL, PUBLISHED
from tests.conftest import FIELD_TODAY, run_stages

ROOT = Path(__file__).resolve().parents[2]


PUBLICATIONS = ("small_file", "demo_file", "field_file")


@pytest.fixture(scope="module")
def published(demo_file: Path) -> duckdb.DuckDBPyConnection:
    """A publication, opened as any DuckDB client opens it."""
    return duckdb.connect(str(demo_file), read_only=True)


def test_the_catalog_and_the_list_of_published_tables_name_the_same() -> None:
    assert set(all_tables()) == set(PUBLISHED)
    assert {name for name, entry in all_tables().items() if entry.optional} == OPTIONAL


@pytest.mark.parametrize("fleet", PUBLICATIONS)
def test_a_publication_is_as_the_catalog_says(request: pytest.FixtureRequest, fleet: str) -> None:
    with duckdb.connect(str(request.getfixturevalue(fleet)), read_only=True) as con:
        assert _tables(con) | OPTIONAL == set(PUBLISHED)
        assert _differences(con) == []


@pytest.mark.slow
def test_a_gated_run_publishes_every_table(small_file: Path, tmp_path: Path) -> None:
    published = run_stages([small_file.parents[1] / "drop"], tmp_path, FIELD_TODAY, without=("report",))
    with duckdb.connect(str(published), read_only=True) as con:
        assert _tables(con) == set(PUBLISHED)
        assert _differences(con) == []


def test_a_difference_is_seen(demo_file: Path, tmp_path: Path) -> None:
    shutil.copy(demo_file, tmp_path / "fleet.duckdb")
    with duckdb.connect(str(tmp_path / "fleet.duckdb")) as con:
        con.execute("ALTER TABLE site ADD COLUMN colour VARCHAR")
        con.execute("ALTER TABLE work ALTER cost TYPE FLOAT")
        con.execute(
            "INSERT INTO check_catalog BY NAME SELECT * FROM check_catalog WHERE check_id = 'zero_stale'"
        )
        con.execute(
            "UPDATE site_static SET static_state = 'fine', n_visits = NULL WHERE equipment_id = 'E01'"
        )
        said = "\n".join(_differences(con))
    assert "site: columns" in said
    assert "work: columns" in said
    assert "check_catalog: key check_id is not unique" in said
    assert "site_static.static_state holds fine" in said
    assert "site_static.n_visits is NULL" in said


def _tables(con: duckdb.DuckDBPyConnection) -> set[str]:
    return set(_comments(con))


def _comments(con: duckdb.DuckDBPyConnection) -> dict[str, str]:
    """What is said of each table, and of each view that is published as one."""
    return dict(
        con.sql(
            "SELECT table_name, comment FROM duckdb_tables() WHERE schema_name = 'main' "
            "UNION ALL SELECT view_name, comment FROM duckdb_views() WHERE NOT internal"
        ).fetchall()
    )


def _differences(con: duckdb.DuckDBPyConnection) -> list[str]:
    """What a publication has otherwise than the catalog says: columns, types, keys, words, NULLs without a meaning."""
    return [said for name in sorted(_tables(con)) for said in _of_table(con, table_entry(name))]


def _of_table(con: duckdb.DuckDBPyConnection, entry: TableEntry) -> Iterator[str]:
    name = entry.name
    there = con.execute(
        "SELECT column_name, data_type FROM duckdb_columns() "
        "WHERE schema_name = 'main' AND table_name = ? ORDER BY column_index",
        [name],
    ).fetchall()
    stated = [(c.name, c.type) for c in entry.columns]
    if there != stated:
        yield f"{name}: columns {set(there) ^ set(stated) or 'in another order'}"
    key = ", ".join(entry.key)
    if key and con.sql(f'SELECT 1 FROM "{name}" GROUP BY {key} HAVING count(*) > 1').fetchall():
        yield f"{name}: key {key} is not unique"
    for column in entry.columns:
        values = f'FROM "{name}" WHERE "{column.name}"'
        if not column.empty and con.sql(f"SELECT 1 {values} IS NULL LIMIT 1").fetchall():
            yield f"{name}.{column.name} is NULL, and the catalog does not say what that means"
        if column.words:
            held = con.sql(f'SELECT DISTINCT "{column.name}" {values} IS NOT NULL').fetchall()
            if strange := {word for (word,) in held} - set(column.words):
                yield f"{name}.{column.name} holds {', '.join(sorted(strange))}"


def test_every_table_and_column_carries_its_comment(published: duckdb.DuckDBPyConnection) -> None:
    tables = _comments(published)
    assert tables == {name: table_entry(name).comment for name in tables}
    columns = published.sql(
        "SELECT table_name, column_name, comment FROM duckdb_columns() WHERE NOT internal AND schema_name = 'main'"
    ).fetchall()
    assert len(columns) > 300
    for table, column, comment in columns:
        assert comment == table_entry(table).column(column).comment


def test_every_macro_carries_its_comment(published: duckdb.DuckDBPyConnection) -> None:
    rows = published.sql(
        "SELECT function_name, comment FROM duckdb_functions() WHERE NOT internal"
    ).fetchall()
    said = {name: comment for name, comment in rows if not name.startswith("_")}
    assert set(said) == {m.name for m in all_macros()}
    for macro in all_macros():
        assert said[macro.name].startswith(macro.meaning)


def test_the_published_dictionary_is_the_catalog(published: duckdb.DuckDBPyConnection) -> None:
    names = _tables(published)
    ordered = [name for name in PUBLISHED if name in names]
    assert published.sql("FROM dictionary").pl().equals(dictionary(ordered))


def test_units_follow_the_suffixes() -> None:
    """`_inwc`, `_cfm`, `_w`, `_pct`, `_ft` say the unit (data contract): no other in the catalog."""
    units = {"inwc": "in. w.c.", "cfm": "cfm", "w": "W", "pct": "%", "ft": "ft", "rate": "share"}
    for entry in all_tables().values():
        for column in entry.columns:
            unit = units.get(column.name.rsplit("_", 1)[-1])
            if unit and column.type == "DOUBLE" and "_per_" not in column.name:
                assert column.unit == unit, f"{entry.name}.{column.name}"
            if column.unit:
                assert column.type in ("DOUBLE", "BIGINT", "TINYINT"), f"{entry.name}.{column.name}"
            if column.type == "DOUBLE":
                assert column.unit, f"{entry.name}.{column.name}: a number without its unit"


def test_the_dictionary_page_is_up_to_date() -> None:
    said = (ROOT / "docs" / "dictionary.md").read_text(encoding="utf-8")
    assert said == page(PUBLISHED), "run: python -m pipeline.catalog > docs/dictionary.md"


def test_meanings_are_stated_once() -> None:
    """What another table has too is taken from there, not written again; input columns are never written here."""
    written: dict[str, str] = {}
    for path in sorted(TABLES_DIR.glob("*.toml")):
        stated = tomllib.loads(path.read_text(encoding="utf-8"))
        assert ("input" in stated) != ("columns" in stated), path.name
        for name, fields in stated.get("columns", {}).items():
            if "from" not in fields:
                other = written.setdefault(f"{name}: {fields}", path.stem)
                assert other == path.stem, f"{path.stem}.{name} repeats {other}.{name}"


def test_the_tables_made_by_hand_for_the_reports_are_part_of_the_catalog() -> None:
    with duckdb.connect() as con:
        con.execute((ROOT / "tests" / "reports" / "published_tables.sql").read_text(encoding="utf-8"))
        made = con.sql(
            "SELECT table_name, column_name FROM duckdb_columns() WHERE schema_name = 'main' AND NOT internal"
        ).fetchall()
    known = {(entry.name, column.name) for entry in all_tables().values() for column in entry.columns}
    assert len(made) > 300
    assert set(made) - known == set()


def test_a_field_or_column_that_does_not_exist_is_named() -> None:
    with pytest.raises(StageError, match=r"visit\.x has unknown fields: unti"):
        column_entry("visit", "x", {"type": "DOUBLE", "meaning": "x", "unti": "in. w.c."})
    with pytest.raises(StageError, match=r"visit\.x lacks type, meaning"):
        column_entry("visit", "x", {"unit": "in. w.c."})
    with pytest.raises(StageError, match=r"no column site\.tesp"):
        table_entry("site").column("tesp")
    with pytest.raises(StageError, match="entry of the table nowhere"):
        table_entry("nowhere")


def test_an_entry_that_lacks_its_key_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "branch_motor.toml").write_text('meaning = "x"\n[columns]\n', encoding="utf-8")
    monkeypatch.setattr("pipeline.catalog.entries.TABLES_DIR", tmp_path)
    with pytest.raises(StageError, match="entry of the table branch_motor lacks key"):
        table_entry("branch_motor")


def test_a_key_is_made_of_columns() -> None:
    for entry in all_tables().values():
        assert isinstance(entry, TableEntry)
        assert set(entry.key) <= {c.name for c in entry.columns}, entry.name
