"""What is cut says so: how many of all are shown, and of which months; and each check tells what follows from it."""

from __future__ import annotations

from pathlib import Path

import duckdb
import pytest

from reports import caps, draw
from reports.queries import Published
from tests.reports.reading import read_page


def squeezed(path: Path) -> str:
    """The text of a page without any white space: headings and what stands beside them touch each other."""
    return "".join(read_page(path).text.split())


@pytest.fixture
def counts(published_file: Path) -> dict[str, int]:
    """How many there are of everything that a page may cut, counted from the rows of the visits."""
    asked = {
        "months": "SELECT count(DISTINCT date_trunc('month', visited_on)) FROM visit_static "
        "WHERE visited_on <= (SELECT today FROM publication)",
        "technicians": "SELECT count(*) FROM (SELECT 1 FROM visit_static GROUP BY technician_id HAVING count(*) >= 20)",
        "instruments": "SELECT count(*) FROM (SELECT 1 FROM visit_static GROUP BY instrument_id HAVING count(*) >= 20)",
        "branches": "SELECT count(DISTINCT branch) FROM site JOIN visit_static USING (site_id)",
        "pairs": "SELECT count(*) FROM instrument_offset WHERE n_visits >= 20",
        "habits": "SELECT count(*) FROM practice_rate WHERE practice_state = 'above_fleet'",
        "ranked": "SELECT count(DISTINCT equipment_id) FROM site_priority",
    }
    with duckdb.connect(str(published_file), read_only=True) as con:
        return {name: con.sql(sql).fetchall()[0][0] for name, sql in asked.items()}


def test_what_is_whole_says_how_many_it_holds(pages: Path, counts: dict[str, int]) -> None:
    quality, training = (squeezed(pages / name) for name in ("data_quality.html", "training.html"))
    assert counts["months"] <= caps.MONTHS
    assert f"uptothereferenceday:{counts['months']}months." in quality
    assert f"Eachcheckoverthemonths{counts['months']}months,20" in quality
    assert f"Bymonth{counts['months']}months" in quality
    assert f"Bybranch{counts['branches']}branches" in quality
    assert f"Bytechnician{counts['technicians']}techniciansfrom20visitson" in quality
    assert f"{counts['instruments']}instruments.Dashed" in quality
    assert f"Hiddenoffsets{counts['pairs']}pairsoftechnicianandinstrument" in training
    assert f"Otherhabitsworthaword{counts['habits']}habits" in training


def test_what_is_cut_says_how_many_of_all_it_shows(
    published_file: Path, counts: dict[str, int], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name, cap in (("MONTHS", 5), ("GROUPS", 2), ("OFFSET_PAIRS", 3), ("HABITS", 1), ("TOP_CHANGED", 4)):
        monkeypatch.setattr(caps, name, cap)
    draw(published_file, tmp_path / "reports")
    quality, training, operations = (
        squeezed(tmp_path / "reports" / f"{name}.html") for name in ("data_quality", "training", "operations")
    )
    latest = f"thelatest5of{counts['months']}months"
    assert f"uptothereferenceday:{latest}." in quality
    assert f"Eachcheckoverthemonths{latest},20" in quality
    assert f"Bymonth{latest}" in quality
    assert f"Bybranchthe2withmostvisits,of{counts['branches']}branches" in quality
    assert f"Bytechnicianthe2withmostvisits,of{counts['technicians']}technicians" in quality
    assert f"The2withthehighestlowerlimit,of{counts['technicians']}technicians.Dashed" in quality
    assert f"The2withthehighestlowerlimit,of{counts['instruments']}instruments.Dashed" in quality
    assert f"Hiddenoffsetsthe3largestof{counts['pairs']}pairs" in training
    assert f"Otherhabitsworthawordthefirst1of{counts['habits']}habits" in training
    assert "Belowatmost4ofeachchange," in operations
    assert f"Thefirsttenof{counts['ranked']}rankedunitsofthewholefleet" in operations


def test_checks_stand_in_the_order_of_what_follows_from_them(published_file: Path) -> None:
    published = Published.open(published_file)
    rows = [row for row in published.rows("check_shares") if row["n_visits"]]
    published.close()
    order = ["set_aside", "repaired", "not_like_new", "drop_set_aside", "note"]
    assert {row["taken_as"] for row in rows} == set(order)
    for row in rows:
        largest = max(order, key=lambda taken: (row[f"n_{taken}"], -order.index(taken)))
        assert row["taken_as"] == largest
    placed = sorted(rows, key=lambda row: row["chart_place"])
    wanted = sorted(rows, key=lambda row: (order.index(row["taken_as"]), -row["n_visits"], row["check_id"]))
    assert [row["check_id"] for row in placed] == [row["check_id"] for row in wanted]


def test_what_each_check_takes_is_what_it_finds(pages: Path) -> None:
    text = read_page(pages / "data_quality.html").text
    assert "What each check finds" in text
    assert "What each check takes" not in text
    assert "A note takes nothing" in text


def test_an_impossible_drop_goes_alone(published_file: Path, pages: Path) -> None:
    """The visits themselves are used: nothing on the page says that they are set aside."""
    with duckdb.connect(str(published_file), read_only=True) as con:
        ((n_found, n_valid),) = con.sql(
            "SELECT count(*), count(*) FILTER (valid) FROM finding JOIN visit_static USING (visit_id) "
            "WHERE check_id = 'component_drop_impossible'"
        ).fetchall()
    assert n_valid > 0
    page = read_page(pages / "data_quality.html")
    (row,) = (row for row in page.rows("check_shares") if row["check_id"] == "component_drop_impossible")
    assert (row["n_set_aside"], row["n_drop_set_aside"], row["n_visits"]) == (0, n_found, n_found)
    text = " ".join(page.text.split())
    assert "Only the drop is set aside." in text
    assert "where only its drop across filter or coil is, the visit itself is used" in text
    assert "Only what is set aside is not used" not in text
