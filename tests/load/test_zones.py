"""Times without a UTC offset: read as UTC where no mapping says the zone, and never without a word."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.load.drops import SOUND, VISIT_COLUMNS, Store, write_drop

ROW = "V{},S1,E1,T1,{},cooling,-0.22,0.31,{}\n"
REMARK = "{} times have no UTC offset and are read as UTC, expected one or time_zone in a mapping"
REMARKS = "SELECT file, remark FROM load_ledger WHERE remark IS NOT NULL"


def _run(tmp_path: Path, rows: list[tuple[str, str]], mapping: str | None = None) -> Store:
    lines = "".join(ROW.format(i, visited, zeroed) for i, (visited, zeroed) in enumerate(rows))
    drop = write_drop(tmp_path / "drop", SOUND | {"visits.csv": f"{VISIT_COLUMNS},zeroed_at\n{lines}"})
    path = tmp_path / "m.toml"
    if mapping is not None:
        path.write_text(mapping)
    store = Store(tmp_path / "into")
    store.run(drop, mapping=path if mapping is not None else None)
    return store


def test_times_without_an_offset_are_counted_said_and_kept(tmp_path: Path) -> None:
    local = ("2026-03-01 08:00:00", "2026-03-01T07:50:00")
    zoned = ("2026-03-01T08:00:00-05:00", "2026-03-01T12:50:00Z")
    store = _run(tmp_path, [local, zoned, ("2026-03-01", ""), ("2026-03-01 08:00+01", ""), ("?", "?")])
    assert store.remarked == [f"visits.csv: {REMARK.format(3)}"]
    assert store.rows(REMARKS) == [("visits.csv", REMARK.format(3))]
    assert store.rows("SELECT epoch(visited_at)::INT FROM visit WHERE visit_id = 'V0'") == [(1772352000,)]
    store.run(tmp_path / "drop")
    assert store.remarked == []
    assert store.rows(REMARKS) == [("visits.csv", REMARK.format(3))]


@pytest.mark.parametrize("mapping", [None, 'time_zone = "America/Chicago"'])
def test_where_the_zone_is_known_nothing_is_said(tmp_path: Path, mapping: str | None) -> None:
    known = "2026-03-01 08:00:00" if mapping else "2026-03-01T08:00:00-06:00"
    store = _run(tmp_path, [(known, ""), (known, known)], mapping)
    assert store.rows(REMARKS) == []
    assert store.remarked == []


def test_a_format_of_the_mapping_says_no_zone(tmp_path: Path) -> None:
    rows = [("01.03.2026 08:00", "2026-03-01T07:00:00Z")]
    store = _run(tmp_path, rows, 'time_format = "%d.%m.%Y %H:%M"')
    assert store.rows(REMARKS) == [("visits.csv", REMARK.format(1))]


def test_all_times_are_counted_however_long_the_file(tmp_path: Path) -> None:
    store = _run(tmp_path, [("2026-03-01 08:00:00", "")] * 5000)
    assert store.rows(REMARKS) == [("visits.csv", REMARK.format(5000))]
