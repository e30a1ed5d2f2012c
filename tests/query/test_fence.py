"""An analyst may try anything: no attempt reads or writes a file, reaches Python, changes a setting or a table.

Every attempt is made twice: through the door, and on the door's connection itself, past the check of the statement.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Iterator
from pathlib import Path

import duckdb
import polars as pl
import pytest

from pipeline.errors import UsageError
from pipeline.query import Door

CANARY = "canary 7f3a"

READS = (
    "SELECT * FROM read_csv('{folder}/secret.csv')",
    "SELECT * FROM read_csv_auto('{folder}/secret.csv')",
    "SELECT * FROM read_text('{folder}/secret.csv')",
    "SELECT * FROM read_blob('{folder}/secret.csv')",
    "SELECT * FROM read_json('{folder}/secret.json')",
    "SELECT * FROM read_ndjson_objects('{folder}/secret.json')",
    "SELECT * FROM read_parquet('{folder}/secret.parquet')",
    "SELECT * FROM parquet_metadata('{folder}/secret.parquet')",
    "SELECT * FROM parquet_kv_metadata('{folder}/secret.parquet')",
    "SELECT * FROM parquet_schema('{folder}/secret.parquet')",
    "SELECT * FROM sniff_csv('{folder}/secret.csv')",
    "SELECT * FROM glob('{folder}/*')",
    "SELECT * FROM read_duckdb('{folder}/secret.duckdb', table_name = 'secret')",
    "SELECT * FROM read_blob('{published}')",
    "SELECT * FROM read_text('/proc/self/environ')",
    "SELECT * FROM '{folder}/secret.csv'",
    "SELECT * FROM '{folder}/secret.parquet'",
    "SELECT * FROM '{folder}/secret.json'",
    'SELECT * FROM "{folder}/secret.csv"',
    "SELECT * FROM read_parquet('http://127.0.0.1:9/secret.parquet')",
    "SELECT * FROM query_table('{folder}/secret.csv')",
    "SELECT * FROM query('SELECT * FROM read_text(''{folder}/secret.csv'')')",
    "SELECT * FROM json_execute_serialized_sql(json_serialize_sql("
    "'SELECT * FROM read_text(''{folder}/secret.csv'')'))",
    "SELECT getenv('FLEET_CANARY')",
    "SELECT * FROM which_secret('s3://bucket/x', 's3')",
    "SELECT * FROM duckdb_extensions()",
    "SELECT * FROM secret_frame",
    "SELECT * FROM secret_table",
    "SELECT * FROM python_arrow_scan(0, 0, 0)",
    "SELECT * FROM pandas_scan(0)",
    "SELECT * FROM arrow_scan(0, 0, 0)",
    "SELECT * FROM python_map_function((SELECT 1))",
    "COPY site FROM '{folder}/secret.csv'",
    "IMPORT DATABASE '{folder}'",
    "EXPLAIN ANALYZE SELECT * FROM read_text('{folder}/secret.csv')",
)
WRITES = (
    "COPY site TO '{folder}/new.csv'",
    "COPY (SELECT 1) TO '{folder}/new.parquet' (FORMAT parquet)",
    "COPY (SELECT 1) TO '/dev/stdout'",
    "EXPLAIN ANALYZE COPY site TO '{folder}/new.csv'",
    "SELECT * FROM query('COPY site TO ''{folder}/new.csv''')",
    "EXPORT DATABASE '{folder}/new'",
    "ATTACH '{folder}/new.duckdb'",
    "ATTACH '{folder}/secret.duckdb' AS other (READ_ONLY)",
    "ATTACH '{published}' AS again",
    "INSTALL httpfs",
    "FORCE INSTALL httpfs FROM core_nightly",
    "LOAD httpfs",
    "LOAD '{folder}/secret.csv'",
    "SELECT * FROM enable_logging(storage = 'file', storage_config = {{'path': '{folder}/new'}})",
    "CALL enable_logging('QueryLog', storage = 'file', storage_config = {{'path': '{folder}/new'}})",
    "SELECT * FROM enable_profiling(save_location = '{folder}/new.json')",
    "PRAGMA enable_profiling = 'json'",
    "SET profiling_output = '{folder}/new.json'",
    "CREATE PERSISTENT SECRET s (TYPE http, BEARER_TOKEN 'x')",
)
CHANGES = (
    "CREATE TABLE new AS SELECT 1",
    "CREATE VIEW new AS SELECT 1",
    "CREATE MACRO fleet.main.tesp(a, b) AS 0",
    "INSERT INTO site (site_id) VALUES ('S-new')",
    "WITH new AS (INSERT INTO site (site_id) VALUES ('S-new') RETURNING *) SELECT * FROM new",
    "UPDATE site SET branch = 'x'",
    "DELETE FROM finding",
    "TRUNCATE finding",
    "MERGE INTO site USING (SELECT 'S-new' AS site_id) AS n USING (site_id) WHEN NOT MATCHED THEN INSERT BY NAME",
    "DROP TABLE site",
    "DROP MACRO tesp",
    "ALTER TABLE site ADD COLUMN x INTEGER",
    "COMMENT ON TABLE site IS 'x'",
)
LOCKED = (
    "SET memory_limit = '64GB'",
    "RESET memory_limit",
    "SET GLOBAL threads = 64",
    "SET enable_external_access = true",
    "RESET enable_external_access",
    "SET disabled_filesystems = ''",
    "SET lock_configuration = false",
    "SET python_enable_replacements = true",
    "SET allowed_directories = ['{folder}']",
    "SET temp_directory = '{folder}/new'",
    "SET TimeZone = 'America/New_York'",
    "PRAGMA memory_limit = '64GB'",
    "PRAGMA enable_progress_bar",
    "PRAGMA threads = 64",
)
ATTEMPTS = (*READS, *WRITES, *CHANGES, *LOCKED)
# Steps that are harmless one by one; together they once made the publication writable.
TOGETHER = ("USE memory", "DETACH fleet", "ATTACH '{published}' AS w", "DELETE FROM w.site", "CHECKPOINT w")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Files that an attempt may try to read; nothing may be added."""
    made = tmp_path_factory.mktemp("secret")
    frame = pl.DataFrame({"secret": [CANARY]})
    frame.write_csv(made / "secret.csv")
    frame.write_ndjson(made / "secret.json")
    frame.write_parquet(made / "secret.parquet")
    with duckdb.connect(str(made / "secret.duckdb")) as con:
        con.execute(f"CREATE TABLE secret AS SELECT '{CANARY}' AS secret")
    return made


