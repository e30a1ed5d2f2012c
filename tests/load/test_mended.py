"""Rejected rows that were put right since are told from those that still are to be."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.load.drops import SOUND, VISIT_COLUMNS, Files, Store, write_drop

MENDED = "SELECT file, line_number, is_mended FROM rejected_row ORDER BY ALL"
V1 = "V1,S1,E1,T1,2026-03-01T08:00:00-05:00,cooling,-0.22,0.31\n"
V2 = "V2,S2,E2,T2,2026-03-02T08:00:00-05:00,heating,-0.15,0.15\n"
BAD_V1, BAD_V2 = V1.replace("-0.22", "-0.2z"), V2.replace("-0.15", "-0.1x")
NO_KEY, UNKNOWN, RAGGED = V1.replace("V1", ""), V1.replace("V1,S1", "V3,S9"), "V4,S1\n"
BASE = {name: text for name, text in SOUND.items() if name != "visits.csv"}


def _visits(*rows: str) -> str:
    return "".join((f"{VISIT_COLUMNS}\n", *rows))


def _mended(tmp_path: Path, *drops: Files) -> list[tuple[str, int, bool]]:
    """What stands there after a run each, with another DIR to which all came at once in the opposite order."""
    folders = [write_drop(tmp_path / f"drop_{n}", drop) for n, drop in enumerate(drops)]
    store, other = Store(tmp_path / "into"), Store(tmp_path / "other")
    for folder in folders:
        store.run(folder)
    found = store.rows(MENDED)
    other.run(*reversed(folders))
    assert other.rows(MENDED) == found
    return found


def test_a_row_is_mended_by_a_later_file_that_has_it(tmp_path: Path) -> None:
    first = BASE | {"visits_1.csv": _visits(V1, BAD_V2, NO_KEY, UNKNOWN, RAGGED)}
    lines = [("visits_1.csv", n) for n in (3, 4, 5, 6)]
    assert _mended(tmp_path / "before", first) == [(*line, False) for line in lines]
    found = _mended(tmp_path / "after", first, {"visits_2.csv": _visits(V2, V1)})
    assert found == [(*line, line[1] == 3) for line in lines]


def test_a_site_that_comes_later_mends_by_loading(tmp_path: Path) -> None:
    first = BASE | {"visits_1.csv": _visits(V1, UNKNOWN)}
    more = {"sites_2.csv": "site_id,branch\nS9,North\n", "equipment_2.csv": "equipment_id,site_id\n"}
    found = _mended(tmp_path, first, {"sites_2.csv": more["sites_2.csv"]})
    assert found == [("visits_1.csv", 3, False)]  # E1 stands at S1, not S9
    found = _mended(tmp_path / "b", first, {"visits_2.csv": _visits(UNKNOWN.replace("S9", "S1"))})
    assert found == [("visits_1.csv", 3, True)]


def test_a_correction_that_cannot_be_read_is_not_mended_by_what_it_was_to_correct(tmp_path: Path) -> None:
    first = BASE | {"visits_1.csv": _visits(V1)}
    second = {"visits_2.csv": _visits(BAD_V1)}
    assert _mended(tmp_path / "two", first, second) == [("visits_2.csv", 2, False)]
    third = {"visits_3.csv": _visits(V1)}
    assert _mended(tmp_path / "three", first, second, third) == [("visits_2.csv", 2, True)]


@pytest.mark.parametrize(("tap", "mended"), [(2, True), (3, False)])
def test_a_key_of_several_columns_counts_as_a_whole(tmp_path: Path, tap: int, mended: bool) -> None:
    header = "blower_table_id,tap,external_static_inwc,airflow_cfm\n"
    first = BASE | {"visits_1.csv": _visits(V1), "blower_tables_1.csv": f"{header}B1,2,0.5,many\n"}
    second = {"blower_tables_2.csv": f"{header}B1,{tap},0.5,1200\n"}
    assert _mended(tmp_path, first, second) == [("blower_tables_1.csv", 2, mended)]


def test_a_line_further_down_mends_too(tmp_path: Path) -> None:
    assert _mended(tmp_path / "down", BASE | {"visits.csv": _visits(BAD_V2, V2)}) == [("visits.csv", 2, True)]
    assert _mended(tmp_path / "up", BASE | {"visits.csv": _visits(V2, BAD_V2)}) == [("visits.csv", 3, False)]
