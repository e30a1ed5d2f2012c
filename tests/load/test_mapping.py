"""Mappings: other names, words, units, signs, dates, zones and encodings; and what is said about a faulty mapping."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from pipeline.errors import UsageError
from pipeline.load.inputs import BY_NAME
from pipeline.load.mapping import parse_mapping
from pipeline.load.mapping_start import START_NAME
from tests.load.drops import SOUND, VISIT_COLUMNS, Files, Store, write_drop

EXPORT = """\
Protokoll;Objekt;Gerät;Monteur;Zeit;Betrieb;Saugseite;Druckseite;Luftmenge;Klappen
P1;S1;E1;T1;01.03.2026 08:00;Kühlen;54,8;77,2;1699,0;offen
P2;S2;E2;T2;02.03.2026 08:00:00;HEIZEN ;37,4;-37,4;;
"""

MAPPING = """\
encoding = "windows-1252"
time_zone = "Europe/Berlin"
time_format = ["%d.%m.%Y %H:%M", "%d.%m.%Y %H:%M:%S"]
pressure_unit = "pa"
return_sign = "magnitude"

[files]
visits = "protokolle*.csv"

[columns.visits]
visit_id = "Protokoll"
site_id = "Objekt"
equipment_id = "Gerät"
technician_id = "Monteur"
visited_at = "Zeit"
mode = "Betrieb"
return_static = "Saugseite"
supply_static = "Druckseite"
airflow_cfm = "Luftmenge"

[values.visits.mode]
"Kühlen" = "cooling"
heizen = "heating"

[units.visits]
airflow_cfm = "m3_per_h"

