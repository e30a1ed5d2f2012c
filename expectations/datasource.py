"""Great Expectations on DuckDB through SQLAlchemy: a datasource and an engine of the project's own.

As shipped, the engine closes the connection before it fetches, and DuckDB's driver then has no rows: every
expectation ends in an exception that looks like a failure. Here the result is buffered inside the connection.
Importing this module imports Great Expectations (seconds): import it inside functions only.
"""

from __future__ import annotations

import os

os.environ["GX_ANALYTICS_ENABLED"] = "false"  # must stand before the import below

import builtins
import re
import time
from collections.abc import Callable
from contextlib import suppress
from typing import Any, ClassVar, Literal

import duckdb
import great_expectations as gx
import sqlalchemy as sa
from duckdb_engine import ConnectionWrapper
from great_expectations.data_context.types.base import DataContextConfig, InMemoryStoreBackendDefaults
from great_expectations.datasource.fluent import SQLDatasource
from great_expectations.execution_engine import SqlAlchemyExecutionEngine
from great_expectations.expectations import UnexpectedRowsExpectation

MARK = re.compile(r"/\* rule (\d+) \*/")


class ReadingConnection(ConnectionWrapper):  # type: ignore[misc]
    """Whoever asks a question changes nothing."""

    def begin(self) -> None:
        """Every transaction reads only."""
        self.execute("BEGIN TRANSACTION READ ONLY")


class DuckDBEngine(SqlAlchemyExecutionEngine):  # type: ignore[misc]
    """Buffers each result while its connection is open, and keeps how long each marked query took."""

    def __init__(self, *args: Any, set_up: list[str] | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.seconds: dict[int, float] = {}
        statements = "; ".join(set_up or ["SELECT 1"])

        def prepare(connection: Any, _: object) -> None:
            # Variables and the time zone belong to a connection, so each new one gets them.
            connection.cursor().execute(statements)

        sa.event.listen(self.engine, "connect", prepare)

    def execute_query(self, query: Any) -> Any:
        """The whole result, fetched before the connection goes back."""
        started = time.perf_counter()
        with self.get_connection() as connection:
            result = connection.execute(query).freeze()()
        if mark := MARK.search(str(query)):
            self.seconds[int(mark.group(1))] = time.perf_counter() - started
        return result


class DuckDBDatasource(SQLDatasource):  # type: ignore[misc]
    """A DuckDB file; `set_up` are statements that every connection runs first."""

    type: Literal["fleet_duckdb"] = "fleet_duckdb"
    set_up: list[str] = []  # noqa: RUF012 (a field of a pydantic model, copied for each instance)

    @property
    def execution_engine_type(self) -> builtins.type[DuckDBEngine]:
        return DuckDBEngine


class FailingRows(UnexpectedRowsExpectation):  # type: ignore[misc]
    """The query finds no rows. Counted in the database; the rows themselves are never fetched."""

    metric_dependencies: ClassVar[tuple[str, ...]] = ("unexpected_rows_query.row_count",)

    def _validate(self, metrics: dict[str, Any], *_: object, **__: object) -> dict[str, Any]:
        count = metrics["unexpected_rows_query.row_count"]
        return {"success": count == 0, "result": {"observed_value": count}}


def _marked(number: int, sql: str) -> str:
    """The query as the expectation wants it: a batch in a comment, braces and colons escaped."""
    escaped = sql.replace("{", "{{").replace("}", "}}").replace(":", "\\:")
    return f"/* rule {number} */ {escaped}\n/* {{batch}} */"


def _raised(info: dict[str, Any]) -> str | None:
    """The message of an expectation that raised, from either shape that `exception_info` has."""
    parts = [part for part in (info, *info.values()) if isinstance(part, dict)]
    messages = [part.get("exception_message") for part in parts if part.get("raised_exception")]
    # SQLAlchemy adds the query as it sent it and a link; the caller knows the query as it was written.
    return "; ".join(str(m).split("\n[SQL:")[0] for m in messages) if messages else None


def count_rows(
    connect: Callable[[], duckdb.DuckDBPyConnection], set_up: list[str], queries: list[str]
) -> list[tuple[int, float] | str]:
    """For each query its number of rows and its seconds, or what it raised.

    `connect` makes a connection, which is closed here.
    """
    context = gx.get_context(
        mode="ephemeral",
        project_config=DataContextConfig(
            config_version=4.0,
            store_backend_defaults=InMemoryStoreBackendDefaults(),  # without a temporary folder for documents
            progress_bars={"globally": False},
            analytics_enabled=False,
        ),
    )
    source = context.data_sources.add_fleet_duckdb(
        name="fleet",
        connection_string="duckdb:///fleet",  # a name; what is open already is asked
        kwargs={"creator": lambda: ReadingConnection(connect())},
        set_up=set_up,
    )
    try:
        asset = source.add_query_asset("fleet", query="SELECT 1 AS one")
        batch = asset.add_batch_definition_whole_table("all").get_batch()
        expectations = [
            FailingRows(unexpected_rows_query=_marked(i, sql), meta={"rule": i})
            for i, sql in enumerate(queries)
        ]
        engine = source.get_execution_engine()
        with suppress(sa.exc.SQLAlchemyError):  # each rule will say it
            engine.execute_query(sa.text("SELECT 1"))  # what sets the connection up counts for no rule
        results = batch.validate(gx.ExpectationSuite("rules", expectations=expectations)).results
        counts: dict[int, tuple[int, float] | str] = {}
        for result in results:  # in an order of their own: those that raised come first
            number = result.expectation_config.meta["rule"]
            message = _raised(result.exception_info)
            counts[number] = message or (result.result["observed_value"], engine.seconds[number])
        return [counts[i] for i in range(len(queries))]
    finally:
        source.get_execution_engine().engine.dispose()
        source.get_engine().dispose()
