"""Corrections: which of several rows with one key counts, what becomes of the others, and what identical means."""

from __future__ import annotations

from pathlib import Path

import duckdb
import pytest

from tests.load.drops import SOUND, VISIT_COLUMNS, Files, Store, write_drop

BRANCHES = "SELECT site_id, branch FROM site ORDER BY ALL"
SUPERSEDED = (
    "SELECT key, file, line_number, superseded_by_file, superseded_by_line, raw_line FROM superseded_row"
)


def _load(tmp_path: Path, files: Files) -> Store:
    store = Store(tmp_path / "into")
    others = {k: v for k, v in SOUND.items() if k in ("technicians.csv",)}
    store.run(write_drop(tmp_path / "drop", others | files))
    return store


def test_the_later_file_name_in_natural_order_wins(tmp_path: Path) -> None:
    store = _load(
        tmp_path,
        {
            "sites_10.csv": "site_id,branch\nS1,ten\n",
            "sites_9.csv": "site_id,branch\nS1,nine\n",
        },
    )
    assert store.rows(BRANCHES) == [("S1", "ten")]
    assert store.rows(SUPERSEDED) == [("S1", "sites_9.csv", 2, "sites_10.csv", 2, "S1,nine")]


def test_the_later_line_wins_within_a_file(tmp_path: Path) -> None:
    store = _load(tmp_path, {"sites.csv": "site_id,branch\nS1,one\nS1,two\nS1,three\n"})
    assert store.rows(BRANCHES) == [("S1", "three")]
    assert [r[2:5] for r in store.rows(SUPERSEDED)] == [(2, "sites.csv", 4), (3, "sites.csv", 4)]


def test_the_latest_recorded_at_wins_over_file_names_and_none_is_the_earliest(tmp_path: Path) -> None:
    store = _load(
        tmp_path,
        {
            "sites_1.csv": "site_id,branch,recorded_at\nS1,late,2026-02-01T00:00:00Z\nS2,dated,2020-01-01T00:00:00Z\n",
            "sites_2.csv": "site_id,branch,recorded_at\nS1,early,2026-01-31T23:00:00-00:30\nS2,undated,\n",
        },
    )
    assert store.rows(BRANCHES) == [("S1", "late"), ("S2", "dated")]


def test_identical_rows_are_repeated_whatever_their_spelling(tmp_path: Path) -> None:
    store = _load(
        tmp_path,
        {
            "sites_1.csv": "site_id,branch,elevation_ft\nS1,North,200\n",
            "sites_2.csv": '"branch","elevation_ft","site_id"\r\n" North ",2e2,"S1"\r\n',
        },
    )
    assert store.rows(
        "SELECT file, rows_loaded, rows_repeated FROM load_ledger WHERE table_name = 'sites'"
    ) == [
        ("sites_1.csv", 1, 0),
        ("sites_2.csv", 0, 1),
    ]
    assert store.rows("SELECT count(*) FROM superseded_row") == [(0,)]


def test_another_value_in_an_unknown_column_makes_another_row(tmp_path: Path) -> None:
    store = _load(
        tmp_path,
        {"sites_1.csv": "site_id,branch,gate\nS1,N,3\n", "sites_2.csv": "site_id,branch,gate\nS1,N,4\n"},
    )
    assert store.rows("SELECT count(*) FROM superseded_row") == [(1,)]
    assert "sites_1.csv: kept beside the known columns: 'gate'" in store.said


def test_an_empty_unknown_column_makes_no_difference(tmp_path: Path) -> None:
    store = _load(
        tmp_path,
        {"sites_1.csv": "site_id,branch,gate\nS1,N,\n", "sites_2.csv": "site_id,branch\nS1,N\n"},
    )
    assert store.rows("SELECT sum(rows_repeated)::INT FROM load_ledger") == [(1,)]


def test_a_rejected_row_corrects_nothing(tmp_path: Path) -> None:
    store = _load(
        tmp_path,
        {
            "sites_1.csv": "site_id,branch\nS1,North\n",
            "sites_2.csv": "site_id,branch,elevation_ft\nS1,South,high\n",
        },
    )
    assert store.rows(BRANCHES) == [("S1", "North")]
    assert store.rows("SELECT count(*) FROM superseded_row") == [(0,)]


