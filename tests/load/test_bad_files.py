"""Hand-made files that cannot be used at all, each with the exact message that it must get."""

from __future__ import annotations

import gzip
import os
from pathlib import Path

import pytest

from pipeline.errors import UsageError
from pipeline.load.mapping_start import START_NAME
from tests.load.drops import SOUND, VISIT_COLUMNS, Files, Store, write_drop

ROW = "V1,S1,E1,T1,2026-03-01,cooling,-0.2,0.3"
EXPORT = "export it again or say encoding in the mapping"
ACCENT = f"{VISIT_COLUMNS},note\n{ROW},caf\u00e9"

# name: (file, content, the message)
UNUSABLE: dict[str, tuple[str, bytes, str]] = {
    "empty": ("visits.csv", b"", "visits.csv:1: is empty, expected a header row with column names"),
    "blank lines only": (
        "visits.csv",
        b"\n\n  \n",
        "visits.csv:1: is empty, expected a header row with column names",
    ),
    "a column twice": (
        "visits.csv",
        f"{VISIT_COLUMNS},Supply_Static\n{ROW},1\n".encode(),
        "visits.csv:1: column 'Supply_Static' stands twice (columns 8 and 9), expected each name once",
    ),
    "a header that never ends": (
        "visits.csv",
        b'"visit_id,site_id\nV1,S1\n',
        "visits.csv:1: the header row has faulty quotes (unexpected end of data), expected column names",
    ),
    "NUL in the header": (
        "visits.csv",
        f"{VISIT_COLUMNS}\0\n{ROW}\n".encode(),
        "visits.csv:1: the header row holds a NUL byte, expected text",
    ),
    "Latin-1": (
        "visits.csv",
        f"{ACCENT} au lait\n".encode("latin-1"),
        f"visits.csv:2: byte {len(ACCENT)} holds 0xe9, expected UTF-8 (perhaps Windows-1252); {EXPORT}",
    ),
    "UTF-16": (
        "visits.csv",
        f"{VISIT_COLUMNS}\n{ROW}\n".encode("utf-16"),
        f"visits.csv: byte 1 begins UTF-16 text, expected UTF-8; {EXPORT}",
    ),
    "UTF-8 cut in a character": (
        "visits.csv",
        ACCENT.encode()[:-1],
        f"visits.csv:2: ends within a character (byte {len(ACCENT)}), expected a whole UTF-8 file",
    ),
    "not gzip": (
        "visits.csv.gz",
        b"visit_id\nV1\n",
        "visits.csv.gz: cannot be unpacked (Not a gzipped file (b'vi')); expected a whole gzip file",
    ),
    "gzip cut short": (
        "visits.csv.gz",
        gzip.compress(f"{VISIT_COLUMNS}\n{ROW}\n".encode(), mtime=0)[:-12],
        "visits.csv.gz: cannot be unpacked (Compressed file ended before the end-of-stream marker was reached); "
        "expected a whole gzip file",
    ),
    "not Parquet": (
        "visits.parquet",
        b"PAR1 nonsense",
        "visits.parquet: cannot be read, expected a whole Parquet file",
    ),
}


@pytest.mark.parametrize("name", UNUSABLE)
def test_message_for_an_unusable_file(tmp_path: Path, name: str) -> None:
    file, content, message = UNUSABLE[name]
    store = Store(tmp_path / "into")
    others = {k: v for k, v in SOUND.items() if k != "visits.csv"}
    with pytest.raises(UsageError) as caught:
        store.run(write_drop(tmp_path / "drop", others | {file: content}))
    assert str(caught.value) == message
    assert caught.value.exit_status == 2
    assert store.rows("SELECT count(*) FROM load_file") == [(0,)]
    assert not list((store.into / "drops").glob("incoming*"))


def test_every_unusable_file_of_a_drop_is_named(tmp_path: Path) -> None:
    store = Store(tmp_path / "into")
    with pytest.raises(UsageError) as caught:
        store.run(write_drop(tmp_path / "drop", SOUND | {"sites_2.csv": b"", "work.csv": b"\xff\xfea\0"}))
    assert str(caught.value).splitlines() == [
        "sites_2.csv:1: is empty, expected a header row with column names",
        f"work.csv: byte 1 begins UTF-16 text, expected UTF-8; {EXPORT}",
    ]


