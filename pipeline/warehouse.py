"""The only module that opens a DuckDB file: the work file, running an .sql file, a publication for those who read it.

What belongs here: connections, locks, transactions, error messages that quote the file and the SQL.
What does not: any SQL that computes something (that lives in `sql/`), the order of stages (`stages.py`), or writing the
published file (`publish.py`).
"""

from __future__ import annotations

import copy
import fcntl
import hashlib
import os
import re
import socket
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

import duckdb
import polars as pl

from pipeline.errors import StageError, UsageError
from pipeline.imports import make_polars_ready
from pipeline.settings import Settings

SQL_DIR = Path(__file__).resolve().parent.parent / "sql"

# What a publication, attached as `fleet`, offers: some tables may be views there, on rows in a schema of their own.
TABLES = """
SELECT table_name, comment FROM duckdb_tables() WHERE database_name = 'fleet' AND schema_name = 'main'
UNION ALL
SELECT view_name, comment FROM duckdb_views()
WHERE database_name = 'fleet' AND schema_name = 'main' AND NOT internal
"""
# In a work file: of which macros it holds those. Looking for them, and making them again, takes a tenth of a second.
MACROS_AS_OF = "staging.macros_as_of"
TEMPORARY = re.compile(r"\bTEMP(?:ORARY)?\s+(TABLE|VIEW)\b", re.IGNORECASE)


def literal(text: object) -> str:
    """A text, or a path, as an SQL string."""
    return "'" + str(text).replace("'", "''") + "'"


def quoted(name: str) -> str:
    """A table by its name, with its schema before it where that is not main, as `Warehouse.relations` names it."""
    return ".".join(f'"{part}"' for part in name.split("."))


def differing(one: str, other: str) -> str:
    """A query of the rows that one of two queries finds and the other does not."""
    return f"(({one}) EXCEPT ({other})) UNION ALL (({other}) EXCEPT ({one}))"


@cache
def macros_sha256() -> str:
    """Changes with every sign of `sql/macros/`."""
    texts = (file.read_bytes() for file in sorted((SQL_DIR / "macros").glob("*.sql")))
    return hashlib.sha256(b"\0".join(texts)).hexdigest()


