"""The copies of loaded files that DIR keeps, and the list of them: enough to make a lost work file again.

`DIR/drops/` holds every accepted file under its SHA-256, the mappings used, and `loads.json`, the list. What does not
belong here: reading the files (`staging.py`), and when to do it all again (`stage.py`).
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

from pipeline.durable import replace_durably, sync
from pipeline.errors import UsageError
from pipeline.load.files import InputFile
from pipeline.load.mapping import Mapping, parse_mapping

FORMAT = 5  # of the staged tables; a work file of another format is made again from the copies
LIST = "loads.json"  # what was accepted
HELD = "held.json"  # what waits for rows that it refers to
INCOMING = "incoming"  # how the names of files begin that are not kept beyond the loading
UNFOLDED = f"{INCOMING}.text"
LOADS = """
SELECT load_id, file, folder, file_sha256, table_name, strftime(loaded_at, '%Y-%m-%dT%H:%M:%S.%f+00:00'), kept, mapping
FROM load_file
"""


@dataclass(frozen=True)
class KeptLoad:
    """One loaded file as the list names it, in the order of LOADS.

    kept: name of the copy. mapping: name of the kept mapping that was used, or ''.
    """

    load_id: int
    file: str
    folder: str
    file_sha256: str
    table_name: str
    loaded_at: str
    kept: str
    mapping: str

    @property
    def content(self) -> tuple[str, ...]:
        """What makes it this file, whenever it was loaded and however it was read."""
        return self.file, self.folder, self.file_sha256, self.table_name

    @property
    def identity(self) -> tuple[str, ...]:
        """What makes it this file, read in this way."""
        return *self.content, self.mapping

    @property
    def name(self) -> tuple[str, str, str]:
        """What files share of which the later load wins."""
        return self.file, self.folder, self.table_name

    def as_input(self, folder: Path) -> InputFile:
        return InputFile(folder / self.kept, self.file, self.folder, self.table_name)


def drops_folder(into: Path) -> Path:
    return into / "drops"


def kept_name(file: InputFile, sha256: str) -> str:
    ending = ".parquet" if file.parquet else ".csv"
    return f"{sha256}{ending}{'.gz' if file.packed else ''}"


def keep_mapping(into: Path, mapping: Mapping) -> str:
    """Keep the text of a mapping; the name under which it is kept, '' for the empty one."""
    if not mapping.text:
        return ""
    name = f"{hashlib.sha256(mapping.text.encode()).hexdigest()}.toml"
    drops_folder(into).mkdir(parents=True, exist_ok=True)
    (drops_folder(into) / name).write_text(mapping.text, encoding="utf-8")
    return name


def kept_mapping(into: Path, name: str) -> Mapping:
    """The mapping that was kept under this name; the empty one for ''."""
    if not name:
        return Mapping()
    try:
        return parse_mapping((drops_folder(into) / name).read_text(encoding="utf-8"), name)
    except OSError as error:
        raise UsageError(f"{into}: the mapping {name} is gone from drops/; {_START_AFRESH}") from error


def settle_copies(into: Path, names: set[str]) -> None:
    """See to it that copies and mappings are on the disk, before a list names them."""
    for name in sorted(names):
        sync(drops_folder(into) / name)
    sync(drops_folder(into))


def write_list(into: Path, loads: list[KeptLoad], name: str = LIST) -> None:
    """Write a list of kept files in one step."""
    path = drops_folder(into) / name
    path.parent.mkdir(parents=True, exist_ok=True)
    new = path.with_suffix(".new")
    with new.open("w", encoding="utf-8") as file:
        json.dump({"format": FORMAT, "loads": [asdict(load) for load in loads]}, file, indent=1)
    replace_durably(new, path)


def read_list(into: Path, name: str = LIST) -> list[KeptLoad]:
    """The files of a list, in the order in which they were loaded."""
    path = drops_folder(into) / name
    if not path.exists():
        return []
    try:
        said = json.loads(path.read_text(encoding="utf-8"))
        if said["format"] > FORMAT:
            raise UsageError(
                f"{into} was written by a newer version of fleet-static; use that version, or {_START_AFRESH}"
            )
        return [KeptLoad(**load) for load in said["loads"]]
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise UsageError(f"{path}: cannot be read ({error}); {_START_AFRESH}") from error


_START_AFRESH = "give an empty folder with --into and run with every drop again"


def find_kept(into: Path, load: KeptLoad) -> Path:
    """The copy of a loaded file; refused if it is gone or not what was loaded."""
    path = drops_folder(into) / load.kept
    try:
        with path.open("rb") as file:
            sha256 = hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise UsageError(f"{into}: the copy of {load.file} is gone from drops/; {_START_AFRESH}") from error
    if sha256 != load.file_sha256:
        raise UsageError(f"{into}: the copy of {load.file} in drops/ is damaged; {_START_AFRESH}")
    return path


def loaded_at(load: KeptLoad) -> datetime:
    return datetime.fromisoformat(load.loaded_at)


def forget_incoming(into: Path) -> None:
    """Delete what the loading put down for itself."""
    for path in drops_folder(into).glob(f"{INCOMING}*"):
        path.unlink(missing_ok=True)


def forget_others(into: Path, names: set[str]) -> None:
    """Delete copies and mappings that no accepted load uses any more."""
    for path in drops_folder(into).iterdir():
        if path.name not in (LIST, HELD) and path.name not in names:
            path.unlink()
