"""The same bytes for the same seed, the files of a drop, the command, and the time it takes."""

from __future__ import annotations

import hashlib
import time
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipeline.errors import UsageError
from pipeline.simulate import Profile, make_fleet, make_fleet_command

SMALL = Profile(n_sites=30, total_visits=400)


def digest(folder: Path) -> dict[str, str]:
    files = sorted(p for p in folder.rglob("*") if p.is_file())
    return {str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest() for p in files}


def test_a_seed_makes_the_same_bytes_and_another_seed_others(tmp_path: Path) -> None:
    for name, seed in (("a", 1), ("b", 1), ("c", 2)):
        make_fleet(tmp_path / name, SMALL, seed)
    a, b, c = (digest(tmp_path / name) for name in "abc")
    assert a == b
    assert a.keys() == c.keys()
    assert a["visits_part1.csv"] != c["visits_part1.csv"]


def test_numbers_are_written_as_people_write_them(tmp_path: Path) -> None:
    make_fleet(tmp_path, SMALL, 1)
    rows = pl.read_csv(tmp_path / "visits_part1.csv", infer_schema=False)
    for name in ("return_static", "supply_static", "zero_return", "filter_drop", "reported_tesp"):
        written = rows[name].drop_nulls().filter(rows[name].drop_nulls() != "0.5o")
        assert written.str.contains(r"^-?\d{1,3}\.\d{1,3}$").all(), name
        assert not written.str.contains(r"^-0\.0+$").any(), name


def test_files_split_by_size_and_stay_in_order_of_time(tmp_path: Path) -> None:
    make_fleet(tmp_path, replace(SMALL, rows_per_file=100), 1)
    names = sorted(p.name for p in tmp_path.glob("visits_*"))
    assert names == [*(f"visits_part{i}.csv" for i in (1, 2, 3, 4)), "visits_part5_corrections.csv"]
    days = [
        pl.read_parquet(tmp_path / "truth" / f"visit_part{i}.parquet")["visited_on"] for i in (1, 2, 3, 4)
    ]
    assert all(d.is_sorted() for d in days)
    assert all(a[-1] <= b[0] for a, b in pairwise(days))


def test_the_reading_of_a_stretch_does_not_depend_on_the_fleet_after_it(tmp_path: Path) -> None:
    """A stretch draws from its own child of the seed, so files can be made apart."""
    make_fleet(tmp_path, replace(SMALL, rows_per_file=100), 3)
    first = (tmp_path / "visits_part1.csv").read_bytes()
    make_fleet(tmp_path / "again", replace(SMALL, rows_per_file=100), 3)
    assert first == (tmp_path / "again" / "visits_part1.csv").read_bytes()


@pytest.mark.parametrize("visits", [0, 1, 7])
def test_tiny_fleets(tmp_path: Path, visits: int) -> None:
    make_fleet_command(tmp_path / "drop", 1, visits, 4)
    truth = pl.read_parquet(tmp_path / "drop" / "truth" / "visit_part*.parquet")
    assert truth.height == visits


def test_the_command_refuses_what_it_cannot_do(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="--sites of 1 or more"):
        make_fleet_command(tmp_path / "drop", 0, 10, 1)
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "keep.txt").write_text("mine")
    with pytest.raises(UsageError, match="not empty"):
        make_fleet_command(tmp_path / "full", 1, 1, 1)


@pytest.mark.slow
def test_processor_time_grows_with_the_visits(tmp_path: Path) -> None:
    """200,000 visits in a quarter of a minute of processor time, so that a million stay well under a minute alone."""
    start = time.process_time()
    make_fleet(tmp_path, Profile(n_sites=20_000, total_visits=200_000, n_technicians=400), 1)
    assert time.process_time() - start < 15
    visits = pl.scan_parquet(tmp_path / "truth" / "visit_part*.parquet")
    assert visits.select(pl.len()).collect().item() == 200_000
    assert np.isfinite(visits.select("tesp_inwc").collect().to_numpy()).all()