def test_a_later_file_may_correct_a_row_back(tmp_path: Path) -> None:
    store = _load(
        tmp_path,
        {f"sites_{i}.csv": f"site_id,branch\nS1,{b}\n" for i, b in enumerate(["a", "b", "a"])},
    )
    assert store.rows(BRANCHES) == [("S1", "a")]
    assert store.rows(SUPERSEDED) == [("S1", "sites_1.csv", 2, "sites_2.csv", 2, "S1,b")]
    ledger = (
        "SELECT file, rows_loaded, rows_repeated, rows_superseded FROM load_ledger WHERE table_name = 'sites'"
    )
    assert store.rows(f"{ledger} ORDER BY file") == [
        ("sites_0.csv", 1, 0, 0),
        ("sites_1.csv", 1, 0, 1),
        ("sites_2.csv", 0, 1, 0),
    ]


def test_a_later_line_may_correct_a_row_back(tmp_path: Path) -> None:
    lines = ["S1,a", "S1,b", "S1,a", "S1,c", "S1,b"]
    store = _load(tmp_path, {"sites.csv": "\n".join(["site_id,branch", *lines]) + "\n"})
    assert store.rows(BRANCHES) == [("S1", "b")]
    assert store.rows(f"{SUPERSEDED} ORDER BY line_number") == [
        ("S1", "sites.csv", 2, "sites.csv", 6, "S1,a"),
        ("S1", "sites.csv", 5, "sites.csv", 6, "S1,c"),
    ]


def test_a_row_that_is_repeated_later_does_not_win_over_a_later_recorded_at(tmp_path: Path) -> None:
    old, new = "S1,old,2026-01-01T00:00:00Z", "S1,new,2026-02-01T00:00:00Z"
    rows = enumerate([old, new, old])
    store = _load(tmp_path, {f"sites_{i}.csv": f"site_id,branch,recorded_at\n{row}\n" for i, row in rows})
    assert store.rows(BRANCHES) == [("S1", "new")]


def test_a_row_is_corrected_back_run_by_run_as_at_once(tmp_path: Path) -> None:
    drops = [write_drop(tmp_path / "others", {"technicians.csv": SOUND["technicians.csv"]})]
    for i, branch in enumerate(["a", "b", "a", "b", "b"]):
        drops.append(write_drop(tmp_path / f"d{i}", {f"sites_{i}.csv": f"site_id,branch\nS1,{branch}\n"}))
    at_once, by_run = Store(tmp_path / "once"), Store(tmp_path / "by run", builds_on=True)
    at_once.run(*drops)
    for drop in drops:
        by_run.run(drop)
    assert by_run.content() == at_once.content()
    assert by_run.rows(BRANCHES) == [("S1", "b")]


def test_points_of_a_blower_table_are_known_by_table_tap_and_static(tmp_path: Path) -> None:
    head = "blower_table_id,tap,external_static_inwc,airflow_cfm\n"
    store = _load(
        tmp_path,
        {
            "sites.csv": SOUND["sites.csv"],
            "blower_tables_1.csv": head + "B1,low,0.1,900\nB1,low,0.2,880\nB1,high,0.1,1200\n",
            "blower_tables_2.csv": head + "B1,low,0.20,870\n",
        },
    )
    assert store.rows("SELECT tap, external_static_inwc, airflow_cfm FROM blower_table ORDER BY ALL") == [
        ("high", 0.1, 1200.0),
        ("low", 0.1, 900.0),
        ("low", 0.2, 870.0),
    ]
    assert store.rows("SELECT key FROM superseded_row") == [("B1|low|0.2",)]


@pytest.mark.parametrize("orders", [(0, 1), (1, 0)])
def test_files_of_one_name_are_ordered_by_their_folder(tmp_path: Path, orders: tuple[int, int]) -> None:
    store = Store(tmp_path / "into")
    drops = [
        write_drop(tmp_path / "week 2", {"sites.csv": "site_id,branch\nS1,two\n"}),
        write_drop(tmp_path / "week 10", {"sites.csv": "site_id,branch\nS1,ten\n"}),
    ]
    for place in orders:
        store.run(drops[place])
    assert store.rows(BRANCHES) == [("S1", "ten")]


