"""The sheet of one site."""

from __future__ import annotations

import os
from pathlib import Path

import duckdb
import pytest

from pipeline.errors import UsageError
from reports import caps, draw, draw_site_sheet, sheets_in, sheets_left, site_sheet, words
from reports.site_sheet import file_name
from tests.reports.published import write_published
from tests.reports.reading import read_page


def test_sheet_tells_the_units_ports_and_cautions(published_file: Path, tmp_path: Path) -> None:
    path = draw_site_sheet(published_file, tmp_path, "S0000")
    assert path == tmp_path / "sites" / "S0000.html"
    page = read_page(path)
    assert "return port after filter, supply port before coil" in page.text
    assert all(caution in page.text for caution in words.CAUTIONS)
    assert page.size < 1_200_000


def test_fan_coil_is_probed_after_its_coil(published_file: Path, tmp_path: Path) -> None:
    page = read_page(draw_site_sheet(published_file, tmp_path, "S0001"))
    assert "return port after filter, supply port after coil" in page.text


def test_site_without_a_visit_has_a_truthful_sheet(published_file: Path, tmp_path: Path) -> None:
    page = read_page(draw_site_sheet(published_file, tmp_path, "S9999"))
    assert "No equipment is on record at this site." in page.text
    assert page.payload["charts"] == {}


@pytest.mark.parametrize("n", [caps.SITE_UNITS, caps.SITE_UNITS + 3])
def test_a_large_site_says_how_many_units_are_left_out(tmp_path: Path, n: int) -> None:
    published = write_published(tmp_path / "fleet.duckdb")
    with duckdb.connect(str(published)) as con:
        (there,) = con.sql("SELECT count(*) FROM equipment WHERE site_id = 'S0001'").fetchall()[0]
        con.execute(
            "INSERT INTO equipment BY NAME SELECT * EXCLUDE (i) REPLACE ('X' || i AS equipment_id) FROM "
            f"(FROM equipment WHERE site_id = 'S0001' LIMIT 1), range({n - there}) AS more(i)"
        )
    page = read_page(draw_site_sheet(published, tmp_path, "S0001"))
    said = f"{n} pieces of equipment are on record at this site; the first {caps.SITE_UNITS} are shown"
    assert (said in page.text) == (n > caps.SITE_UNITS)


def test_unknown_site_is_named_with_near_ones(published_file: Path, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"'S001': no site .* near it: S000\d .*") as told:
        draw_site_sheet(published_file, tmp_path, "S001")
    assert "S0001 (Unit 2)" in str(told.value)


def test_near_sites_are_named_in_one_line(tmp_path: Path) -> None:
    """A label may hold a line break, as a quoted field may, or what a terminal would obey."""
    published = write_published(tmp_path / "fleet.duckdb")
    with duckdb.connect(str(published)) as con:
        con.execute(
            "UPDATE site SET site_label = 'Mill' || chr(10) || chr(27) || '[2JRoad' WHERE site_id = 'S0001'"
        )
    with pytest.raises(UsageError, match="near it") as told:
        draw_site_sheet(published, tmp_path, "S001")
    assert r"S0001 (Mill\n\x1b[2JRoad)" in str(told.value)
    assert str(told.value).isprintable()


def test_a_hostile_id_is_no_path(published_file: Path, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no site with this id"):
        draw_site_sheet(published_file, tmp_path, "../../etc/passwd")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("site_id", "name"),
    [
        ("S-01.b", "S-01.b"),
        ("a/b", "a_2f_b"),
        ("..", "_2e_."),
        ("שלום", "_5e9__5dc__5d5__5dd_"),
        ("a_b", "a_5f_b"),
    ],
)
def test_file_names_are_plain_and_distinct(site_id: str, name: str) -> None:
    assert file_name(site_id) == name


@pytest.mark.parametrize("site_id", ["S15", "Ångö 7", "a/b", "..", "_5f_", "x_1_y", ".hidden", "S_15"])
def test_a_file_name_tells_its_site(site_id: str) -> None:
    assert site_sheet._site_of(file_name(site_id)) == site_id


def test_sheets_that_were_there_are_drawn_again(tmp_path: Path) -> None:
    """Later publications replace the folder of pages: a sheet stays, with the figures of the newest one."""
    file = write_published(tmp_path / "fleet.duckdb", sites=12, hostile=False)
    folder = tmp_path / "reports"
    draw(file, folder)
    assert sheets_in(folder) == []
    for site in ("S0000", "S0001", "S0002"):
        draw_site_sheet(file, folder, site)
    with duckdb.connect(str(file)) as con:
        con.execute("DELETE FROM site WHERE site_id = 'S0002'")
        con.execute("UPDATE site SET site_label = 'Renamed since' WHERE site_id = 'S0001'")
    said: list[str] = []
    written = draw(file, folder, said.append)
    assert {path.stem for path in sheets_in(folder)} == {"S0000", "S0001"}
    assert {folder / "sites" / "S0000.html", folder / "sites" / "S0001.html"} < set(written)
    assert all(path.exists() for path in written)
    again, plain = (read_page(folder / "sites" / f"{site}.html") for site in ("S0001", "S0000"))
    assert "Renamed since" in again.text
    assert "Renamed since" not in plain.text
    alone = read_page(draw_site_sheet(file, tmp_path / "alone", "S0001"))
    assert again.text == alone.text
    assert again.payload["rows"] == alone.payload["rows"]
    assert [line for line in said if "removed" in line] == [f"{sheets_left(1)}; `report --site ID` draws one"]


def test_only_so_many_sheets_are_drawn_again_the_newest(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(caps, "SHEETS", 2)
    file = write_published(tmp_path / "fleet.duckdb", sites=12, hostile=False)
    folder = tmp_path / "reports"
    for day, site in enumerate(("S0003", "S0001", "S0002", "S0000"), 1):
        os.utime(draw_site_sheet(file, folder, site), (day * 86400, day * 86400))
    said: list[str] = []
    draw(file, folder, said.append)
    assert {path.stem for path in sheets_in(folder)} == {"S0002", "S0000"}
    assert any(line.startswith("2 site sheets of before were removed") for line in said)
