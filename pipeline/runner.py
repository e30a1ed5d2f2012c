"""One run from the command line: the lock, the order, the stages with or without Prefect, the closing summary."""

from __future__ import annotations

import errno
import os
import shutil
import sys
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from datetime import date
from pathlib import Path

import duckdb

from pipeline.errors import StageError, UsageError
from pipeline.progress import Progress, run_directly
from pipeline.settings import read_settings
from pipeline.stages import RunOrder
from pipeline.warehouse import folder_lock, open_published


def run_drops(
    drops: Sequence[Path],
    into: Path,
    *,
    today: date,
    mapping: Path | None = None,
    settings_file: Path | None = None,
    pseudonyms: bool = False,
    direct: bool = False,
    quiet: bool = False,
    cluster: str | None = None,
    shared: str | None = None,
) -> None:
    """Load the drops into `into`, publish and report; raises FleetStaticError with what the user must know."""
    if into.exists() and not into.is_dir():
        raise UsageError(f"--into {into} is a file; expected a folder")
    progress = Progress(quiet=quiet)
    order = RunOrder(
        drops=tuple(drops),
        into=into,
        today=today,
        mapping=mapping,
        pseudonyms=pseudonyms,
        settings=read_settings(settings_file),
        say=progress.say,
    )
    if cluster is None and shared is not None:
        raise UsageError(f"--shared {shared} goes with --cluster only")
    if cluster is not None and direct:
        raise UsageError("--cluster works through Prefect; leave out --direct")
    from pipeline.day import day_stages

    with _what_stands_told(into, order.published_file), folder_lock(into):
        if direct:
            run_directly(order, progress.watch(day_stages()))
        elif cluster is not None:
            _run_on_cluster(order, cluster, shared, progress)
        else:
            from pipeline.flow import run_with_prefect

            run_with_prefect(order, progress.watch(day_stages()), progress.step)
    if not quiet:
        sys.stdout.write(summary(order.published_file))


def _run_on_cluster(order: RunOrder, text: str, shared: str | None, progress: Progress) -> None:
    from pipeline.flow import prepare_environment, run_with_prefect
    from pipeline.scale.cluster import read_cluster, shared_storage, spread_stages
    from pipeline.scale.pool import Workers

    prepare_environment(order)
    cluster = read_cluster(text)
    scratch = order.into.resolve() / "workers"
    try:
        with spread_stages(Workers(cluster.workers), shared_storage(shared, order.into)) as stages:
            run_with_prefect(
                order, progress.watch(stages), progress.step, lambda: cluster.task_runner(scratch)
            )
    finally:
        shutil.rmtree(scratch, ignore_errors=True)


FULL = tuple(
    os.strerror(number) for number in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EROFS, errno.EIO)
)


@contextmanager
def _what_stands_told(into: Path, published: Path) -> Iterator[None]:
    """A run that ends before its end says what is published: the last publication, or its own without its pages.

    What the disk refuses is said in one line, whichever statement or file it met; all else passes through.
    """
    before = _stamp(published)
    try:
        yield
    except KeyboardInterrupt as error:
        raise KeyboardInterrupt(_stands(into, _stamp(published) != before)) from error
    except (OSError, duckdb.Error, StageError) as error:
        said, is_new = str(error), _stamp(published) != before
        stands = _stands(into, is_new)
        met = next((words for words in FULL if words.lower() in said.lower()), None)
        if met is not None:
            again = "" if is_new else "make room and run again, "
            raise UsageError(f"{into}: cannot be written: {met}; {again}{stands}") from error
        if isinstance(error, duckdb.Error):
            raise StageError(f"{into}: {said.splitlines()[0]}; {stands}") from error
        if isinstance(error, StageError) and is_new:
            raise StageError(f"{stands}\n{said}") from error
        raise


def _stamp(file: Path) -> tuple[int, int] | None:
    """What tells a publication's file from the one before it; None where there is none."""
    try:
        stat = file.stat()
    except OSError:
        return None
    return stat.st_ino, stat.st_mtime_ns


def _stands(into: Path, is_new: bool) -> str:
    pages = f"the pages are still those of before; draw them with `fleet-static report {into}`"
    return f"published; {pages}" if is_new else "the last publication stands"


def summary(published: Path) -> str:
    """A few lines on what a publication holds: rows, findings by consequence, verdicts."""
    with closing(open_published(published)) as con:
        read, loaded, rejected, repeated = con.execute(
            "SELECT coalesce(sum(rows_read), 0)::BIGINT, coalesce(sum(rows_loaded), 0)::BIGINT, "
            "coalesce(sum(rows_rejected), 0)::BIGINT, coalesce(sum(rows_repeated), 0)::BIGINT FROM load_ledger"
        ).fetchall()[0]
        found = con.execute("SELECT consequence, count(*) FROM finding GROUP BY ALL ORDER BY ALL").fetchall()
        states = con.execute(
            "SELECT replace(static_state, '_', ' '), count(*) FROM site_static GROUP BY ALL ORDER BY ALL"
        ).fetchall()
        today = con.execute("SELECT today FROM publication").fetchall()[0][0]
    return (
        f"published {published}, reference day {today}\n"
        f"  rows      {read} read = {loaded} loaded + {rejected} rejected + {repeated} repeated\n"
        f"  findings  {_counts(found) or 'none'}\n"
        f"  units and modes  {_counts(states) or 'none'}\n"
    )


def _counts(rows: Sequence[tuple[str, int]]) -> str:
    return ", ".join(f"{n} {name.replace('_', ' ')}" for name, n in rows)