def test_the_same_instant_of_another_local_day_is_a_correction(tmp_path: Path) -> None:
    """Exported in UTC first, with the local offset later: the local day decides which visits come before it that day,
    and whether it is the day of a work (data contract, sections 2 and 4)."""
    header = "visit_id,site_id,equipment_id,technician_id,visited_at,mode,return_static,supply_static\n"
    row = "V1,S1,E1,T1,{},cooling,-0.22,0.31\n"
    store = _load(
        tmp_path,
        {
            **SOUND,
            "visits.csv": header + row.format("2026-03-02T07:30:00Z"),
            "visits_2.csv": header + row.format("2026-03-01T23:30:00-08:00"),
            "visits_3.csv": header + row.format("2026-03-02T01:30:00-06:00"),
        },
    )
    assert store.rows("SELECT visited_on::VARCHAR FROM visit") == [("2026-03-02",)]
    assert [r[1:4] for r in store.rows(SUPERSEDED)] == [("visits_2.csv", 2, "visits_3.csv")]
    store.run(
        write_drop(tmp_path / "later", {"visits_4.csv": header + row.format("2026-03-01 23:30:00.000-08")})
    )
    assert store.rows("SELECT visited_on::VARCHAR FROM visit") == [("2026-03-01",)]
    assert store.rows(
        "SELECT file, rows_loaded, rows_repeated, rows_superseded FROM load_ledger "
        "WHERE table_name = 'visits' ORDER BY 1"
    ) == [
        ("visits.csv", 1, 0, 1),
        ("visits_2.csv", 1, 0, 0),
        ("visits_3.csv", 0, 1, 0),
        ("visits_4.csv", 0, 1, 0),
    ]


def _sites(branch: str) -> str:
    return f"site_id,branch\nS1,{branch}\n"


def test_an_export_that_is_written_over_may_be_taken_back(tmp_path: Path) -> None:
    """One folder, one name, written over each month: the third month is the first again, to the last byte."""
    store = Store(tmp_path / "into", builds_on=True)
    others = {"technicians.csv": SOUND["technicians.csv"]}
    for branch in ("a", "b", "a"):
        store.run(write_drop(tmp_path / "export", others | {"sites.csv": _sites(branch)}))
        assert store.rows(BRANCHES) == [("S1", branch)]
    assert "sites.csv: is what was loaded before another of this name; it counts again" in store.said
    before = store.content()
    store.run(tmp_path / "export")
    assert store.content() == before
    (store.into / "work.duckdb").unlink()
    store.run(tmp_path / "export")
    assert store.rows(BRANCHES) == [("S1", "a")]
    assert store.content() == before


def test_files_of_one_name_in_folders_of_their_own_may_be_taken_back(tmp_path: Path) -> None:
    at_once, by_run = Store(tmp_path / "once"), Store(tmp_path / "by run", builds_on=True)
    drops = [write_drop(tmp_path / "others", {"technicians.csv": SOUND["technicians.csv"]})]
    for month, branch in (("2026-01", "a"), ("2026-02", "b"), ("2026-03", "a"), ("2026-04", "a")):
        drops.append(write_drop(tmp_path / month, {"sites.csv": _sites(branch)}))
    at_once.run(*drops)
    for drop in drops:
        by_run.run(drop)
    assert by_run.rows(BRANCHES) == [("S1", "a")]
    assert by_run.content() == at_once.content()
    for drop in drops:
        by_run.run(drop)
    assert by_run.content() == at_once.content()
    assert by_run.said == ["1 of 1 files bring nothing new: sites.csv (loaded before)"]


def test_folders_of_one_name_that_are_given_together_again_change_nothing(tmp_path: Path) -> None:
    store = Store(tmp_path / "into")
    drops = [write_drop(tmp_path / "others", {"technicians.csv": SOUND["technicians.csv"]})]
    drops += [
        write_drop(tmp_path / month / "export", {"sites.csv": _sites(branch)})
        for month, branch in (("2026-01", "a"), ("2026-02", "b"))
    ]
    for _ in range(2):
        store.run(*drops)
        assert store.rows(BRANCHES) == [("S1", "b")]
    assert store.said[0].startswith("3 of 3 files bring nothing new")


def test_what_replaces_and_what_comes_too_late_is_said(tmp_path: Path) -> None:
    """By its name `sites-fix.csv` stands before `sites.csv`, so it corrects nothing; `sites_fix.csv` does."""
    store = _load(tmp_path, {"sites.csv": "site_id,branch\nS1,a\nS2,a\n"})
    store.run(write_drop(tmp_path / "fix", {"sites-fix.csv": _sites("b")}))
    assert store.rows(BRANCHES) == [("S1", "a"), ("S2", "a")]
    assert store.said == [
        "sites-fix.csv: 1 row is not used: sites.csv, loaded before, has the same key and wins by a later "
        "recorded_at, else by its name in natural order; a correction needs a later recorded_at or name"
    ]
    store.run(write_drop(tmp_path / "fix 2", {"sites_fix.csv": "site_id,branch\nS1,c\nS2,c\n"}))
    assert store.rows(BRANCHES) == [("S1", "c"), ("S2", "c")]
    assert store.said == ["sites_fix.csv: replaces 2 rows of sites-fix.csv and 1 more file"]
    again = {"sites_fix_2.csv": "site_id,branch\nS1,c\nS2,d\n"}
    store.run(write_drop(tmp_path / "fix 3", again))
    assert store.said[0].startswith("sites_fix_2.csv: replaces 1 row of ")


