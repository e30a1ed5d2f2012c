"""Hand-made bad rows, each with the exact message that it must get; nothing else may be said, and nothing lost."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.load.drops import SOUND, VISIT_COLUMNS, Store, write_drop

HEIGHT = "expected a number from -1500 to 20000 (ft) [bad_number]"
NUMBER = "expected a number (in the row's pressure_unit) [bad_number]"
TIME = "expected a time such as 2026-03-31T14:05:00-05:00"
KINDS = (
    "filter_changed, filter_cabinet_enlarged, return_enlarged, supply_enlarged, supply_repaired, duct_restrapped, "
    "registers_opened, coil_cleaned, blower_cleaned, fan_speed_lowered, equipment_replaced, other"
)

# name: (the second line of visits.csv, what is said after "visits.csv:2: ")
ROWS: dict[str, tuple[str, str]] = {
    "one value": ("V1", "the row has 1 value, expected 8 as in the header [row_malformed]"),
    "few values": ("V1,S1,E1", "the row has 3 values, expected 8 as in the header [row_malformed]"),
    "many values": (
        "V1,S1,E1,T1,2026-03-01,cooling,-0.2,0.3,x,y",
        "the row has 10 values, expected 8 as in the header [row_malformed]",
    ),
    "blanks only": ("   ", "the row has 1 value, expected 8 as in the header [row_malformed]"),
    "quote never closed": (
        'V1,S1,E1,T1,2026-03-01,cooling,-0.2,"0.3',
        "the row opens a quote that is never closed, expected a closing quote [row_malformed]",
    ),
    "text after a quote": (
        'V1,S1,E1,T1,2026-03-01,"cooling"x,-0.2,0.3',
        "the row has text after a closing quote, expected a separator [row_malformed]",
    ),
    "NUL byte": (
        "V1,S1,E1,T1,2026-03-01,cooling,-0.2,0.3\0",
        "the row holds a NUL byte, expected text [row_malformed]",
    ),
    "no key": (",S1,E1,T1,2026-03-01,cooling,-0.2,0.3", "visit_id is empty, expected an id [missing_key]"),
    "blank key": (
        "V1,S1,E1,  ,2026-03-01,cooling,-0.2,0.3",
        "technician_id is empty, expected an id [missing_key]",
    ),
    "nothing at all": (
        ",,,,,,,",
        "visit_id is empty, expected an id; site_id is empty, expected an id; equipment_id is empty, expected an id; "
        f"technician_id is empty, expected an id; visited_at is empty, {TIME}; "
        "mode is empty, expected cooling or heating; return_static is empty, expected a number (in the row's "
        "pressure_unit); supply_static is empty, expected a number (in the row's pressure_unit) [missing_key]",
    ),
    "no reading": ("V1,S1,E1,T1,2026-03-01,cooling,,0.3", f"return_static is empty, {NUMBER}"),
    "no time": ("V1,S1,E1,T1,,cooling,-0.2,0.3", f"visited_at is empty, {TIME} [bad_date]"),
    "no mode": ("V1,S1,E1,T1,2026-03-01,,-0.2,0.3", "mode is empty, expected cooling or heating [bad_value]"),
    "letter in a number": (
        "V1,S1,E1,T1,2026-03-01,cooling,-0.2o,0.3",
        f"return_static holds '-0.2o', {NUMBER}",
    ),
    "unit in a number": (
        "V1,S1,E1,T1,2026-03-01,cooling,-0.2 in,0.3",
        f"return_static holds '-0.2 in', {NUMBER.replace(' [', ', without its unit [')}",
    ),
    "inch mark": (
        'V1,S1,E1,T1,2026-03-01,cooling,"-0.2""",0.3',
        f"return_static holds '-0.2\"', {NUMBER.replace(' [', ', without its unit [')}",
    ),
    "header again": (VISIT_COLUMNS, "the row repeats the header, expected values [row_malformed]"),
    "half a header": (
        "visit_id,S1,E1,T1,2026-03-01,cooling,-0.2,0.3",
        "visit_id holds 'visit_id', expected an id [missing_key]",
    ),
    "NaN": ("V1,S1,E1,T1,2026-03-01,cooling,NaN,0.3", f"return_static holds 'NaN', {NUMBER}"),
    "infinity": ("V1,S1,E1,T1,2026-03-01,cooling,-inf,0.3", f"return_static holds '-inf', {NUMBER}"),
    "too large": ("V1,S1,E1,T1,2026-03-01,cooling,-1e999,0.3", f"return_static holds '-1e999', {NUMBER}"),
    "underscore": ("V1,S1,E1,T1,2026-03-01,cooling,-0_2,0.3", f"return_static holds '-0_2', {NUMBER}"),
    "hexadecimal": ("V1,S1,E1,T1,2026-03-01,cooling,0x2,0.3", f"return_static holds '0x2', {NUMBER}"),
    "two signs": ("V1,S1,E1,T1,2026-03-01,cooling,+-0.2,0.3", f"return_static holds '+-0.2', {NUMBER}"),
    "no-break space": (
        "V1,S1,E1,T1,2026-03-01,cooling,-0.2\u00a0,0.3",
        f"return_static holds '-0.2\\u00a0', {NUMBER}",
    ),
    "no-break space alone": (
        "V1,S1,E1,\u00a0,2026-03-01,cooling,-0.2,0.3",
        "technician_id holds '\\u00a0', expected an id [missing_key]",
    ),
    "decimal comma between commas": (
        'V1,S1,E1,T1,2026-03-01,cooling,"-0,2",0.3',
        "return_static holds '-0,2', expected a number (in the row's pressure_unit), or decimal_comma = true in "
        "the mapping [bad_number]",
    ),
    "no such day": (
        "V1,S1,E1,T1,2026-02-30,cooling,-0.2,0.3",
        f"visited_at holds '2026-02-30', {TIME} [bad_date]",
    ),
    "month first": (
        "V1,S1,E1,T1,03/01/2026,cooling,-0.2,0.3",
        f"visited_at holds '03/01/2026', {TIME} [bad_date]",
    ),
    "two-digit year": (
        "V1,S1,E1,T1,26-03-01,cooling,-0.2,0.3",
        f"visited_at holds '26-03-01', {TIME} [bad_date]",
    ),
    "word for a date": ("V1,S1,E1,T1,epoch,cooling,-0.2,0.3", f"visited_at holds 'epoch', {TIME} [bad_date]"),
    "endless date": (
        "V1,S1,E1,T1,infinity,cooling,-0.2,0.3",
        f"visited_at holds 'infinity', {TIME} [bad_date]",
    ),
    "hour 25": (
        "V1,S1,E1,T1,2026-03-01T25:00:00,cooling,-0.2,0.3",
        f"visited_at holds '2026-03-01T25:00:00', {TIME} [bad_date]",
    ),
    "word outside the list": (
        "V1,S1,E1,T1,2026-03-01,cool,-0.2,0.3",
        "mode holds 'cool', expected cooling or heating [bad_value]",
    ),
    "two faults": (
        "V1,S1,E1,T1,someday,cooling,?,0.3",
        f"visited_at holds 'someday', {TIME}; return_static holds '?', expected a number (in the row's pressure_unit) "
        "[bad_date]",
    ),
    "swapped columns": (
        "V1,S1,E1,T1,cooling,2026-03-01,-0.2,0.3",
        f"visited_at holds 'cooling', {TIME}; mode holds '2026-03-01', expected cooling or heating [bad_date]",
    ),
    "what a terminal would obey": (
        "V1,S1,E1,T1,2026-03-01,cooling,-0.2\x1b[31m\u202e\t" + "9" * 60 + ",0.3",
        f"return_static holds '-0.2\\u001b[31m\\u202e\\t99999999999999999999999999999...', {NUMBER}",
    ),
    "unknown site": (
        "V1,S9,E1,T1,2026-03-01,cooling,-0.2,0.3",
        "site_id holds 'S9', expected a site_id of the sites table [site_unknown]",
    ),
    "unknown equipment": (
        "V1,S1,e1,T1,2026-03-01,cooling,-0.2,0.3",
        "equipment_id holds 'e1', expected an equipment_id of the equipment table [equipment_unknown]",
    ),
    "unknown technician": (
        "V1,S1,E1,01,2026-03-01,cooling,-0.2,0.3",
        "technician_id holds '01', expected a technician_id of the technicians table [technician_unknown]",
    ),
    "equipment of another site": (
        "V1,S2,E1,T1,2026-03-01,cooling,-0.2,0.3",
        "equipment_id holds 'E1' with site_id 'S2', expected the site where it stands, 'S1' [equipment_elsewhere]",
    ),
}

