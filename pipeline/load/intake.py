"""The files of the drops, one after another: copied, compared with what was loaded before, staged, kept.

What does not belong here: reading one file (`staging.py`), and which of it happens at once (`lanes.py`).
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from pipeline.errors import UsageError
from pipeline.load import kept
from pipeline.load.copying import Copy, measure
from pipeline.load.date_guess import misdated
from pipeline.load.escape import shown
from pipeline.load.files import Found, InputFile, find_files
from pipeline.load.guesses import Foreign, foreign
from pipeline.load.inputs import BY_NAME
from pipeline.load.lanes import AT_ONCE, Lanes
from pipeline.load.mapping import Mapping
from pipeline.load.mapping_start import START_NAME, write_start
from pipeline.load.staging import Ticket, plan, stage
from pipeline.load.unknown_words import miscalled
from pipeline.load.versions import judge
from pipeline.load.work_tables import among, drop_loads
from pipeline.stages import RunOrder
from pipeline.warehouse import Warehouse

SAID = 20


def take_in(warehouse: Warehouse, order: RunOrder, mapping: Mapping) -> set[str]:
    """Stage every new file of the drops; the hashes of all of them, new or not.

    Raises UsageError with a line for each file that cannot be used.
    """
    found = find_files(order.drops, mapping.table_of, order.say)
    _name_strangers(order, found, mapping)
    with Lanes(warehouse) as lanes:
        intake = _Intake(warehouse, order, mapping, lanes, found.files)
        for number, (file, copied) in enumerate(lanes.copies(found.files, order.into, mapping.encoding)):
            try:
                intake.take(number, file, copied)
            except UsageError as error:
                intake.problems[number] = str(error)
        intake.settle()
    if intake.skipped:
        order.say(
            f"{len(intake.skipped)} of {len(found.files)} files bring nothing new: {_few(intake.skipped)}"
        )
    _offer_mapping(warehouse, order, mapping, intake.foreign, found)
    problems = [said for _, said in sorted(intake.problems.items())]
    if problems:
        more = [f"and {len(problems) - SAID} more files that cannot be used"] if len(problems) > SAID else []
        raise UsageError("\n".join(problems[:SAID] + more))
    remarks = "SELECT file, remark FROM load_file WHERE NOT accepted AND remark IS NOT NULL ORDER BY load_id"
    for name, remark in warehouse.con.sql(remarks).fetchall():
        order.say(f"{name}: {remark}")
    return intake.given


def _offer_mapping(
    warehouse: Warehouse, order: RunOrder, mapping: Mapping, files: list[Foreign], found: Found
) -> None:
    """Say what of the new files a mapping must explain: columns, dates, words; and write one to start from."""
    dated = misdated(warehouse)
    for one in dated:
        order.say(
            f"{one.file}: {one.rows_wrong} of {one.rows_read} rows hold dates that cannot be read, expected "
            f"{one.option or 'date_format or time_format'} in a mapping"
        )
    words: dict[str, dict[str, list[str]]] = {}
    for call in miscalled(warehouse):
        order.say(call.message)
        words.setdefault(call.table.name, {}).setdefault(call.column.name, []).extend(call.words)
    if files or dated or words:
        start = order.into / START_NAME
        options = list(dict.fromkeys(one.option for one in dated if one.option))
        write_start(start, files, found.strangers, options, mapping, words)
        order.say(f"a mapping to start from was written to {start}; complete it and give --mapping")


def _few(names: list[str], most: int = 3) -> str:
    return ", ".join(names[:most]) + (", ..." if len(names) > most else "")


def _name_strangers(order: RunOrder, found: Found, mapping: Mapping) -> None:
    expected = ", ".join(sorted(BY_NAME))
    for path in found.strangers[:SAID]:
        order.say(f"{path.name}: left alone, expected a name that begins with one of {expected}")
    if found.files:
        return
    drops = ", ".join(str(d) for d in order.drops)
    problem = f"{drops}: no input file, expected files whose names begin with one of {expected}"
    if found.strangers:
        write_start(order.into / START_NAME, [], found.strangers, given=mapping)
        problem += f"; a mapping to start from was written to {order.into / START_NAME}"
    raise UsageError(problem)


class _Intake:
    """What is decided about each file, in their order, and what became of them. Reading them goes on in the lanes."""

    def __init__(
        self,
        warehouse: Warehouse,
        order: RunOrder,
        mapping: Mapping,
        lanes: Lanes,
        files: Sequence[InputFile],
    ) -> None:
        self.warehouse, self.order, self.mapping, self.lanes = warehouse, order, mapping, lanes
        # Of files that bear one name and lie in folders of one name, the last.
        self._last = {(file.name, file.folder, file.table): number for number, file in enumerate(files)}
        self.mapping_name = kept.keep_mapping(order.into, mapping)
        self.next_load = _next_load(warehouse)
        self.problems: dict[int, str] = {}
        self.skipped: list[str] = []
        self.foreign: list[Foreign] = []
        self.given: set[str] = set()
        self._reading: dict[int, tuple[InputFile, Copy, str, Future[None]]] = {}

    def take(self, number: int, file: InputFile, copied: Future[Copy]) -> None:
        """Begin to read a file, unless it brings nothing new."""
        order = self.order
        copy = copied.result()
        self.given.add(copy.sha256)
        if any(file.name == other.name for other, *_ in self._reading.values()):
            self.settle()  # one may be the other once more, or its beginning
        fingerprint = self.mapping.fingerprint(BY_NAME[file.table])
        is_last = self._last[file.name, file.folder, file.table] == number
        verdict = judge(self.warehouse, order.into, file, copy, fingerprint, is_last=is_last)
        if verdict.skip is not None:
            self.skipped.append(f"{file.name} ({verdict.skip})")
            return
        layout = plan(file, copy, self.mapping, self.warehouse)
        unknown = [n for n in layout.extras if not n.startswith("column ")]
        if layout.missing:
            self.foreign.append(foreign(layout))
            order.say(
                f"{file.name}:1: the header lacks {', '.join(layout.missing)}, expected every required column of "
                f"{file.table}; its unknown columns are {_few([shown(n) for n in unknown], SAID) or 'none'}; "
                "no row was read"
            )
        elif unknown:
            order.say(f"{file.name}: kept beside the known columns: {', '.join(map(layout.named, unknown))}")
        if verdict.returns:
            order.say(f"{file.name}: is what was loaded before another of this name; it counts again")
        if verdict.otherwise:
            order.say(f"{file.name}: was loaded before by another mapping; what it said by that goes")
        if verdict.drop:
            self.settle()
        for load_id in verdict.drop:
            drop_loads(self.warehouse, f"load_id = {load_id}")
        name = kept.kept_name(file, copy.sha256)
        ticket = Ticket(self.next_load, datetime.now(UTC), self.mapping_name, name)
        self.next_load += 1
        ahead = order.ahead.get((copy.sha256, file.table))
        self._reading[number] = (file, copy, name, self.lanes.stage(file, copy, layout, ticket, ahead))
        self.settle(but=AT_ONCE + 1)

    def settle(self, but: int = 0) -> None:
        """Wait for the files that are being read, all `but` the last few, and keep their copies."""
        while len(self._reading) > but:
            number = next(iter(self._reading))
            _, copy, name, staged = self._reading.pop(number)
            try:
                staged.result()
            except UsageError as error:
                self.problems[number] = str(error)
            else:
                os.replace(copy.path, kept.drops_folder(self.order.into) / name)


def _next_load(warehouse: Warehouse) -> int:
    return int(warehouse.scalar("SELECT max(load_id) FROM load_file") or 0) + 1


def restore(warehouse: Warehouse, order: RunOrder) -> None:
    """Stage again, from the kept copies, every accepted load that the work file lacks.

    Rows stand load after load, so they come after all others, under new numbers. Of files that bear one name the later
    load wins: those that were loaded after a lost one come after it again.
    """
    present = {load.identity: load.load_id for load in _entered(warehouse, "true")}
    lost, names = [], set()
    for load in kept.read_list(order.into):
        if load.identity not in present or load.name in names:
            lost.append(load)
            names.add(load.name)
    if not lost:
        return
    order.say(
        f"{len(lost)} files that were loaded before are read again from {kept.drops_folder(order.into)}"
    )
    moved = [present[load.identity] for load in lost if load.identity in present]
    if moved:
        drop_loads(warehouse, among(moved))
    for load in lost:
        load_id = _next_load(warehouse)
        _stage_again(warehouse, load, load_id, *_kept_file(order.into, load))
        warehouse.execute(f"UPDATE load_file SET accepted = true WHERE load_id = {load_id}")
    kept.forget_incoming(order.into)


@dataclass(frozen=True)
class Held:
    """A file that waits for rows of other files, staged in this run; it is the whole of the loads `replaces`."""

    load_id: int
    file_sha256: str
    replaces: tuple[int, ...]


def bring_held(warehouse: Warehouse, order: RunOrder) -> list[Held]:
    """Stage again the files that wait for rows of other files."""
    held = []
    for load in kept.read_list(order.into, kept.HELD):
        file, copy, mapping = _kept_file(order.into, load)
        verdict = judge(warehouse, order.into, file, copy, mapping.fingerprint(BY_NAME[file.table]))
        if verdict.skip is None:
            load_id = _next_load(warehouse)
            _stage_again(warehouse, load, load_id, file, copy, mapping)
            held.append(Held(load_id, load.file_sha256, verdict.drop))
    return held


def forget_held(warehouse: Warehouse, into: Path, done: Sequence[Held]) -> list[str]:
    """Take files off the list of those that wait; their names. The next accepted run removes their copies."""
    gone = {load.identity for load in _entered(warehouse, among(one.load_id for one in done))}
    left = [load for load in kept.read_list(into, kept.HELD) if load.identity not in gone]
    if left:
        kept.write_list(into, left, kept.HELD)
    else:
        (kept.drops_folder(into) / kept.HELD).unlink(missing_ok=True)
    return sorted(file for file, *_ in gone)


def _entered(warehouse: Warehouse, which: str) -> list[kept.KeptLoad]:
    rows = warehouse.con.sql(f"{kept.LOADS} WHERE {which} ORDER BY load_id").fetchall()
    return [kept.KeptLoad(*row) for row in rows]


def _kept_file(into: Path, load: kept.KeptLoad) -> tuple[InputFile, Copy, Mapping]:
    """A file as it was loaded, its copy measured again, and how it was read."""
    folder = kept.drops_folder(into)
    file, mapping = load.as_input(folder), kept.kept_mapping(into, load.mapping)
    return file, measure(file, kept.find_kept(into, load), folder / kept.UNFOLDED, mapping.encoding), mapping


def _stage_again(
    warehouse: Warehouse, load: kept.KeptLoad, load_id: int, file: InputFile, copy: Copy, mapping: Mapping
) -> None:
    ticket = Ticket(load_id, kept.loaded_at(load), load.mapping, load.kept)
    stage(warehouse, file, copy, plan(file, copy, mapping, warehouse), ticket)


def keep_lists(warehouse: Warehouse, into: Path, accepted: bool) -> None:
    """Write which copies are in use: what this run staged is accepted, or held. The lists come before the copies go.

    Until it is accepted, it takes no place: what was accepted before stays on its list, also where the work file has
    lost it to a file of this run.
    """
    came = _entered(warehouse, "NOT accepted")
    loads = _entered(warehouse, "true") if accepted else kept.read_list(into)
    waiting = [] if accepted else came
    done = {load.identity for load in loads} | {load.content for load in came}
    held = [x for x in kept.read_list(into, kept.HELD) if x.identity not in done and x.content not in done]
    kept.settle_copies(into, {name for x in came for name in (x.kept, x.mapping) if name})
    kept.write_list(into, loads)
    if held + waiting:
        kept.write_list(into, held + waiting, kept.HELD)
    else:
        (kept.drops_folder(into) / kept.HELD).unlink(missing_ok=True)
    used = loads + held + waiting
    kept.forget_others(into, {x.kept for x in used} | {x.mapping for x in used})