def test_what_comes_too_late_is_said_also_where_the_row_that_wins_was_given_twice(tmp_path: Path) -> None:
    """Whole exports under new names: the first wins by its name over each correction, and is named every time."""
    store = _load(tmp_path, {"sites_full.csv": "site_id,branch\nS1,a\nS2,a\n"})
    store.run(write_drop(tmp_path / "week 1", {"sites_all.csv": "site_id,branch\nS1,a\nS2,a\n"}))
    assert store.said == []
    for week, branch in ((2, "b"), (3, "c")):
        drop = write_drop(tmp_path / f"week {week}", {f"sites_export_{week}.csv": _sites(branch)})
        store.run(drop)
        assert store.said[0].startswith(
            f"sites_export_{week}.csv: 1 row is not used: sites_full.csv, loaded before"
        )
    assert store.rows(BRANCHES) == [("S1", "a"), ("S2", "a")]


def _publish(store: Store, today: str) -> None:
    """The published file, as far as the load stage looks at it."""
    (store.into / "fleet.duckdb").unlink(missing_ok=True)
    with store.open() as warehouse:
        warehouse.execute(f"ATTACH '{store.into / 'fleet.duckdb'}' AS published")
        warehouse.execute("CREATE TABLE published.rejected_row AS FROM rejected_row")
        warehouse.execute(f"CREATE TABLE published.publication AS SELECT DATE '{today}' AS today")
        warehouse.execute("DETACH published")


def test_rows_of_earlier_files_that_fall_or_rise_are_said(tmp_path: Path) -> None:
    """A unit is said to stand at another site; so its visits before are refused, until that is taken back."""
    store = Store(tmp_path / "into")
    header = SOUND["equipment.csv"].splitlines()[0]
    store.run(write_drop(tmp_path / "drop", dict(SOUND)))
    _publish(store, "2026-10-31")
    moved = {"equipment_2.csv": f"{header}\nE1,S2,furnace,0.5\n"}
    store.run(write_drop(tmp_path / "moved", moved))
    assert store.said == [
        "equipment_2.csv: replaces 1 row of equipment.csv",
        "visits.csv:2: loaded before, rejected now: equipment_id holds 'E1' with site_id 'S1', "
        "expected the site where it stands, 'S2' [equipment_elsewhere]",
    ]
    _publish(store, "2026-10-31")
    store.run(tmp_path / "moved")
    assert store.said == ["1 of 1 files bring nothing new: equipment_2.csv (loaded before)"]
    back = {"equipment_3.csv": f"{header}\nE1,S1,furnace,0.5\n"}
    store.run(write_drop(tmp_path / "back", back))
    assert "visits.csv:2: rejected before, loaded now" in store.said


def test_a_publication_of_another_shape_is_not_compared_with(tmp_path: Path) -> None:
    """It is about to be replaced; what cannot be told from it stops no run."""
    store = Store(tmp_path / "into")
    drop = write_drop(tmp_path / "drop", dict(SOUND))
    store.run(drop)
    _publish(store, "2026-11-02")
    with duckdb.connect(str(store.into / "fleet.duckdb")) as con:
        con.execute("ALTER TABLE rejected_row DROP COLUMN line_number")
    store.run(drop)
    assert not any("--today" in line for line in store.said)


def test_an_earlier_reference_day_is_said(tmp_path: Path) -> None:
    """The tests' reference day is 2026-11-01."""
    store = Store(tmp_path / "into")
    drop = write_drop(tmp_path / "drop", dict(SOUND))
    store.run(drop)
    for published, said in (("2026-11-01", False), ("2026-11-02", True)):
        _publish(store, published)
        store.run(drop)
        lies = "--today 2026-11-01 lies before the reference day of the last publication, 2026-11-02"
        assert any(line.startswith(lies) for line in store.said) == said


def _firm(branch: str, day: str) -> Files:
    """Sites, units, technicians and visits of a firm, under ids that any other firm may use, too."""
    ids = range(1, 5)
    return {
        f"sites_{branch}.csv": "site_id,branch,site_label\n"
        + "".join(f"S{i},{branch},{branch} {i}\n" for i in ids),
        f"equipment_{branch}.csv": "equipment_id,site_id,equipment_kind,rated_tesp_inwc\n"
        + "".join(f"E{i},S{i},furnace,0.5\n" for i in ids),
        f"technicians_{branch}.csv": "technician_id,branch\n" + "".join(f"T{i},{branch}\n" for i in ids),
        f"visits_{branch}.csv": f"{VISIT_COLUMNS}\n"
        + "".join(f"V{branch}{i},S{i},E{i},T{i},{day}T08:00:00Z,cooling,-0.2,0.3\n" for i in ids),
    }