[constants.visits]
holes_plugged = true
"""


def _store(tmp_path: Path, export: bytes, mapping: str) -> Store:
    store = Store(tmp_path / "into")
    others = {k: v for k, v in SOUND.items() if k != "visits.csv"}
    store.run(write_drop(tmp_path / "base", others))
    (tmp_path / "mapping.toml").write_text(mapping, encoding="utf-8")
    drop = write_drop(tmp_path / "drop", {"Protokolle_2026.csv": export})
    store.run(drop, mapping=tmp_path / "mapping.toml")
    return store


def test_a_foreign_export_becomes_visits(tmp_path: Path) -> None:
    store = _store(tmp_path, EXPORT.encode("windows-1252"), MAPPING)
    assert store.said == ["Protokolle_2026.csv: kept beside the known columns: 'Klappen'"]
    columns = "visit_id, equipment_id, epoch(visited_at)::INT, visited_on, mode, return_static, supply_static"
    assert store.rows(
        f"SELECT {columns}, pressure_unit, holes_plugged, return_decimals FROM visit ORDER BY 1"
    ) == [
        ("P1", "E1", 1772348400, date(2026, 3, 1), "cooling", -54.8, 77.2, "pa", True, 1),
        ("P2", "E2", 1772434800, date(2026, 3, 2), "heating", -37.4, -37.4, "pa", True, 1),
    ]
    # 1 ft3 = 0.028316846592 m3 by definition of the foot, so 1699.01 m3/h are 1000 cfm
    assert store.rows("SELECT round(airflow_cfm, 1) FROM visit ORDER BY visit_id") == [(1000.0,), (None,)]
    assert store.rows("SELECT extras FROM staging.visits ORDER BY visit_id") == [
        ('{"Klappen":"offen"}',),
        (None,),
    ]


def test_lines_and_raw_text_are_those_of_the_export(tmp_path: Path) -> None:
    export = EXPORT.replace("54,8", "vierzig").replace("T2", "T9")
    store = _store(tmp_path, export.encode("windows-1252"), MAPPING)
    assert store.said[1:] == [
        "Protokolle_2026.csv:2: return_static holds 'vierzig', expected a number (in the row's pressure_unit) "
        "[bad_number]",
        "Protokolle_2026.csv:3: technician_id holds 'T9', expected a technician_id of the technicians table "
        "[technician_unknown]",
    ]
    raw = store.rows("SELECT raw_line FROM rejected_row ORDER BY line_number")
    assert raw == [(line,) for line in export.splitlines()[1:]]


def test_a_work_file_is_made_again_with_the_mapping_that_was_used(tmp_path: Path) -> None:
    store = _store(tmp_path, EXPORT.encode("windows-1252"), MAPPING)
    before = store.content()
    (store.into / "work.duckdb").unlink()
    (tmp_path / "mapping.toml").unlink()
    store.run(tmp_path / "base")
    assert store.content() == before


def test_another_mapping_reads_the_file_again(tmp_path: Path) -> None:
    store = _store(tmp_path, EXPORT.encode("windows-1252"), MAPPING)
    mapping = tmp_path / "mapping.toml"
    mapping.write_text(MAPPING.replace('return_sign = "magnitude"', "") + "# a remark\n", encoding="utf-8")
    store.run(tmp_path / "drop", mapping=mapping)
    assert store.rows("SELECT return_static FROM visit ORDER BY visit_id") == [(54.8,), (37.4,)]
    assert store.rows("SELECT count(*) FROM load_ledger WHERE table_name = 'visits'") == [(1,)]
    mapping.write_text(MAPPING.replace('return_sign = "magnitude"', "# another remark"), encoding="utf-8")
    store.run(tmp_path / "drop", mapping=mapping)
    assert store.said == ["1 of 1 files bring nothing new: Protokolle_2026.csv (loaded before)"]


CLOCKS = {
    # Europe/Berlin: clocks went from 02:00 to 03:00 on 29 March 2026, from 03:00 back to 02:00 on 25 October 2026
    "skipped": (
        "2026-03-29 02:30",
        "visited_at holds '2026-03-29 02:30', expected a time that the clocks in Europe/Berlin showed, "
        "for they were put forward then [bad_date]",
    ),
    "twice": (
        "2026-10-25 02:30",
        "visited_at holds '2026-10-25 02:30', expected its UTC offset too, for the clocks in Europe/Berlin showed this "
        "time twice [bad_date]",
    ),
}


def _one_visit(tmp_path: Path, visited_at: str, mapping: str) -> Store:
    export = f"{VISIT_COLUMNS}\nV1,S1,E1,T1,{visited_at},cooling,-0.2,0.3\n"
    return _store(tmp_path, export.encode(), f'files.visits = "proto*"\n{mapping}')


@pytest.mark.parametrize("name", CLOCKS)
def test_times_at_a_clock_change_are_named_not_guessed(tmp_path: Path, name: str) -> None:
    written, message = CLOCKS[name]
    store = _one_visit(tmp_path, written, 'time_zone = "Europe/Berlin"')
    assert store.said == [f"Protokolle_2026.csv:2: {message}"]


@pytest.mark.parametrize(
    ("written", "utc", "day"),
    [
        ("2026-10-25 02:30+01:00", "2026-10-25 01:30:00", date(2026, 10, 25)),
        ("2026-10-25 01:59:59", "2026-10-24 23:59:59", date(2026, 10, 25)),
        ("2026-10-25 03:00", "2026-10-25 02:00:00", date(2026, 10, 25)),
        ("2026-03-29 03:00", "2026-03-29 01:00:00", date(2026, 3, 29)),
        ("2026-06-30T23:30:00Z", "2026-06-30 23:30:00", date(2026, 7, 1)),
        ("2026-06-30T23:30:00-05:00", "2026-07-01 04:30:00", date(2026, 6, 30)),
        ("2026-06-30", "2026-06-29 22:00:00", date(2026, 6, 30)),
    ],
)
def test_times_in_a_zone(tmp_path: Path, written: str, utc: str, day: date) -> None:
    store = _one_visit(tmp_path, written, 'time_zone = "Europe/Berlin"')
    assert store.rows("SELECT strftime(visited_at, '%Y-%m-%d %H:%M:%S'), visited_on FROM visit") == [
        (utc, day)
    ]


def test_dates_in_another_format_and_iso_dates_beside_them(tmp_path: Path) -> None:
    store = Store(tmp_path / "into")
    mapping = tmp_path / "mapping.toml"
    mapping.write_text('date_format = "%m/%d/%Y"\n')
    technicians = "technician_id,trained_on\nT1,03/04/2025\nT2,2025-03-04\nT3,13/04/2025\n"
    store.run(write_drop(tmp_path / "drop", SOUND | {"technicians.csv": technicians}), mapping=mapping)
    assert store.rows("SELECT technician_id, trained_on FROM technician ORDER BY 1") == [
        ("T1", date(2025, 3, 4)),
        ("T2", date(2025, 3, 4)),
    ]
    assert store.said == [
        "technicians.csv:4: trained_on holds '13/04/2025', expected a date written %m/%d/%Y [bad_date]"
    ]


def test_ids_of_another_firm_are_kept_apart_by_their_prefix(tmp_path: Path) -> None:
    """The same ids in two exports: the prefix stands before every id, and before nothing else."""
    store = Store(tmp_path / "into")
    gauges = "instrument_id\nG1\n"
    visits = SOUND["visits.csv"].replace("\n", ",instrument_id,tap\n", 1).replace("0.31\n", "0.31,G1,mid\n")
    ours = SOUND | {"instruments.csv": gauges, "visits.csv": visits.replace("0.15\n", "0.15,,\n")}
    store.run(write_drop(tmp_path / "ours", ours))
    mapping = tmp_path / "m.toml"
    mapping.write_text('id_prefix = "N-"\n[values.visits.technician_id]\n"t2" = "T1"\n')
    theirs = {name.replace(".", "_north."): text for name, text in ours.items()}
    store.run(write_drop(tmp_path / "theirs", theirs), mapping=mapping)
    assert store.said == []
    who = "visit_id, site_id, equipment_id, technician_id, instrument_id, tap"
    assert store.rows(f"SELECT {who} FROM visit ORDER BY ALL") == [
        ("N-V1", "N-S1", "N-E1", "N-T1", "N-G1", "mid"),
        ("N-V2", "N-S2", "N-E2", "N-T1", None, None),
        ("V1", "S1", "E1", "T1", "G1", "mid"),
        ("V2", "S2", "E2", "T2", None, None),
    ]
    assert store.rows("SELECT count(*) FROM superseded_row") == [(0,)]


def test_a_mapping_without_a_prefix_reads_as_it_did_before_there_was_one() -> None:
    """What was read is not read again by a later version: the fingerprint is that of version 1."""
    table = BY_NAME["visits"]
    assert parse_mapping("", "m.toml").fingerprint(table) == ""
    one = parse_mapping('time_zone = "UTC"', "m.toml").fingerprint(table)
    assert one == "6598c739facf5d1b6a60a516c33f6dc55f37a5830ac29a11e080bf7915e299f6"
    assert parse_mapping('time_zone = "UTC"\nid_prefix = "N-"', "m.toml").fingerprint(table) != one


def test_units_of_other_tables(tmp_path: Path) -> None:
    store = Store(tmp_path / "into")
    mapping = tmp_path / "mapping.toml"
    mapping.write_text('[units.equipment]\nrated_tesp_inwc = "pa"\n[units.sites]\nelevation_ft = "m"\n')
    equipment = SOUND["equipment.csv"].replace("0.5", "124.544455").replace("0.3", "74.726673")
    sites = "site_id,branch,elevation_ft\nS1,N,304.8\nS2,S,\n"
    store.run(
        write_drop(tmp_path / "drop", SOUND | {"equipment.csv": equipment, "sites.csv": sites}),
        mapping=mapping,
    )
    # NIST SP 811 appendix B: a conventional inch of water is 249.08891 Pa; a foot is 0.3048 m by definition
    assert store.rows("SELECT round(rated_tesp_inwc, 9) FROM equipment ORDER BY equipment_id") == [
        (0.5,),
        (0.3,),
    ]
    assert store.rows("SELECT round(elevation_ft, 9) FROM site ORDER BY site_id") == [(1000.0,), (0.0,)]


FAULTY: dict[str, tuple[str, str]] = {
    "no TOML": ("a = = 1", "m.toml: is no TOML: Invalid value (at line 1, column 5)"),
    "unknown key": (
        'timezone = "UTC"',
        "m.toml: the mapping holds 'timezone', expected one of separator, encoding, decimal_comma, time_zone, "
        "date_format, time_format, pressure_unit, return_sign, id_prefix, files, columns, values, units, constants",
    ),
    "unknown table": (
        "[columns.visit]",
        f"m.toml: columns holds 'visit', expected one of {', '.join(BY_NAME)}",
    ),
    "unknown column": (
        '[columns.sites]\nname = "x"',
        "m.toml: columns.sites holds 'name', expected one of site_id, branch, site_label, elevation_ft, recorded_at",
    ),
    "unknown zone": (
        'time_zone = "Mars/Base"',
        "m.toml: time_zone holds 'Mars/Base', expected a time zone such as America/Chicago",
    ),
    "unknown unit": (
        '[units.sites]\nelevation_ft = "pa"',
        "m.toml: units.sites.elevation_ft holds 'pa', expected one of ft, m",
    ),
    "unit where there is none": (
        '[units.sites]\nbranch = "m"',
        "m.toml: units.sites holds 'branch', expected a column with a unit of pressure, airflow, power or height",
    ),
    "unknown sign habit": (
        'return_sign = "none"',
        "m.toml: return_sign holds 'none', expected one of signed, magnitude",
    ),
    "unknown encoding": (
        'encoding = "martian"',
        "m.toml: encoding holds 'martian', expected an encoding of text such as windows-1252",
    ),
    "blank in a prefix": (
        'id_prefix = "N "',
        "m.toml: id_prefix holds 'N ', expected a text without blanks around it, such as N-",
    ),
    "not a flag": ('decimal_comma = "yes"', "m.toml: decimal_comma holds 'yes', expected true or false"),
    "not a text": (
        "[columns.sites]\nbranch = [1]",
        "m.toml: columns.sites.branch holds '[1]', expected a text; only a time may stand in two columns, "
        "a day and a time of day",
    ),
    "not a list": ("date_format = 5", "m.toml: date_format holds '5', expected a text or a list of texts"),
}


@pytest.mark.parametrize("name", FAULTY)
def test_message_for_a_faulty_mapping(name: str) -> None:
    text, message = FAULTY[name]
    with pytest.raises(UsageError) as caught:
        parse_mapping(text, "m.toml")
    assert str(caught.value) == message


def test_an_unmapped_export_names_what_it_lacks_and_gives_a_mapping_to_start_from(tmp_path: Path) -> None:
    store = Store(tmp_path / "into")
    header = "Visit No.,Site,Unit,Tech,Visited,Mode,Return static,Supply static"
    export = f"{header}\nV1,S1,E1,T1,2026-03-01,cooling,-0.2,0.3\n"
    drop = write_drop(tmp_path / "drop", SOUND | {"visits.csv": export})
    store.run(drop, passes=False)
    assert store.said[0] == (
        "visits.csv:1: the header lacks visit_id, site_id, equipment_id, technician_id, visited_at, return_static, "
        "supply_static, expected every required column of visits; its unknown columns are 'Visit No.', 'Site', 'Unit', "
        "'Tech', 'Visited', 'Return static', 'Supply static'; no row was read"
    )
    start = store.into / START_NAME
    assert store.said[1] == f"a mapping to start from was written to {start}; complete it and give --mapping"
    guessed = parse_mapping(start.read_text(), start.name).tables["visits"].columns
    assert guessed["return_static"] == "Return static"
    assert guessed["supply_static"] == "Supply static"
    text = start.read_text()
    for column, theirs in (
        ("equipment_id", "Unit"),
        ("technician_id", "Tech"),
        ("site_id", "Site"),
        ("visit_id", "Visit No."),
        ("visited_at", "Visited"),
    ):
        lines = [x for x in text.splitlines() if x.lstrip("# ").startswith(f"{column} = ")]
        text = text.replace(lines[0], f'{column} = "{theirs}"')
    completed = tmp_path / "completed.toml"
    completed.write_text(text)
    store.run(drop, mapping=completed)
    assert store.rows("SELECT visit_id, supply_static FROM visit") == [("V1", 0.3)]


def test_a_decimal_comma_among_commas_is_read_as_its_message_says(tmp_path: Path) -> None:
    row = 'V1,S1,E1,T1,2026-03-01T08:00:00Z,cooling,"-0,2","0,31"\n'
    visits = write_drop(tmp_path / "visits", {"visits.csv": f"{VISIT_COLUMNS}\n{row}"})
    others: Files = {name: text for name, text in SOUND.items() if name != "visits.csv"}
    store = Store(tmp_path / "into")
    store.run(write_drop(tmp_path / "drop", others), visits)
    expected = "expected a number (in the row's pressure_unit), or decimal_comma = true in the mapping"
    assert store.said == [
        f"visits.csv:2: return_static holds '-0,2', {expected}; supply_static holds '0,31', {expected} [bad_number]"
    ]
    mapping = tmp_path / "m.toml"
    mapping.write_text("decimal_comma = true\n")
    store.run(visits, mapping=mapping)
    assert store.rows("SELECT return_static, supply_static, return_decimals FROM visit") == [(-0.2, 0.31, 1)]


def test_a_thousands_comma_is_no_decimal_comma(tmp_path: Path) -> None:
    store = Store(tmp_path / "into")
    store.run(write_drop(tmp_path / "drop", {"sites.csv": 'site_id,branch,elevation_ft\nS1,N,"1,000,000"\n'}))
    assert store.said == [
        "sites.csv:2: elevation_ft holds '1,000,000', expected a number from -1500 to 20000 (ft) [bad_number]"
    ]


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("filter_conditon", "'filter_conditon' (did you mean filter_condition?)"),
        ("Blower Stgae", "'Blower Stgae' (did you mean blower_stage?)"),
        ("weather", "'weather'"),
        ("return_statics", "'return_statics'"),  # return_static is there
    ],
)
def test_a_misspelt_column_is_asked_about(tmp_path: Path, written: str, said: str) -> None:
    row = "V1,S1,E1,T1,2026-03-01T08:00:00Z,cooling,-0.2,0.31,x\n"
    store = Store(tmp_path / "into")
    store.run(write_drop(tmp_path / "drop", SOUND | {"visits.csv": f"{VISIT_COLUMNS},{written}\n{row}"}))
    assert store.said == [f"visits.csv: kept beside the known columns: {said}"]
