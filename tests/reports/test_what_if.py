"""What a change does to the air is told beside what it does to the static, on both pages that show it."""

from __future__ import annotations

from pathlib import Path

import duckdb
import pytest

from reports import draw_site_sheet
from reports.queries import Published
from tests.reports.published import write_published
from tests.reports.reading import read_page

UNIT, MODE, SITE = "E0000", "cooling", "S0000"  # chronic on the return side
DESIGN = 1000.0


@pytest.mark.parametrize(
    ("change", "side", "now", "then", "air"),
    [
        ("tap_one_lower", "return", 780, 680, "falls"),  # docs/physics.md, "What would help"
        (
            "tap_one_lower",
            "supply",
            980,
            900,
            "falls",
        ),  # above four fifths, yet less than now and than the design
        ("tap_one_lower", "airflow_setting", 1200, 900, None),  # what the tap is there for
        ("tap_one_lower", "airflow_setting", 1050, 790, "falls"),  # too far
        ("tap_one_lower", "return", 1200, 1050, None),
        ("return_to_budget", "return", 780, 980, None),
        ("return_to_budget", "return", 600, 790, "stays_low"),
        ("return_to_budget", "return", 600, 800, None),  # at the limit: not below it
        (
            "return_to_budget",
            "return",
            900,
            895,
            None,
        ),  # a constant-airflow fan: a difference that nobody could tell
        ("as_it_is", "return", 700, 700, None),  # no change at all
    ],
)
def test_air_that_a_change_takes(
    change: str, side: str, now: float, then: float, air: str | None, tmp_path: Path
) -> None:
    file = write_published(tmp_path / "fleet.duckdb", sites=7)
    with duckdb.connect(str(file)) as con:
        con.execute(
            f"UPDATE site_static SET design_cfm = {DESIGN}, problem_side = '{side}' WHERE equipment_id = '{UNIT}'"
        )
        con.execute("DELETE FROM site_what_if")
        con.execute(
            "INSERT INTO site_what_if BY NAME SELECT ? AS equipment_id, ? AS mode, ? AS change, 0.4 AS tesp_inwc, "
            "? AS airflow_cfm, ? AS airflow_change_cfm",
            [UNIT, MODE, change, then, then - now],
        )
    published = Published.open(file)
    row = published.rows("unit_what_if", units=[UNIT]).one
    published.close()
    assert row["air"] == air
    assert row["air_of_design_ratio"] == pytest.approx(then / DESIGN)


@pytest.mark.parametrize(
    ("design", "words"),
    [
        ("1000", "Not a remedy: air falls to 68 % of design."),
        ("NULL", "Air falls, and the design airflow is not known"),
    ],
)
def test_the_crews_sheet_says_what_is_no_remedy(design: str, words: str, tmp_path: Path) -> None:
    file = write_published(tmp_path / "fleet.duckdb", sites=7)
    with duckdb.connect(str(file)) as con:
        con.execute(f"UPDATE site_static SET design_cfm = {design} WHERE equipment_id = '{UNIT}'")
        con.execute("UPDATE site_what_if SET airflow_cfm = 680 WHERE change = 'tap_one_lower'")
    text = " ".join(read_page(draw_site_sheet(file, tmp_path / "reports", SITE)).text.split())
    assert words in text
    assert "the coil may ice. Follow the maker's tables." in text
    assert "air, % of design" in text


def test_a_lower_tap_is_never_shown_without_its_warning(tmp_path: Path) -> None:
    file = write_published(tmp_path / "fleet.duckdb", sites=7)
    with duckdb.connect(str(file)) as con:
        con.execute(f"UPDATE site_static SET design_cfm = 500 WHERE equipment_id = '{UNIT}'")
    text = " ".join(read_page(draw_site_sheet(file, tmp_path / "reports", SITE)).text.split())
    assert "the tap goes one lower" in text
    assert "Not a remedy" not in text
    assert "Not enough" not in text
    assert "Too little air does harm whatever the static shows: the coil may ice." in text
