"""Every check against its cases, and repairs in combination: rows in, findings, words and repaired values out."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.checks import CONSEQUENCES, all_checks, read_check
from pipeline.errors import StageError
from tests.sql.cases import CHECK_CASES, COMBINATIONS, Case, always_computable, read_cases
from tests.sql.outcome import Outcome, differences, judge

CASES = read_cases(CHECK_CASES) + read_cases(COMBINATIONS)
CHECK_IDS = [c.check_id for c in all_checks()]


@pytest.fixture(scope="module")
def outcome() -> Outcome:
    warehouse, result = judge(CASES)
    warehouse.close()
    return result


def test_every_check_has_cases_and_every_case_file_its_check() -> None:
    files = {p.stem for p in CHECK_CASES.glob("*.toml")}
    assert files == set(CHECK_IDS), "tests/sql/cases.py says what a file of cases holds"


@pytest.mark.parametrize("check_id", CHECK_IDS)
def test_the_cases_of_a_check_are_of_every_kind(check_id: str) -> None:
    kinds = {c.kind for c in CASES if c.file == check_id}
    wanted = {"passing", "failing"}
    sql = next(c.sql for c in all_checks() if c.check_id == check_id)
    if "getvariable" in sql:
        wanted.add("at the threshold")
    if always_computable(check_id) is None:
        wanted.add("not computable")
    assert not wanted - kinds, f"{check_id} has no case of kind {', '.join(sorted(wanted - kinds))}"


@pytest.mark.parametrize("check_id", CHECK_IDS)
def test_a_check_speaks_of_the_consequences_that_its_header_names(check_id: str) -> None:
    header = next(c.consequence for c in all_checks() if c.check_id == check_id).split(" or ")
    assert set(header) <= set(CONSEQUENCES)
    shown = {e.findings[check_id] for c in CASES for e in c.expected if check_id in e.findings}
    assert shown == set(header), "left: what the cases show; right: the consequences of the header"


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("scop: fleet", r"x\.sql: the header has unknown lines: scop; known are title, "),
        ("scope: flet", r"x\.sql: scope is 'flet'; expected one of equipment, fleet"),
        ("of: units", r"x\.sql: of is 'units'; expected one of reading, unit, gauge"),
    ],
)
def test_a_header_that_cannot_be_understood_is_refused(tmp_path: Path, line: str, says: str) -> None:
    """Read as a comment, it would leave the check with another scope, and a day's drop with too few findings."""
    file = tmp_path / "x.sql"
    header = f"-- title: X\n-- consequence: note\n-- why: x\n-- {line}\n"
    file.write_text(f"{header}-- Source: none.\nSELECT 1\n-- scop: a comment", encoding="utf-8")
    with pytest.raises(StageError, match=says):
        read_check(file)


@pytest.mark.parametrize("case", CASES, ids=[f"{c.file}: {c.name}" for c in CASES])
def test_case(case: Case, outcome: Outcome) -> None:
    wrong = [f"{e.visit_id}: {w}" for e in case.expected for w in differences(e, outcome)]
    assert not wrong, "\n".join(wrong)


def test_every_finding_says_why(outcome: Outcome) -> None:
    silent = [v for v, details in outcome.details.items() for d in details.values() if not d]
    assert not silent
