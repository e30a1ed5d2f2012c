"""Analysts ask while runs publish: no error, no torn answer, and no publication waits for a query."""

from __future__ import annotations

import shutil
import subprocess
import sys
import threading
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest

import pipeline.publish as publishing
from pipeline.query import Door
from pipeline.settings import Settings
from pipeline.stages import RunOrder
from pipeline.warehouse import Warehouse

ROOT = Path(__file__).resolve().parents[2]
PUBLICATIONS = 20
# Every publication carries its number in three tables; `busy` keeps the database at work meanwhile.
QUERY = """
    SELECT
        (SELECT max(value) FROM setting WHERE name = 'tariff_per_kwh') AS in_setting,
        (SELECT min(elevation_ft) FROM site) AS lowest,
        (SELECT max(elevation_ft) FROM site) AS highest,
        (SELECT max(json_extract(settings, '$.tariff_per_kwh')::DOUBLE) FROM publication) AS in_publication,
        (SELECT count(*) FROM visit AS a, visit AS b, range({size}) WHERE a.mode <> b.mode) AS busy
"""


class Publisher:
    """A work file whose every publication is marked with a number."""

    def __init__(self, small_file: Path, into: Path) -> None:
        shutil.copy(small_file.with_name("work.duckdb"), into / "work.duckdb")
        self.into = into
        self.file = into / "fleet.duckdb"
        self.warehouse = Warehouse(into / "work.duckdb")

    def publish(self, number: int) -> None:
        settings = Settings().with_values({"tariff_per_kwh": number}, "test")
        self.warehouse.execute(f"UPDATE staging.sites SET elevation_ft = {number}")
        publishing.publish(self.warehouse, RunOrder((), self.into, date(2026, 11, 25), settings=settings))


@pytest.fixture
def publisher(small_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Publisher]:
    # The tables that the query reads: enough to see a mixture, and quickly published.
    monkeypatch.setattr(publishing, "PUBLISHED", ("publication", "setting", "site", "visit", "dictionary"))
    made = Publisher(small_file, tmp_path)
    made.publish(0)
    yield made
    made.warehouse.close()


def _answer(door: Door, size: int) -> tuple[float, ...]:
    (row,) = [row for part in door.ask(QUERY.format(size=size)).parts for row in part.to_pylist()]
    return tuple(row.values())[:4]


@pytest.mark.slow
def test_two_analysts_and_twenty_publications(publisher: Publisher) -> None:
    seen: list[tuple[float, ...]] = []
    kept: list[tuple[float, ...]] = []
    errors: list[str] = []
    over = threading.Event()

    def opens_anew() -> None:
        try:
            while not over.wait(0.2):
                with Door(publisher.file) as door:
                    seen.append(_answer(door, 5))
        except Exception as error:
            errors.append(repr(error))

    def keeps_the_first() -> None:
        try:
            with Door(publisher.file) as door:
                while not over.wait(0.2):
                    kept.append(_answer(door, 5))
        except Exception as error:
            errors.append(repr(error))

    analysts = [threading.Thread(target=opens_anew), threading.Thread(target=keeps_the_first)]
    for analyst in analysts:
        analyst.start()
    for number in range(1, PUBLICATIONS + 1):
        publisher.publish(number)
    over.set()
    for analyst in analysts:
        analyst.join(60)
    assert errors == []
    assert all(len(set(answer)) == 1 for answer in seen + kept), "an answer mixes publications"
    numbers = [answer[0] for answer in seen]
    assert numbers == sorted(numbers)
    assert len(set(numbers)) > 3
    assert {answer[0] for answer in kept} == {0}
    with Door(publisher.file) as door:
        assert _answer(door, 1) == (PUBLICATIONS,) * 4


def test_a_publication_does_not_wait_for_a_query(publisher: Publisher) -> None:
    asking = subprocess.Popen(
        [sys.executable, "-m", "pipeline.cli", "sql", str(publisher.into), "--format", "csv", QUERY.format(size=10**6)],
        cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    try:
        with pytest.raises(subprocess.TimeoutExpired):
            asking.wait(3)  # by now the query holds the file
        publisher.publish(1)
        publisher.publish(2)
        assert asking.poll() is None, "the query was meant to outlast two publications"
    finally:
        asking.kill()
        asking.communicate()
    with Door(publisher.file) as door:
        assert _answer(door, 1) == (2, 2, 2, 2)
