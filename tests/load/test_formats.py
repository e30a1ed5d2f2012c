"""One drop in every accepted form of file: the cleaned tables must be those of the plain form."""

from __future__ import annotations

import gzip
from pathlib import Path

import duckdb
import pytest

from tests.load.drops import SOUND, VISIT_COLUMNS, Store, write_drop

PLAIN = (
    f"{VISIT_COLUMNS},note,holes_plugged\n"
    'V1,S1,E1,T1,2026-03-01T08:00:00-05:00,cooling,-0.22,0.31,"two\nlines, ""quoted""",true\n'
    "V2,S2,E2,T2,2026-03-02T08:00:00-05:00,heating,-0.150,1.5e-1,,FALSE\n"
)


def _semicolons() -> bytes:
    rows = [
        f"{VISIT_COLUMNS},note,holes_plugged".replace(",", ";"),
        'V1;S1;E1;T1;2026-03-01T08:00:00-05:00;cooling;-0,22;0,31;"two\nlines, ""quoted""";true',
        "V2;S2;E2;T2;2026-03-02T08:00:00-05:00;heating;-0,150;1,5e-1;;FALSE",
    ]
    return ("\n".join(rows) + "\n").encode()


def _stray_quotes() -> bytes:
    """Blanks around quotes, and lines that end in two ways: readable, though no writer of CSV would do it."""
    return (
        PLAIN.replace(',"two', ', "two')
        .replace("heating", '"heating" ')
        .replace("FALSE\n", "FALSE\r\n")
        .encode()
    )


FORMS: dict[str, tuple[str, bytes]] = {
    "BOM": ("visits.csv", b"\xef\xbb\xbf" + PLAIN.encode()),
    "CRLF": ("visits.csv", PLAIN.replace("\n", "\r\n").encode()),
    "no last line break": ("visits.csv", PLAIN.encode()[:-1]),
    "blank lines": ("visits.csv", b"\n" + PLAIN.replace("true\n", "true\n\n").encode() + b"\n\n"),
    "semicolons and decimal commas": ("visits.csv", _semicolons()),
    "tabs": ("visits.tsv", PLAIN.replace("lines, ", "lines~ ").replace(",", "\t").replace("~", ",").encode()),
    "gzip": ("visits.csv.gz", gzip.compress(PLAIN.encode(), mtime=0)),
    "untidy quotes": ("visits.csv", _stray_quotes()),
    "capitals in the header": (
        "visits.csv",
        PLAIN.replace("visit_id,site_id", " VISIT_ID ,Site_Id").encode(),
    ),
}
VISITS = "SELECT * FROM visit ORDER BY visit_id"


def _visits(tmp_path: Path, name: str, content: bytes) -> list[tuple[object, ...]]:
    store = Store(tmp_path / f"into {name}")
    others = {k: v for k, v in SOUND.items() if k != "visits.csv"}
    store.run(write_drop(tmp_path / f"drop {name}", others | {name: content}))
    assert store.said == []
    return store.rows(VISITS)


@pytest.mark.parametrize("form", FORMS)
def test_every_form_gives_the_same_visits(tmp_path: Path, form: str) -> None:
    name, content = FORMS[form]
    plain = _visits(tmp_path / "plain", "visits.csv", PLAIN.encode())
    assert len(plain) == 2
    assert _visits(tmp_path / "form", name, content) == plain


@pytest.mark.parametrize("first", ["\n", "\n\n", "\ufeff\n", "\ufeff\n\n", "\ufeff\r\n", "\ufeff\n\r\n"])
@pytest.mark.parametrize("visit", ["V1", '"V1"'])
def test_blank_lines_above_the_header_are_no_rows(tmp_path: Path, first: str, visit: str) -> None:
    text = first + str(SOUND["visits.csv"]).replace("V1", visit)
    assert len(_visits(tmp_path, "visits.csv", text.encode())) == 2


def test_no_break_spaces_around_a_text_are_no_part_of_it(tmp_path: Path) -> None:
    """Of what was copied from a web page: a site or branch of its own, which looks like another, would come of it."""
    store = Store(tmp_path / "into")
    sites = "site_id,branch\n\u00a0S1,North\u00a0\nS2 \u00a0,New\u00a0York\n"
    store.run(write_drop(tmp_path / "drop", SOUND | {"sites.csv": sites}))
    assert store.rows("SELECT site_id, branch FROM site ORDER BY ALL") == [
        ("S1", "North"),
        ("S2", "New\u00a0York"),
    ]
    assert store.rows("SELECT count(*) FROM visit") == [(2,)]


def test_a_header_of_any_length_is_read_whole(tmp_path: Path) -> None:
    """Columns behind the first 64 KiB are columns, too."""
    header, *rows = str(SOUND["visits.csv"]).splitlines()
    more = [f"a column that nobody knows, number {i}".replace(",", "") for i in range(2000)]
    lines = [",".join([*more, header]), *("," * len(more) + row for row in rows)]
    store = Store(tmp_path / "into")
    store.run(write_drop(tmp_path / "drop", SOUND | {"visits.csv": "\n".join(lines)}))
    assert store.rows("SELECT count(*) FROM visit") == [(2,)]


def test_parquet_with_types_of_its_own(tmp_path: Path) -> None:
    others = {k: v for k, v in SOUND.items() if k != "visits.csv"}
    drop = write_drop(tmp_path / "drop", others)
    values = (
        "('V1', 'S1', 'E1', 'T1', TIMESTAMPTZ '2026-03-01 13:00:00+00', 'cooling', -0.22::DOUBLE, 0.31::DOUBLE, true), "
        "('V2', 'S2', 'E2', 'T2', TIMESTAMPTZ '2026-03-02 13:00:00+00', 'heating', 'nan'::DOUBLE, 0.15::DOUBLE, NULL)"
    )
    with duckdb.connect() as con:
        con.execute("SET TimeZone = 'UTC'")
        names = f"{VISIT_COLUMNS},holes_plugged"
        con.execute(f"COPY (SELECT * FROM (VALUES {values}) AS t({names})) TO '{drop / 'visits.parquet'}'")
    store = Store(tmp_path / "into")
    store.run(drop)
    assert store.rows("SELECT visit_id, epoch(visited_at)::INT, return_static, holes_plugged FROM visit") == [
        ("V1", 1772370000, -0.22, True)
    ]
    assert store.said == [
        "visits.parquet:2: return_static holds 'nan', expected a number (in the row's pressure_unit) [bad_number]"
    ]


DECIMALS = {"-0.22": 2, "-.5": 1, "-1": 0, "-0.150": 3, "-1.5e-1": 2, "-15e-2": 2, "-1.50E1": 1, " -0.1 ": 1}


@pytest.mark.parametrize("written", DECIMALS)
def test_decimals_are_those_written(tmp_path: Path, written: str) -> None:
    content = f"{VISIT_COLUMNS}\nV1,S1,E1,T1,2026-03-01,cooling,{written},0.3\n".encode()
    row = _visits(tmp_path, "visits.csv", content)
    assert len(row) == 1
    store = Store(tmp_path / "into visits.csv")
    assert store.rows("SELECT return_decimals FROM visit") == [(DECIMALS[written],)]
