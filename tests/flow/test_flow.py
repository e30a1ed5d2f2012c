"""The Prefect skin against a server that is already there."""

from __future__ import annotations

import asyncio
import gc
import time
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

from pipeline.errors import GateError, StageError
from pipeline.flow import _send_what_waits, run_with_prefect
from pipeline.stages import RunOrder, Stage
from pipeline.warehouse import Warehouse


def write(table: str, value: int) -> Stage:
    def stage(warehouse: Warehouse, _: RunOrder) -> None:
        warehouse.execute(f"CREATE TABLE {table} AS SELECT {value} AS n")

    return stage


def raising(error: BaseException) -> Stage:
    def stage(warehouse: Warehouse, order: RunOrder) -> None:
        raise error

    return stage


@pytest.fixture
def served(prefect_environment: None, monkeypatch: pytest.MonkeyPatch, server_url: str) -> str:
    monkeypatch.setenv("PREFECT_API_URL", server_url)
    return server_url


def task_runs(url: str, want: int) -> list[Any]:
    """The task runs of the newest flow run; the server records them a little later."""
    from prefect.client.orchestration import get_client
    from prefect.client.schemas.filters import FlowRunFilter, FlowRunFilterId
    from prefect.client.schemas.sorting import FlowRunSort
    from prefect.settings import PREFECT_API_URL, temporary_settings

    with temporary_settings({PREFECT_API_URL: url}), get_client(sync_client=True) as client:
        (newest,) = client.read_flow_runs(sort=FlowRunSort.START_TIME_DESC, limit=1)
        runs: list[Any] = []
        for _ in range(100):
            runs = client.read_task_runs(flow_run_filter=FlowRunFilter(id=FlowRunFilterId(any_=[newest.id])))
            if len([r for r in runs if r.state and r.state.is_final()]) == want:
                break
            time.sleep(0.1)
        return sorted(runs, key=lambda run: run.start_time)


def test_stages_run_in_order_on_one_work_file_and_are_recorded_as_tasks(served: str, order: RunOrder) -> None:
    seen: list[int] = []

    def read(warehouse: Warehouse, _: RunOrder) -> None:
        seen.append(warehouse.scalar("SELECT a.n + b.n FROM a, b"))

    run_with_prefect(order, [("load", write("a", 1)), ("check", write("b", 2)), ("static", read)])
    assert seen == [3]
    runs = task_runs(served, 3)
    assert [run.name.rsplit("-", 1)[0] for run in runs] == ["load", "check", "static"]
    assert all(run.state.is_completed() for run in runs)


def test_the_error_of_a_stage_reaches_the_caller_itself_and_nothing_is_printed(
    served: str, order: RunOrder, capfd: pytest.CaptureFixture[str]
) -> None:
    error, cause = GateError("sites: no usable row"), ValueError("why")
    error.__cause__ = cause
    with pytest.raises(GateError) as caught:
        run_with_prefect(order, [("load", write("a", 1)), ("gate", raising(error)), ("check", write("b", 2))])
    assert caught.value is error
    assert error.__cause__ is cause  # FLEET_STATIC_TRACEBACK shows it
    assert capfd.readouterr() == ("", "")
    with Warehouse(order.work_file) as warehouse:
        assert warehouse.tables() == {"a"}
    runs = task_runs(served, 2)
    assert [run.state.is_failed() for run in runs] == [False, True]


def test_an_interrupt_passes_through(served: str, order: RunOrder, capfd: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(KeyboardInterrupt):
        run_with_prefect(order, [("load", raising(KeyboardInterrupt())), ("check", write("b", 2))])
    assert capfd.readouterr() == ("", "")
    with Warehouse(order.work_file) as warehouse:
        assert warehouse.tables() == set()


def test_a_server_that_does_not_answer_is_named_before_any_stage_runs(
    prefect_environment: None, monkeypatch: pytest.MonkeyPatch, order: RunOrder
) -> None:
    monkeypatch.setenv("PREFECT_API_URL", "http://127.0.0.1:9/api")
    with pytest.raises(StageError, match=r"Prefect broke after 0 of 1 stages.*--direct"):
        run_with_prefect(order, [("load", write("a", 1))])
    with Warehouse(order.work_file) as warehouse:
        assert warehouse.tables() == set()


def test_what_waits_is_sent_also_where_an_event_loop_runs(
    prefect_environment: None, recwarn: pytest.WarningsRecorder
) -> None:
    async def within() -> None:
        _send_what_waits()

    with ThreadPoolExecutor(1) as thread:  # on the tests' own a browser may have left a loop running
        thread.submit(lambda: asyncio.run(within())).result()
    gc.collect()
    assert [str(w.message) for w in recwarn if w.category is RuntimeWarning] == []