@pytest.fixture
def watched(small_file: Path, folder: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Whatever is attempted: the publication, its folder and the folder of secrets stay as they were."""
    monkeypatch.setenv("FLEET_CANARY", CANARY)
    monkeypatch.chdir(folder)
    before = _state(small_file, folder)
    yield
    assert _state(small_file, folder) == before


def _state(published: Path, folder: Path) -> tuple[object, ...]:
    names = sorted(os.listdir(folder)), sorted(os.listdir(published.parent))
    return *names, hashlib.sha256(published.read_bytes()).hexdigest()


def _filled(attempt: str, published: Path, folder: Path) -> str:
    return attempt.format(folder=folder, published=published)


def test_there_are_enough_attempts() -> None:
    assert len(set(ATTEMPTS)) == len(ATTEMPTS) >= 40


@pytest.mark.usefixtures("watched")
@pytest.mark.parametrize("attempt", ATTEMPTS)
def test_the_door_refuses(door: Door, small_file: Path, folder: Path, attempt: str) -> None:
    query = _filled(attempt, small_file, folder)
    said, error = _tried(lambda: [p.to_pylist() for p in door.ask(query).parts], UsageError)
    assert error or said in ([], [[]]), said  # an empty answer tells nothing either
    assert CANARY not in error


@pytest.mark.usefixtures("watched")
@pytest.mark.parametrize("attempt", ATTEMPTS)
def test_the_connection_refuses_what_the_door_would_let_pass(
    door: Door, small_file: Path, folder: Path, attempt: str
) -> None:
    secret_frame = pl.DataFrame({"secret": [CANARY]})
    secret_table = secret_frame.to_arrow()
    settings, query = _settings(door), _filled(attempt, small_file, folder)
    try:
        said, error = door.con.execute(query).fetchall(), ""
    except duckdb.Error as raised:
        said, error = [], str(raised)
    assert CANARY not in error
    assert error or said in ([], [(True,)]), said
    assert error or attempt not in (*CHANGES, *LOCKED)
    assert _settings(door) == settings
    assert len(secret_frame) == len(secret_table)


@pytest.mark.usefixtures("watched")
def test_steps_together_do_not_open_the_publication(door: Door, small_file: Path, folder: Path) -> None:
    refused = 0
    for step in TOGETHER:
        try:
            door.con.execute(_filled(step, small_file, folder))
        except duckdb.Error:
            refused += 1
    assert refused >= 3


def test_the_secrets_are_there_for_one_who_may_read_them(folder: Path) -> None:
    """The attempts fail because of the fence, not for want of something to find."""
    secret_frame = pl.DataFrame({"secret": [CANARY]})
    secret_table = secret_frame.to_arrow()
    with duckdb.connect() as con:
        for name in ("secret.csv", "secret.json", "secret.parquet"):
            assert con.execute(f"SELECT secret FROM '{folder / name}'").fetchall() == [(CANARY,)]
        for name in ("secret_frame", "secret_table"):
            assert con.execute(f"SELECT secret FROM {name}").fetchall() == [(CANARY,)]
    assert len(secret_frame) == len(secret_table) == 1


def _tried(attempt: Callable[[], list[object]], refusal: type[Exception]) -> tuple[list[object], str]:
    """What an attempt gave, and the message if it was refused."""
    try:
        return attempt(), ""
    except refusal as error:
        return [], str(error)


def _settings(door: Door) -> list[tuple[object, ...]]:
    return door.con.execute("SELECT name, value FROM duckdb_settings() ORDER BY name").fetchall()
