"""What offices really export: thousands separators, offsets in formats, zone letters, names that are not there."""

from __future__ import annotations

import gzip
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from pipeline.errors import FleetStaticError, UsageError
from pipeline.load.mapping import parse_mapping
from pipeline.settings import Settings
from tests.load.drops import SOUND, VISIT_COLUMNS, Store, write_drop

ROW = {
    "visit_id": "V9",
    "site_id": "S1",
    "equipment_id": "E1",
    "technician_id": "T1",
    "visited_at": "2026-03-01T08:00:00-06:00",
    "mode": "cooling",
    "return_static": "-0.2",
    "supply_static": "0.3",
    "pressure_unit": "inwc",
}


def visits(separator: str = ",", names: dict[str, str] | None = None, **values: str) -> str:
    """A file of one visit, with columns under other names."""
    row = ROW | values
    header = [(names or {}).get(name, name) for name in row]
    return f"{separator.join(header)}\n{separator.join(row.values())}\n"


def loaded(tmp_path: Path, text: str, mapping: str = "", name: str = "visits_9.csv") -> Store:
    store = Store(tmp_path / "into")
    store.run(write_drop(tmp_path / "base", {k: v for k, v in SOUND.items() if k != "visits.csv"}))
    given = None
    if mapping:
        given = tmp_path / "mapping.toml"
        given.write_text(mapping, encoding="utf-8")
    store.run(write_drop(tmp_path / "drop", {name: text}), mapping=given)
    return store


@pytest.mark.parametrize("written", ["1,150", "1.150", "+12,345.678"])
def test_thousands_separators_are_not_read_as_decimal_marks(tmp_path: Path, written: str) -> None:
    store = loaded(tmp_path, visits("\t", airflow_cfm=written), name="visits_9.tsv")
    ((reason, detail),) = store.rows("SELECT reason, detail FROM rejected_row")
    assert reason == "bad_number"
    assert f"airflow_cfm holds {written!r}, expected 0 or a number from 1 to 50000 (cfm)" in detail
    assert detail.endswith("without thousands separators; decimal_comma in the mapping says what a comma is")
    assert store.rows("SELECT count(*) FROM visit") == [(0,)]


@pytest.mark.parametrize("separator", [";", "\t", ","])
@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_a_header_may_break_its_first_line_within_quotes(tmp_path: Path, separator: str, ending: str) -> None:
    """As a spreadsheet's headings do, to be narrow."""
    text = visits(separator, {"visit_id": '"Job, the\nnumber"'}).replace("\n", ending)
    store = loaded(
        tmp_path,
        text,
        '[columns.visits]\nvisit_id = "Job, the\\nnumber"\n'.replace("\\n", f"{ending!r}"[1:-1]),
    )
    assert store.rows("SELECT visit_id, supply_static FROM visit") == [("V9", 0.3)]


@pytest.mark.parametrize("written", ["1,437", "1.437", "1.250.000"])
def test_thousands_separators_of_a_cost_are_not_read_as_decimal_marks(tmp_path: Path, written: str) -> None:
    rows = f"W1;E1;2026-03-01;other;{written}\nW2;E1;2026-03-02;other;437,25\n"
    work = f"work_id;equipment_id;done_on;work_kind;cost\n{rows}"
    store = loaded(tmp_path, work, name="work.csv")
    ((reason, detail),) = store.rows("SELECT reason, detail FROM rejected_row")
    assert reason == "bad_number"
    assert f"cost holds {written!r}, expected a number (currency) without thousands separators" in detail
    assert store.rows("SELECT work_id, cost FROM work") == [("W2", 437.25)]


@pytest.mark.parametrize(("written", "cfm"), [("950,125", 950.125), ("950.125", 950.125), ("1150,5", 1150.5)])
def test_what_would_be_too_many_thousands_has_decimals(tmp_path: Path, written: str, cfm: float) -> None:
    store = loaded(tmp_path, visits(";", airflow_cfm=written))
    assert store.rows("SELECT airflow_cfm FROM visit") == [(cfm,)]


