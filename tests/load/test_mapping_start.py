"""The mapping that a run writes for a foreign export: what it guesses, what it leaves open, what it keeps."""

from __future__ import annotations

import tomllib
from contextlib import suppress
from pathlib import Path

import duckdb
import pytest

from pipeline.errors import UsageError
from pipeline.load.guesses import Foreign, meaning, unit_of
from pipeline.load.header import Header
from pipeline.load.inputs import EQUIPMENT, VISITS
from pipeline.load.layout import lay_out
from pipeline.load.looks import Looks, look_at
from pipeline.load.mapping import Mapping, parse_mapping, read_mapping
from pipeline.load.mapping_start import START_NAME
from seed_data import demo_fleet
from tests.load.drops import SOUND, VISIT_COLUMNS, Files, Store, write_drop

SEED_DATA = Path(demo_fleet.__file__).parent

# An invented office's export: American dates, magnitudes in Pa, words of its own.
FOREIGN: Files = {
    "Customer_List.csv": 'Customer No,Customer Name,Office\nK1,"Miller, house 3",North\nK2,Shaefer,South\n',
    "AssetExport_2026.csv": (
        "Serial No,Customer No,Unit Type,Max ESP (Pa),Install Date,Tonnage,Motor Type\n"
        "A1,K1,Gas furnace,124.5,02/14/2019,3,PSC\nA2,K2,Air handler,74.7,06/15/2020,2.5,Constant torque\n"
    ),
    "tech_roster.csv": "Employee ID,Office,Last Trained\nM1,North,02/28/2025\nM2,South,\n",
    "StaticTests_2026.csv": (
        "Job No,Customer No,Serial No,Tech,Date/Time,Mode,Return SP (Pa),Supply SP (Pa),Zeroed,Filter,Holes plugged\n"
        "1,K1,A1,M1,03/13/2026 14:05,Cool,55,80,03/13/2026 13:50,clean,Yes\n"
        "2,K1,A1,M1,06/03/2026 14:05,Cool,56.5,81,06/03/2026 13:50,Clean,Yes\n"
        "3,K1,A1,M2,09/03/2026 10:05,Cool,57,83,09/03/2026 09:50,clean,No\n"
        "4,K2,A2,M2,09/04/2026 10:05,Heat,20,33,,Dirty,Y\n"
    ),
}
GERMAN: Files = {
    "Kunden.csv": "Standort;Niederlassung\nK1;Nord\n",
    "Anlagen_7.csv": "Anlage;Standort;Art;Nennpressung\nA1;K1;Ofen;0,5\n",
    "Monteure.csv": "Nr\nM1\n",
    "Besuche.csv": (
        "Besuch;Standort;Anlage;Monteur;Datum;Betrieb;Ansaug;Druck;Filter\n"
        "1;K1;A1;M1;13.03.2026 14:05;Kühlen;-0,22;0,31;sauber\n"
        "2;K1;A1;M1;14.03.2026 14:05;Heizen;-0,20;0,30;schmutzig\n"
    ),
}


def _start(tmp_path: Path, files: Files, mapping: str | None = None) -> tuple[Store, str]:
    """Load a foreign drop; the mapping that is written."""
    store = Store(tmp_path / "into")
    given = tmp_path / "given.toml"
    if mapping:
        given.write_text(mapping, encoding="utf-8")
    drop = write_drop(tmp_path / "drop", files)
    with suppress(UsageError):  # where no file belongs to a table
        store.run(drop, mapping=given if mapping else None, passes=False)
    return store, (store.into / START_NAME).read_text(encoding="utf-8")


def test_an_export_with_usual_names_is_read_by_the_mapping_as_it_was_written(tmp_path: Path) -> None:
    store, text = _start(tmp_path, FOREIGN)
    completed = tmp_path / "completed.toml"
    completed.write_text(
        text.replace('# time_zone = "America/Chicago"  # needed', 'time_zone = "America/Chicago"  #')
    )
    store.run(tmp_path / "drop", mapping=completed)
    assert store.rows(
        "SELECT equipment_id, equipment_kind, motor_kind, round(rated_tesp_inwc, 2) FROM equipment"
    ) == [
        ("A1", "furnace", "psc", 0.5),
        ("A2", "fan_coil", "constant_torque", 0.3),
    ]
    assert store.rows("SELECT site_id, branch, site_label FROM site ORDER BY ALL") == [
        ("K1", "North", "Miller, house 3"),
        ("K2", "South", "Shaefer"),
    ]
    visits = store.rows(
        "SELECT visit_id, mode, return_static, pressure_unit, filter_condition, holes_plugged, "
        "strftime(visited_at, '%m-%dT%H:%M') FROM visit ORDER BY visit_id"
    )
    assert visits == [
        ("1", "cooling", -55, "pa", "clean", True, "03-13T19:05"),
        ("2", "cooling", -56.5, "pa", "clean", True, "06-03T19:05"),
        ("3", "cooling", -57, "pa", "clean", False, "09-03T15:05"),
        ("4", "heating", -20, "pa", "dirty", True, "09-04T15:05"),
    ]