class Warehouse:
    """One read-write connection to a work file, with settings as variables, macros and functions loaded."""

    def __init__(self, path: Path | str = ":memory:", settings: Settings | None = None) -> None:
        self.path = path
        self.settings = settings or Settings()
        self._variables: dict[str, tuple[object, str]] = {}
        self._makes_elsewhere = False  # are tables made in another database than the work file's?
        self.con = self._open()

    def _open(self) -> duckdb.DuckDBPyConnection:
        from pipeline import functions  # brings scipy, which a reader of a publication does without

        make_polars_ready()

        is_new = str(self.path) == ":memory:" or not Path(self.path).exists()
        con = duckdb.connect(str(self.path))
        con.execute("SET preserve_insertion_order = true")
        con.execute("SET enable_progress_bar = false")
        # A checkpoint would merge the last, part-filled row group of every large file by writing the table anew.
        con.execute("SET max_vacuum_tasks = 0")
        _bound_memory(con, self.settings["memory_limit_gb"])
        functions.register(con)
        self._begin_session(con)
        if is_new or not self.holds_macros():
            self.add_macros(over_others=not is_new)
        return con

    def _begin_session(self, con: duckdb.DuckDBPyConnection) -> None:
        """Use this connection, with what every connection has of its own: time zone and variables."""
        self.con = con
        own = [f"SET VARIABLE {s.name} = CAST({s.value!r} AS DOUBLE)" for s in self.settings.rows()]
        con.execute("; ".join(["SET TimeZone = 'UTC'", *own]))
        for name, (value, sql_type) in self._variables.items():
            self.set_variable(name, value, sql_type)

    @contextmanager
    def beside(self) -> Iterator[Warehouse]:
        """The open file by a second connection, for another thread: with its own transactions and temporary tables."""
        other = copy.copy(self)
        other._variables = dict(self._variables)
        other._begin_session(self.con.cursor())
        try:
            yield other
        finally:
            other.close()

    def _macros(self) -> list[tuple[str, str]]:
        """Kind (MACRO or MACRO TABLE) and name of the macros that the database in use holds."""
        return self.con.sql(
            "SELECT DISTINCT if(function_type = 'table_macro', 'MACRO TABLE', 'MACRO'), function_name "
            "FROM duckdb_functions() WHERE NOT internal AND database_name = current_database() "
            "AND function_type IN ('macro', 'table_macro')"
        ).fetchall()

    def holds_macros(self) -> bool:
        """Does the work file say that it holds the macros of `sql/macros/` as they are now?"""
        try:
            return self.con.sql(f"SELECT sha256 FROM {MACROS_AS_OF}").fetchall() == [(macros_sha256(),)]
        except duckdb.Error:
            return False

    def say_macros(self) -> None:
        """Write down that the work file holds the macros as they are now: opening it again need not make them."""
        if not self.holds_macros():
            self.execute(
                f"CREATE OR REPLACE TABLE {MACROS_AS_OF} AS SELECT {literal(macros_sha256())} AS sha256"
            )

    def add_macros(self, over_others: bool = True) -> None:
        """Put the macros of `sql/macros/`, and no others, into the database in use; one commit, not one a file.

        `over_others`: it may hold some already.
        """
        with self.transaction():
            for kind, name in self._macros() if over_others else ():
                self.execute(f'DROP {kind} "{name}"')
            for file in sorted((SQL_DIR / "macros").glob("*.sql")):
                said = f"macros/{file.name}"
                for statement in self._statements(file.read_text(encoding="utf-8"), said):
                    self._execute(statement, said)

    def set_variable(self, name: str, value: object, sql_type: str) -> None:
        """Make `value` readable in SQL as getvariable('name'), also after the file was closed and opened again."""
        self._variables[name] = (value, sql_type)
        self.con.execute(f"SET VARIABLE {name} = CAST(? AS {sql_type})", [str(value)])

    def variables(self) -> dict[str, tuple[object, str]]:
        """What `set_variable` made readable: name -> value and SQL type."""
        return dict(self._variables)

    def run(self, name: str) -> None:
        """Run every statement of `sql/<name>` in one transaction."""
        text = (SQL_DIR / name).read_text(encoding="utf-8")
        with self.transaction():
            for statement in self._statements(text, name):
                self._execute(statement, name)

    def run_in_transaction(self, name: str, sql: str) -> None:
        """Run one statement made from the file `sql/<name>`, inside the caller's transaction."""
        self._execute(sql, name)

    def _statements(self, text: str, name: str) -> list[str]:
        try:
            return [s.query for s in self.con.extract_statements(text)]
        except duckdb.Error as error:
            raise StageError(f"sql/{name} cannot be parsed: {error}") from error

    def _execute(self, sql: str, name: str) -> None:
        if self._makes_elsewhere:
            sql = TEMPORARY.sub(r"\1", sql)
        try:
            self.con.execute(sql)
        except duckdb.Error as error:
            raise StageError(f"sql/{name} broke: {error}\n--- the statement was:\n{sql.strip()}") from error

    def execute(self, sql: str, parameters: object = None) -> None:
        """Run one statement that does not come from a file (kept for plumbing: attach, drop, insert)."""
        try:
            self.con.execute(sql, parameters) if parameters is not None else self.con.execute(sql)
        except duckdb.Error as error:
            raise StageError(f"{error}\n--- the statement was:\n{sql.strip()}") from error

    def query(self, sql: str) -> pl.DataFrame:
        """The rows of a query as a Polars frame."""
        try:
            frame: pl.DataFrame = self.con.sql(sql).pl()
            return frame
        except duckdb.Error as error:
            raise StageError(f"{error}\n--- the query was:\n{sql.strip()}") from error

    def scalar(self, sql: str) -> Any:
        """The first column of the first row, or None where there is no row."""
        rows = self.con.sql(sql).limit(1).fetchall()
        return rows[0][0] if rows else None

    def store(self, name: str, frame: pl.DataFrame, *, temporary: bool = False) -> None:
        """CREATE OR REPLACE TABLE `name` from a Polars frame."""
        kind = "TEMP TABLE" if temporary and not self._makes_elsewhere else "TABLE"
        self.con.register("_frame", frame)
        try:
            self.execute(f'CREATE OR REPLACE {kind} "{name}" AS SELECT * FROM _frame')
        finally:
            self.con.unregister("_frame")

    def tables(self) -> set[str]:
        """Names of the base tables that exist in the work file, or temporarily."""
        rows = self.con.sql(
            "SELECT table_name FROM duckdb_tables() "
            "WHERE NOT internal AND database_name IN (current_database(), 'temp')"
        ).fetchall()
        return {r[0] for r in rows}

    def relations(self, catalog: str | None = None) -> dict[str, str]:
        """TABLE or VIEW by name, with its schema before it where that is not main; of the work file, or a `catalog`."""
        of = "current_database()" if catalog is None else f"'{catalog}'"
        rows = self.con.sql(
            "SELECT if(schema_name = 'main', '', schema_name || '.') || name, kind FROM ("
            "SELECT database_name, schema_name, table_name AS name, 'TABLE' AS kind, internal FROM duckdb_tables() "
            "UNION ALL SELECT database_name, schema_name, view_name, 'VIEW', internal FROM duckdb_views()) "
            f"WHERE database_name = {of} AND NOT internal ORDER BY ALL"
        ).fetchall()
        return dict(rows)

    def columns(self, relation: str) -> list[str]:
        """Names of the columns of a table or view, in order; `relation` as it would stand after FROM."""
        return [c[0] for c in self.con.sql(f"SELECT * FROM {relation} LIMIT 0").description or ()]

    def drop_all_but(self, kept: Collection[str], catalog: str | None = None) -> int:
        """Drop the tables and views that are not named (as `relations` names them); how many those were."""
        before = "" if catalog is None else f"{catalog}."
        others = {name: kind for name, kind in self.relations(catalog).items() if name not in kept}
        for name, kind in others.items():
            schema, _, short = name.rpartition(".")
            self.execute(f'DROP {kind} {before}{schema or "main"}."{short}"')
        return len(others)

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """BEGIN ... COMMIT; rolled back if anything raises."""
        self.con.execute("BEGIN TRANSACTION")
        try:
            yield
        except BaseException:
            self.con.execute("ROLLBACK")
            raise
        self.con.execute("COMMIT")

    @contextmanager
    def looking_first_at(self, *schemas: str, make_there: bool = False) -> Iterator[None]:
        """Names are looked for in these schemas of attached databases, in order.

        `make_there`: the first is also where tables are made, those that are temporary elsewhere too: temporary ones
        would hide all others.
        """
        home = self.scalar("SELECT current_database()")
        self.execute(f"SET search_path = '{','.join(schemas)}'")
        self._makes_elsewhere = make_there
        try:
            yield
        finally:
            self._makes_elsewhere = False
            self.execute(f"SET search_path = '{home}.main'")

    @contextmanager
    def released(self) -> Iterator[None]:
        """Close the connection for a while, so that another library may open the same file."""
        self.close()
        try:
            yield
        finally:
            self._open()

    def close(self) -> None:
        """Write everything to the file and close it."""
        self.con.close()

    def __enter__(self) -> Warehouse:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _bound_memory(con: duckdb.DuckDBPyConnection, limit_gb: float) -> None:
    """What DuckDB may hold before it spills: never more than it would take of this machine by itself."""
    if limit_gb > 0:
        own = con.sql("SELECT parse_formatted_bytes(current_setting('memory_limit'))").fetchall()[0][0]
        con.execute(f"SET memory_limit = '{int(min(limit_gb * 1e9, own))} bytes'")


