"""Every macro: says what it means with unit and source, gives NULL on NULL, and needs nothing but DuckDB."""

from __future__ import annotations

import re
from collections.abc import Iterator

import duckdb
import pytest

from pipeline.warehouse import SQL_DIR, Warehouse

FILES = sorted((SQL_DIR / "macros").glob("*.sql"))
MACRO = re.compile(r"((?:^-- .*\n)+)CREATE OR REPLACE MACRO (\w+)\(([^)]*)\) AS( TABLE)? \(", re.MULTILINE)

# parameters that may be unknown without the answer being unknown, each for the reason its header states
MAY_BE_NULL = {
    ("inwc_per", "unit"),  # no unit counts as inwc
    ("to_inwc", "unit"),
    ("unit_words", "unit"),
    ("excess_restriction", "airflow_ratio"),  # unknown: all of the excess is restriction
    ("excess_airflow", "airflow_ratio"),
    ("return_budget", "design_return"),  # unknown: half of the rating each
    ("return_budget", "design_supply"),
}
EXAMPLE = {"DOUBLE": "0.5", "DOUBLE[]": "[1.0, 2.0, 4.0]", "VARCHAR": "'pa'"}
EXAMPLE_OF = {"x1": "0.7", "n": "2", "y1": "3"}  # where 0.5 for every parameter would be outside the domain


def macros() -> list[tuple[str, str, list[tuple[str, str]], bool]]:
    """(name, header, [(parameter, type)], is a table macro) of every macro in the files, in their order."""
    found = []
    for file in FILES:
        for header, name, parameters, table in MACRO.findall(file.read_text(encoding="utf-8")):
            typed = [tuple(p.strip().split(" ", 1)) for p in parameters.split(",")]
            found.append((name, header, [(p[0], p[1]) for p in typed], bool(table)))
    return found


SCALAR = [(name, parameters) for name, _, parameters, table in macros() if not table]


@pytest.fixture(scope="module")
def warehouse() -> Iterator[Warehouse]:
    with Warehouse() as opened:
        yield opened


def call(name: str, parameters: list[tuple[str, str]], null: str | None) -> str:
    values = [
        f"NULL::{kind}" if parameter == null else EXAMPLE_OF.get(parameter, EXAMPLE[kind])
        for parameter, kind in parameters
    ]
    return f"{name}({', '.join(values)})"


def test_every_macro_statement_is_found_with_its_header() -> None:
    statements = sum(file.read_text(encoding="utf-8").count("CREATE OR REPLACE MACRO") for file in FILES)
    assert statements == len(macros()) > 40


@pytest.mark.parametrize(("name", "header"), [(name, header) for name, header, _, _ in macros()])
def test_header_gives_meaning_then_unit_and_source(name: str, header: str) -> None:
    meaning, unit, *_ = header.splitlines()
    assert re.fullmatch(r"-- [A-Z0-9].*[.]", meaning), f"{name}: the first line is one sentence of meaning"
    assert re.match(r"-- unit: .+ source: .+", unit), f"{name}: the second line gives unit and source"


@pytest.mark.parametrize(("name", "parameters"), SCALAR, ids=[name for name, _ in SCALAR])
def test_null_gives_null(warehouse: Warehouse, name: str, parameters: list[tuple[str, str]]) -> None:
    assert warehouse.scalar(f"SELECT {call(name, parameters, None)}") is not None, (
        "the example must have an answer"
    )
    for parameter, _ in parameters:
        got = warehouse.scalar(f"SELECT {call(name, parameters, parameter)}")
        assert (got is not None) == ((name, parameter) in MAY_BE_NULL), parameter


@pytest.mark.parametrize("name", [name for name, _ in SCALAR if not name.startswith("_")])
def test_an_untyped_null_is_taken_too(warehouse: Warehouse, name: str) -> None:
    n = len(dict(SCALAR)[name])
    expected = {"inwc_per": 1.0, "unit_words": "in. w.c."}.get(name)
    assert warehouse.scalar(f"SELECT {name}({', '.join(['NULL'] * n)})") == expected


def test_macros_need_no_function_or_variable_of_the_project() -> None:
    # they are copied into the published file, where an analyst has DuckDB and nothing else
    with duckdb.connect() as con:
        for file in FILES:
            con.execute(file.read_text(encoding="utf-8"))
        for name, parameters in SCALAR:
            assert con.sql(f"SELECT {call(name, parameters, None)}").fetchall()[0][0] is not None
    assert not any("getvariable" in file.read_text(encoding="utf-8") for file in FILES)