def test_every_guess_is_called_one(tmp_path: Path) -> None:
    _, text = _start(tmp_path, FOREIGN)
    said = [x for x in text.splitlines() if x and not x.startswith(("#", "["))]
    assert len(said) >= 40
    assert [x for x in said if "# a guess" not in x] == []


def test_what_cannot_be_guessed_is_left_open_with_what_the_file_has(tmp_path: Path) -> None:
    _, text = _start(tmp_path, GERMAN)
    assert tomllib.loads(text)["files"] == {}
    assert '# visits = ["Anlagen_*.csv"]  # columns: ["Anlage", "Standort", "Art", "Nennpressung"]' in text


def test_what_the_mapping_in_use_says_stays_and_the_words_of_the_file_are_listed(tmp_path: Path) -> None:
    given = """
    time_zone = "Europe/Vienna"
    time_format = ["%d.%m.%Y %H:%M", "%d.%m.%Y"]
    return_sign = "signed"
    [files]
    sites = ["Kunden.csv"]
    equipment = ["Anlagen_*.csv"]
    technicians = ["Monteure.csv"]
    visits = ["Besuche.csv"]
    [columns.sites]
    site_id = "Standort"
    branch = "Niederlassung"
    [columns.visits]
    mode = "Betrieb"
    [values.visits.mode]
    "kühlen" = "cooling"
    [constants.equipment]
    equipment_kind = "furnace"
    [units.equipment]
    rated_tesp_inwc = "inwc"
    [columns.technicians]
    technician_id = "Nr"
    """
    _, text = _start(tmp_path, GERMAN, given)
    said, before = parse_mapping(text, "start"), parse_mapping(given, "given")
    for option in ("time_zone", "time_format", "return_sign", "decimal_comma", "pressure_unit", "files"):
        assert getattr(said, option) == getattr(before, option)
    for table, mapped in before.tables.items():
        for part in ("columns", "values", "units", "constants"):
            assert getattr(mapped, part).items() <= getattr(said.tables[table], part).items()
    assert '# "heizen" = ""  # expected cooling or heating' in text
    assert '# "kühlen"' not in text
    assert said.tables["visits"].columns["filter_condition"] == "Filter"
    assert '# "schmutzig" = ""  # expected clean or dirty' in text


def _guessed(name: str, *values: str) -> list[str]:
    """The columns that a visits file's only column is taken for."""
    layout = lay_out(VISITS, Header((name,)), Mapping(), Path("x"), parquet=True)
    return list(Foreign(layout, Looks({name: values})).guessed)


@pytest.mark.parametrize(
    ("name", "values", "columns"),
    [
        ("Filter", ("clean", "dirty"), ["filter_condition"]),
        ("Filter", ("0.12", "0.13"), ["filter_drop"]),
        ("Filter PD", ("-0,12",), ["filter_drop"]),
        ("Filter PD", ("clean", "dirty"), ["filter_condition"]),
        ("Date", ("03/13/2026 2:05 PM",), ["visited_at"]),
        ("Date", ("soon", "later"), []),
        ("ReturnStatic", ("0.2", "0.3", "0.25", "0.31", "o.4"), ["return_static"]),  # with a slip
        ("Weather", ("hot",), []),
    ],
)
def test_a_column_is_guessed_by_its_name_and_its_values(
    name: str, values: tuple[str, ...], columns: list[str]
) -> None:
    assert _guessed(name, *values) == columns


@pytest.mark.parametrize(
    ("returns", "guessed"),
    [(("0.2", "0.3", "0.25"), True), (("0.2", "-0.3", "0.25"), False), (("0.2", "0.3"), False)],
)
def test_magnitudes_are_guessed_where_several_readings_bear_no_sign(
    tmp_path: Path, returns: tuple[str, ...], guessed: bool
) -> None:
    rows = "".join(f"{i},S1,E1,T1,2026-03-01T08:00:00Z,cooling,{r},0.3\n" for i, r in enumerate(returns))
    visits = f"Job,Site,Unit,Tech,Date,Mode,Return,Supply\n{rows}"
    _, text = _start(tmp_path, SOUND | {"visits.csv": visits})
    assert (parse_mapping(text, "start").return_sign == "magnitude") is guessed
    assert "needed" not in text  # times with an offset, pressures that may be in. w.c.


