"""Worklists hold what the query holds, and no cell that a spreadsheet would run."""

from __future__ import annotations

import csv
import re
import zipfile
from pathlib import Path

import polars as pl
import pytest

from reports import draw, words
from reports.queries import Published
from reports.worklists import harmless, heading
from tests.reports.published import write_published


def test_csv_is_the_query_in_its_order(pages: Path, published_file: Path) -> None:
    published = Published.open(published_file)
    wanted = published.rows("ranked", top=1_000_000, top_in_branch=0)
    published.close()
    with (pages / "worklist.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["rank"] for row in rows] == [str(row["rank"]) for row in wanted]
    assert [float(row["level_inwc"]) for row in rows] == [row["level_inwc"] for row in wanted]
    assert [row["site_label"].removeprefix("'") for row in rows] == [row["site_label"] for row in wanted]


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@cmd", "\t=1", "\r=1"])
def test_text_that_starts_a_formula_is_made_harmless(text: str) -> None:
    frame = pl.DataFrame({"site_label": [text, "Unit 1", None, "a=b"], "excess": [-0.1, 0.2, None, 0.3]})
    done = harmless(frame)
    assert done["site_label"].to_list() == [f"'{text}", "Unit 1", None, "a=b"]
    assert done["excess"].to_list() == [-0.1, 0.2, None, 0.3]


def test_workbook_has_a_sheet_a_side_and_no_formula(tmp_path: Path) -> None:
    file = write_published(tmp_path / "fleet.duckdb", sites=28)
    workbook = draw(file, tmp_path / "reports")[-2]
    with zipfile.ZipFile(workbook) as book:
        sheets = re.findall(r'<sheet name="([^"]+)"', book.read("xl/workbook.xml").decode())
        xml = "".join(book.read(n).decode() for n in book.namelist() if n.startswith("xl/worksheets/"))
    assert sheets == [
        "Read first", "Return side too tight", "Supply side too tight", "Fan set too fast", "Upkeep",
        "Getting worse", "Visits wanted",
    ]  # fmt: skip
    assert "<f>" not in xml
    assert xml.count("<autoFilter") == len(sheets) - 1 == xml.count('state="frozen"')
    assert "&lt;/script&gt;" in xml
    for caution in words.CAUTIONS:
        assert caution in xml


def test_rejected_rows_can_be_taken_along(pages: Path, published_file: Path) -> None:
    published = Published.open(published_file)
    wanted = published.rows("rejected_list", top=1_000_000).frame
    published.close()
    with (pages / "rejected_rows.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == wanted.height > 0
    assert list(rows[0]) == ["file", "line_number", "table_name", "reason", "detail", "raw_line", "is_mended"]
    assert [row["is_mended"] for row in rows] == ["false"] * (len(rows) - 1) + ["true"]  # what is open first
    assert [row["raw_line"] for row in rows] == wanted["raw_line"].to_list()


def test_an_empty_publication_has_empty_lists(empty_pages: Path) -> None:
    assert (empty_pages / "worklist.csv").read_text(encoding="utf-8").startswith("rank,rank_lo,")
    assert len((empty_pages / "worklist.csv").read_text(encoding="utf-8").splitlines()) == 1
    assert zipfile.is_zipfile(empty_pages / "worklist.xlsx")


def test_headings_carry_their_unit() -> None:
    assert heading("level_inwc") == "level, in. w.c."
    assert heading("airflow_shortfall_cfm") == "airflow shortfall, cfm"
    assert heading("rank") == "rank"
    assert heading("rank_lo") == "rank at least (95 %)"
    assert heading("slope_hi") == "slope at most (95 %), in. w.c. a year"
    assert heading("prob_over_rated") == "probability over rated"
