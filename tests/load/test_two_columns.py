"""A time in two columns, a day and a time of day: how they are joined, and what is said where they cannot be."""

from __future__ import annotations

import tomllib
from contextlib import suppress
from pathlib import Path

import pytest

from pipeline.errors import UsageError
from pipeline.load.inputs import VISITS
from pipeline.load.mapping import parse_mapping
from pipeline.load.mapping_start import START_NAME
from tests.load.drops import SOUND, Store, write_drop

HEADER = "visit_id,site_id,equipment_id,technician_id,Date,Time,Zeroed,mode,return_static,supply_static"
MAPPING = """
time_zone = "America/Chicago"
{}
[columns.visits]
visited_at = ["Date", "Time"]
zeroed_at = ["Date", "Zeroed"]
"""
US = 'time_format = "%m/%d/%Y %I:%M %p"\ndate_format = "%m/%d/%Y"'
FORMER = "fd0a2730d7c5268403d7a781425209ec6ac7b6ccf31588f89590fbd9c8e68686"
TIMES = (
    "SELECT strftime(visited_at, '%m-%dT%H:%M'), strftime(zeroed_at, '%H:%M'), visited_on::VARCHAR FROM visit"
)


def _store(tmp_path: Path, rows: list[str], mapping: str | None, header: str = HEADER) -> Store:
    lines = "".join(f"V{n},S1,E1,T1,{row},cooling,-0.22,0.31\n" for n, row in enumerate(rows))
    drop = write_drop(tmp_path / "drop", SOUND | {"visits.csv": f"{header}\n{lines}"})
    given = tmp_path / "mapping.toml"
    given.write_text(mapping or "", encoding="utf-8")
    store = Store(tmp_path / "into")
    store.run(drop, mapping=given if mapping else None)
    return store


@pytest.mark.parametrize(
    ("option", "row", "visited", "zeroed"),
    [
        ("", "2026-03-04,14:05,14:01", "03-04T20:05", "20:01"),  # Chicago is six hours behind
        ("", " 2026-03-04 , 8:05 ,8:01:30", "03-04T14:05", "14:01"),
        (
            "",
            "2026-03-04,14:05,",
            "03-04T20:05",
            None,
        ),  # not zeroed, or not written down: no time of day, no time
        ("", "2026-03-04,,14:01", "03-04T06:00", "20:01"),  # the day is known
        ("", "2026-03-04 00:00:00,1899-12-30 14:05:00,14:01", "03-04T20:05", "20:01"),
        ("", "2026-03-04,14:05:00-05:00,14:01:00-05:00", "03-04T19:05", "19:01"),
        (US, "03/04/2026,2:05 PM,2:01 PM", "03-04T20:05", "20:01"),
        (US, "3/4/2026 0:00,12/30/1899 2:05 PM,1/0/1900 2:01 PM", "03-04T20:05", "20:01"),
        (US, "3/4/2026 12:00:00 AM,2:05 PM,", "03-04T20:05", None),
        (US, "03/04/2026,,", "03-04T06:00", None),
    ],
)
def test_a_day_and_a_time_of_day_are_one_time(
    tmp_path: Path, option: str, row: str, visited: str, zeroed: str | None
) -> None:
    store = _store(tmp_path, [row], MAPPING.format(option))
    assert store.said == []
    assert store.rows(TIMES) == [(visited, zeroed, "2026-03-04")]
    assert store.rows("SELECT extras FROM staging.visits") == [(None,)]


def test_what_cannot_be_read_is_shown_as_it_was_joined(tmp_path: Path) -> None:
    rows = ["2026-03-04,noon,", ",14:05,", "2026-03-04,14:05,before", "2026-03-04,14:05,14:01"]
    store = _store(tmp_path, rows, MAPPING.format(""))
    assert [row for (row,) in store.rows("SELECT visit_id FROM visit")] == ["V3"]
    told = "\n".join(store.said)
    assert "visits.csv:2: visited_at holds '2026-03-04 noon', expected a time" in told
    assert "visits.csv:3: visited_at is empty" in told
    assert "visits.csv:4: zeroed_at holds '2026-03-04 before'" in told
    lines = store.rows("SELECT raw_line FROM rejected_row ORDER BY line_number")
    assert lines[0] == ("V0,S1,E1,T1,2026-03-04,noon,,cooling,-0.22,0.31",)


def test_a_header_that_stands_there_again_is_told_as_one(tmp_path: Path) -> None:
    drop = write_drop(tmp_path / "more", {"visits_2.csv": f"{HEADER}\n{HEADER}\n"})
    store = _store(tmp_path, ["2026-03-04,14:05,"], MAPPING.format(""))
    store.run(drop, mapping=tmp_path / "mapping.toml")
    assert [said for said in store.said if "repeats the header" in said]


def test_a_file_with_the_contracts_own_column_is_read_by_it(tmp_path: Path) -> None:
    store = _store(
        tmp_path,
        ["2026-03-04T14:05:00-06:00"],
        MAPPING.format(""),
        HEADER.replace("Date,Time,Zeroed", "visited_at"),
    )
    assert store.rows(TIMES) == [("03-04T20:05", None, "2026-03-04")]


