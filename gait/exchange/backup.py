"""Everything the farm has recorded in one file, and back again."""

from __future__ import annotations

import hashlib
import json
import os
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path, PurePosixPath
from typing import IO, Any

from gait.errors import ExchangeError
from gait.store import Store
from gait.store.copying import ORDER, all_records, put_all_records
from gait.store.types import utc_now

FORMAT = "exitlane-backup-1"
_PIECE = 1 << 20
_DAMAGED = (KeyError, ValueError, OSError, EOFError, zipfile.BadZipFile, zlib.error)


@dataclass(frozen=True, kw_only=True)
class BackupReport:
    """What a backup holds: rows by table, kept films and photos, and those it lacks by name."""

    made_at: datetime
    version: int
    rows: Mapping[str, int]
    clips: int
    missing_clips: tuple[str, ...] = ()


def write_backup(store: Store, path: str | Path, *, with_clips: bool = True) -> BackupReport:
    """Write one file with every record, and the films if wanted. People may go on working.

    The file appears under its name only when it is complete. Each part's SHA-256 is in it, so
    that damage is found before anything is restored. PIN hashes are in it too: keep it safe.

    Parameters
    ----------
    store : Store
    path : str or Path
        Where to; an older file of that name is replaced.
    with_clips : bool
        Also the kept films and photos, which make the file large.

    Raises
    ------
    ExchangeError
        If it cannot be written.
    """
    path = Path(path)
    part = path.with_name(path.name + ".part")
    hashes: dict[str, str] = {}
    rows: dict[str, int] = {}
    try:
        with zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED, allowZip64=True) as bag:
            with all_records(store.database) as (version, tables):
                for name, found in tables:
                    rows[name] = _put_table(bag, name, found, hashes)
            clips, missing = _put_clips(bag, store, hashes) if with_clips else (0, ())
            made_at = utc_now()
            manifest = {
                "format": FORMAT,
                "made_at": made_at.isoformat(),
                "version": version,
                "rows": rows,
                "sha256": hashes,
            }
            bag.writestr("manifest.json", json.dumps(manifest, indent=1))
        with part.open("rb+") as written:
            os.fsync(written.fileno())
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise ExchangeError(
            f"The backup {path} cannot be written.", "Make room or choose another place."
        ) from error
    return BackupReport(
        made_at=made_at, version=version, rows=rows, clips=clips, missing_clips=missing
    )


def check_backup(path: str | Path) -> BackupReport:
    """Read a backup through and say what it holds.

    Raises
    ------
    ExchangeError
        If it is no backup of ours or any part of it is damaged.
    """
    with _opened(path) as bag:
        manifest = _manifest(bag)
        for name, wanted in manifest["sha256"].items():
            if _hash(bag, name) != wanted:
                raise ExchangeError(f"The backup is damaged in {name}.", "Use an older backup.")
    clips = sum(name.startswith("clips/") for name in manifest["sha256"])
    return BackupReport(
        made_at=datetime.fromisoformat(manifest["made_at"]),
        version=manifest["version"],
        rows=manifest["rows"],
        clips=clips,
    )


def restore_backup(path: str | Path, where: str | Path, herd: str = "herd") -> BackupReport:
    """Make a farm from a backup, on either kind of database.

    Parameters
    ----------
    path : str or Path
        The backup; checked through before anything is written.
    where, herd
        An empty folder, or a server's address and the name of a herd that is not there yet.

    Raises
    ------
    ExchangeError
        If the backup is damaged.
    StoreError
        If there are records already, or the backup is newer than this program.
    """
    report = check_backup(path)
    with _opened(path) as bag:
        tables = [name for name in ORDER if f"tables/{name}.jsonl" in bag.namelist()]
        put_all_records(where, herd, report.version, ((name, _rows(bag, name)) for name in tables))
        if "://" not in str(where):
            _take_out_clips(bag, Path(where))
    return report


def _put_table(bag: zipfile.ZipFile, name: str, rows: Any, hashes: dict[str, str]) -> int:
    member, digest, count = f"tables/{name}.jsonl", hashlib.sha256(), 0
    with bag.open(member, "w", force_zip64=True) as out:
        for row in rows:
            line = (json.dumps(row, ensure_ascii=False, allow_nan=False) + "\n").encode()
            out.write(line)
            digest.update(line)
            count += 1
    hashes[member] = digest.hexdigest()
    return count


def _put_clips(
    bag: zipfile.ZipFile, store: Store, hashes: dict[str, str]
) -> tuple[int, tuple[str, ...]]:
    count, missing, offset = 0, [], 0
    while page := store.clips.all(limit=500, offset=offset):
        offset += len(page)
        for clip in page:
            kept = store.folder / clip.stored_as if store.folder and clip.stored_as else None
            if kept is None or not kept.is_file():
                missing.append(clip.name)
                continue
            member = f"clips/{_inside(str(clip.stored_as))}"
            with kept.open("rb") as source, bag.open(member, "w", force_zip64=True) as out:
                hashes[member] = _copy(source, out)
            count += 1
    return count, tuple(missing)


def _take_out_clips(bag: zipfile.ZipFile, folder: Path) -> None:
    for name in bag.namelist():
        if name.startswith("clips/"):
            target = folder / _inside(name.removeprefix("clips/"))
            target.parent.mkdir(parents=True, exist_ok=True)
            with bag.open(name) as source, target.open("wb") as out:
                _copy(source, out)


def _inside(name: str) -> PurePosixPath:
    """Return a path that stays within the folder it is joined to."""
    path = PurePosixPath(name.replace("\\", "/"))
    if path.is_absolute() or ".." in path.parts or ":" in name or not path.parts:
        raise ExchangeError(f"{name!r} leads out of the farm folder.", "Do not use this file.")
    return path


def _copy(source: IO[bytes], out: IO[bytes]) -> str:
    digest = hashlib.sha256()
    while piece := source.read(_PIECE):
        out.write(piece)
        digest.update(piece)
    return digest.hexdigest()


def _hash(bag: zipfile.ZipFile, name: str) -> str | None:
    digest = hashlib.sha256()
    try:
        with bag.open(name) as source:
            while piece := source.read(_PIECE):
                digest.update(piece)
    except _DAMAGED:
        return None
    return digest.hexdigest()


def _rows(bag: zipfile.ZipFile, name: str) -> Iterator[dict[str, Any]]:
    with bag.open(f"tables/{name}.jsonl") as lines:
        for line in lines:
            yield json.loads(line)


def _opened(path: str | Path) -> zipfile.ZipFile:
    try:
        return zipfile.ZipFile(path)
    except OSError as error:
        raise ExchangeError(f"The backup {path} cannot be read.", "Check the name.") from error
    except zipfile.BadZipFile as error:
        raise ExchangeError(
            f"{Path(path).name} is no backup, or it is damaged.", "Use another backup."
        ) from error


def _manifest(bag: zipfile.ZipFile) -> dict[str, Any]:
    try:
        manifest = json.loads(bag.read("manifest.json"))
        known = manifest["format"] == FORMAT
        complete = {"made_at", "version", "rows", "sha256"} <= manifest.keys()
    except (*_DAMAGED, TypeError, RecursionError, AttributeError, NotImplementedError) as error:
        raise ExchangeError("This file is no backup of this program.", "") from error
    if not known or not complete:
        raise ExchangeError(
            "This backup was made by a newer version of the program.", "Update the program."
        )
    for name in bag.namelist():
        if name != "manifest.json" and name not in manifest["sha256"]:
            raise ExchangeError(f"The backup holds a strange part, {name}.", "Do not use it.")
    return dict(manifest)