def test_ids_that_two_firms_use_are_told_and_a_prefix_parts_them_again(tmp_path: Path) -> None:
    store, alone = Store(tmp_path / "into"), Store(tmp_path / "alone")
    north = write_drop(tmp_path / "north", _firm("North", "2026-03-01"))
    south = write_drop(tmp_path / "south", _firm("South", "2026-03-02"))
    for one in (store, alone):
        one.run(north)
        assert one.said == []
    store.run(south)
    advice = (
        "Where two firms use the same ids, their visits are pooled: set id_prefix in the mapping of one firm, and give "
        "its files again"
    )
    assert [m for m in store.said if "replaces" not in m] == [
        f"sites_South.csv: 4 of 4 sites whose ids sites_North.csv has too have another branch and name there. {advice}",
        "technicians_South.csv: 4 of 4 technicians whose ids technicians_North.csv has too are of another branch "
        f"there. {advice}",
    ]
    mapping = tmp_path / "m.toml"
    mapping.write_text('id_prefix = "S-"\n')
    store.run(south, mapping=mapping)
    assert store.said == [
        f"{name}_South.csv: was loaded before by another mapping; what it said by that goes"
        for name in ("equipment", "sites", "technicians", "visits")
    ]
    for table in ("site", "equipment", "technician", "visit"):
        of_north = f"FROM {table} WHERE {table}_id NOT LIKE 'S-%' ORDER BY ALL"
        assert store.rows(of_north) == alone.rows(of_north)
    assert store.rows("SELECT count(*), count(DISTINCT site_id) FROM visit") == [(8, 8)]


@pytest.mark.parametrize("changed", ["branch", "site_label", "two"])
def test_a_correction_is_not_taken_for_another_firm(tmp_path: Path, changed: str) -> None:
    """A branch renamed, sites renamed, or two sites that moved to another branch and got another name."""
    firm = _firm("North", "2026-03-01")
    store = Store(tmp_path / "into")
    store.run(write_drop(tmp_path / "drop", dict(firm)))
    mended = {
        "branch": firm["sites_North.csv"].replace(",North,", ",Northern,"),
        "site_label": firm["sites_North.csv"].replace("North ", "House "),
        "two": firm["sites_North.csv"]
        .replace("S1,North,North", "S1,X,Y")
        .replace("S2,North,North", "S2,X,Y"),
    }[changed]
    store.run(write_drop(tmp_path / "fix", {"sites_of_North.csv": mended}))
    assert len(store.said) == 1
    assert store.said[0].startswith("sites_of_North.csv: replaces ")


@pytest.mark.parametrize(("unit", "day", "told"), [(1, 11, 0), (2, 0, 0), (2, 11, 1)])
def test_visits_of_another_firm_under_the_same_numbers_are_told(
    tmp_path: Path, unit: int, day: int, told: int
) -> None:
    """Those of the same unit or day are corrections of it."""

    def visits(unit: int, day: int) -> str:
        rows = (
            f"V{i},S{unit},E{unit},T1,2026-03-{day + i:02d}T08:00:00Z,cooling,-0.2,0.3\n" for i in (1, 2, 3)
        )
        return f"{VISIT_COLUMNS}\n{''.join(rows)}"

    store = Store(tmp_path / "into")
    store.run(write_drop(tmp_path / "drop", SOUND | {"visits.csv": visits(1, 0)}))
    store.run(write_drop(tmp_path / "more", {"visits_b.csv": visits(unit, day)}))
    assert len([m for m in store.said if "are of another unit and day there" in m]) == told


def test_rows_that_replace_others_of_their_own_file_are_told(tmp_path: Path) -> None:
    """A job's number for a visit_id, or ids that a spreadsheet has made 1.23E+15 of: other visits, not corrections."""
    store = Store(tmp_path / "into")
    rows = "".join(
        f"1.23E+15,S1,E1,T1,2026-03-0{day}T08:00:00-05:00,{mode},-0.2{day},0.31\n"
        for day in (1, 2)
        for mode in ("cooling", "heating")
    )
    drop = write_drop(tmp_path / "drop", SOUND | {"visits.csv": f"{VISIT_COLUMNS}\n{rows}"})
    store.run(drop)
    assert store.said == [
        "visits.csv:2: 3 rows of this file are replaced within it, here by line 5 with the same visit_id; "
        "what is no correction needs one of its own"
    ]
    store.run(drop)
    assert not [said for said in store.said if "within" in said]
