"""docs/checks.md names every check with its consequence, and every setting that the checks and repairs read."""

from __future__ import annotations

import re

import pytest

from pipeline.checks import Check, all_checks
from pipeline.settings import Settings
from pipeline.warehouse import SQL_DIR
from tests.conftest import ROOT

PAGE = (ROOT / "docs" / "checks.md").read_text(encoding="utf-8")
READ = sorted(
    {
        name
        for folder in ("checks", "repair")
        for path in (SQL_DIR / folder).glob("*.sql")
        for name in re.findall(r"getvariable\('(\w+)'\)", path.read_text(encoding="utf-8"))
    }
    - {"today"}
)


@pytest.mark.parametrize("check", all_checks(), ids=lambda c: c.check_id)
def test_a_check_stands_on_the_page_with_its_consequence(check: Check) -> None:
    row = f"| {check.check_id} | {check.consequence} |"
    assert f"\n{row}" in PAGE, f"docs/checks.md has no row that begins {row}"


@pytest.mark.parametrize("name", READ)
def test_a_setting_that_the_checks_read_exists_and_stands_on_the_page(name: str) -> None:
    assert name in Settings()
    assert f"`{name}`" in PAGE, f"docs/checks.md does not name the setting {name}"


def test_the_page_names_no_check_that_does_not_exist() -> None:
    named = set(re.findall(r"^\| (\w+) \| (?:set_aside|repaired|not_like_new|note)", PAGE, re.MULTILINE))
    assert named == {c.check_id for c in all_checks()}
