"""The cases of the checks, as they stand in `check_cases/` and `combinations/`: rows in, findings and values out.

A file holds `[[case]]` tables: `name`, `kind` (passing, failing, not computable, at the threshold), `visit` (rows;
columns that are not given are those of a sound visit) and, where they matter, `equipment`, `instrument`, `site`
(columns) and `blower_table` (rows of tap, static, airflow). In a visit these keys say what must come of it:

    finds    the consequence of the file's own check; not given: the check must not speak
    also     the other findings, check = consequence; no finding may stand that is not named
    detail   the words of the file's own check
    becomes  values after all repairs by column, of `visit_static` or `reading`; "none" is NULL

`each` (of the file) holds columns that all its visits have. `copies = n` makes n visits, `every_min` apart; a list as
a value gives each copy its own, in turn.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

from tests.sql import rows
from tests.sql.rows import Row

HERE = Path(__file__).resolve().parent
CHECK_CASES = HERE / "check_cases"
COMBINATIONS = HERE / "combinations"
KINDS = ("passing", "failing", "not computable", "at the threshold")
SAYS = ("finds", "also", "detail", "becomes", "copies", "every_min")


@dataclass(frozen=True)
class Expected:
    """What must come of one visit."""

    visit_id: str
    findings: dict[str, str]
    details: dict[str, str]
    becomes: dict[str, Any]


@dataclass(frozen=True)
class Case:
    """One case: its rows by input table, and what is expected of each of its visits."""

    file: str
    name: str
    kind: str
    tables: dict[str, list[Row]]
    expected: tuple[Expected, ...]


@cache
def read_cases(folder: Path) -> tuple[Case, ...]:
    """All cases of a folder, in order of file and place."""
    cases = []
    for path in sorted(folder.glob("*.toml")):
        document = tomllib.loads(path.read_text(encoding="utf-8"))
        for place, case in enumerate(document["case"]):
            assert case["kind"] in KINDS, f"{path.name}: {case['name']}: kind is {case['kind']!r}"
            case["visit"] = [document.get("each", {}) | visit for visit in case["visit"]]
            cases.append(_case(path.stem, place, case, own_check=folder == CHECK_CASES))
    return tuple(cases)


@cache
def always_computable(check_id: str) -> str | None:
    """Why a check can be computed on every row, where its case file says so."""
    text = (CHECK_CASES / f"{check_id}.toml").read_text(encoding="utf-8")
    reason = tomllib.loads(text).get("always_computable")
    return None if reason is None else str(reason)


def tables_of(cases: tuple[Case, ...]) -> dict[str, list[Row]]:
    """The rows of many cases together; their ids do not meet."""
    together: dict[str, list[Row]] = {}
    for case in cases:
        for name, table in case.tables.items():
            together.setdefault(name, []).extend(table)
    return together


def _case(file: str, place: int, case: dict[str, Any], *, own_check: bool) -> Case:
    def own(name: str) -> str:
        return f"{file}-{place}-{name}"

    visits, expected = [], []
    for number, given in enumerate(case["visit"], 1):
        for copy in range(given.get("copies", 1)):
            visit_id = own(
                given.get("visit_id", f"{number}" if "copies" not in given else f"{number}.{copy:03d}")
            )
            here = {k: v[copy % len(v)] if isinstance(v, list) else v for k, v in given.items()}
            expected.append(_expected(visit_id, file, here, own, own_check=own_check))
            visits.append(_visit(visit_id, here, copy, own))
    units = {v["equipment_id"]: v["site_id"] for v in visits}
    gauges = {v["instrument_id"] for v in visits if v["instrument_id"] is not None}
    tables = {
        "visits": visits,
        "sites": [
            {"site_id": s, "branch": "b", "elevation_ft": 0, **_known(case, "site")}
            for s in sorted({*units.values()})
        ],
        "equipment": [
            rows.equipment(
                equipment_id=e, site_id=s, **{"blower_table_id": own("B"), **_known(case, "equipment")}
            )
            for e, s in sorted(units.items())
        ],
        "instruments": [
            rows.instrument(instrument_id=m, **_known(case, "instrument")) for m in sorted(gauges)
        ],
        "technicians": [{"technician_id": t} for t in sorted({v["technician_id"] for v in visits})],
        "blower_tables": [
            {"blower_table_id": own("B"), "tap": tap, "external_static_inwc": static, "airflow_cfm": airflow}
            for tap, static, airflow in case.get("blower_table", [])
        ],
    }
    return Case(file, case["name"], case["kind"], tables, tuple(expected))


def _known(case: dict[str, Any], table: str) -> Row:
    return {k: None if v == "none" else v for k, v in case.get(table, {}).items()}


def _visit(visit_id: str, given: Row, copy: int, own: Any) -> Row:
    columns: Row = {k: None if v == "none" else v for k, v in given.items() if k not in SAYS}
    columns["visit_id"] = visit_id
    site = columns.get("site_id", "S")
    names = {"site_id": site, "equipment_id": f"E@{site}", "technician_id": "T", "instrument_id": "M"}
    for column, name in names.items():
        name = columns.get(column, name)
        columns[column] = None if name is None else own(name)
    if copy and given.get("every_min"):
        for column in ("visited_at", "zeroed_at"):
            at = columns.get(column, rows.SOUND_VISIT[column])
            if at is not None:
                columns[column] = _later(at, copy * given["every_min"])
    return rows.visit(**columns)


def _later(at: str, minutes: float) -> str:
    return (datetime.fromisoformat(at) + timedelta(minutes=minutes)).isoformat()


def _expected(visit_id: str, file: str, given: Row, own: Any, *, own_check: bool) -> Expected:
    findings = dict(given.get("also", {}))
    details = {}
    if own_check and given.get("finds", "none") != "none":
        findings[file] = given["finds"]
    if "detail" in given:
        details[file] = given["detail"].replace("{own}", own(""))
    return Expected(visit_id, findings, details, given.get("becomes", {}))
