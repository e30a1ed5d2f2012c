"""Dates that no row of a file can be read by: the run says what a mapping must say, and writes one to start from."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from pipeline.load.mapping_start import START_NAME
from tests.load.drops import SOUND, VISIT_COLUMNS, Store, write_drop

ROW = "V{},S1,E1,T1,{},cooling,-0.22,0.31\n"
AMERICAN = ["02/14/2026 14:08:03", "03/01/2026 08:00:00", *(f"03/{d:02}/2026 09:30:00" for d in range(1, 6))]


def _run(tmp_path: Path, times: list[str]) -> Store:
    lines = "".join(ROW.format(i, time) for i, time in enumerate(times))
    store = Store(tmp_path / "into")
    drop = write_drop(tmp_path / "drop", SOUND | {"visits.csv": f"{VISIT_COLUMNS}\n{lines}"})
    store.run(drop, passes=False)
    return store


def _said(store: Store) -> list[str]:
    return [m for m in store.said if "cannot be read" in m]


def test_the_mapping_that_is_written_reads_the_dates(tmp_path: Path) -> None:
    store = _run(tmp_path, AMERICAN)
    option = 'time_format = "%m/%d/%Y %H:%M:%S"'
    assert _said(store) == [
        f"visits.csv: 7 of 7 rows hold dates that cannot be read, expected {option} in a mapping"
    ]
    start = store.into / START_NAME
    assert any(str(start) in message for message in store.said)
    store.run(tmp_path / "drop", mapping=start)
    assert store.rows("SELECT count(*), min(epoch(visited_at))::INT FROM visit") == [(7, 1771078083)]


@pytest.mark.parametrize(
    ("times", "option"),
    [
        (["14.02.2026"] * 5, 'date_format = "%d.%m.%Y"'),
        (["02/14/2026 2:08 PM"] * 5, 'time_format = "%m/%d/%Y %I:%M %p"'),
        (["02/03/2026"] * 5, None),  # February or March
        (["soon"] * 5, None),
        (["02/14/2026"] * 4 + ["soon"], None),
    ],
)
def test_a_format_is_guessed_only_where_one_alone_explains_all(
    tmp_path: Path, times: list[str], option: str | None
) -> None:
    store = _run(tmp_path, times)
    expected = option or "date_format or time_format"
    assert _said(store) == [
        f"visits.csv: 5 of 5 rows hold dates that cannot be read, expected {expected} in a mapping"
    ]
    text = (store.into / START_NAME).read_text()
    said = tomllib.loads(text)
    assert said.get("date_format", said.get("time_format")) == (option.split('"')[1] if option else None)


@pytest.mark.parametrize("times", [["2026-03-01T08:00:00Z"] * 7, ["02/14/2026"] * 4])
def test_few_bad_dates_call_for_no_mapping(tmp_path: Path, times: list[str]) -> None:
    store = _run(tmp_path, times)
    assert _said(store) == []
    assert not (store.into / START_NAME).exists()
