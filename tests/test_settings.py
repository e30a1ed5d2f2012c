"""Settings: every name that SQL asks for exists, a user's own values are checked, the sources are said."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from pipeline.day.last_run import FITTED
from pipeline.errors import UsageError
from pipeline.settings import DEFAULTS, Settings, read_settings
from pipeline.warehouse import SQL_DIR

# Variables that a stage sets itself: the reference day, and what is fitted over the fleet.
SET_BY_STAGES = {"today", "last_site_no", *FITTED}
ASKED = re.compile(r"getvariable\('(\w+)'\)")


def test_sql_asks_only_for_what_exists() -> None:
    """An unknown variable would be NULL in SQL, and every comparison with it quietly unknown."""
    known = {s.name for s in DEFAULTS} | SET_BY_STAGES
    unknown = {
        (str(file.relative_to(SQL_DIR)), name)
        for file in SQL_DIR.rglob("*.sql")
        if "reports" not in file.parts  # these take their parameters from reports/queries.py
        for name in ASKED.findall(file.read_text(encoding="utf-8"))
        if name not in known
    }
    assert not unknown, (
        "each needs a Setting in pipeline/settings.py, or a stage that sets it (SET_BY_STAGES)"
    )


def test_every_setting_says_its_unit_and_source() -> None:
    names = [s.name for s in DEFAULTS]
    assert [n for n in set(names) if names.count(n) > 1] == []
    for setting in DEFAULTS:
        assert setting.unit, setting.name
        assert setting.source, setting.name


def test_every_setting_lies_within_its_limits_and_is_asked_for() -> None:
    """One that nothing asks for would be published, and changed by a user, to no effect."""
    root = SQL_DIR.parent
    sources = [p for folder in ("pipeline", "expectations", "reports") for p in (root / folder).rglob("*.py")]
    sources = [*sources, *SQL_DIR.rglob("*.sql")]
    asked = "\n".join(p.read_text(encoding="utf-8") for p in sources if p.name != "settings.py")
    words = set(re.findall(r"\w+", asked))
    for setting in DEFAULTS:
        low, high = setting.limits
        assert low <= setting.value <= high, f"{setting.name}: {setting.value}, expected {setting.expected}"
    assert [s.name for s in DEFAULTS if s.name not in words] == []


def test_a_file_changes_values_and_says_so(tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    file.write_text("tariff_per_kwh = 0.3\n", encoding="utf-8")
    settings = read_settings(file)
    assert settings["tariff_per_kwh"] == 0.3
    assert next(s for s in settings.rows() if s.name == "tariff_per_kwh").source == "set in mine.toml"
    assert settings["min_visits"] == Settings()["min_visits"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("tarif_per_kwh = 1", "no setting is called 'tarif_per_kwh'; did you mean tariff_per_kwh?"),
        ("humour = 1", "no setting is called 'humour'; expected one of airflow_against_table_share, "),
        ('tariff_per_kwh = "much"', "expected a number in currency/kWh"),
        ("tariff_per_kwh = true", "expected a number"),
        ("tariff_per_kwh =", "cannot be read as a settings file"),
    ],
)
def test_a_bad_file_is_refused_with_what_was_expected(tmp_path: Path, text: str, said: str) -> None:
    file = tmp_path / "mine.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(UsageError, match=re.escape(said)):
        read_settings(file)