def test_dates_that_contradict_each_other_are_left_to_the_reader(tmp_path: Path) -> None:
    files = FOREIGN | {"tech_roster.csv": "Employee ID,Office,Last Trained\nM1,North,28.02.2025\n"}
    _, text = _start(tmp_path, files)
    assert '# date_format = "%m/%d/%Y"  # a guess' in text
    assert '# date_format = "%d.%m.%Y"  # a guess' in text
    assert parse_mapping(text, "start").date_format == ()


def test_days_that_two_formats_explain_are_not_guessed(tmp_path: Path) -> None:
    assert Looks({"d": ("02/03/2026", "04/05/2026")}).date_formats(["d"]) == ["%m/%d/%Y", "%d/%m/%Y"]
    assert Looks({"d": ("02/03/2026", "2026-02-28")}).date_formats(["d"]) == ["%m/%d/%Y", "%d/%m/%Y"]
    assert Looks({"d": ("2026-02-28",)}).date_formats(["d"]) == []


@pytest.mark.parametrize(
    "content", [b"", b"\0\1\2", b'"', b"\xff\xfe\x00\x01", b"PK\x03\x04rest", b"no columns known\n1\n"]
)
def test_a_file_of_which_nothing_can_be_told_is_named_only(tmp_path: Path, content: bytes) -> None:
    _, text = _start(tmp_path, {"what.csv": content})
    assert tomllib.loads(text)["files"] == {}
    assert '# visits = ["what.csv"]' in text


def test_a_foreign_parquet_file_is_guessed_by_its_names(tmp_path: Path) -> None:
    drop = write_drop(tmp_path / "drop", {k: v for k, v in SOUND.items() if k != "visits.csv"})
    duckdb.sql('SELECT 1 AS Job, \'E1\' AS "Serial No", -0.2 AS "Return SP"').write_parquet(
        str(drop / "visits.parquet")
    )
    store = Store(tmp_path / "into")
    store.run(drop, passes=False)
    columns = read_mapping(store.into / START_NAME).tables["visits"].columns
    assert columns == {"visit_id": "Job", "equipment_id": "Serial No", "return_static": "Return SP"}


@pytest.mark.parametrize(
    ("word", "ours", "meant"),
    [
        ("Cool", ("cooling", "heating"), "cooling"),
        ("cooling mode", ("cooling", "heating"), "cooling"),
        ("Y", ("true", "false"), "true"),
        ("Straight run", ("straight_run", "near_turn"), "straight_run"),
        ("ECM", ("psc", "constant_torque", "constant_airflow"), None),
        ("constant", ("constant_torque", "constant_airflow"), None),  # two
        ("c", ("cooling", "clean"), None),
    ],
)
def test_words(word: str, ours: tuple[str, ...], meant: str | None) -> None:
    assert meaning(word, ours) == meant


@pytest.mark.parametrize(
    ("column", "theirs", "unit"),
    [
        ("rated_tesp_inwc", "Max ESP (Pa)", "pa"),
        ("rated_tesp_inwc", "Max ESP (in. w.c.)", None),
        ("design_cooling_cfm", "Airflow m3/h", "m3_per_h"),
        ("nominal_tons", "Tons", None),
        ("rated_tesp_inwc", "Papa", None),
    ],
)
def test_units_in_names(column: str, theirs: str, unit: str | None) -> None:
    assert unit_of(EQUIPMENT.column(column), theirs) == unit


def test_only_the_beginning_of_a_large_file_is_looked_at(tmp_path: Path) -> None:
    file = tmp_path / "large.csv"
    file.write_text("a,b\n" + "1,x\n" * 400_000 + "oops,y\n")
    looks = look_at(file, Header(("a", "b")))
    assert set(looks.values["a"]) == {"1"}
    assert len(looks.values["a"]) < 100_000


@pytest.mark.parametrize(("export", "least"), [("foreign_a", 0.0), ("foreign_b", 0.85)])
def test_guesses_about_the_exports_of_the_demo_against_their_mappings(
    tmp_path: Path, export: str, least: float
) -> None:
    """No guess about a column is wrong; of the English one most are made, whose words are among those of called.py."""
    folder = SEED_DATA / export
    truth = read_mapping(folder / "mapping.toml")
    store = Store(tmp_path / "into")
    with pytest.raises(UsageError):
        store.run(folder)
    guessed = read_mapping(store.into / START_NAME)
    found = {(t, c, name) for t, mapped in guessed.tables.items() for c, name in mapped.columns.items()}
    true = {(t, c, name) for t, mapped in truth.tables.items() for c, name in mapped.columns.items()}
    assert found - true == set()
    assert len(found) >= least * len(true)
    assert guessed.encoding == (truth.encoding and "cp1252")
    words = {
        (t, c, *w)
        for t, mapped in guessed.tables.items()
        for c, ws in mapped.values.items()
        for w in ws.items()
    }
    meant = {
        (t, c, *w)
        for t, mapped in truth.tables.items()
        for c, ws in mapped.values.items()
        for w in ws.items()
    }
    assert words - meant == set()