def test_columns_that_are_not_there_are_named(tmp_path: Path) -> None:
    def told(folder: str, header: str) -> str:
        store = _store(tmp_path / folder, ["2026-03-04,14:05,"], MAPPING.format(""), header)
        return "\n".join(store.said)

    (tmp_path / "one").mkdir()
    (tmp_path / "two").mkdir()
    lacks = (
        "visits.csv:1: the header lacks visited_at (in the mapping: Date and Time), expected every required"
    )
    assert lacks in told("one", HEADER.replace("Time", "Clock"))
    has_not = "has no zeroed_at, which the mapping calls 'Zeroed' (did you mean 'Zero'?)"
    assert has_not in told("two", HEADER.replace("Zeroed", "Zero"))


@pytest.mark.parametrize("clock", ["14:05", "8:05:10", "2:05 PM"])
def test_a_time_of_day_without_its_day_is_told_what_helps(tmp_path: Path, clock: str) -> None:
    mapping = MAPPING.format("").replace('["Date", "Time"]', '"Time"')
    (said,) = (x for x in _store(tmp_path, [f"2026-03-04,{clock},"], mapping).said if ":2: " in x)
    assert f"visited_at holds '{clock}', expected" in said
    assert ', or in the mapping both columns: visited_at = ["the day\'s", "the time\'s"]' in said


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ('visited_at = ["Date"]', "two columns, a day and a time of day"),
        ('visited_at = ["Date", "Time", "Zone"]', "two columns, a day and a time of day"),
        ('visited_at = ["Date", []]', "a text"),
        ('note = ["One", "Other"]', "only a time may stand in two columns"),
    ],
)
def test_other_lists_are_refused(said: str, expected: str) -> None:
    with pytest.raises(UsageError, match=expected):
        parse_mapping(f"[columns.visits]\n{said}\n", "mapping.toml")


def test_a_mapping_without_such_is_the_reading_that_it_was() -> None:
    """The figures are those of the version before there was this: files that it has read are not read again."""
    text = '[columns.visits]\nvisited_at = "Zeit"\n'
    assert parse_mapping(text, "").fingerprint(VISITS) == FORMER
    assert parse_mapping("", "").fingerprint(VISITS) == ""
    assert parse_mapping(text.replace('"Zeit"', '["Tag", "Zeit"]'), "").fingerprint(VISITS) not in (
        FORMER,
        "",
    )


FOREIGN = "Job No,Site,Unit,Tech,Date,{},Mode,Return SP,Supply SP\n"
ROWS = "1,S1,E1,T1,{},cooling,-0.22,0.31\n2,S1,E1,T1,{},cooling,-0.22,0.31\n"


@pytest.mark.parametrize(
    ("names", "rows", "guessed", "time_format"),
    [
        (
            "Time,Zero Time",
            ("03/24/2026,2:05 PM,2:01 PM", "03/04/2026,8:05 AM,"),
            {"visited_at": ["Date", "Time"], "zeroed_at": ["Date", "Zero Time"]},
            "%m/%d/%Y %I:%M %p",
        ),
        (
            "Zero Time,Start Time",
            ("2026-03-24,14:01,14:05", "2026-03-04,08:01,08:05"),
            {"visited_at": ["Date", "Start Time"], "zeroed_at": ["Date", "Zero Time"]},
            "%Y-%m-%d %H:%M",
        ),
        (
            "Time,Arrived by",
            ("3/24/2026 0:00,14:05:00,car", "3/4/2026 0:00,08:05:00,van"),
            {"visited_at": ["Date", "Time"]},
            "%m/%d/%Y %H:%M:%S",
        ),
        # One that holds both already, and one whose days are written in two ways.
        ("Time,X", ("2026-03-24 14:05,14:05,x", "2026-03-04 08:05,08:05,x"), {"visited_at": "Date"}, None),
        ("Zero Time,X", ("2026-03-24,14:01,x", "2026-03-04,08:01,x"), {"visited_at": "Date"}, None),
    ],
)
def test_two_columns_are_guessed_and_the_guess_reads_them(
    tmp_path: Path, names: str, rows: tuple[str, str], guessed: dict[str, object], time_format: str | None
) -> None:
    drop = write_drop(tmp_path / "drop", SOUND | {"visits.csv": FOREIGN.format(names) + ROWS.format(*rows)})
    store = Store(tmp_path / "into")
    with suppress(UsageError):
        store.run(drop, passes=False)
    start = store.into / START_NAME
    said = tomllib.loads(start.read_text(encoding="utf-8"))
    found = said["columns"]["visits"]
    assert {name: found[name] for name in ("visited_at", "zeroed_at") if name in found} == guessed
    assert said.get("time_format") == time_format
    store.run(drop, mapping=start)
    assert store.rows("SELECT count(*), count(visited_at) FROM visit") == [(2, 2)]
