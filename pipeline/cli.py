"""The commands: parse, call, print; no logic (data contract, section 5)."""

from __future__ import annotations

import argparse
import os
import sys
import traceback
from collections.abc import Sequence
from contextlib import AbstractContextManager, nullcontext
from datetime import date
from pathlib import Path

from pipeline import __version__
from pipeline.errors import FleetStaticError, StageError, UsageError

EPILOG = (
    "exit status: 0 done; 1 the drop's gate failed, nothing published; 2 the command or its input cannot be used, "
    "or it broke; 130 stopped by Ctrl-C"
)
STOPPED = 130  # what a shell says of a command that Ctrl-C ended
TRACEBACK = "FLEET_STATIC_TRACEBACK"  # set to 1: the traceback of whatever ended the command


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status."""
    arguments = parse(argv)
    try:
        return int(arguments.run(arguments))
    except BrokenPipeError:
        return 0
    except (Exception, KeyboardInterrupt) as error:
        return _told(error)


def _told(error: BaseException) -> int:
    """Say on stderr what ended the command; the exit status: 1 only where the gate refused."""
    sys.stdout.flush()
    if os.environ.get(TRACEBACK) == "1":
        traceback.print_exception(error)
    status = error.exit_status if isinstance(error, FleetStaticError) else StageError.exit_status
    message = str(error)
    if _is_interrupt(error):
        said = str(error) if isinstance(error, KeyboardInterrupt) else ""
        status, message = STOPPED, f"stopped; {said or 'the last publication stands'}"
    elif isinstance(error, OSError) and error.strerror:
        message = error.strerror if error.filename is None else f"{error.filename}: {error.strerror}"
    elif not isinstance(error, FleetStaticError):
        first = next(iter(message.splitlines()), "")
        message = f"a fault of the program: {type(error).__name__}: {first} ({TRACEBACK}=1 shows where)"
    sys.stderr.write(f"fleet-static: {message}\n")
    return status


def _is_interrupt(error: BaseException | None) -> bool:
    """Whether it began with Ctrl-C, or with what a library's native part makes of that: an error that says so."""
    while error is not None:
        said = str(error)
        if isinstance(error, KeyboardInterrupt) or "Query interrupted" in said or "KeyboardInterrupt" in said:
            return True
        error = error.__cause__ or error.__context__
    return False


def parse(argv: Sequence[str] | None) -> argparse.Namespace:
    """The arguments. argparse gives up an optional QUERY that comes after an option; here it is found again."""
    parser = build_parser()
    arguments, rest = parser.parse_known_args(argv)
    is_query = len(rest) == 1 and (" " in rest[0] or not rest[0].startswith("-"))
    if is_query and getattr(arguments, "query", "") is None:
        arguments.query = rest.pop()
    if rest:
        parser.error(f"unrecognized arguments: {' '.join(rest)}")
    return arguments


def build_parser() -> argparse.ArgumentParser:
    """The command line, one sub-command for each line of the contract."""
    parser = argparse.ArgumentParser(
        prog="fleet-static",
        description="Total external static pressure over a whole fleet: which sites are chronically high, on which "
        "side, and whose readings can be trusted.",
        epilog=EPILOG,
    )
    parser.add_argument("--version", action="version", version=f"fleet-static {__version__}")
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")

    demo = commands.add_parser("demo", help="build the demo fleet into out/demo and name the report to open")
    demo.add_argument("--into", type=Path, default=Path("out/demo"), metavar="DIR", help="default: out/demo")
    _run_options(demo, today=False)
    demo.set_defaults(run=_demo)

    run = commands.add_parser("run", help="load, check, measure, rank, report; publishes DIR/fleet.duckdb")
    run.add_argument("drops", nargs="+", type=Path, metavar="DROP", help="a folder of CSV files, or one file")
    run.add_argument("--into", type=Path, required=True, metavar="DIR", help="where everything is kept")
    run.add_argument("--mapping", type=Path, metavar="FILE", help="TOML file that translates another export")
    _run_options(run, today=True)
    run.add_argument(
        "--cluster",
        metavar="ADDRESS|local:N",
        help="work on parts of the fleet on a Dask cluster, or on N workers started here",
    )
    run.add_argument(
        "--shared",
        metavar="FOLDER|URL",
        help="where the parts lie, reached by every worker under the same name; default: DIR/parts",
    )
    run.set_defaults(run=_run)

    report = commands.add_parser("report", help="draw the reports again from what is published")
    report.add_argument("into", type=Path, metavar="DIR", help="where the publication is")
    report.add_argument(
        "--site", metavar="ID", help="one site's sheet, to hand to a crew; it is drawn again with the pages"
    )
    report.add_argument(
        "--pictures", action="store_true", help="also the main charts as PNG and SVG, for slides"
    )
    _pseudonym_option(report)
    report.set_defaults(run=_report)

    sql = commands.add_parser("sql", help="read-only SQL on the published tables; without a query: a prompt")
    sql.add_argument("into", type=Path, metavar="DIR", help="where the publication is")
    sql.add_argument(
        "query",
        nargs="?",
        metavar="QUERY",
        help="one SELECT, a file of it that ends in .sql, or a plain word such as `tables`, `examples` or `help`",
    )
    sql.add_argument(
        "--format",
        choices=("table", "csv", "json", "parquet"),
        default="table",
        help="how the rows are written; default: table",
    )
    sql.set_defaults(run=_sql)

    export = commands.add_parser("export", help="the whole publication as Parquet files with a manifest")
    export.add_argument("into", type=Path, metavar="DIR", help="where the publication is")
    export.add_argument(
        "--into", dest="folder", type=Path, required=True, metavar="FOLDER", help="a new or empty folder"
    )
    _pseudonym_option(export)
    export.set_defaults(run=_export)

    make = commands.add_parser("make-fleet", help="write a synthetic drop with its planted truth beside it")
    make.add_argument("folder", type=Path, metavar="DIR", help="where the drop is written")
    make.add_argument("--sites", type=int, required=True, metavar="N", help="at least 1")
    make.add_argument("--visits", type=int, required=True, metavar="V", help="visits in all, 0 or more")
    make.add_argument(
        "--seed", type=_whole, required=True, metavar="S", help="0 or more; the same seed, the same fleet"
    )
    make.set_defaults(run=_make_fleet)
    return parser


