"""The Prefect skin: each stage a task, the run a flow. Nothing imports it but `runner.py`.

The stages know nothing of Prefect (`stages.py`); a run's state lies in DIR/.prefect; Prefect is imported late
and kept quiet. With PREFECT_API_URL in the environment that server is used, else a temporary one of the
project's own (`prefect_server.py`).
"""

from __future__ import annotations

import importlib
import logging
import os
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import AbstractContextManager, ExitStack, contextmanager, nullcontext
from pathlib import Path
from typing import Any

from pipeline.errors import StageError
from pipeline.imports import collecting_later
from pipeline.load import open_work_file
from pipeline.prefect_server import TemporaryServer
from pipeline.stages import RunOrder, Stage
from pipeline.warehouse import Warehouse

# Quiet unless the user asks for Prefect's own words; nothing is sent to its makers or stored on its server.
_DEFAULTS = {
    "PREFECT_LOGGING_LEVEL": "CRITICAL",
    "PREFECT_LOGGING_TO_API_ENABLED": "false",
    "PREFECT_RESULTS_PERSIST_BY_DEFAULT": "false",
}
# The slow imports of the flow and its stages: done while the server starts, on another core.
NEEDED_LATER = (
    *("prefect.main", "prefect.flow_engine", "prefect.task_engine", "prefect.events.worker"),
    *("pipeline.functions", "expectations.datasource", "duckdb_engine", "altair", "reports"),
)
Step = Callable[[str], AbstractContextManager[object]]
_FORCED = {"DO_NOT_TRACK": "1", "PREFECT_SERVER_ANALYTICS_ENABLED": "false"}


def prefect_home(order: RunOrder) -> Path:
    """Where Prefect keeps the history of the runs into this DIR."""
    return order.into.resolve() / ".prefect"


def prepare_environment(order: RunOrder) -> None:
    """Prefect reads its settings when it is imported, so this comes first."""
    home = prefect_home(order)
    home.mkdir(parents=True, exist_ok=True)
    for name, value in _DEFAULTS.items():
        os.environ.setdefault(name, value)
    os.environ.update(_FORCED, PREFECT_HOME=str(home))


@contextmanager
def _api(home: Path) -> Iterator[None]:
    """Prefect's settings for the time of one run: its API's address and its home."""
    given = os.environ.get("PREFECT_API_URL")
    server = None if given else TemporaryServer(home)
    try:
        with collecting_later():
            from prefect import settings

            for name in NEEDED_LATER if server is not None else ():
                importlib.import_module(name)
        # No heartbeats: they are for servers that watch over runs elsewhere, and end a second late.
        updates: dict[Any, Any] = {
            settings.PREFECT_HOME: home,
            settings.PREFECT_FLOWS_HEARTBEAT_FREQUENCY: None,
        }
        if server is None:
            updates[settings.PREFECT_API_URL] = given
        else:
            updates[settings.PREFECT_API_URL] = server.url()
        with settings.temporary_settings(updates=updates):
            try:
                yield
            finally:
                _send_what_waits()
    finally:
        if server is not None:
            server.stop()


def _send_what_waits() -> None:
    """Let the events worker finish while its server still lives; otherwise it complains at exit."""
    from prefect.events.worker import EventsWorker

    logging.getLogger("EventsWorker").setLevel(logging.CRITICAL)
    # On a thread of its own: where the caller's runs an event loop, this would be a coroutine that nobody awaits.
    with ThreadPoolExecutor(1) as thread:
        thread.submit(EventsWorker.drain_all, timeout=5.0).result()


def run_with_prefect(
    order: RunOrder,
    stages: list[tuple[str, Stage]],
    step: Step = nullcontext,
    make_runner: Callable[[], Any] | None = None,
) -> None:
    """Run the stages in order, each as a Prefect task; what a stage raises reaches the caller unchanged.

    `step` shows Prefect's start, all that comes before the first stage and takes seconds, as the stages are shown.
    `make_runner` makes the task runner for tasks that stages submit (none do but on a cluster); called late, when
    Prefect may be imported.
    """
    prepare_environment(order)
    home = prefect_home(order)
    with ExitStack() as opened, ExitStack() as starting:
        starting.enter_context(step("prefect"))
        opened.enter_context(_api(home))
        warehouse = opened.enter_context(open_work_file(order.work_file, order.settings, order.say))
        _flow_of(order, stages, warehouse, starting.close, make_runner() if make_runner else None)


class _StaysHere:
    """A call that is good in this process only: with a task, Prefect sends the flow around it to the workers of a
    cluster, and a connection cannot go there."""

    def __init__(self, call: Callable[[], None] | None = None) -> None:
        self._call = call

    def __call__(self) -> None:
        assert self._call is not None, "only the run's own process holds its connection"
        self._call()

    def __reduce__(self) -> tuple[type[_StaysHere], tuple[()]]:
        return _StaysHere, ()


def _flow_of(
    order: RunOrder,
    stages: list[tuple[str, Stage]],
    warehouse: Warehouse,
    started: Callable[[], None],
    task_runner: Any = None,
) -> None:
    """Run the stages as a flow; `started` is called when the first one begins."""
    from prefect import flow, task
    from prefect.cache_policies import NO_CACHE

    raised: list[BaseException] = []
    done: list[Stage] = []

    def guarded(stage: Stage) -> None:
        try:
            stage(warehouse, order)
        except BaseException as error:
            raised.append(error)
            raise
        done.append(stage)

    def as_task(name: str, stage: Stage) -> Callable[[], None]:
        # The stage is in the closure: a parameter would be serialised, and a connection cannot be.
        here = _StaysHere(lambda: guarded(stage))

        @task(name=name, cache_policy=NO_CACHE, persist_result=False)
        def step() -> None:
            here()

        return step

    @_StaysHere
    def all_stages() -> None:
        started()
        for name, stage in stages:
            as_task(name, stage)()

    @flow(name="fleet-static", validate_parameters=False, persist_result=False, task_runner=task_runner)
    def fleet_static() -> None:
        all_stages()

    try:
        fleet_static()
    except BaseException as error:
        if raised:
            raise raised[0] from raised[0].__cause__  # and not from what Prefect made of it
        if not isinstance(error, Exception):
            raise
        if len(done) < len(stages):
            raise StageError(
                f"Prefect broke after {len(done)} of {len(stages)} stages: {error}; --direct runs without it"
            ) from error
        order.say(f"the run is complete, but Prefect could not record its end: {error}")
