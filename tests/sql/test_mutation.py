"""Do the cases notice when the SQL of a check or a repair goes wrong in one place?

Every third mutant (FLEET_STATIC_NIGHTLY=1: every one) must be caught, but for those listed in
`equivalent_mutants.toml` with the reason why they change no answer; these may be one mutant in twenty at most.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from pipeline.checks import Check, all_checks
from pipeline.warehouse import SQL_DIR
from tests.conftest import NIGHTLY
from tests.sql.cases import CHECK_CASES, COMBINATIONS, read_cases
from tests.sql.mutation import REPAIRS, CheckBench, Mutant, RepairBench, mutants

pytestmark = pytest.mark.slow

CASES = read_cases(CHECK_CASES) + read_cases(COMBINATIONS)
LIST = tomllib.loads((Path(__file__).parent / "equivalent_mutants.toml").read_text(encoding="utf-8"))[
    "mutant"
]


def all_mutants() -> dict[str, list[Mutant]]:
    texts = {c.check_id: SQL_DIR / "checks" / f"{c.check_id}.sql" for c in all_checks()}
    texts |= {name: SQL_DIR / "repair" / name for name in REPAIRS}
    return {file: list(mutants(file, path.read_text(encoding="utf-8"))) for file, path in texts.items()}


MUTANTS = all_mutants()


def asked(file: str) -> list[Mutant]:
    return MUTANTS[file] if NIGHTLY else MUTANTS[file][::3]


def same(mutant: Mutant, listed: dict[str, Any]) -> bool:
    """Is this the listed mutant?"""
    return (
        (mutant.file, mutant.was, mutant.now) == (listed["file"], listed["was"], listed["now"])
        and listed["line"] in mutant.context
    )  # fmt: skip


def report(survivors: list[Mutant], file: str) -> str:
    shown = "\n".join(f"  {m}" for m in survivors)
    return f"{len(survivors)} of {len(asked(file))} mutants of {file} are not as they should be:\n{shown}"


@pytest.fixture(scope="module")
def check_bench() -> CheckBench:
    return CheckBench(CASES)


@pytest.fixture(scope="module")
def repair_bench() -> RepairBench:
    return RepairBench(CASES)


@pytest.mark.parametrize("check", all_checks(), ids=lambda c: c.check_id)
def test_the_cases_of_a_check_catch_its_mutants(check: Check, check_bench: CheckBench) -> None:
    file = check.check_id
    assert asked(file)
    wrong = [m for m in asked(file) if check_bench.is_caught(check, m) == any(same(m, e) for e in LIST)]
    assert not wrong, report(wrong, file)


@pytest.mark.parametrize("file", REPAIRS)
def test_the_cases_catch_the_mutants_of_a_repair(file: str, repair_bench: RepairBench) -> None:
    assert asked(file)
    wrong = [m for m in asked(file) if repair_bench.is_caught(m) == any(same(m, e) for e in LIST)]
    assert not wrong, report(wrong, file)


def test_few_mutants_are_listed_as_equivalent_and_each_exists() -> None:
    everything = [m for group in MUTANTS.values() for m in group]
    assert all(any(same(m, e) for m in everything) for e in LIST)
    assert len(LIST) <= 0.05 * len(everything)
