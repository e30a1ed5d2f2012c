"""What `--cluster` and `--shared` mean, and the stages of a run that uses them.

`local:N` starts N workers on this machine for the time of the run; an address names the scheduler of a Dask cluster
that is there already, whose workers have this program and reach the shared storage under the same name.
"""

from __future__ import annotations

import hashlib
import logging
import os
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline.errors import UsageError
from pipeline.scale.load import load_on_workers
from pipeline.scale.pool import Pool
from pipeline.scale.shared import Shared
from pipeline.scale.spread import Spread
from pipeline.stages import STAGES, RunOrder, Stage
from pipeline.warehouse import Warehouse

CONNECT_S = 15
HERE = ("localhost", "127.0.0.1", "[::1]")


@dataclass(frozen=True)
class Cluster:
    """Where the work on parts is done: `workers` started here, or the scheduler at `address`."""

    workers: int
    address: str | None = None

    def task_runner(self, scratch: Path) -> Any:
        """Prefect's Dask runner for it; what a cluster started here puts aside goes into `scratch`."""
        import dask
        from prefect_dask import DaskTaskRunner

        if self.address is not None:
            return DaskTaskRunner(address=self.address)
        dask.config.set({"temporary-directory": str(scratch)})  # where the scheduler has its locks
        threads = max(1, (os.cpu_count() or 1) // self.workers)
        return DaskTaskRunner(
            cluster_kwargs={
                "n_workers": self.workers,
                "threads_per_worker": threads,
                "processes": True,
                "dashboard_address": None,
                "local_directory": str(scratch),
            }
        )


def read_cluster(text: str) -> Cluster:
    """Parse `local:N` or an address; UsageError says what was expected or what cannot be reached."""
    os.environ.setdefault("DASK_LOGGING__DISTRIBUTED", "critical")  # read when distributed is imported
    try:
        import prefect_dask  # noqa: F401
        from distributed import Client
    except ImportError as error:
        raise UsageError(
            f"--cluster {text}: Dask is not installed here; install fleet-static with its extra, in its "
            "checkout: pip install -e '.[cluster]'"
        ) from error
    # What happens to the cluster is said in the run's own words.
    for name in ("distributed", "distributed.client"):
        logging.getLogger(name).setLevel(logging.CRITICAL)
    kind, _, number = text.partition(":")
    if kind == "local":
        if not number.isdecimal() or int(number) < 1:
            raise UsageError(f"--cluster {text}: expected local:N with N workers, such as local:2")
        return Cluster(int(number))
    address = text if "://" in text else f"tcp://{text}"
    if not _is_here(address) and "PREFECT_API_URL" not in os.environ:
        raise UsageError(
            f"--cluster {text}: workers on other machines need one Prefect server that they reach; start it and set "
            "PREFECT_API_URL"
        )
    try:
        with Client(address, timeout=CONNECT_S, set_as_default=False) as client:
            workers = len(client.scheduler_info(n_workers=-1)["workers"])
    except (OSError, ValueError, TypeError) as error:
        raise UsageError(
            f"--cluster {text}: no Dask scheduler answers there; expected local:N or HOST:PORT"
        ) from error
    if not workers:
        raise UsageError(f"--cluster {text}: the scheduler has no worker; start some and run again")
    return Cluster(workers, address)


def _is_here(address: str) -> bool:
    return any(f"//{name}:" in address for name in HERE)


def shared_storage(text: str | None, into: Path) -> Shared:
    """A folder of this DIR's own below the folder or URL of --shared; by default a folder in DIR."""
    if text is None:
        return Shared(str(into.resolve() / "parts"))
    whose = hashlib.sha256(f"{socket.gethostname()}:{into.resolve()}".encode()).hexdigest()[:12]
    below = text.rstrip("/") if "://" in text else str(Path(text).resolve())
    return Shared(f"{below}/fleet-static-{whose}")


@contextmanager
def spread_stages(pool: Pool, shared: Shared) -> Iterator[list[tuple[str, Stage]]]:
    """The stages of a run whose visits and sites are worked on in parts; the shared files go when it ends."""
    spread = Spread(pool, shared)

    def load(warehouse: Warehouse, order: RunOrder) -> None:
        shared.prepare(warehouse)
        load_on_workers(pool, shared, warehouse, order)

    def measure(warehouse: Warehouse, _: RunOrder) -> None:
        shared.open(warehouse)  # again: the gate had the file closed
        spread.divide(warehouse)
        spread.run(warehouse, "measure")

    def site(warehouse: Warehouse, _: RunOrder) -> None:
        spread.run(warehouse, "site")

    stages: list[tuple[str, Stage]] = []
    for name, stage in STAGES:
        if name == "load":
            stages.append((name, load))
        elif name == "check":
            stages.append(("check, static", measure))
        elif name == "site":
            stages.append((name, site))
        elif name != "static":
            stages.append((name, stage))
    try:
        yield stages
    finally:
        shared.clear()
