"""The sheet of one site."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.errors import UsageError
from reports import draw_site_sheet
from reports.site_sheet import file_name
from tests.reports.reading import read_page


def test_sheet_tells_the_units_ports_and_cautions(published_file: Path, tmp_path: Path) -> None:
    path = draw_site_sheet(published_file, tmp_path, "S0000")
    assert path == tmp_path / "sites" / "S0000.html"
    page = read_page(path)
    assert "return port after filter, supply port before coil" in page.text
    assert "Never drill where a coil" in page.text
    assert page.size < 1_200_000


def test_fan_coil_is_probed_after_its_coil(published_file: Path, tmp_path: Path) -> None:
    page = read_page(draw_site_sheet(published_file, tmp_path, "S0001"))
    assert "return port after filter, supply port after coil" in page.text


def test_site_without_a_visit_has_a_truthful_sheet(published_file: Path, tmp_path: Path) -> None:
    page = read_page(draw_site_sheet(published_file, tmp_path, "S9999"))
    assert "No equipment is on record at this site." in page.text
    assert page.payload["charts"] == {}


def test_unknown_site_is_named_with_near_ones(published_file: Path, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"'S001': no site .* near it: S000\d .*") as told:
        draw_site_sheet(published_file, tmp_path, "S001")
    assert "S0001 (Unit 2)" in str(told.value)


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