def _run_options(parser: argparse.ArgumentParser, *, today: bool) -> None:
    if today:
        parser.add_argument(
            "--today",
            type=_date,
            metavar="DATE",
            help="reference day for ages and future dates (YYYY-MM-DD); default: the day of the run",
        )
    _pseudonym_option(parser)
    parser.add_argument("--settings", type=Path, metavar="FILE", help="TOML file of settings to change")
    parser.add_argument("--direct", action="store_true", help="run the stages without Prefect")
    parser.add_argument("--quiet", action="store_true", help="show errors only")


def _pseudonym_option(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--pseudonyms",
        action="store_true",
        help="technicians go by pseudonyms, the same in all that is made from one DIR; DIR/pseudonyms.csv is the key",
    )


def _date(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a date; expected YYYY-MM-DD") from None


def _whole(text: str) -> int:
    if not text.isascii() or not text.isdigit():
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number of 0 or more")
    return int(text)


def _run(arguments: argparse.Namespace) -> int:
    from pipeline.runner import run_drops

    run_drops(
        arguments.drops,
        arguments.into,
        today=arguments.today or date.today(),
        mapping=arguments.mapping,
        settings_file=arguments.settings,
        pseudonyms=arguments.pseudonyms,
        direct=arguments.direct,
        quiet=arguments.quiet,
        cluster=arguments.cluster,
        shared=arguments.shared,
    )
    return 0


def _demo(arguments: argparse.Namespace) -> int:
    from seed_data import DEMO_DROP, DEMO_MAPPING, DEMO_TODAY

    arguments.drops, arguments.mapping, arguments.today = [DEMO_DROP], DEMO_MAPPING, DEMO_TODAY
    arguments.cluster = arguments.shared = None
    status = _run(arguments)
    if not arguments.quiet:
        sys.stdout.write(f"open {arguments.into / 'reports' / 'index.html'} in a browser\n")
    return status


def _publication(arguments: argparse.Namespace) -> AbstractContextManager[Path]:
    """The publication, or with --pseudonyms a copy that names no technician."""
    if not arguments.pseudonyms:
        return nullcontext(arguments.into / "fleet.duckdb")
    from pipeline.pseudonyms import with_pseudonyms

    return with_pseudonyms(arguments.into)


def _report(arguments: argparse.Namespace) -> int:
    from reports import draw, draw_site_sheet, sheets_in, sheets_left

    folder = arguments.into / "reports"
    with _publication(arguments) as published, _held_to_draw(arguments, published):
        if arguments.site is None:
            before = len(sheets_in(folder))
            written = draw(published, folder)
            if left := before - len(sheets_in(folder)):
                sys.stdout.write(f"{sheets_left(left)}; `report {arguments.into} --site ID` draws one\n")
            sys.stdout.write(f"open {folder / 'index.html'} ({len(written)} files)\n")
        else:
            sys.stdout.write(f"open {draw_site_sheet(published, folder, arguments.site)}\n")
        if arguments.pictures:
            from reports.pictures import draw_pictures

            sys.stdout.write(f"{len(draw_pictures(folder))} pictures beside the pages in {folder}\n")
    return 0


def _held_to_draw(arguments: argparse.Namespace, published: Path) -> AbstractContextManager[None]:
    """The lock of DIR, where its folder of pages is replaced or added to; one sheet may be drawn while a run is on."""
    from pipeline.warehouse import folder_lock

    one_sheet = arguments.site is not None and not arguments.pictures
    return folder_lock(arguments.into) if published.exists() and not one_sheet else nullcontext()


def _sql(arguments: argparse.Namespace) -> int:
    from pipeline.query import answer, prompt

    published = arguments.into / "fleet.duckdb"
    if arguments.query is None:
        return prompt(published, arguments.format)
    return answer(published, _question(arguments.query), arguments.format, sys.stdout)


def _question(query: str) -> str:
    """The query itself, or what the file that it names holds."""
    return Path(query).read_text(encoding="utf-8", errors="replace") if query.endswith(".sql") else query


def _export(arguments: argparse.Namespace) -> int:
    from pipeline.export import export

    with _publication(arguments) as published:
        manifest = export(published, arguments.folder)
    rows = sum(table["rows"] for table in manifest["tables"])
    sys.stdout.write(
        f"wrote {len(manifest['tables'])} tables, {rows:,} rows, and {arguments.folder / 'manifest.json'}\n"
    )
    return 0


def _make_fleet(arguments: argparse.Namespace) -> int:
    from pipeline.simulate import make_fleet_command

    if arguments.sites < 1:
        raise UsageError(f"--sites {arguments.sites}: expected at least one site")
    if arguments.visits < 0:
        raise UsageError(f"--visits {arguments.visits}: expected 0 or more")
    make_fleet_command(arguments.folder, arguments.sites, arguments.visits, arguments.seed)
    sys.stdout.write(f"wrote {arguments.folder}, the planted truth in {arguments.folder / 'truth'}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
