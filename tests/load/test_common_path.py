"""The common path: an ordinary drop is loaded row for row; loading it again changes nothing; rows wait for others."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from tests.load.drops import SOUND, VISIT_COLUMNS, Store, write_drop

COUNTS = "SELECT rows_read, rows_loaded, rows_rejected, rows_repeated, rows_superseded FROM load_ledger"


def test_a_sound_drop_is_loaded_row_for_row(tmp_path: Path) -> None:
    store = Store(tmp_path / "into")
    store.run(write_drop(tmp_path / "drop", dict(SOUND)))
    assert store.said == []
    assert store.rows(COUNTS) == [(2, 2, 0, 0, 0)] * 4
    assert store.rows("SELECT site_id, branch, elevation_ft FROM site ORDER BY 1") == [
        ("S1", "North", 0.0),
        ("S2", "South", 0.0),
    ]
    assert store.rows("SELECT equipment_id, coil_in_rating, filter_in_rating FROM equipment ORDER BY 1") == [
        ("E1", False, False),
        ("E2", True, False),
    ]
    visit = (
        "SELECT visit_id, visited_on, epoch(visited_at), mode, return_static, pressure_unit, return_decimals"
    )
    assert store.rows(f"{visit}, reported_decimals FROM visit ORDER BY 1") == [
        ("V1", date(2026, 3, 1), 1772370000.0, "cooling", -0.22, "inwc", 2, None),
        ("V2", date(2026, 3, 2), 1772456400.0, "heating", -0.15, "inwc", 2, None),
    ]


def test_the_same_drop_again_changes_nothing(tmp_path: Path) -> None:
    store = Store(tmp_path / "into")
    drop = write_drop(tmp_path / "drop", dict(SOUND))
    store.run(drop)
    before, ledger = store.content(), store.rows("SELECT * FROM load_ledger")
    store.run(drop)
    assert store.content() == before
    assert store.rows("SELECT * FROM load_ledger") == ledger
    assert store.said == [
        "4 of 4 files bring nothing new: equipment.csv (loaded before), sites.csv (loaded before), "
        "technicians.csv (loaded before), ..."
    ]


def test_rows_stand_in_the_order_of_their_files_whichever_is_read_sooner(tmp_path: Path) -> None:
    store = Store(tmp_path / "into")
    others = {name: text for name, text in SOUND.items() if name != "visits.csv"}
    rows = [f"{{}}{i},S1,E1,T1,2026-03-01T08:00:00Z,cooling,-0.2,0.3" for i in range(40_000)]
    files = {
        f"visits_{n}.csv": rows[: 40_000 // n**2] for n in range(1, 9)
    }  # each is read sooner than the one before
    texts = {
        name: "\n".join([VISIT_COLUMNS, *(row.format(name) for row in rows)]) for name, rows in files.items()
    }
    store.run(write_drop(tmp_path / "drop", others | texts))
    read = store.rows("SELECT load_id, count(*) FROM staging.visits GROUP BY load_id ORDER BY min(rowid)")
    assert [n for _, n in read] == [len(rows) for rows in files.values()]
    assert [load_id for load_id, _ in read] == sorted(load_id for load_id, _ in read)
    assert store.rows("SELECT file FROM load_file WHERE table_name = 'visits' ORDER BY rowid") == [
        (name,) for name in files
    ]


def test_the_same_file_twice_in_one_order_is_loaded_once(tmp_path: Path) -> None:
    store = Store(tmp_path / "into")
    first = write_drop(tmp_path / "first", dict(SOUND))
    again = write_drop(tmp_path / "again", {"visits.csv": SOUND["visits.csv"]})
    store.run(first, again)
    assert store.said == ["1 of 5 files bring nothing new: visits.csv (loaded before)"]
    assert store.rows("SELECT count(*) FROM staging.visits") == [(2,)]


def test_many_files_a_table_and_one_file_as_a_drop(tmp_path: Path) -> None:
    store = Store(tmp_path / "into")
    store.run(write_drop(tmp_path / "drop", dict(SOUND)))
    more = f"{VISIT_COLUMNS}\nV3,S1,E1,T1,2026-03-03T08:00:00Z,cooling,-0.2,0.3\n"
    drop = write_drop(tmp_path / "more", {"visits_2026-03.csv": more, "notes.csv": "a\n1\n"})
    store.run(drop / "visits_2026-03.csv")
    assert store.rows("SELECT count(*) FROM visit") == [(3,)]
    assert store.said == []


def test_a_file_that_belongs_to_no_table_is_named_and_left_alone(tmp_path: Path) -> None:
    store = Store(tmp_path / "into")
    others: dict[str, str | bytes] = {
        "visitors.csv": "a\n",
        "visits.xlsx": b"PK",
        "read me.md": "x",
        ".hidden": "x",
    }
    store.run(write_drop(tmp_path / "drop", SOUND | others))
    assert store.said == [
        "visits.xlsx: left alone, expected a .csv, .tsv or .txt file (or such a .gz) or .parquet",
        "visitors.csv: left alone, expected a name that begins with one of blower_tables, equipment, instruments, "
        "sites, technicians, visits, work",
    ]


@pytest.mark.parametrize("late", ["sites.csv", "equipment.csv", "technicians.csv"])
def test_a_row_waits_for_what_it_refers_to(tmp_path: Path, late: str) -> None:
    store = Store(tmp_path / "into")
    store.run(write_drop(tmp_path / "first", {k: v for k, v in SOUND.items() if k != late}))
    reason = late[:-4].removesuffix("s") + "_unknown"
    assert store.rows("SELECT count(*) FROM visit") == [(0,)]
    rejected = "SELECT line_number, reason FROM rejected_row WHERE table_name = 'visits' ORDER BY ALL"
    assert store.rows(rejected) == [(2, reason), (3, reason)]
    store.run(write_drop(tmp_path / "second", {late: SOUND[late]}))
    assert store.rows("SELECT count(*) FROM rejected_row") == [(0,)]
    whole = Store(tmp_path / "whole")
    whole.run(write_drop(tmp_path / "all", dict(SOUND)))
    assert store.content() == whole.content()


def test_equipment_of_another_site_is_refused_until_it_is_corrected(tmp_path: Path) -> None:
    store = Store(tmp_path / "into")
    visits = f"{VISIT_COLUMNS}\nV1,S2,E1,T1,2026-03-01,cooling,-0.2,0.3\n"
    store.run(write_drop(tmp_path / "drop", SOUND | {"visits.csv": visits}))
    assert store.said == [
        "visits.csv:2: equipment_id holds 'E1' with site_id 'S2', expected the site where it stands, 'S1' "
        "[equipment_elsewhere]"
    ]
    assert store.rows("SELECT raw_line, reason FROM rejected_row") == [
        ("V1,S2,E1,T1,2026-03-01,cooling,-0.2,0.3", "equipment_elsewhere")
    ]
    moved = "equipment_id,site_id,equipment_kind,rated_tesp_inwc\nE1,S2,furnace,0.5\n"
    store.run(write_drop(tmp_path / "moved", {"equipment_2.csv": moved}))
    assert store.rows("SELECT visit_id FROM visit") == [("V1",)]
