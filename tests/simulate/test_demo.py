"""The committed demo is what its script makes, small, and holds the mess that it claims."""

from __future__ import annotations

import gzip
from pathlib import Path

import polars as pl
import pytest

from seed_data import DEMO_DROP, DEMO_TODAY, DEMO_TRUTH
from seed_data.make_demo import make_demo
from seed_data.mess import BAD_ROWS

VISIT_FILES = sorted(p.name for p in DEMO_DROP.iterdir() if p.name.startswith("visits"))


@pytest.fixture(scope="module")
def remade(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo")
    make_demo(folder)
    return folder


def content(path: Path) -> bytes:
    """The bytes; of a packed file those inside, since packers differ."""
    return gzip.decompress(path.read_bytes()) if path.suffix == ".gz" else path.read_bytes()


def test_script_makes_the_committed_files(remade: Path) -> None:
    assert sorted(p.name for p in (remade / "demo").iterdir()) == sorted(p.name for p in DEMO_DROP.iterdir())
    for path in DEMO_DROP.iterdir():
        assert content(remade / "demo" / path.name) == content(path), path.name
    assert (remade / "demo_truth.csv").read_bytes() == DEMO_TRUTH.read_bytes()


def test_demo_is_small() -> None:
    assert sum(p.stat().st_size for p in DEMO_DROP.iterdir()) < 600_000
    assert VISIT_FILES == [
        "visits_2022-2023.csv",
        "visits_2024.csv",
        "visits_2025.csv.gz",
        "visits_2026.csv",
        "visits_2026_corrections.csv",
    ]


def test_the_mess_is_there() -> None:
    sites = (DEMO_DROP / "sites.csv").read_bytes()
    assert sites.startswith(b"\xef\xbb\xbf")
    assert b"\r\n" in sites
    for text in ("<b>Heron</b>", "</script>", "🏠", "=SUM(A1:A9)", '""Old""'):
        assert text.encode() in sites, text
    assert b"\t" in (DEMO_DROP / "work.csv").read_bytes()
    local = (DEMO_DROP / "visits_2024.csv").read_text(encoding="utf-8-sig").splitlines()
    assert local[0].startswith("visit_id;site_id")
    assert ";-0," in local[1]
    latest = pl.read_csv(DEMO_DROP / "visits_2026.csv", infer_schema=False)
    assert "weather" in latest.columns
    assert latest.columns == sorted(latest.columns)
    assert "recorded_at" in pl.read_csv(DEMO_DROP / "visits_2026_corrections.csv", infer_schema=False).columns
    notes = b"".join(content(DEMO_DROP / name) for name in VISIT_FILES)
    assert b"first line\nsecond line, with a comma" in notes
    assert b"</script><script>alert(1)</script>" in notes


def test_every_kind_of_slip_is_planted() -> None:
    truth = pl.read_csv(DEMO_TRUTH, infer_schema_length=None)
    planted = set(truth.filter(pl.col("subject") == "visit")["expectation"])
    expected = {
        "return_sign_wrong", "supply_sign_wrong", "ports_swapped", "reading_near_zero", "unit_mismatch",
        "zero_offset_large", "zero_after_reading", "zero_stale", "zero_not_recorded", "visit_in_future",
        "visit_before_install", "return_port_wrong", "supply_port_wrong", "component_drop_impossible",
        "tesp_sum_mismatch", "readings_repeated",
    }  # fmt: skip
    assert expected <= planted


def test_rejects_stay_far_below_the_gate() -> None:
    """Well under 5 % of any file: the demo is messy, not broken."""
    for name, year in (("visits_2024.csv", 2024), ("visits_2025.csv.gz", 2025), ("visits_2026.csv", 2026)):
        rows = content(DEMO_DROP / name).count(b"\nV") + content(DEMO_DROP / name).count(b'\n"')
        bad = sum(1 for in_year, *_ in BAD_ROWS if in_year == year)
        assert 0 < bad < 0.02 * max(rows, 100), name


def test_the_story_holds_in_the_truth() -> None:
    truth = pl.read_csv(DEMO_TRUTH, infer_schema_length=None)
    cooling = truth.filter((pl.col("subject") == "equipment") & (pl.col("mode") == "cooling"))
    for expectation, side in (("chronic_return", "return"), ("chronic_supply", "supply")):
        found = cooling.filter(pl.col("expectation") == expectation)
        assert len(found) >= 5
        assert set(found["problem_side"]) == {side}
    fast = cooling.filter(pl.col("expectation") == "chronic_airflow_setting")
    assert len(fast) == 3
    assert set(fast["problem_side"]) == {"airflow_setting"}
    sound = cooling.filter(
        pl.col("expectation").is_in(["within_rating", "upkeep", "repaired", "work_without_effect"])
    )
    assert sound["excess_inwc"].max() < 0
    people = truth.filter(pl.col("subject") == "technician")
    assert len(people) == 12
    named = people.filter(pl.col("expectation").is_in(["skips_zero", "zero_doubtful", "wrong_ports"]))
    assert named["n_visits"].min() > 20
    assert people.filter(pl.col("expectation") == "too_few_visits")["n_visits"].max() < 20
    assert DEMO_TODAY.isoformat() == "2026-11-20"
