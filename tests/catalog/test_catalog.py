"""The catalog and a publication say the same: columns, types, words, keys, what is never NULL."""

from __future__ import annotations

import tomllib
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


@pytest.fixture(scope="module")
def gated_file(small_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small fleet again, with what the gate and the suite of checks publish."""
    drop = small_file.parents[1] / "drop"
    return run_stages([drop], tmp_path_factory.mktemp("gated"), FIELD_TODAY, without=("report",))


@pytest.fixture(scope="module", params=["gated_file", "field_file"])
def published(request: pytest.FixtureRequest) -> duckdb.DuckDBPyConnection:
    """Two publications, opened as any DuckDB client opens them."""
    return duckdb.connect(str(request.getfixturevalue(request.param)), read_only=True)


def test_the_catalog_and_the_list_of_published_tables_name_the_same() -> None:
    assert set(all_tables()) == set(PUBLISHED)
    assert {name for name, entry in all_tables().items() if entry.optional} == OPTIONAL


def test_a_gated_run_publishes_every_table(gated_file: Path) -> None:
    with duckdb.connect(str(gated_file), read_only=True) as con:
        assert {r[0] for r in con.sql("SELECT table_name FROM duckdb_tables()").fetchall()} == set(PUBLISHED)


@pytest.mark.parametrize("name", PUBLISHED)
def test_columns_and_types_are_as_the_catalog_says(published: duckdb.DuckDBPyConnection, name: str) -> None:
    there = _columns(published, name)
    if there or name not in OPTIONAL:
        assert there == [(c.name, c.type) for c in table_entry(name).columns]


@pytest.mark.parametrize("name", PUBLISHED)
def test_keys_are_unique(published: duckdb.DuckDBPyConnection, name: str) -> None:
    entry = table_entry(name)
    if entry.key and _columns(published, name):
        key = ", ".join(entry.key)
        twice = f'SELECT {key}, count(*) FROM "{name}" GROUP BY ALL HAVING count(*) > 1'
        assert published.sql(twice).fetchall() == []


@pytest.mark.parametrize("name", PUBLISHED)
def test_null_only_where_the_catalog_says_what_it_means(
    published: duckdb.DuckDBPyConnection, name: str
) -> None:
    if not _columns(published, name):
        return
    for column in table_entry(name).columns:
        if not column.empty:
            nulls = published.sql(f'SELECT count(*) FROM "{name}" WHERE "{column.name}" IS NULL').fetchall()
            assert nulls == [(0,)], column.name


@pytest.mark.parametrize("name", PUBLISHED)
def test_no_word_beyond_the_catalog(published: duckdb.DuckDBPyConnection, name: str) -> None:
    if not _columns(published, name):
        return
    for column in table_entry(name).columns:
        if column.words:
            rows = published.sql(f'SELECT DISTINCT "{column.name}" FROM "{name}"').fetchall()
            assert {r[0] for r in rows} - {None} <= set(column.words), column.name


def test_every_table_and_column_carries_its_comment(published: duckdb.DuckDBPyConnection) -> None:
    tables = dict(published.sql("SELECT table_name, comment FROM duckdb_tables()").fetchall())
    assert tables == {name: table_entry(name).comment for name in tables}
    columns = published.sql(
        "SELECT table_name, column_name, comment FROM duckdb_columns() WHERE NOT internal"
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
    names = [r[0] for r in published.sql("SELECT table_name FROM duckdb_tables()").fetchall()]
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


def test_a_field_or_column_that_does_not_exist_is_named() -> None:
    with pytest.raises(StageError, match=r"visit\.x has unknown fields: unti"):
        column_entry("visit", "x", {"type": "DOUBLE", "meaning": "x", "unti": "in. w.c."})
    with pytest.raises(StageError, match=r"no column site\.tesp"):
        table_entry("site").column("tesp")
    with pytest.raises(StageError, match="entry of the table nowhere"):
        table_entry("nowhere")


def _columns(con: duckdb.DuckDBPyConnection, name: str) -> list[tuple[str, str]]:
    return con.execute(
        "SELECT column_name, data_type FROM duckdb_columns() WHERE table_name = ? ORDER BY column_index",
        [name],
    ).fetchall()


def test_a_key_is_made_of_columns() -> None:
    for entry in all_tables().values():
        assert isinstance(entry, TableEntry)
        assert set(entry.key) <= {c.name for c in entry.columns}, entry.name
