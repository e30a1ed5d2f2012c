"""Times without a UTC offset: read as UTC where no mapping says the zone, and never without a word."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from pipeline.load.zones import SUSPECT_OFFSET, is_out_of_reach
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


def test_each_offset_that_is_out_of_reach_is_suspected() -> None:
    parts = ("", ":00", ":59", "60", ":30:30", ":30:75")
    offsets = [f"{sign}{hour:02}{part}" for sign in "+-" for hour in range(100) for part in parts]
    for offset in offsets:
        text = f"2026-03-31T08:00:00.5 {offset}"
        if is_out_of_reach(text):
            assert re.search(SUSPECT_OFFSET, text), offset
        else:
            assert -12 <= int(offset[:3]) <= 14
    assert not re.search(SUSPECT_OFFSET, "2026-03-31T08:00:00-05:00")
    assert not any(is_out_of_reach(text) for text in ("2026-03-31", "2026-03-31T25:00:00", "26-03-01"))


OUT_OF_REACH = "expected a time such as 2026-03-31T14:05:00-05:00 whose UTC offset lies from -12:00 to +14:00"


@pytest.mark.parametrize(
    "offset", ["+25:00", "-25:00", "+14:30", "+15", "-12:30", "+2500", "+05:60", "-05:30:60", "+99:00 "]
)
def test_an_offset_that_no_clock_has_is_refused(tmp_path: Path, offset: str) -> None:
    sound = ("2026-03-01T08:00:00-05:00", "2026-03-01T07:50:00-05:00")
    odd = [(f"2026-03-01T08:00:00{offset}", ""), ("2026-03-01T08:00:00-05:00", f"2026-03-01 07:50{offset}")]
    store = _run(tmp_path, [sound, *odd])
    assert store.said == [
        f"visits.csv:3: visited_at holds '2026-03-01T08:00:00{offset}', {OUT_OF_REACH} [bad_date]",
        f"visits.csv:4: zeroed_at holds '2026-03-01 07:50{offset}', {OUT_OF_REACH} [bad_date]",
    ]
    assert store.rows("SELECT visit_id FROM visit") == [("V0",)]


@pytest.mark.parametrize(
    "offset", ["+14:00", "-12:00", "-00:00", "+05:45", "+0530", "+05:30:15", "-09:30", "Z", ".5+13:45"]
)
def test_an_offset_that_a_clock_may_have_is_read(tmp_path: Path, offset: str) -> None:
    store = _run(tmp_path, [(f"2026-03-01T08:00:00{offset}", f"2026-03-01T07:50:00{offset} ")])
    assert store.said == []
    assert store.rows("SELECT (epoch_us(visited_at) - epoch_us(zeroed_at)) // 60000000 FROM visit") == [(10,)]


def test_an_offset_is_judged_under_a_mapping_too(tmp_path: Path) -> None:
    mapping = 'time_format = ["%d.%m.%Y %H:%M %z", "%Y%m%d %H%M%S%z"]\ntime_zone = "America/Chicago"'
    texts = ["01.03.2026 08:00 +25:00", "20260301 080000+2500", "2026-03-01T08:00:00+25:00"]
    store = _run(tmp_path, [("01.03.2026 08:00 +02:00", ""), *((text, "") for text in texts)], mapping)
    assert store.rows("SELECT visit_id FROM visit") == [("V0",)]
    assert [said.split(", expected")[0] for said in store.said] == [
        f"visits.csv:{line}: visited_at holds '{text}'" for line, text in enumerate(texts, 3)
    ]


BY_THE_VISIT = "{} times of zeroing have no UTC offset and are read with that of their visit"
MINUTES = "SELECT visit_id, (epoch(visited_at) - epoch(zeroed_at)) / 60 FROM visit ORDER BY visit_id"


def test_a_zero_without_an_offset_is_read_by_the_clock_of_its_visit(tmp_path: Path) -> None:
    rows = [
        ("2026-03-01T10:00:00-05:00", "2026-03-01T09:50:00"),
        ("2026-03-01T00:05:00+09:00", "2026-02-28 23:55"),
        ("2026-03-01T10:00:00.5Z", " 2026-03-01T09:50:00.500000 "),
        ("2026-03-01 10:00:00 America/Chicago", "2026-03-01 09:50:00"),
        ("2026-03-01T10:00:00-05:00", "2026-03-01T08:50:00-06:00"),
        ("2026-03-01T10:00:00", "2026-03-01T09:50:00"),
    ]
    store = _run(tmp_path, rows)
    assert store.rows(MINUTES) == [(f"V{i}", 10.0) for i in range(len(rows))]
    said = f"{REMARK.format(2)}; {BY_THE_VISIT.format(4)}"
    assert store.rows(REMARKS) == [("visits.csv", said)]


def test_the_zone_of_a_mapping_goes_before_the_clock_of_the_visit(tmp_path: Path) -> None:
    rows = [("2026-03-01T10:00:00-05:00", "2026-03-01T08:50:00")]
    assert _run(tmp_path, rows, 'time_zone = "America/Chicago"').rows(MINUTES) == [("V0", 10.0)]


def test_a_zero_in_a_format_of_the_mapping_is_read_by_the_clock_of_its_visit(tmp_path: Path) -> None:
    rows = [("2026-03-01T10:00:00-05:00", "01.03.2026 09:50")]
    assert _run(tmp_path, rows, 'time_format = "%d.%m.%Y %H:%M"').rows(MINUTES) == [("V0", 10.0)]


@pytest.mark.parametrize(
    "mapping",
    [
        'time_zone = "America/Chicago"',
        'time_format = "%d.%m.%Y %H:%M"',
        'time_format = "%Y-%m-%d %H:%M:%S %z"',
    ],
)
def test_what_stands_after_a_time_is_not_passed_over_under_a_mapping(tmp_path: Path, mapping: str) -> None:
    """DuckDB reads a TIMESTAMP from such a text, and drops what stands after it."""
    read = [f"2026-03-01 08:00:00{zone}" for zone in (" UTC-5", " GMT-5", " UTC-5:00", "-05:00\u00a0")]
    unread = [f"2026-03-01 08:00:00{rest}" for rest in (" -5:00", " +5", " EST-5", " x5", " -05:3", " 1")]
    store = _run(tmp_path, [(text, "") for text in read + unread], mapping)
    hours = (
        "SELECT visit_id, hour(visited_at AT TIME ZONE 'UTC'), visited_on::VARCHAR FROM visit ORDER BY ALL"
    )
    assert store.rows(hours) == [(f"V{i}", 13, "2026-03-01") for i in range(len(read))]
    said = [said.split(", expected")[0] for said in store.said if "visited_at" in said]
    assert said == [
        f"visits.csv:{i}: visited_at holds '{text}'" for i, text in enumerate(unread, 2 + len(read))
    ]


BEYOND = [
    "infinity",
    "-infinity",
    "294247-01-10 04:00:54",
    "294247-01-10T04:00:54Z",
    "290309-12-22 (BC) 00:00:00",
]


@pytest.mark.parametrize("mapping", [None, 'time_zone = "America/Chicago"', 'time_zone = "Asia/Tokyo"'])
def test_a_time_at_the_end_of_all_times_is_refused_and_stops_no_run(
    tmp_path: Path, mapping: str | None
) -> None:
    sound = "2026-03-01T08:00:00-05:00"
    local = "2026-03-01T08:00:00"
    rows = [pair for text in BEYOND for pair in ((text, local), (text, sound), (local, text), (sound, text))]
    store = _run(tmp_path, rows, mapping)
    assert store.rows("SELECT count(*) FROM visit") == [(0,)]
    assert store.rows("SELECT reason, count(*) FROM rejected_row GROUP BY ALL") == [("bad_date", len(rows))]