def test_what_a_comma_is_may_be_said(tmp_path: Path) -> None:
    text = visits("\t", airflow_cfm="1150,250", supply_static="0,300")
    store = loaded(tmp_path, text, "decimal_comma = true\n", name="visits_9.tsv")
    assert store.rows("SELECT airflow_cfm, supply_static FROM visit") == [(1150.25, 0.3)]


def test_three_decimals_of_a_pressure_are_no_thousands(tmp_path: Path) -> None:
    store = loaded(tmp_path, visits(";", return_static="-0,215", supply_static="0,312"))
    assert store.rows("SELECT return_static, supply_static FROM visit") == [(-0.215, 0.312)]


@pytest.mark.parametrize("zone", ["", 'time_zone = "America/New_York"\n'])
def test_the_offset_of_a_format_counts(tmp_path: Path, zone: str) -> None:
    """20:00 six hours behind UTC is 02:00 UTC of the next day, whatever zone is named; the day is as written."""
    text = visits(visited_at="03/04/2026 20:00 -0600")
    store = loaded(tmp_path, text, f'time_format = "%m/%d/%Y %H:%M %z"\n{zone}')
    assert store.rows("SELECT visited_at, visited_on FROM visit") == [
        (datetime(2026, 3, 5, 2, tzinfo=UTC), date(2026, 3, 4))
    ]
    assert not [said for said in store.said if "UTC offset" in said]


@pytest.mark.parametrize("letters", ["AST", "BST", "IST", "cst"])
def test_letters_that_stand_for_several_zones_are_refused(tmp_path: Path, letters: str) -> None:
    store = loaded(tmp_path, visits(visited_at=f"2026-03-01 08:00:00 {letters}"))
    assert store.rows("SELECT reason FROM rejected_row") == [("bad_date",)]


@pytest.mark.parametrize("letters", ["Z", " UTC", " GMT", " America/Chicago"])
def test_zones_that_stand_for_themselves_are_read(tmp_path: Path, letters: str) -> None:
    store = loaded(tmp_path, visits(visited_at=f"2026-03-01 14:00:00{letters}"))
    hour = 20 if "Chicago" in letters else 14
    assert store.rows("SELECT visited_at FROM visit") == [(datetime(2026, 3, 1, hour, tzinfo=UTC),)]


def test_letters_that_a_format_reads_are_no_zone(tmp_path: Path) -> None:
    text = visits(visited_at="03/01/2026 08:00 PM")
    mapping = 'time_format = "%m/%d/%Y %I:%M %p"\ntime_zone = "America/Chicago"\n'
    store = loaded(tmp_path, text, mapping)
    assert store.rows("SELECT visited_at FROM visit") == [(datetime(2026, 3, 2, 2, tzinfo=UTC),)]


@pytest.mark.parametrize("written", ["2026-03-01 08:00:00 (BC)", "2026-03-01 (BC)"])
def test_times_before_christ_are_no_times(tmp_path: Path, written: str) -> None:
    store = loaded(tmp_path, visits(visited_at=written))
    assert store.rows("SELECT reason FROM rejected_row") == [("bad_date",)]


def test_a_name_that_the_file_has_not_is_told(tmp_path: Path) -> None:
    text = visits(names={"zero_return": "Zero R"}, zero_return="0.001")
    store = loaded(tmp_path, text, '[columns.visits]\nzero_return = "Zero Ret"\n')
    told = "has no zero_return, which the mapping calls 'Zero Ret' (did you mean 'Zero R'?)"
    assert f"visits_9.csv: {told}" in store.said
    assert store.rows("SELECT remark FROM load_ledger WHERE file = 'visits_9.csv'") == [(told,)]


def test_two_numbers_are_not_read_from_one_column(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="reads both return_static and supply_static from 'supply_static'"):
        loaded(tmp_path, visits(), '[columns.visits]\nreturn_static = "supply_static"\n')


