"""Lines found by counted line breaks, against the records found by looking at the whole text."""

from __future__ import annotations

import random
from pathlib import Path

import numpy as np
import pytest

from pipeline.load import copying
from pipeline.load.files import InputFile
from pipeline.load.lines import Lines
from pipeline.load.records import find_records
from tests.load.drops import SOUND, VISIT_COLUMNS, Store, write_drop


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("piece", [1, 7, 64, 1 << 20])
def test_every_row_has_the_line_and_text_of_its_record(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, seed: int, piece: int
) -> None:
    monkeypatch.setattr(copying, "PIECE", piece)
    rng = random.Random(seed)
    n = rng.randrange(1, 60)
    rows = ["a,b", *(f"{i},{'é' * rng.randrange(9)}" for i in range(n))]
    path = tmp_path / "sites.csv"
    path.write_text("\n".join(rows) + rng.choice(["", "\n"]), encoding="utf-8")
    copy = copying.take_copy(InputFile(path, path.name, "", "sites"), tmp_path / "copy")
    lines, records = Lines(copy.text, copy.marks), find_records(copy.text, ",", 2)
    ragged = np.array(sorted(rng.sample(range(2, n + 2), rng.randrange(n))), dtype=np.int64)
    left = n - len(ragged)
    ordinals = np.array(sorted(rng.sample(range(left), rng.randrange(left + 1))), dtype=np.int64)
    assert lines.rows(ragged, ordinals) == records.rows(ragged, ordinals)
    assert lines.numbered(ragged) == records.numbered(ragged)
    assert [text for _, text in lines.numbered(ragged)] == [rows[i - 1] for i in ragged]


@pytest.mark.parametrize(
    ("text", "marked"),
    [
        ("site_id,branch\nS1,North\nS2,high\n", True),
        ("site_id,branch\nS1,North\n\nS2,South\n", False),
        ('site_id,branch\nS1,"North, far"\nS2,"""Hill"""\n', True),
        ('site_id,branch\nS1,"North\nof it"\n', False),
        ('site_id,branch\nS1,No"rth\n', False),
        ("site_id,branch\r\nS1,North\r\n", False),
        ("site_id,branch\nS1,North\nS2\nS3,South", True),
    ],
)
def test_only_texts_of_one_line_a_row_are_marked(tmp_path: Path, text: str, marked: bool) -> None:
    store = Store(tmp_path / "into")
    store.run(write_drop(tmp_path / "drop", {"technicians.csv": "technician_id\nT1\n", "sites.csv": text}))
    assert store.rows(
        "SELECT count(*) > 0 FROM text_mark JOIN load_file USING (load_id) WHERE table_name = 'sites'"
    ) == [(marked,)]
    assert store.rows(
        "SELECT count(*) FROM text_mark JOIN load_file USING (load_id) WHERE file LIKE 't%'"
    ) == [
        (0,)  # a single column: an empty line may be a row
    ]


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_a_corrected_row_is_shown_as_it_stood_among_rejected_ones(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, end: str
) -> None:
    """In small pieces; ragged and unreadable rows before it move its place among the staged rows, not its line."""
    monkeypatch.setattr(copying, "PIECE", 50)
    good = [f"V{i},S1,E1,T1,2026-03-01T08:00:00Z,cooling,-0.2,0.{i}1" for i in range(9)]
    lines = [
        VISIT_COLUMNS,
        *good[:3],
        "V-short,S1",
        good[3],
        good[4].replace("0.41", "o.41"),
        *good[5:],
        "V9",
    ]
    store = Store(tmp_path / "into")
    store.run(write_drop(tmp_path / "first", SOUND | {"visits.csv": end.join(lines)}))
    later = [good[n].replace("-0.2", "-0.3") for n in (0, 3, 8)]
    store.run(write_drop(tmp_path / "later", {"visits_b.csv": "\n".join([VISIT_COLUMNS, *later])}))
    assert store.rows(
        "SELECT key, line_number, raw_line, superseded_by_line FROM superseded_row ORDER BY line_number"
    ) == [("V0", 2, good[0], 2), ("V3", 6, good[3], 3), ("V8", 11, good[8], 4)]
    assert store.rows("SELECT line_number, raw_line FROM rejected_row ORDER BY line_number") == [
        (5, "V-short,S1"),
        (7, lines[6]),
        (12, "V9"),
    ]
