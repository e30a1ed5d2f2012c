"""The temporary Prefect server: a child process that holds its state in one folder and dies with its parent.

Prefect would start one itself, but that one outlives a killed run, writes to the terminal and takes a port
by luck. What belongs here: starting, waiting for, and ending the server. The flow is in `flow.py`. The top of
this module imports nothing heavy, so that the child starts at once.
"""

from __future__ import annotations

import os
import select
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.errors import StageError
from pipeline.imports import collecting_later

if TYPE_CHECKING:
    import uvicorn

START_UP_LIMIT_S = 120.0
PROJECT = Path(__file__).resolve().parent.parent

# A run needs the API and the recorder of task states; nothing is scheduled, triggered or cleaned up here.
_SERVER_SETTINGS = {
    "PREFECT_SERVER_ANALYTICS_ENABLED": "false",
    "DO_NOT_TRACK": "1",
    "PREFECT_UI_ENABLED": "false",
    "PREFECT_API_BLOCKS_REGISTER_ON_START": "false",
    "PREFECT_SERVER_SERVICES_CANCELLATION_CLEANUP_ENABLED": "false",
    "PREFECT_SERVER_SERVICES_EVENT_PERSISTER_ENABLED": "false",
    "PREFECT_SERVER_SERVICES_FOREMAN_ENABLED": "false",
    "PREFECT_SERVER_SERVICES_LATE_RUNS_ENABLED": "false",
    "PREFECT_SERVER_SERVICES_PAUSE_EXPIRATIONS_ENABLED": "false",
    "PREFECT_SERVER_SERVICES_REPOSSESSOR_ENABLED": "false",
    "PREFECT_SERVER_SERVICES_SCHEDULER_ENABLED": "false",
    "PREFECT_SERVER_SERVICES_TRIGGERS_ENABLED": "false",
    "PREFECT_LOGGING_LEVEL": "CRITICAL",
    "PREFECT_LOGGING_SERVER_LEVEL": "CRITICAL",
    "PREFECT__SERVER_EPHEMERAL": "1",
    "PREFECT__SERVER_FINAL": "1",
}


def template_path() -> Path:
    """Where an environment may keep an empty, already migrated database of its Prefect version."""
    return Path(sys.prefix) / "share" / "fleet-static" / f"prefect-{version('prefect')}.db"


def _child_environment(home: Path) -> dict[str, str]:
    # Whatever Prefect settings the user has are for the user's own server, not for this one.
    ours = {k: v for k, v in os.environ.items() if not k.startswith("PREFECT_")}
    ours.update(_SERVER_SETTINGS)
    ours["PREFECT_HOME"] = str(home)
    ours["SQLITE_TMPDIR"] = str(home)
    ours["PREFECT_SERVER_DATABASE_CONNECTION_URL"] = f"sqlite+aiosqlite:///{home / 'prefect.db'}"
    ours["PYTHONPATH"] = os.pathsep.join(filter(None, (str(PROJECT), os.environ.get("PYTHONPATH"))))
    return ours