def test_a_time_may_be_that_of_the_visit_and_of_its_recording(tmp_path: Path) -> None:
    store = loaded(tmp_path, visits(), '[columns.visits]\nrecorded_at = "visited_at"\n')
    assert store.rows("SELECT count(*) FROM visit WHERE recorded_at = visited_at") == [(1,)]


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ('encoding = "rot13"', "an encoding of text"),
        ('encoding = "undefined"', "an encoding of text"),
        ('date_format = "%Q"', "a format such as"),
        ('date_format = ""', "a format such as"),
        ('time_format = "%z %H:%M"', "at the end only"),
        ('time_format = "%H:%M %Z"', "a format such as"),
        ('separator = "|"', "comma, semicolon, tab"),
    ],
)
def test_what_a_mapping_cannot_mean_is_refused_by_its_key(said: str, expected: str) -> None:
    with pytest.raises(UsageError, match=expected) as error:
        parse_mapping(said, "mapping.toml")
    assert str(error.value).startswith(f"mapping.toml: {said.partition(' ')[0]} holds")


def test_text_that_is_not_in_the_encoding_of_the_mapping_is_told_with_its_file(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"visits_9\.csv: is not utf-16, as the mapping says"):
        loaded(tmp_path, visits(), 'encoding = "utf-16"\n')


def test_half_a_character_at_the_end_is_not_lost(tmp_path: Path) -> None:
    store = Store(tmp_path / "into")
    drop = write_drop(tmp_path / "drop", {"visits.csv": visits().encode("utf-16") + b"\x41"})
    (tmp_path / "mapping.toml").write_text('encoding = "utf-16"\n', encoding="utf-8")
    with pytest.raises(UsageError, match="as the mapping says"):
        store.run(drop, mapping=tmp_path / "mapping.toml")


@pytest.mark.parametrize(
    ("begins", "kind"), [(b"\x1f\x8b\x08", "gzip"), (b"PK\x03\x04", "zip archive"), (b"PAR1\xff", "Parquet")]
)
def test_what_is_packed_under_a_name_of_text_is_called_so(tmp_path: Path, begins: bytes, kind: str) -> None:
    with pytest.raises(UsageError, match=rf"visits\.csv: holds .*{kind}"):
        Store(tmp_path / "into").run(write_drop(tmp_path / "drop", {"visits.csv": begins + b"\xff\xfe\x00"}))


def test_folders_within_a_drop_are_named(tmp_path: Path) -> None:
    drop = write_drop(tmp_path / "drop", SOUND)
    (drop / "2024").mkdir()
    store = Store(tmp_path / "into")
    store.run(drop)
    assert "2024: left alone, a folder; only the files directly in a drop are read" in store.said


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("min_visits", float("nan")),
        ("chronic_probability", float("inf")),
        ("chronic_probability", 2),
        ("pa_per_inwc", -5),
        ("days_per_year", 0),
        ("min_visits", -1),
        ("gate_rejected_share", -1),
        # Nothing to divide by, or no weight left to a reading.
        ("min_visits", 0),
        ("look_again_visits", 0),
        ("part_visits", 0),
        ("robust_cutoff", 0),
        ("yardstick_prior_visits", 0),
        # No flow in a duct.
        ("duct_exponent", 0.9),
        ("duct_exponent", 1e12),
        # Beyond every calendar and clock.
        ("days_per_year", 1e-6),
        ("calibration_max_age_days", 1e12),
        ("follow_up_days", 1e12),
        ("repeat_window_h", 1e12),
        ("sql_time_limit_s", 1e12),
        ("sql_memory_limit_gb", 1e12),
    ],
)
def test_settings_that_mean_nothing_are_refused_by_name(name: str, value: float) -> None:
    with pytest.raises(FleetStaticError, match=f"shop.toml: setting {name} is {value!r}; expected a number"):
        Settings().with_values({name: value}, "shop.toml")


def test_every_default_lies_within_its_limits() -> None:
    assert [s.name for s in Settings().rows() if not s.limits[0] <= s.value <= s.limits[1]] == []