# name: (file, content, what is said)
TABLES: dict[str, tuple[str, str, list[str]]] = {
    "header again among ids": (
        "technicians.csv",
        "technician_id,branch\nT1,North\ntechnician_id,branch\nT2,\n",
        ["technicians.csv:3: the row repeats the header, expected values [row_malformed]"],
    ),
    "header again, with the byte order mark of the file that was put behind": (
        "technicians.csv",
        "technician_id,branch\nT1,North\n\ufefftechnician_id,branch\nT2,\n",
        ["technicians.csv:3: the row repeats the header, expected values [row_malformed]"],
    ),
    "optional values": (
        "visits.csv",
        f"{VISIT_COLUMNS},holes_plugged,pressure_unit,zeroed_at,filter_drop\n"
        "V1,S1,E1,T1,2026-03-01,cooling,-0.2,0.3,yes,psi,noon,small\n",
        [
            f"visits.csv:2: zeroed_at holds 'noon', {TIME}; "
            "filter_drop holds 'small', expected a number (in the row's pressure_unit); "
            "pressure_unit holds 'psi', expected one of inwc, pa, mmwc; "
            "holes_plugged holds 'yes', expected true or false [bad_date]"
        ],
    ),
    "equipment": (
        "equipment_2.csv",
        "equipment_id,site_id,equipment_kind,rated_tesp_inwc,installed_on\n"
        "E3,S1,furnace,0,\nE4,S9,furnace,0.5,\nE5,S1,boiler,0.5,\nE6,S1,furnace,0.5,2026-13-01\n",
        [
            "equipment_2.csv:2: rated_tesp_inwc holds '0', expected a number from 0.01 to 5 (in. w.c.) [bad_number]",
            "equipment_2.csv:3: site_id holds 'S9', expected a site_id of the sites table [site_unknown]",
            "equipment_2.csv:4: equipment_kind holds 'boiler', expected furnace or fan_coil [bad_value]",
            "equipment_2.csv:5: installed_on holds '2026-13-01', expected a date such as 2026-03-31 [bad_date]",
        ],
    ),
    "work": (
        "work.csv",
        "work_id,equipment_id,done_on,work_kind,cost\n"
        "W1,E9,2026-01-01,other,1\nW2,E1,2026-01-01,tidied,1\n,E1,2026-01-01,other,\n",
        [
            "work.csv:2: equipment_id holds 'E9', expected an equipment_id of the equipment table [equipment_unknown]",
            f"work.csv:3: work_kind holds 'tidied', expected one of {KINDS} [bad_value]",
            "work.csv:4: work_id is empty, expected an id [missing_key]",
        ],
    ),
    "blower tables": (
        "blower_tables.csv",
        "blower_table_id,tap,external_static_inwc,airflow_cfm\nB1,,0.1,900\nB1,low,,900\n",
        [
            "blower_tables.csv:2: tap is empty, expected an id [missing_key]",
            "blower_tables.csv:3: external_static_inwc is empty, expected a number from -1 to 10 (in. w.c.) "
            "[bad_number]",
        ],
    ),
    "sites": (
        "sites_2.csv",
        "site_id,branch,elevation_ft\nS3,,5\nS4,North,1e400\nS5,North,20000\nS6,North,20001\nS7,N,high\n",
        [
            "sites_2.csv:2: branch is empty, expected text [bad_value]",
            f"sites_2.csv:3: elevation_ft holds '1e400', {HEIGHT}",
            f"sites_2.csv:5: elevation_ft holds '20001', {HEIGHT}",
            f"sites_2.csv:6: elevation_ft holds 'high', {HEIGHT}",
        ],
    ),
    "line of a record after a quoted line break": (
        "visits.csv",
        f"{VISIT_COLUMNS},note\r\n"
        'V1,S1,E1,T1,2026-03-01,cooling,-0.2,0.3,"two\r\nlines"\r\n\r\n'
        "V2,S1,E1,T1,2026-03-01,cooling,-0.2,zero,x\r\n",
        [f"visits.csv:5: supply_static holds 'zero', {NUMBER}"],
    ),
    "lines that end in every way": (
        "visits.csv",
        f"\n{VISIT_COLUMNS}\r\nV1,S1,E1\rV2,S1\n",
        [
            "visits.csv:3: the row has 3 values, expected 8 as in the header [row_malformed]",
            "visits.csv:4: the row has 2 values, expected 8 as in the header [row_malformed]",
        ],
    ),
    "semicolons": (
        "visits.csv",
        f"{VISIT_COLUMNS.replace(',', ';')}\nV1;S1;E1;T1;2026-03-01;cooling;-0,2,1;0,3\n",
        [f"visits.csv:2: return_static holds '-0,2,1', {NUMBER}"],
    ),
}


