"""Any order and any split of the same files over runs gives the same tables, and those that a plain model gives."""

from __future__ import annotations

import random
import re
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.load.drops import Files, Kept, Store, write_drop

N_FILES = 7


@dataclass(frozen=True)
class Row:
    """One row of the sites files in the model: where it stands and what it says."""

    file: str
    line: int
    site_id: str
    branch: str
    recorded_at: str


def _make(seed: int) -> tuple[dict[str, Files], list[Row]]:
    """Files in two folders with many corrections, repeats and ties, and the same rows for the model."""
    rng = random.Random(seed)
    drops: dict[str, Files] = {"week 9": {}, "week 10": {}}
    rows = []
    for number in rng.sample(range(1, 12), N_FILES):
        name = f"sites_{number}.csv"
        lines = ["site_id,branch,recorded_at"]
        for line in range(2, 2 + rng.randint(1, 6)):
            row = Row(
                name,
                line,
                f"S{rng.randint(1, 6)}",
                rng.choice(["North", "South"]),
                rng.choice(["", "", "2026-03-01", "2026-03-02", "2026-03-10"]),
            )
            rows.append(row)
            lines.append(f"{row.site_id},{row.branch},{row.recorded_at}")
        drops[rng.choice(["week 9", "week 10"])][name] = "\n".join(lines) + "\n"
    visits = ["visit_id,site_id,equipment_id,technician_id,visited_at,mode,return_static,supply_static"]
    visits += [f"V{i},S{i % 7},E{i % 5},T1,2026-03-0{i % 9 + 1},cooling,-0.{i},0.3" for i in range(1, 30)]
    drops["week 9"]["visits.csv"] = "\n".join(visits) + "\n"
    drops["week 10"]["equipment.csv"] = "equipment_id,site_id,equipment_kind,rated_tesp_inwc\n" + "".join(
        f"E{i},S{i},furnace,0.5\n" for i in range(5)
    )
    drops["week 10"]["technicians.csv"] = "technician_id\nT1\n"
    return drops, rows


def _place(row: Row) -> tuple[int, int]:
    return int(re.findall(r"\d+", row.file)[0]), row.line


def _model(rows: list[Row]) -> tuple[set[tuple[str, str]], set[tuple[str, str, int]], int]:
    """Winners (id, branch), superseded (id, file, line) and the number of repeated rows, one row at a time."""
    first: dict[tuple[str, str, str], Row] = {}
    last: dict[tuple[str, str, str], tuple[int, int]] = {}
    for row in sorted(rows, key=_place):
        content = (row.site_id, row.branch, row.recorded_at)
        first.setdefault(content, row)
        last[content] = _place(row)
    kept = list(first.values())
    winners, superseded = set(), set()
    for site_id in {r.site_id for r in kept}:
        rivals = sorted(
            (r for r in kept if r.site_id == site_id),
            key=lambda r: (r.recorded_at, last[r.site_id, r.branch, r.recorded_at]),
        )
        winners.add((site_id, rivals[-1].branch))
        superseded |= {(site_id, r.file, r.line) for r in rivals[:-1]}
    return winners, superseded, len(rows) - len(kept)


@pytest.mark.parametrize("seed", range(4))
def test_order_and_split_do_not_matter(tmp_path: Path, seed: int) -> None:
    drops, rows = _make(seed)
    folders = [write_drop(tmp_path / name, files) for name, files in drops.items()]
    at_once = Store(tmp_path / "at once", kept=Kept())
    at_once.run(*folders)
    winners, superseded, n_repeated = _model(rows)
    assert set(at_once.rows("SELECT site_id, branch FROM site")) == winners
    assert set(at_once.rows("SELECT key, file, line_number FROM superseded_row")) == superseded
    assert at_once.rows("SELECT sum(rows_repeated)::INT FROM load_ledger") == [(n_repeated,)]
    expected = at_once.content()
    rng = random.Random(seed + 100)
    for attempt in range(3):
        store = Store(tmp_path / f"split {attempt}", kept=Kept())
        files = [folder / name for folder in folders for name in drops[folder.name]]
        rng.shuffle(files)
        while files:
            n = rng.randint(1, 4)
            store.run(*files[:n])
            files = files[n:]
        assert store.content() == expected


def test_loading_in_bits_and_again_changes_nothing(tmp_path: Path) -> None:
    drops, _ = _make(9)
    folders = [write_drop(tmp_path / name, files) for name, files in drops.items()]
    store = Store(tmp_path / "into", kept=Kept())
    store.run(*folders)
    expected = store.content()
    for folder in folders[::-1]:
        store.run(folder)
        assert store.content() == expected