def test_two_ids_that_differ_by_zeros_in_front_are_told(tmp_path: Path) -> None:
    """A customer list that went through a spreadsheet makes a second site of each."""
    store = loaded(tmp_path, "site_id,branch\n0123,North\n0124,North\n", name="sites_a.csv")
    assert store.said == []
    store.run(
        write_drop(tmp_path / "again", {"sites_b.csv": "site_id,branch\n123,North\n124,North\n9,North\n"})
    )
    assert store.said == [
        "sites: 2 site_ids of this run are there with other zeros in front, too ('123' and '0123'), and count as two; "
        "a spreadsheet takes them away: export the ids as text"
    ]


@pytest.mark.parametrize("packed", [False, True])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "windows-1252"])
def test_the_encoding_of_the_mapping_is_that_of_files_that_are_not_utf_8(
    tmp_path: Path, encoding: str, packed: bool
) -> None:
    sites = "site_id,branch\nS1,S\u00fcd\nS2,South\n".encode(encoding)
    name, content = ("sites.csv.gz", gzip.compress(sites)) if packed else ("sites.csv", sites)
    others = {k: v for k, v in SOUND.items() if k != "sites.csv"}
    store = Store(tmp_path / "into")
    mapping = tmp_path / "m.toml"
    mapping.write_text('encoding = "windows-1252"\n')
    store.run(write_drop(tmp_path / "drop", others | {name: content}), mapping=mapping)
    assert store.rows("SELECT branch FROM site ORDER BY site_id") == [("S\u00fcd",), ("South",)]
    assert store.rows("SELECT count(*) FROM visit") == [(2,)]


def test_a_column_without_a_name_is_not_another_of_its_number(tmp_path: Path) -> None:
    store = Store(tmp_path / "into")
    text = f"{VISIT_COLUMNS},,column 9\nV1,S1,E1,T1,2026-03-01T08:00:00Z,cooling,-0.22,0.31,one,other\n"
    store.run(write_drop(tmp_path / "drop", SOUND | {"visits.csv": text}))
    assert store.rows("SELECT extras FROM staging.visits") == [
        ('{"column 9":"other","column 9 without a name":"one"}',)
    ]


@pytest.mark.parametrize(
    ("day", "read"),
    [
        ("1970-01-01", False),
        ("1969-12-31T18:00:00-06:00", False),
        ("1899-12-30T00:00:00Z", False),
        ("1900-01-01", False),
        ("1970-01-02T12:00:00Z", True),
        ("1969-07-21T02:56:00Z", True),
    ],
)
def test_day_0_of_a_program_is_no_day_of_a_visit(tmp_path: Path, day: str, read: bool) -> None:
    store = Store(tmp_path / "into")
    visit = f"V1,S1,E1,T1,{day},cooling,-0.22,0.31\n"
    store.run(write_drop(tmp_path / "drop", SOUND | {"visits.csv": f"{VISIT_COLUMNS}\n{visit}"}))
    assert store.rows("SELECT count(*) FROM visit") == [(int(read),)]
    told = [said for said in store.said if "[bad_date]" in said]
    assert len(told) == (not read)
    assert all("; day 0 of a program stands for a day that is not known [bad_date]" in said for said in told)


def test_day_0_of_a_program_is_no_day_of_a_work_but_may_be_one_of_a_unit(tmp_path: Path) -> None:
    equipment = (
        "equipment_id,site_id,equipment_kind,rated_tesp_inwc,installed_on\nE1,S1,furnace,0.5,1900-01-01\n"
    )
    work = "work_id,equipment_id,done_on,work_kind\nW1,E1,1970-01-01,coil_cleaned\nW2,E1,1971-01-01,coil_cleaned\n"
    visits = {"visits.csv": f"{VISIT_COLUMNS}\nV1,S1,E1,T1,2026-03-01T08:00:00Z,cooling,-0.22,0.31\n"}
    store = Store(tmp_path / "into")
    store.run(write_drop(tmp_path / "drop", SOUND | visits | {"equipment.csv": equipment, "work.csv": work}))
    assert store.rows("SELECT work_id FROM work") == [("W2",)]
    assert store.rows("SELECT installed_on::VARCHAR FROM equipment WHERE equipment_id = 'E1'") == [
        ("1900-01-01",)
    ]
