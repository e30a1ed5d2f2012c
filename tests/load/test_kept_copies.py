"""What DIR keeps between runs: copies of files, what a failed gate or a dead run leaves, a damaged work file."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.errors import UsageError
from pipeline.load import accept, hold, load, open_work_file, withdraw
from pipeline.load.kept import FORMAT
from pipeline.load.work_tables import drop_loads
from pipeline.settings import Settings
from pipeline.warehouse import Warehouse
from tests.load.drops import SOUND, VISIT_COLUMNS, Files, Store, write_drop

MORE: Files = {
    "sites_2.csv": "site_id,branch\nS1,West\nS3,North\n",
    "visits_2.csv": f"{VISIT_COLUMNS}\nV3,S9,E1,T1,2026-03-03,cooling,-0.2,0.3\nV1,S1\n",
}


@pytest.fixture(scope="module")
def two_runs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("two_runs")
    made = Store(folder / "into")
    made.run(write_drop(folder / "drop", dict(SOUND)))
    made.run(write_drop(folder / "more", dict(MORE)))
    return folder


@pytest.fixture
def store(two_runs: Path, tmp_path: Path) -> Store:
    """A folder with two accepted runs in it, corrections and rejected rows included."""
    shutil.copytree(two_runs, tmp_path, dirs_exist_ok=True)
    return Store(tmp_path / "into")


BAD: Files = {
    "sites_3.csv": "site_id,branch\nS1,Nowhere\n,\n",
    "work.csv": "work_id,equipment_id,done_on,work_kind\n",
}


def test_a_run_that_fails_the_gate_leaves_nothing(tmp_path: Path, store: Store) -> None:
    before = store.content()
    store.run(write_drop(tmp_path / "bad", dict(BAD)), passes=False)
    store.run(tmp_path / "drop")
    assert store.content() == before
    store.run(tmp_path / "bad")
    assert ("S1", "Nowhere") in store.rows("SELECT site_id, branch FROM site")


def test_a_run_that_died_before_it_was_accepted_leaves_nothing(tmp_path: Path, store: Store) -> None:
    before = store.content()
    order = store.order(write_drop(tmp_path / "bad", dict(BAD)))
    with Warehouse(order.work_file) as warehouse:
        load(warehouse, order)
    store.run(tmp_path / "drop")
    assert store.content() == before


def test_rows_of_a_withdrawn_run_do_not_move_the_others(tmp_path: Path) -> None:
    """DuckDB's checkpoints close the gaps of deleted rows, and rows that follow get other rowids then."""
    store = Store(tmp_path / "into")
    store.run(write_drop(tmp_path / "drop", dict(SOUND)))
    row = "{},S1,E1,T1,2026-03-05T08:00:00-05:00,cooling,-0.{},0.31\n"
    many = "".join(row.format(f"A{i}", 100 + i) for i in range(60))
    corrected = "".join(row.format(f"A{i}", 300 + i) for i in range(0, 60, 7))
    more = write_drop(
        tmp_path / "more",
        {"visits_2.csv": f"{VISIT_COLUMNS}\n{many}", "visits_3.csv": f"{VISIT_COLUMNS}\n{corrected}"},
    )
    order = store.order(more)
    with Warehouse(order.work_file) as warehouse:
        load(warehouse, order)  # and dies: the next run withdraws what this one staged
    store.run(more)
    assert store.rows("SELECT count(*), count(DISTINCT visit_id), sum(return_static <= -0.3) FROM visit") == [
        (62, 62, 9)
    ]


