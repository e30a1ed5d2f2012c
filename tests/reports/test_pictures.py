"""Pictures for slides."""

from __future__ import annotations

import shutil
from pathlib import Path
from xml.etree import ElementTree

import pytest

from pipeline.errors import UsageError
from reports.pictures import draw_pictures


def test_each_main_chart_has_its_pictures(pages: Path, tmp_path: Path) -> None:
    folder = tmp_path / "reports"
    shutil.copytree(pages, folder)
    written = draw_pictures(folder)
    names = {path.stem for path in written}
    assert {
        "operations_fleet_picture",
        "operations_first_ten",
        "training_funnel",
        "data_quality_fates",
    } <= names
    assert not any(name.endswith(("totals", "sides", "causes")) for name in names)
    for path in written:
        if path.suffix == ".png":
            assert path.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
        else:
            root = ElementTree.fromstring(path.read_text(encoding="utf-8"))
            assert len(list(root.iter("{http://www.w3.org/2000/svg}path"))) > 5
            assert "var(--" not in path.read_text(encoding="utf-8")


def test_without_pages_there_is_nothing_to_picture(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="draw the reports first"):
        draw_pictures(tmp_path)
