"""Sentences fit small fleets: one of a thing, none of it, all of it, and nothing to compare with."""

from __future__ import annotations

from pathlib import Path

import duckdb
import pytest

from reports import draw
from tests.reports.published import write_published
from tests.reports.reading import read_page


def pages_after(folder: Path, *statements: str, **fleet: int) -> dict[str, str]:
    """The words of each page of a fleet made by hand after the statements, one blank between them."""
    file = write_published(folder / "fleet.duckdb", hostile=False, **fleet)  # type: ignore[arg-type]
    with duckdb.connect(str(file)) as con:
        for statement in statements:
            con.execute(statement)
    draw(file, folder / "reports")
    return {p.stem: " ".join(read_page(p).text.split()) for p in folder.glob("reports/*.html")}


def test_the_index_does_not_call_a_crew_clean_that_nobody_compared(tmp_path: Path) -> None:
    text = pages_after(tmp_path, sites=11, technicians=12)
    assert "Nobody of 12 has 20 visits yet, so nobody is named." in text["index"]
    assert "0 technicians to coach" not in text["index"]
    assert "not stand out in zeroing" not in text["training"]
    assert "usual rate" not in text["training"]


def test_one_technician_is_compared_with_nobody(tmp_path: Path) -> None:
    lonely = "UPDATE technician_zeroing SET zeroing_state = 'zeroes', hidden_offset_inwc = NULL"
    text = pages_after(tmp_path, lonely, sites=11, technicians=1)
    assert "One technician only, of 1, has 20 visits: there is nobody to compare with." in text["index"]
    assert "not stand out in zeroing" not in text["training"]
    assert "usual rate" not in text["training"]
    assert "0 with fewer than 20 visits" not in text["training"]


@pytest.mark.parametrize(
    ("states", "words"),
    [
        ("too_few_visits", "No site can be judged yet: too few visits."),
        ("within_rating", "No site is chronic."),
    ],
)
def test_no_site_is_chronic_is_said_of_judged_ones_only(states: str, words: str, tmp_path: Path) -> None:
    worst = f"UPDATE site_static SET static_state = '{states}'"
    text = pages_after(tmp_path, worst, "DELETE FROM site_priority", sites=7)
    assert words in text["index"]


@pytest.mark.parametrize(
    ("shortfalls", "words", "never"),
    [
        ("0", "No air is lost: all", "Air lost"),
        ("if(rank = 1, 120, 0)", "120 cfm below design in all, at 1 of", "half of these"),
        ("100 + rank", "; half of these lose more than 1", "No air is lost"),
    ],
)
def test_air_lost_at_no_unit_one_and_many(shortfalls: str, words: str, never: str, tmp_path: Path) -> None:
    air = f"UPDATE site_priority SET static_state = 'chronic', airflow_shortfall_cfm = {shortfalls}"
    text = pages_after(tmp_path, air, sites=42)["operations"]
    assert words in text
    assert never not in text


def test_where_all_visits_are_set_aside_none_is_used(tmp_path: Path) -> None:
    aside = "UPDATE visit_count SET n_set_aside = n_visits, n_not_like_new = 0, n_repaired = 0"
    assert (
        "100 % of visits are set aside; none is used."
        in pages_after(tmp_path, aside, sites=7)["data_quality"]
    )


def test_a_history_of_six_months_has_nothing_before(tmp_path: Path) -> None:
    lately = ("DELETE FROM visit_count WHERE visited_on < DATE '2026-01-01'",
              "DELETE FROM finding_count WHERE visited_on < DATE '2026-01-01'")  # fmt: skip
    text = pages_after(tmp_path, *lately, sites=42)["data_quality"]
    assert "no month before" in text
    assert "not known to not known" not in text


def test_one_of_a_thing_is_told_in_the_singular(tmp_path: Path) -> None:
    fewer = (
        "DELETE FROM rejected_row WHERE is_mended",
        "UPDATE load_ledger SET rows_read = rows_read - 1, rows_rejected = rows_rejected - 1",
    )
    text = pages_after(tmp_path, *fewer, sites=7, visits=3, technicians=2)
    assert "Put right: a row" not in text["data_quality"]
    assert "1 row of visits: bad number" in text["data_quality"]
    assert "1 row rejected of" in text["index"]
    assert not [
        page for page, said in text.items() for noun in ("visits", "units", "rows") if f" 1 {noun} " in said
    ]


def test_rows_that_were_put_right_since_are_counted(tmp_path: Path) -> None:
    text = pages_after(tmp_path, sites=7)["data_quality"]
    assert "2 rows of visits: bad number; 1 put right since" in text
    assert text.count("(put right since)") == 1
    assert "Put right: a row of the same key that comes after it is loaded." in text


def test_rejected_visits_stand_beside_what_became_of_the_loaded(tmp_path: Path) -> None:
    half = "UPDATE load_ledger SET rows_read = 601, rows_rejected = 302 WHERE table_name = 'visits'"
    text = pages_after(tmp_path, half, sites=7)
    assert (
        "Of 601 rows of visits 302 were rejected; the shares above are of those loaded."
        in text["data_quality"]
    )
    assert "; of visits 302 of 601." in text["index"]


def test_less_than_half_a_cfm_or_a_watt_is_not_told(tmp_path: Path) -> None:
    little = (
        "UPDATE site_priority SET airflow_shortfall_cfm = 0.3, extra_power_w = 0.3, extra_cost_per_year = 0.2"
    )
    text = pages_after(tmp_path, little, sites=42)["operations"]
    assert " 0 cfm " not in text.split("The whole list to work with")[1]
    assert "0 W" not in text.split("The whole list to work with")[1]
    assert "about 0 a year" not in text


def test_units_without_a_valid_visit_are_counted_once_over_their_modes(tmp_path: Path) -> None:
    twice = [f"INSERT INTO site_attention VALUES ('S0001', 'Millrace', 'E0001', '{mode}', 'never_measured', 0, NULL, 3)"
             for mode in ("cooling", "heating")]  # fmt: skip
    text = pages_after(tmp_path, *twice, sites=7)["operations"]
    assert "1 unit, at 1 site: no valid visit yet: never measured, or every visit was set aside." in text


def test_nothing_leads_to_lists_that_are_not_there(tmp_path: Path) -> None:
    """Units that rise have their sheets though nothing is ranked and nothing needs upkeep."""
    calm = "UPDATE site_static SET static_state = 'within_rating', as_found_level_inwc = 0.1"
    pages_after(tmp_path, calm, "DELETE FROM site_priority", "DELETE FROM site_upkeep", sites=42)
    page = read_page(tmp_path / "reports" / "operations.html")
    ids = {str(attributes["id"]) for _, attributes in page.tags if "id" in attributes}
    inside = {str(a["href"])[1:] for a in page.elements("a") if str(a.get("href")).startswith("#")}
    assert "u0" in ids
    assert inside <= ids
    assert "A click opens a listed unit." in page.text
