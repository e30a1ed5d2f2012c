"""What happens at once while files are taken in: two are read by the database, and the next is copied and hashed.

A file of ordinary size does not keep two cores busy by itself, for its rows are packed in a few large pieces. What is
decided about a file is decided in the order of the files (`intake.py`), and each is committed after the one before it:
who is faster changes nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, wait
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from queue import SimpleQueue

from pipeline.load import kept
from pipeline.load.copying import Copy, take_copy
from pipeline.load.files import InputFile
from pipeline.load.layout import Layout
from pipeline.load.staging import ReadAhead, Ticket, stage
from pipeline.warehouse import Warehouse

AT_ONCE = 2  # files that are read at once
# bytes; up to here a file is read by one thread where two files keep all busy: what several threads read of one file is
# put together first, which costs a quarter more
SMALL = 128_000_000


class Lanes:
    """Threads with connections of their own. Leaving waits for what is at work, which an error cuts short."""

    def __init__(self, warehouse: Warehouse) -> None:
        self._one_each = warehouse.scalar("SELECT current_setting('threads')") <= AT_ONCE
        self._opened = ExitStack()
        self._lanes = [self._opened.enter_context(warehouse.beside()) for _ in range(AT_ONCE)]
        self._free: SimpleQueue[Warehouse] = SimpleQueue()
        for lane in self._lanes:
            self._free.put(lane)
        self._copying = ThreadPoolExecutor(1)
        self._reading = ThreadPoolExecutor(AT_ONCE)
        self._last: list[Future[None]] = []  # the file that was begun before

    def __enter__(self) -> Lanes:
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        with self._opened:
            for pool in (self._copying, self._reading):
                pool.shutdown(wait=False, cancel_futures=True)
            for lane in self._lanes if kind is not None else ():
                lane.con.interrupt()
            for pool in (self._copying, self._reading):
                pool.shutdown()

    def copies(
        self, files: Sequence[InputFile], into: Path, encoding: str | None
    ) -> Iterator[tuple[InputFile, Future[Copy]]]:
        """Each file with its copy, made beside what is done with the one before."""
        made: list[Future[Copy]] = []
        for number, file in enumerate(files):
            for ahead in files[len(made) : number + 4]:
                path = kept.drops_folder(into) / f"{kept.INCOMING}.{len(made)}"
                made.append(self._copying.submit(take_copy, ahead, path, encoding))
            yield file, made[number]

    def stage(
        self, file: InputFile, copy: Copy, layout: Layout, ticket: Ticket, ahead: ReadAhead | None
    ) -> Future[None]:
        """Begin to stage a file; it is committed once the one before is done with."""
        layout = replace(layout, one_thread=self._one_each and copy.size <= SMALL)
        before = self._last

        def work() -> None:
            lane = self._free.get()
            try:
                stage(lane, file, copy, layout, ticket, ahead, lambda: wait(before))
            finally:
                self._free.put(lane)

        staged = self._reading.submit(work)
        self._last = [staged]
        return staged