@pytest.mark.parametrize("readings", [(4.5, 6.8, 3.3), (55, 80, 70)])  # mm of water, Pa
def test_a_median_beyond_any_reading_in_inwc_asks_for_the_unit(
    tmp_path: Path, readings: tuple[float, ...]
) -> None:
    rows = "".join(f"{i},S1,E1,T1,2026-03-01T08:00:00Z,cooling,-{r},{r}\n" for i, r in enumerate(readings))
    _, text = _start(tmp_path, SOUND | {"visits.csv": f"Job,Site,Unit,Tech,Date,Mode,Return,Supply\n{rows}"})
    assert "# needed: such pressures are no in. w.c." in text


def _of_modes(words: list[str]) -> Files:
    rows = "".join(f"V{i},S1,E1,T1,2026-03-01T08:00:00Z,{word},-0.2,0.3\n" for i, word in enumerate(words))
    return SOUND | {"visits.csv": f"{VISIT_COLUMNS}\n{rows}"}


def test_unknown_words_are_told_once_and_the_mapping_that_is_written_reads_them(tmp_path: Path) -> None:
    store, _ = _start(tmp_path, _of_modes(["Cool"] * 4 + ["Heat"] * 3))
    assert [m for m in store.said if "not known" in m] == [
        "visits.csv: 7 of 7 rows hold words for mode that are not known ('cool', 'heat'), expected cooling or heating, "
        "or what they mean in a mapping"
    ]
    start = store.into / START_NAME
    assert any(str(start) in message for message in store.said)
    store.run(tmp_path / "drop", mapping=start)
    assert store.rows("SELECT mode, count(*) FROM visit GROUP BY ALL ORDER BY ALL") == [
        ("cooling", 4),
        ("heating", 3),
    ]


def test_words_that_are_empty_are_no_unknown_words(tmp_path: Path) -> None:
    store = Store(tmp_path / "into")
    store.run(write_drop(tmp_path / "drop", _of_modes([""] * 6 + ["cooling"] * 2)), passes=False)
    assert not any("not known" in m for m in store.said)
    assert "visits.csv:2: mode is empty, expected cooling or heating [bad_value]" in store.said
    _, text = _start(tmp_path / "both", _of_modes([""] * 6 + ["Cool"] * 6))
    assert '"cool" = "cooling"  # a guess' in text


def test_a_header_that_stands_there_again_disturbs_no_guess(tmp_path: Path) -> None:
    header = "Job,Site,Unit,Tech,Date,Mode,Return,Supply\n"
    row = "{},S1,E1,T1,03/{}/2026 02:05 PM,cooling,0.2,0.3\n"
    rows = "".join(row.format(i, i) for i in range(10, 20))
    _, text = _start(tmp_path, SOUND | {"visits.csv": f"{header}{rows}{header}{rows}"})
    assert 'time_format = "%m/%d/%Y %I:%M %p"  # a guess' in text


@pytest.mark.parametrize(
    "words",
    [["Cool"] * 4 + ["cooling"] * 9, ["Cool"] * 5 + ["cooling"] * 95, [f"word {i}" for i in range(40)]],
)
def test_words_that_the_gate_lets_pass_or_that_are_no_list_are_not_told(
    tmp_path: Path, words: list[str]
) -> None:
    store = Store(tmp_path / "into")
    store.run(write_drop(tmp_path / "drop", _of_modes(words)))
    assert not any("not known" in m for m in store.said)
    assert not (store.into / START_NAME).exists()


@pytest.mark.parametrize(("mode", "told"), [("", True), (",Mode", False)])
def test_modes_side_by_side_are_told(tmp_path: Path, mode: str, told: bool) -> None:
    header = f"Job,Site,Unit,Tech,Date,Heat Return,Heat Supply,Cool Return,Cool Supply{mode}"
    row = f"1,S1,E1,T1,2026-03-01T08:00:00Z,-0.2,0.3,-0.3,0.4{',heating' if mode else ''}"
    _, text = _start(tmp_path, SOUND | {"visits.csv": f"{header}\n{row}\n"})
    assert ("# heating and cooling seem to stand side by side" in text) == told


def test_a_prefix_that_was_given_stays(tmp_path: Path) -> None:
    store = Store(tmp_path / "into")
    mapping = tmp_path / "m.toml"
    mapping.write_text('id_prefix = "N-"\n')
    drop = write_drop(tmp_path / "drop", SOUND | {"visits.csv": "Job,Site\n1,S1\n"})
    store.run(drop, mapping=mapping, passes=False)
    assert 'id_prefix = "N-"' in (store.into / START_NAME).read_text().splitlines()