def test_many_small_drops_do_not_leave_a_row_group_each(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pipeline.load.work_tables.SPLINTERS", 3)
    store, together = Store(tmp_path / "into"), Store(tmp_path / "together")
    drops = [write_drop(tmp_path / "drop", dict(SOUND))]
    for i in range(8):
        row = f"W{i},S1,E1,T1,2026-03-0{i + 1}T08:00:00-05:00,cooling,-0.2,0.3\n"
        again = f"W{i // 2},S1,E1,T1,2026-03-01T08:00:00-05:00,cooling,-0.{i + 1},0.3\n"
        drops.append(
            write_drop(tmp_path / f"d{i}", {f"visits_{i + 2}.csv": f"{VISIT_COLUMNS}\n{row}{again}"})
        )
    groups = []
    for drop in drops:
        store.run(drop)
        groups += store.rows("SELECT count(DISTINCT row_group_id) FROM pragma_storage_info('staging.visits')")
    together.run(*drops)
    assert max(groups) <= (5,) < (len(drops),)
    assert store.content() == together.content()


def test_a_run_that_died_while_it_was_accepted_is_complete_after_the_next(
    tmp_path: Path, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    order = store.order(write_drop(tmp_path / "bad", dict(BAD)))
    with Warehouse(order.work_file) as warehouse:
        load(warehouse, order)
        monkeypatch.setattr(warehouse, "execute", _die)
        with pytest.raises(KeyboardInterrupt):
            accept(warehouse, order)
    store.run(tmp_path / "drop")
    assert ("S1", "Nowhere") in store.rows("SELECT site_id, branch FROM site")
    twin = Store(tmp_path / "twin")
    for name in ("drop", "more", "bad"):
        twin.run(tmp_path / name)
    assert store.content() == twin.content()


def _die(*_: object) -> None:
    raise KeyboardInterrupt


def test_only_the_copies_in_use_are_kept(tmp_path: Path, store: Store) -> None:
    store.run(write_drop(tmp_path / "bad", dict(BAD)), passes=False)
    store.run(tmp_path / "drop")
    kept = {p.name for p in (store.into / "drops").iterdir()}
    loads = json.loads((store.into / "drops" / "loads.json").read_text())["loads"]
    assert kept == {load["kept"] for load in loads} | {"loads.json"}
    assert len(loads) == 6


def _spoil_gone(work: Path) -> None:
    work.unlink()


def _spoil_header(work: Path) -> None:
    work.write_bytes(b"\0" * 4096 + work.read_bytes()[4096:])


def _spoil_text(work: Path) -> None:
    work.write_text("not a database")


def _spoil_block(work: Path, begin: int) -> None:
    """Flip bits in one block; DuckDB finds out when it opens the file, or only when it reads that block."""
    content = bytearray(work.read_bytes())
    for place in range(begin + 64, min(begin + 262144, len(content)), 512):
        content[place] ^= 0xFF
    work.write_bytes(bytes(content))


def _run_again(store: Store, drop: Path) -> None:
    order = store.order(drop)
    store.said.clear()
    with open_work_file(order.work_file, Settings(), order.say) as warehouse:
        load(warehouse, order)
        accept(warehouse, order)


@pytest.mark.parametrize("spoil", [_spoil_gone, _spoil_header, _spoil_text])
def test_a_lost_or_damaged_work_file_is_made_again(
    tmp_path: Path, store: Store, spoil: Callable[[Path], None]
) -> None:
    before, ledger = store.content(), store.rows("SELECT * FROM load_ledger ORDER BY ALL")
    spoil(store.into / "work.duckdb")
    _run_again(store, tmp_path / "drop")
    assert store.content() == before
    assert store.rows("SELECT * FROM load_ledger ORDER BY ALL") == ledger
    assert any("read again from" in message for message in store.said)


@pytest.mark.slow
def test_damage_in_any_block_is_mended(tmp_path: Path, store: Store) -> None:
    before = store.content()
    work = store.into / "work.duckdb"
    sound = work.read_bytes()
    found = 0
    for begin in range(3 * 4096, len(sound), 2 * 262144):
        work.write_bytes(sound)
        _spoil_block(work, begin)
        _run_again(store, tmp_path / "drop")
        found += any("was damaged" in message for message in store.said)
        assert store.content() == before
    assert found > 1


def _older_number(warehouse: Warehouse) -> None:
    warehouse.execute("UPDATE load_format SET format = 0")
    warehouse.execute("CREATE OR REPLACE TABLE staging.sites (something INTEGER)")


def _older_table_of_formats(warehouse: Warehouse) -> None:
    warehouse.execute(f"CREATE OR REPLACE TABLE load_format AS SELECT {FORMAT} AS format")


def _number_forgotten(warehouse: Warehouse) -> None:
    warehouse.execute("UPDATE load_format SET shape = 'of another version'")
    warehouse.execute("ALTER TABLE staging.visits DROP COLUMN note")


def _views_for_tables(warehouse: Warehouse) -> None:
    """What is a table now was a view in that version, and the reverse."""
    warehouse.execute("UPDATE load_format SET format = 1")
    warehouse.execute("DROP TABLE row_fate")
    warehouse.execute("CREATE VIEW row_fate AS SELECT site_id FROM staging.sites")
    warehouse.execute("DROP VIEW visit")
    warehouse.execute("CREATE TABLE visit (visit_id VARCHAR)")


def _something_else(warehouse: Warehouse) -> None:
    warehouse.execute("DROP TABLE load_format")


@pytest.mark.parametrize(
    "make_old",
    [_older_number, _older_table_of_formats, _number_forgotten, _views_for_tables, _something_else],
)
def test_a_work_file_of_another_version_is_made_again(
    tmp_path: Path, store: Store, make_old: Callable[[Warehouse], None]
) -> None:
    before = store.content()
    with Warehouse(store.into / "work.duckdb") as warehouse:
        make_old(warehouse)
    store.run(tmp_path / "drop")
    assert store.content() == before
    assert any("read again from" in message for message in store.said)


def test_a_folder_of_a_newer_version_is_refused(tmp_path: Path, store: Store) -> None:
    path = store.into / "drops" / "loads.json"
    path.write_text(path.read_text().replace(f'"format": {FORMAT}', f'"format": {FORMAT + 1}'))
    with pytest.raises(
        UsageError, match=r"written by a newer version of fleet-static; use that version, or give"
    ):
        store.run(tmp_path / "drop")


def test_a_missing_copy_is_asked_for(tmp_path: Path, store: Store) -> None:
    loads = json.loads((store.into / "drops" / "loads.json").read_text())["loads"]
    (store.into / "drops" / loads[0]["kept"]).unlink()
    (store.into / "work.duckdb").unlink()
    with pytest.raises(UsageError) as caught:
        store.run(tmp_path / "drop")
    assert str(caught.value) == (
        f"{store.into}: the copy of {loads[0]['file']} is gone from drops/; "
        "give an empty folder with --into and run with every drop again"
    )


def test_a_spoilt_copy_is_not_believed(tmp_path: Path, store: Store) -> None:
    loads = json.loads((store.into / "drops" / "loads.json").read_text())["loads"]
    (store.into / "drops" / loads[0]["kept"]).write_text("site_id,branch\nS1,Forged\n")
    (store.into / "work.duckdb").unlink()
    with pytest.raises(UsageError, match="is damaged; give an empty folder"):
        store.run(tmp_path / "drop")


def test_a_file_caught_half_written_is_replaced_by_the_whole(tmp_path: Path) -> None:
    whole = SOUND["visits.csv"]
    store = Store(tmp_path / "into")
    drop = write_drop(tmp_path / "drop", SOUND | {"visits.csv": whole[:-9]})
    store.run(drop)
    assert store.rows("SELECT rows_rejected FROM load_ledger WHERE file = 'visits.csv'") == [(1,)]
    (drop / "visits.csv").write_text(whole)
    store.run(drop)
    undisturbed = Store(tmp_path / "undisturbed")
    undisturbed.run(drop)
    assert store.content() == undisturbed.content()
    (drop / "visits.csv").write_text(whole[:-9])
    store.run(drop)
    assert store.content() == undisturbed.content()


ROW = "W{},S1,E1,{},2026-03-{:02}T08:00:00-05:00,cooling,-0.{},0.31\n"
KNOWN = "".join(ROW.format(i, "T1", i + 1, 100 + i) for i in range(10))
WHOLE = f"{VISIT_COLUMNS}\n{KNOWN}" + "".join(ROW.format(i, "T9", i + 1, 100 + i) for i in range(10, 20))
HALF = WHOLE[: len(f"{VISIT_COLUMNS}\n{KNOWN}") + 20]
WORK: Files = {"work.csv": "work_id,equipment_id,done_on,work_kind\nK1,E1,2026-03-03,other\n"}
PUBLISHED = "SELECT count(*) FROM visit WHERE visit_id LIKE 'W%'"


def _keep_out(store: Store, drop: Path, how: str) -> None:
    """A run whose files the gate holds or refuses for good, or that is killed before the gate has judged."""
    order = store.order(drop)
    with Warehouse(order.work_file) as warehouse:
        load(warehouse, order)
        if how == "held":
            hold(warehouse, order)
        elif how == "refused":
            withdraw(warehouse, order)


@pytest.fixture
def half(tmp_path: Path) -> Store:
    """A folder in which a file was caught half-written, and others came later: ten of its visits are loaded."""
    store = Store(tmp_path / "into")
    store.run(write_drop(tmp_path / "drop", SOUND | {"visits_2024.csv": HALF}))
    store.run(write_drop(tmp_path / "more", dict(MORE)))
    assert store.rows(PUBLISHED) == [(10,)]
    return store


@pytest.mark.parametrize("how", ["held", "refused", "killed"])
def test_visits_of_a_half_written_file_stay_until_the_whole_is_accepted(
    tmp_path: Path, half: Store, how: str
) -> None:
    before, ledger = half.content(), half.rows("SELECT * FROM load_ledger ORDER BY ALL")
    _keep_out(half, write_drop(tmp_path / "drop", {"visits_2024.csv": WHOLE}), how)
    for _ in range(2):
        half.run(write_drop(tmp_path / "empty", {"instruments.csv": "instrument_id\n"}))
        assert half.content()["visit"] == before["visit"]
        now = half.rows("SELECT * FROM load_ledger WHERE table_name <> 'instruments' ORDER BY ALL")
        assert now == ledger


@pytest.mark.parametrize("how", ["held", "refused", "killed"])
@pytest.mark.parametrize("again", [True, False])
def test_the_whole_takes_the_place_of_the_half_once_it_is_accepted(
    tmp_path: Path, half: Store, how: str, again: bool
) -> None:
    """The whole comes again with the technician whom it lacked, or waits in DIR for him."""
    drop = write_drop(tmp_path / "drop", {"visits_2024.csv": WHOLE})
    _keep_out(half, drop, how)
    half.run(write_drop(tmp_path / "work", dict(WORK)))
    late = write_drop(tmp_path / "late", {"technicians_2.csv": "technician_id\nT9\n"})
    if again or how != "held":
        half.run(late, drop)
    else:
        half.run(late)
        assert "1 files that waited are loaded now: visits_2024.csv" in half.said
    undisturbed = Store(tmp_path / "undisturbed")
    undisturbed.run(drop, tmp_path / "more", tmp_path / "work", late)
    assert half.content() == undisturbed.content()
    assert half.rows(PUBLISHED) == [(20,)]
    assert not (half.into / "drops" / "held.json").exists()


def test_a_file_read_anew_by_another_mapping_waits_as_that(tmp_path: Path) -> None:
    """The reading by the old mapping stays until the one by the new mapping can be accepted."""
    store = Store(tmp_path / "into")
    many = "".join(ROW.format(i, "T2", i + 1, 100 + i) for i in range(5))
    drop = write_drop(tmp_path / "drop", SOUND | {"visits.csv": f"{VISIT_COLUMNS}\n{many}"})
    store.run(drop)
    mapping = tmp_path / "m.toml"
    mapping.write_text('[values.visits.technician_id]\nT2 = "T9"\n')
    order = store.order(drop, mapping=mapping)
    with Warehouse(order.work_file) as warehouse:
        load(warehouse, order)
        hold(warehouse, order)
    who = "SELECT technician_id, count(*) FROM visit GROUP BY ALL"
    store.run(write_drop(tmp_path / "work", dict(WORK)))
    assert store.rows(who) == [("T2", 5)]
    store.run(write_drop(tmp_path / "late", {"technicians_2.csv": "technician_id\nT9\n"}))
    assert store.rows(who) == [("T9", 5)]
    assert not (store.into / "drops" / "held.json").exists()


def test_what_was_held_by_one_mapping_is_forgotten_once_another_reads_it(tmp_path: Path) -> None:
    store = Store(tmp_path / "into")
    others = {name: text for name, text in SOUND.items() if name != "visits.csv"}
    visits = write_drop(tmp_path / "visits", {"visits.csv": SOUND["visits.csv"].replace("T2", "T9")})
    store.run(write_drop(tmp_path / "drop", dict(others)))
    _keep_out(store, visits, "held")
    mapping = tmp_path / "m.toml"
    mapping.write_text('[values.visits.technician_id]\nT9 = "T2"\n')
    store.run(visits, mapping=mapping)
    store.run(write_drop(tmp_path / "late", {"technicians_2.csv": "technician_id\nT9\n"}))
    assert store.rows("SELECT technician_id FROM visit ORDER BY visit_id") == [("T1",), ("T2",)]


def test_a_file_that_waits_in_vain_is_forgotten_once_later_files_brought_its_rows(tmp_path: Path) -> None:
    """A spreadsheet ate the zeros of a day's ids, and the day comes again, mended. What waits for a unit comes in with
    that, and is not kept out for ever by the spoilt file that waits beside it."""
    store = Store(tmp_path / "into")
    keys = {
        "sites.csv": "site_id,branch\n007,North\n008,North\n",
        "equipment.csv": "equipment_id,site_id,equipment_kind,rated_tesp_inwc\nE7,007,furnace,0.5\n",
        "technicians.csv": "technician_id\nT1\n",
    }
    store.run(write_drop(tmp_path / "keys", keys))
    row = "{}{},{},{},T1,2026-03-0{}T08:00:00Z,cooling,-0.2,0.3\n"

    def day(name: str, letter: str, site: str, unit: str) -> Path:
        rows = "".join(row.format(letter, i, site, unit, i) for i in range(1, 7))
        return write_drop(tmp_path / f"{name} {site}", {f"visits_{name}.csv": f"{VISIT_COLUMNS}\n{rows}"})

    _keep_out(store, day("monday", "V", "7", "E7"), "held")
    assert store.said[-1] == (
        "visits_monday.csv: 6 rows with 1 site_id that sites know with other zeros in front ('7' for '007'); a "
        "spreadsheet takes them away: export the ids as text"
    )
    _keep_out(store, day("tuesday", "W", "008", "E8"), "held")
    waits = "{} files of earlier runs still wait for rows that they refer to: {}; no table has {}"
    store.said.clear()
    store.run(day("monday", "V", "007", "E7"))
    both = ("visits_monday.csv, visits_tuesday.csv", "site_id '7'; equipment_id 'E8'")
    assert store.said == [waits.format(2, *both)]
    store.run(write_drop(tmp_path / "more", {"instruments.csv": "instrument_id\nG1\n"}))
    assert store.said == [
        "1 files of earlier runs wait no more, later ones brought their rows: visits_monday.csv",
        waits.format(1, "visits_tuesday.csv", "equipment_id 'E8'"),
    ]
    late = "equipment_id,site_id,equipment_kind,rated_tesp_inwc\nE8,008,furnace,0.5\n"
    store.run(write_drop(tmp_path / "late", {"equipment_2.csv": late}))
    assert store.said == ["1 files that waited are loaded now: visits_tuesday.csv"]
    assert store.rows("SELECT site_id, count(*) FROM visit GROUP BY ALL ORDER BY ALL") == [
        ("007", 6),
        ("008", 6),
    ]
    assert not (store.into / "drops" / "held.json").exists()


@pytest.mark.parametrize("later", ["none", "one is missing", "before", "rejected"])
def test_a_file_waits_on_unless_all_its_rows_came_after_it(tmp_path: Path, later: str) -> None:
    """Not where one of its rows is missing, where the other file came before it (it corrects that), or is no better."""
    store = Store(tmp_path / "into")
    rows = ["V{},S1,{},T1,2026-03-01T08:00:00Z,cooling,-0.2,0.3\n".format(i, "{}") for i in range(1, 7)]
    text = f"{VISIT_COLUMNS}\n" + "".join(rows)
    good = write_drop(tmp_path / "good", {"visits_b.csv": text.format(*["E1"] * 6)})
    store.run(write_drop(tmp_path / "keys", dict(SOUND)))
    if later == "before":
        store.run(good)
    _keep_out(store, write_drop(tmp_path / "bad", {"visits_a.csv": text.format(*["E9"] * 6)}), "held")
    if later == "one is missing":
        short = text.replace(rows[-1], "").format(*["E1"] * 5)
        store.run(write_drop(tmp_path / "short", {"visits_b.csv": short}))
    if later == "rejected":
        store.run(write_drop(tmp_path / "worse", {"visits_b.csv": text.format(*["E1"] * 5, "E8")}))
    store.run(write_drop(tmp_path / "more", {"instruments.csv": "instrument_id\nG1\n"}))
    assert [m for m in store.said if "visits_a.csv" in m] == [
        "1 files of earlier runs still wait for rows that they refer to: visits_a.csv; no table has equipment_id 'E9'"
    ]


def test_of_files_of_one_name_the_later_load_wins_after_the_earlier_was_read_again(tmp_path: Path) -> None:
    store = Store(tmp_path / "into")
    drop = write_drop(tmp_path / "drop", dict(SOUND))
    store.run(drop)
    store.run(write_drop(tmp_path / "drop", {"sites.csv": "site_id,branch\nS1,West\nS2,South\n"}))
    before = store.content()
    with store.open() as warehouse:
        drop_loads(warehouse, "load_id = (SELECT min(load_id) FROM load_file WHERE file = 'sites.csv')")
    store.run(drop)
    assert store.content() == before


def test_copies_are_on_the_disk_before_the_list_names_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    events: list[str] = []
    fsync, replace = os.fsync, os.replace

    def synced(descriptor: int) -> None:
        events.append(os.readlink(f"/proc/self/fd/{descriptor}"))
        fsync(descriptor)

    def replaced(source: Path, target: Path) -> None:
        events.append(f"replaced {target}")
        replace(source, target)

    store = Store(tmp_path / "into")
    mapping = tmp_path / "m.toml"
    mapping.write_text('time_zone = "America/Chicago"\n')
    order = store.order(write_drop(tmp_path / "drop", dict(SOUND)), mapping=mapping)
    with Warehouse(order.work_file) as warehouse:
        load(warehouse, order)
        monkeypatch.setattr("os.fsync", synced)
        monkeypatch.setattr("os.replace", replaced)
        accept(warehouse, order)
    drops = store.into / "drops"
    before = events[: events.index(f"replaced {drops / 'loads.json'}")]
    copies = {str(p) for p in drops.iterdir() if p.name != "loads.json"}
    assert len(copies) == 5
    assert copies <= set(before)
    assert before.index(str(drops)) > max(before.index(copy) for copy in copies)
    assert events[-1] == str(drops)


def test_a_file_that_only_grew_is_another_file(tmp_path: Path) -> None:
    store = Store(tmp_path / "into")
    drop = write_drop(tmp_path / "drop", dict(SOUND))
    store.run(drop)
    with (drop / "sites.csv").open("a") as file:
        file.write("S3,West\n")
    store.run(drop)
    assert store.rows(
        "SELECT rows_read, rows_repeated FROM load_ledger WHERE file = 'sites.csv' ORDER BY 1"
    ) == [
        (2, 0),
        (3, 2),
    ]


def test_a_file_that_changes_while_it_is_copied_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    drop = write_drop(tmp_path / "drop", dict(SOUND))

    def slow_copy(source: Path, target: Path) -> None:
        target.write_bytes(source.read_bytes())
        with source.open("a") as file:
            file.write("S3,West\n")

    monkeypatch.setattr("pipeline.load.copying.shutil.copyfile", slow_copy)
    with pytest.raises(
        UsageError, match=r"sites\.csv: changed while it was being read; run again once it is"
    ):
        Store(tmp_path / "into").run(drop / "sites.csv")


def test_a_full_disk_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    drop = write_drop(tmp_path / "drop", dict(SOUND))

    def no_space(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("pipeline.load.copying.shutil.copyfile", no_space)
    store = Store(tmp_path / "into")
    with pytest.raises(UsageError, match=r"sites\.csv: cannot be copied: no space left where the results go"):
        store.run(drop / "sites.csv")
    assert store.rows("SELECT count(*) FROM load_file") == [(0,)]
