"""With --pseudonyms no technician is named in anything but the private files of DIR; the pseudonyms stay."""

from __future__ import annotations

import os
import re
import stat
import subprocess
import sys
from pathlib import Path

import duckdb
import polars as pl
import pytest

from pipeline.cli import main
from pipeline.pseudonyms import KEY_NAME, WITHHELD, pseudonyms_of, read_key
from pipeline.simulate import make_fleet_command

NAME = "Ashgrove"  # in every id and in the free text, so that one search finds any leak
PRIVATE = {"work.duckdb", "work.duckdb.wal", KEY_NAME, "drops", ".prefect", "gate.html"}


def hostile_drop(folder: Path) -> Path:
    """A small fleet with technicians by name, and their names where nobody would look for them."""
    make_fleet_command(folder, 40, 900, 11)
    for file in [*folder.glob("visits*.csv"), *folder.glob("technicians*.csv")]:
        text = file.read_text(encoding="utf-8")
        file.write_text(
            re.sub(r"(?<=,)T(\d{3})(?=,)|^T(\d{3})(?=,)", rename, text, flags=re.M), encoding="utf-8"
        )
    visits = sorted(folder.glob("visits*.csv"))[0]
    header, *rows = visits.read_text(encoding="utf-8").splitlines()
    columns = header.split(",")
    noted, unknown, bad = rows[5].split(","), rows[6].split(","), rows[7].split(",")
    noted[columns.index("note")] = f"{NAME} was late"
    unknown[columns.index("technician_id")] = f"{NAME}-of-nowhere"
    bad[columns.index("return_static")] = f"{NAME}'s 0.2"
    more = [",".join(row) for row in (noted, unknown, bad)] + [f"V999,{NAME},too short"]
    (folder / "visits_zz_hostile.csv").write_text("\n".join([header, *more]) + "\n", encoding="utf-8")
    technicians = next(folder.glob("technicians*.csv")).read_text(encoding="utf-8").splitlines()
    changed = technicians[1].split(",")
    changed[1] = "Elsewhere"
    (folder / "technicians_zz.csv").write_text(
        "\n".join([technicians[0], ",".join(changed)]), encoding="utf-8"
    )
    # Other exports say who did a work and whose gauge it is; both tables stand in the lists of rows, too.
    (folder / "work_zz_hostile.csv").write_text(
        f"work_id,equipment_id,done_on,work_kind,crew\nW998,E1,{NAME},other,\nW999,E-none,2026-01-05,other,{NAME}\n",
        encoding="utf-8",
    )
    (folder / "instruments_zz_hostile.csv").write_text(
        f"instrument_id,resolution_inwc,held_by\nG-9,0.001,{NAME}\nG-9,0.01,\n", encoding="utf-8"
    )
    return folder


def rename(found: re.Match[str]) -> str:
    return f"{NAME} {found[1] or found[2]}"


def run(drop: Path, into: Path, *more: str) -> None:
    assert (
        main(["run", str(drop), "--into", str(into), "--today", "2026-11-25", "--direct", "--quiet", *more])
        == 0
    )


@pytest.fixture(scope="module")
def drop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return hostile_drop(tmp_path_factory.mktemp("hostile") / "drop")