@contextmanager
def folder_lock(into: Path) -> Iterator[None]:
    """Hold DIR for one run. A second run is told who holds it; the lock ends with its process, however it ends."""
    into.mkdir(parents=True, exist_ok=True)
    with (into / ".lock").open("a+", encoding="utf-8") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            file.seek(0)
            holder = file.read().strip() or "another process"
            raise UsageError(f"{into} is in use by {holder}; wait until that run has ended") from None
        file.truncate(0)
        file.write(f"process {os.getpid()} on {socket.gethostname()}")
        file.flush()
        yield


def attach_published(path: Path) -> duckdb.DuckDBPyConnection:
    """A published file attached read-only to an instance of its own, not fenced yet.

    Not `duckdb.connect(path)`: within one process that hands out the instance that has the path open already,
    locked as that one is, and still with the file that a run has replaced since.
    """
    if not path.exists():
        raise UsageError(
            f"{path} does not exist; publish one first with: fleet-static run DROP --into {path.parent}"
        )
    con = duckdb.connect(":memory:")
    try:
        con.execute(f"ATTACH {literal(path)} AS fleet (READ_ONLY)")
    except duckdb.Error as error:
        con.close()
        raise UsageError(f"{path} cannot be opened as a publication: {error}") from error
    con.execute("USE fleet")
    con.execute("SET GLOBAL TimeZone = 'UTC'")  # for its cursors, too
    con.execute("SET enable_progress_bar = false")
    return con


def fence(con: duckdb.DuckDBPyConnection) -> None:
    """Close every door of a connection but its tables: files, network, extensions, Python, settings."""
    con.execute("SET temp_directory = ''")
    con.execute("SET autoinstall_known_extensions = false")
    con.execute("SET autoload_known_extensions = false")
    con.execute("SET allow_community_extensions = false")
    con.execute("SET allow_persistent_secrets = false")
    con.execute("SET python_enable_replacements = false")
    con.execute("SET enable_external_access = false")
    # Without this the published file itself could be detached and attached again to be written.
    con.execute("SET disabled_filesystems = 'LocalFileSystem'")
    con.execute("SET lock_configuration = true")


def open_published(path: Path) -> duckdb.DuckDBPyConnection:
    """A read-only, fenced connection to a published file: no file access, no settings."""
    con = attach_published(path)
    fence(con)
    return con