def _conserved(store: Store) -> None:
    ledger = "SELECT file FROM load_ledger WHERE rows_read <> rows_loaded + rows_rejected + rows_repeated"
    assert store.rows(ledger) == []


@pytest.mark.parametrize("name", ROWS)
def test_message_for_a_bad_row(tmp_path: Path, name: str) -> None:
    row, message = ROWS[name]
    store = Store(tmp_path / "into")
    good = "V2,S2,E2,T2,2026-03-02,cooling,-0.2,0.3"
    store.run(write_drop(tmp_path / "drop", SOUND | {"visits.csv": f"{VISIT_COLUMNS}\n{row}\n{good}\n"}))
    assert store.said == [f"visits.csv:2: {message}"]
    reason = message.rpartition("[")[2][:-1]
    assert store.rows("SELECT line_number, raw_line, reason FROM rejected_row") == [(2, row, reason)]
    assert store.rows("SELECT visit_id FROM visit") == [("V2",)]
    _conserved(store)


@pytest.mark.parametrize("name", TABLES)
def test_messages_for_a_table(tmp_path: Path, name: str) -> None:
    file, content, messages = TABLES[name]
    store = Store(tmp_path / "into")
    store.run(write_drop(tmp_path / "drop", SOUND | {file: content}))
    assert store.said == messages
    _conserved(store)


def test_at_most_twenty_lines_a_file_and_a_count_of_the_rest(tmp_path: Path) -> None:
    rows = "".join(f"V{i},S1,E1,T1,2026-03-01,cooling,x,0.3\n" for i in range(25))
    store = Store(tmp_path / "into")
    store.run(write_drop(tmp_path / "drop", SOUND | {"visits.csv": f"{VISIT_COLUMNS}\n{rows}"}))
    assert len(store.said) == 21
    assert store.said[19] == f"visits.csv:21: return_static holds 'x', {NUMBER}"
    assert store.said[20] == "visits.csv: and 5 more rows were rejected; all are in the table rejected_row"