@pytest.fixture(scope="module")
def hidden(drop: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """DIR of a run with pseudonyms."""
    into = tmp_path_factory.mktemp("hidden") / "out"
    run(drop, into, "--pseudonyms")
    return into


@pytest.fixture(scope="module")
def named(drop: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """DIR of a run without."""
    into = tmp_path_factory.mktemp("named") / "out"
    run(drop, into)
    return into


def texts(published: Path) -> list[tuple[str, str]]:
    """(table.column, text) of every text in a publication."""
    with duckdb.connect(str(published), read_only=True) as con:
        con.execute("SET TimeZone = 'UTC'")
        columns = con.sql(
            "SELECT if(schema_name = 'main', '', schema_name || '.') || table_name, column_name FROM duckdb_columns() "
            "WHERE NOT internal AND data_type = 'VARCHAR'"
        ).fetchall()
        return [
            (f"{table}.{column}", value)
            for table, column in columns
            for (value,) in con.sql(
                f'SELECT DISTINCT "{column}" FROM {table} WHERE "{column}" IS NOT NULL'
            ).fetchall()
        ]


def leaks(folder: Path) -> list[str]:
    """Files under `folder`, private ones aside, that hold a name; publications are read column by column."""
    found = []
    for file in sorted(p for p in folder.rglob("*") if p.is_file()):
        if file.relative_to(folder).parts[0] in PRIVATE:
            continue
        if NAME.encode() in file.read_bytes():
            found.append(str(file.relative_to(folder)))
        if file.suffix == ".duckdb":
            found += [where for where, text in texts(file) if NAME in text]
        if file.suffix == ".parquet":
            frame = pl.read_parquet(file).select(pl.col(pl.String))
            found += [f"{file.name}.{c}" for c in frame.columns if frame[c].str.contains(NAME).any()]
    return found


def test_names_are_nowhere(hidden: Path) -> None:
    assert leaks(hidden) == []


def test_without_the_option_they_are(named: Path) -> None:
    """The search finds what it looks for, in the tables that are withheld or mapped too."""
    found = set(leaks(named))
    assert {
        "reports/training.html",
        "rejected_row.raw_line",
        "rejected_row.detail",
        "superseded_row.raw_line",
    } <= found
    assert {
        "superseded_row.key",
        "visit.note",
        "visit_static.technician_id",
        "coaching_visit.technician_id",
    } <= found


def test_figures_are_the_same(hidden: Path, named: Path) -> None:
    key = read_key(hidden)
    assert len(key) == len(set(key.values())) >= 5

    def zeroing(into: Path) -> pl.DataFrame:
        with duckdb.connect(str(into / "fleet.duckdb"), read_only=True) as con:
            return con.sql("SELECT * FROM technician_zeroing").pl()

    true = zeroing(named).with_columns(pl.col("technician_id").replace_strict(key)).sort("technician_id")
    assert true.equals(zeroing(hidden))


def test_the_order_of_rows_gives_nobody_away(hidden: Path) -> None:
    with duckdb.connect(str(hidden / "fleet.duckdb"), read_only=True) as con:
        for table in ("technician", "technician_zeroing", "technician_practice", "instrument_offset"):
            shown = [r[0] for r in con.sql(f"SELECT technician_id FROM {table}").fetchall()]
            assert shown == sorted(shown)


def test_free_text_is_withheld_and_says_so(hidden: Path) -> None:
    notes = [text for where, text in texts(hidden / "fleet.duckdb") if where == "visit.note"]
    assert notes == [WITHHELD]
    with duckdb.connect(str(hidden / "fleet.duckdb"), read_only=True) as con:
        details = [
            r[0] for r in con.sql("SELECT detail FROM rejected_row WHERE reason = 'bad_number'").fetchall()
        ]
    assert details
    assert all(WITHHELD in d and "expected a number" in d for d in details), details


def test_rows_of_work_and_gauges_are_withheld_too(hidden: Path) -> None:
    with duckdb.connect(str(hidden / "fleet.duckdb"), read_only=True) as con:
        rejected = con.sql("SELECT raw_line, detail FROM rejected_row WHERE table_name = 'work'").fetchall()
        replaced = con.sql("SELECT raw_line FROM superseded_row WHERE table_name = 'instruments'").fetchall()
    assert {line for line, _ in rejected} == {WITHHELD} == {line for (line,) in replaced}
    assert sorted(detail for _, detail in rejected) == [
        f"done_on holds {WITHHELD}, expected a date such as 2026-03-31",
        f"equipment_id holds {WITHHELD}, expected an equipment_id of the equipment table",
    ]


def test_pseudonyms_stay_and_the_key_is_private(hidden: Path, drop: Path) -> None:
    before = read_key(hidden)
    run(drop, hidden, "--pseudonyms")
    assert read_key(hidden) == before
    assert stat.S_IMODE((hidden / KEY_NAME).stat().st_mode) == 0o600
    more = pseudonyms_of(hidden, [*before, "somebody new"])
    assert {k: more[k] for k in before} == before
    assert leaks(hidden) == []


def test_the_key_reads_as_it_was_written_whatever_the_locale(tmp_path: Path) -> None:
    """In a locale of another encoding a name beyond ASCII broke the run, or was lost from the key."""
    draw = f"from pipeline.pseudonyms import *; pseudonyms_of(Path({str(tmp_path)!r}), ['M\\u00fcller'])"
    plain = {
        "LC_ALL": "C",
        "PYTHONUTF8": "0",
        "PYTHONCOERCECLOCALE": "0",
    }  # ASCII, as far as Python goes by it
    subprocess.run([sys.executable, "-c", draw], env=os.environ | plain, check=True)
    assert read_key(tmp_path).keys() == {"M\u00fcller"}


def test_reports_and_exports_of_a_publication_with_names(named: Path, tmp_path: Path) -> None:
    out = tmp_path / "parquet"
    assert main(["export", str(named), "--into", str(out), "--pseudonyms"]) == 0
    assert leaks(out) == []
    assert main(["report", str(named), "--pseudonyms"]) == 0
    assert leaks(named / "reports") == []
    key = read_key(named)
    assert set(pl.read_parquet(out / "technician.parquet")["technician_id"]) == set(key.values())
    assert any(
        name in (named / "reports" / "training.html").read_text(encoding="utf-8") for name in key.values()
    )
    assert not list(named.glob(".pseudonyms-*"))
    assert main(["report", str(named)]) == 0
    assert "training.html" in leaks(named / "reports")