class TemporaryServer:
    """Starts at once in the background; `url()` waits until it answers; `stop()` ends it."""

    def __init__(self, home: Path) -> None:
        home.mkdir(parents=True, exist_ok=True)
        self.home = home
        self.log = home / "server.log"
        self._child = self._start()

    def _start(self) -> subprocess.Popen[bytes]:
        database = self.home / "prefect.db"
        if not database.exists() and template_path().exists():
            shutil.copyfile(template_path(), self.home / "prefect.db.new")
            os.replace(self.home / "prefect.db.new", database)
        with self.log.open("wb") as log:
            return subprocess.Popen(
                [sys.executable, "-c", "from pipeline.prefect_server import main; main()"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=log,
                cwd=self.home,  # no stray settings file of the folder that the user stands in
                env=_child_environment(self.home),
                start_new_session=True,  # Ctrl-C is for the run; the server ends after it has heard of it
            )

    def url(self, limit_s: float = START_UP_LIMIT_S) -> str:
        """The API's address, once the server answers. Raises StageError where it does not start.

        A history that the server cannot read (damaged, or of a later Prefect) is set aside for a new one.
        """
        port = self._port(limit_s)
        if port is None and self._child.poll() not in (None, 0):
            self.stop()
            self._set_history_aside()
            self._child = self._start()
            port = self._port(limit_s)
        if port is not None:
            return f"http://127.0.0.1:{port}/api"
        said = self.log.read_text(encoding="utf-8", errors="replace").strip().splitlines()[-3:]
        raise StageError(
            f"Prefect's temporary server did not start within {limit_s:g} s; "
            f"{self.log} ends: {' | '.join(said)}"
        )

    def _port(self, limit_s: float) -> int | None:
        """The port that the child says it listens on; None where it ended or the time ran out."""
        assert self._child.stdout is not None
        ready, _, _ = select.select([self._child.stdout], [], [], limit_s)
        line = self._child.stdout.readline().decode().strip() if ready else ""
        if ready and not line.isdigit():
            self._child.wait()
        return int(line) if line.isdigit() else None

    def _set_history_aside(self) -> None:
        for name in ("prefect.db", "prefect.db-wal", "prefect.db-shm"):
            file = self.home / name
            if file.exists():
                os.replace(file, file.with_name(file.name + ".unreadable"))

    def stop(self, patience_s: float = 5.0) -> None:
        """Close the pipe that keeps the server alive, and wait for its end."""
        assert self._child.stdin is not None
        self._child.stdin.close()
        try:
            self._child.wait(timeout=patience_s)
        except subprocess.TimeoutExpired:
            self._child.kill()
            self._child.wait()
        if self._child.stdout is not None:
            self._child.stdout.close()


@contextmanager
def temporary_server(home: Path) -> Iterator[TemporaryServer]:
    """A server for the time of the block."""
    server = TemporaryServer(home)
    try:
        yield server
    finally:
        server.stop()


def main() -> None:
    """The child: serve Prefect's API on a free port, say the port on stdout, end when stdin does."""
    serving: list[uvicorn.Server] = []
    threading.Thread(target=_end_with_parent, args=(serving,), daemon=True).start()

    with collecting_later():
        import asyncio
        import socket

        import uvicorn
        from prefect.server.api.server import create_app

    listener = socket.socket()
    listener.bind(("127.0.0.1", 0))
    app = create_app(ephemeral=True, final=True)
    server = uvicorn.Server(uvicorn.Config(app, log_level="critical", lifespan="on"))
    serving.append(server)

    async def serve() -> None:
        work = asyncio.create_task(server.serve(sockets=[listener]))
        while not (server.started or work.done()):
            await asyncio.sleep(0.02)
        if server.started:
            sys.stdout.write(f"{listener.getsockname()[1]}\n")
            sys.stdout.flush()
        await work

    asyncio.run(serve())
    os._exit(0 if server.started else 1)


def _end_with_parent(serving: list[uvicorn.Server]) -> None:
    """Wait for the end of stdin, which comes with the parent's end, however it ends; then end the child."""
    sys.stdin.buffer.read()
    if serving:
        serving[0].should_exit = True
        time.sleep(2.0)
    os._exit(0)


def write_template(target: Path | None = None) -> Path:
    """Keep the empty, migrated database of a server's first start, so that later first starts need not migrate."""
    target = target or template_path()
    target.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=target.parent) as folder:
        with temporary_server(Path(folder)) as server:
            server.url()
        copy = Path(folder) / "copy.db"
        with (
            closing(sqlite3.connect(Path(folder) / "prefect.db")) as migrated,
            closing(sqlite3.connect(copy)) as kept,
        ):
            migrated.backup(kept)  # whatever still lies in the write-ahead log comes with it
        os.replace(copy, target)
    return target


if __name__ == "__main__":
    write_template()