@pytest.mark.parametrize("files", [{}, {"visitors.csv": "a,b\n1,2\n"}])
def test_a_drop_without_an_input_file(tmp_path: Path, files: Files) -> None:
    store = Store(tmp_path / "into")
    drop = write_drop(tmp_path / "drop", files)
    with pytest.raises(UsageError) as caught:
        store.run(drop)
    names = "blower_tables, equipment, instruments, sites, technicians, visits, work"
    message = f"{drop}: no input file, expected files whose names begin with one of {names}"
    start = store.into / START_NAME
    if files:
        message += f"; a mapping to start from was written to {start}"
    assert str(caught.value) == message
    assert start.exists() == bool(files)


def test_a_drop_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="nowhere: no such file or folder; expected a folder of CSV files"):
        Store(tmp_path / "into").run(tmp_path / "nowhere")


def test_a_missing_required_column_is_a_fact_for_the_gate(tmp_path: Path) -> None:
    store = Store(tmp_path / "into")
    store.run(write_drop(tmp_path / "drop", SOUND | {"sites.csv": "site_id,Area\nS1,North\n"}), passes=False)
    assert store.said[0] == (
        "sites.csv:1: the header lacks branch, expected every required column of sites; "
        "its unknown columns are 'Area'; no row was read"
    )
    assert store.rows("FROM gate_fact") == [
        ("sites.csv", "sites", "missing_column", "the header lacks branch")
    ]


@pytest.mark.parametrize(
    ("name", "told"),
    [(b"visits_\xff.csv", "'visits_\\udcff.csv'"), (b"visits\n\x1b[31m.csv", "'visits\\n\\u001b[31m.csv'")],
)
def test_a_file_name_that_is_no_plain_text_is_refused(tmp_path: Path, name: bytes, told: str) -> None:
    files: Files = {**SOUND}
    drop = write_drop(tmp_path / "drop", files)
    (drop / os.fsdecode(name)).write_text(SOUND["visits.csv"])
    (drop / "Icon\r").touch()
    store = Store(tmp_path / "into")
    with pytest.raises(UsageError) as caught:
        store.run(drop)
    reason = "its name holds control characters or is not UTF-8"
    assert str(caught.value) == f"{told}: {reason}, expected a name of plain text; rename it"
    assert store.said == [f"'Icon\\r': left alone, {reason}"]


def test_a_folder_whose_name_is_not_utf_8_is_refused(tmp_path: Path) -> None:
    files: Files = {**SOUND}
    drop = write_drop(tmp_path / os.fsdecode(b"drop\xff"), files)
    with pytest.raises(
        UsageError, match="udcff': its name holds control characters or is not UTF-8, expected"
    ):
        Store(tmp_path / "into").run(drop)


def test_links_that_lead_in_a_circle_are_a_file_that_cannot_be_read(tmp_path: Path) -> None:
    files: Files = {**SOUND}
    drop = write_drop(tmp_path / "drop", files)
    (drop / "work_a.csv").symlink_to("work_b.csv")
    (drop / "work_b.csv").symlink_to("work_a.csv")
    with pytest.raises(UsageError, match=r"work_a.csv: cannot be read: Too many levels of symbolic links"):
        Store(tmp_path / "into").run(drop)


def test_a_link_to_a_file_of_the_drop_is_told(tmp_path: Path) -> None:
    """Once by each table's name; the one that it leads to was passed over, without a word, for the link."""
    files: Files = {**SOUND}
    drop = write_drop(tmp_path / "drop", files)
    (drop / "visits_again.csv").symlink_to("visits.csv")
    (drop / "technicians_a.csv").symlink_to("sites.csv")
    store = Store(tmp_path / "into")
    store.run(drop, drop, drop / "visits.csv", passes=False)
    assert store.said[0] == "visits_again.csv: left alone, it is visits.csv by another name"
    ledger = store.rows("SELECT file, rows_read FROM load_ledger ORDER BY file")
    assert ledger == [
        (f, 0 if f == "technicians_a.csv" else 2) for f in sorted([*SOUND, "technicians_a.csv"])
    ]
