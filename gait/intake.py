"""Take films in: keep the file safe first, then put the work in the queue."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from gait.clip.filmed import filmed_at
from gait.clip.sniff import HEAD, kind_of
from gait.errors import ClipError, ClipUnreadable, StoreReadOnly
from gait.filing import check_room, check_writable, file_time
from gait.herd.named_files import number_in_name
from gait.kinds import FILM_SUFFIXES, PHOTO_SUFFIXES
from gait.naming import offer_by_other_name

if TYPE_CHECKING:
    from gait.herd.records import Job
    from gait.store import Store

INCOMING = "incoming"
JOB_KIND = "score_clip"
CHUNK = 1 << 20
SETTLED_S = 3.0
"""A file in the watched folder that changed less than this long ago is still being copied."""


@dataclass(frozen=True, kw_only=True)
class TakenIn:
    """What came of one file: its job, and whether its cows are known already.

    ``same_as`` is the other name under which the same content came in before, else empty.
    """

    job: Job
    is_new: bool
    same_as: str = ""


def take_in(
    store: Store,
    content: BinaryIO,
    name: str,
    *,
    who: str,
    filmed: datetime | None = None,
    by_hand: bool = True,
) -> TakenIn:
    """Write an uploaded file to the farm folder in pieces and queue it for scoring.

    Parameters
    ----------
    store : Store
    content : binary file
    name : str
        As the person knows it. Used for the cow's number, never as a path.
    who : str
        Who handed it in.
    filmed : datetime, optional
        Aware time of the first frame, for a film that does not tell it itself. Left out, such a
        film is kept but waits until somebody says when it was filmed: :func:`date_films`.
    by_hand : bool
        Somebody chose this file, which brings it back when it was put away.

    Returns
    -------
    TakenIn

    Raises
    ------
    ClipUnreadable
        Not a film or photo by its name.
    StoreReadOnly
        No room or no right to write.
    """
    shown = Path(name.replace("\\", "/")).name
    suffix = Path(shown).suffix.lower()
    if suffix not in FILM_SUFFIXES | PHOTO_SUFFIXES:
        raise ClipUnreadable(
            f"{shown} is neither a film nor a photo.", "Choose a file such as .mp4, .mov or .jpg."
        )
    check_writable(store)
    folder = _incoming(store)
    check_room(folder, _size(content))
    path, sha256 = _write(folder, content, suffix)
    clip = store.clips.by_sha256(sha256)
    known = clip is not None
    told = filmed_at(content, now=datetime.now(UTC)) or filmed
    payload = {"file": path.name, "name": shown, "who": who} | _date(told)
    job = store.jobs.add(sha256, JOB_KIND, payload, undated=told is None and not known)
    if by_hand or job.state != "put_away":
        _hand_in_again(store, job, payload, is_known=known)
    other = clip.name if clip else str(job.payload["name"])
    is_other = other != shown and job.state not in ("failed", "put_away")
    if clip and is_other:
        offer_by_other_name(store, clip.clip_id, shown, who=who)
    return TakenIn(
        job=store.jobs.get(job.job_id) or job, is_new=not known, same_as=other if is_other else ""
    )


def _hand_in_again(store: Store, job: Job, payload: Mapping[str, str], *, is_known: bool) -> None:
    """Take the newest name: a photo called a film is mended by dropping it as a photo."""
    payload = {**payload, "name": _telling_name(str(job.payload["name"]), payload["name"])}
    older = incoming_file(store, str(job.payload["file"]))
    payload = {k: v for k, v in job.payload.items() if k == "filmed_at"} | dict(payload)
    undated = "filmed_at" not in payload and not is_known
    taken = store.jobs.handed_in_again(job.job_id, payload, undated=undated)
    if taken and older.name != payload["file"]:
        older.unlink(missing_ok=True)


def _telling_name(older: str, newer: str) -> str:
    """Return the newer name; where only the older one tells a cow's number, with that."""
    if number_in_name(newer) or not number_in_name(older):
        return newer
    return Path(older).stem + Path(newer).suffix


def date_films(store: Store, jobs: Iterable[Job], filmed: datetime) -> None:
    """Say when films that do not tell it themselves were filmed; they are worked off then.

    Parameters
    ----------
    store : Store
    jobs : iterable of Job
        Undated.
    filmed : datetime
        Aware time of the first frame.

    Raises
    ------
    ClipError
        That time is still to come.
    """
    refuse_to_come(filmed)
    for job in jobs:
        store.jobs.handed_in_again(job.job_id, {**job.payload, **_date(filmed)})


def refuse_no_film(content: BinaryIO, name: str) -> None:
    """Refuse a file that by its first bytes is plainly neither film nor photo, before it is kept.

    Raises
    ------
    ClipUnreadable
        In the name that people know the file by.
    """
    head = content.read(HEAD)
    content.seek(0)
    kind_of(head, name)


def refuse_to_come(filmed: datetime) -> None:
    """Refuse a filming time that is still to come.

    Raises
    ------
    ClipError
    """
    if filmed > datetime.now(UTC):
        raise ClipError("The time of filming is still to come.", "Say when it was filmed.")


def filmed_of(job: Job) -> datetime | None:
    """Return when a queued film was filmed, as far as that is known."""
    told = job.payload.get("filmed_at")
    return datetime.fromisoformat(told) if told else None


def _date(filmed: datetime | None) -> dict[str, str]:
    return {"filmed_at": filmed.isoformat()} if filmed else {}


def take_in_folder(store: Store, folder: Path, *, who: str, now_s: float) -> list[TakenIn]:
    """Queue every finished film or photo of a watched folder that is not known yet.

    Parameters
    ----------
    store : Store
    folder : Path
    who : str
    now_s : float
        Seconds since the epoch, to leave files alone that are still being copied.
    """
    taken = []
    for path in _finished(folder, now_s):
        own = file_time(path)
        with path.open("rb") as content:
            taken.append(take_in(store, content, path.name, who=who, filmed=own, by_hand=False))
    return taken


def incoming_file(store: Store, name: str) -> Path:
    """Return where a queued file lies."""
    return _incoming(store) / Path(name).name


def _incoming(store: Store) -> Path:
    if store.folder is None:
        raise StoreReadOnly(
            "Films cannot be dropped in while the records are on a server.",
            "Score them with: exitlane score --farm",
        )
    folder = store.folder / INCOMING
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as trouble:
        raise StoreReadOnly(
            f"The farm folder cannot be written ({trouble.strerror}).", "Check disk and rights."
        ) from trouble
    return folder


def _size(content: BinaryIO) -> int:
    here = content.tell()
    size = content.seek(0, io.SEEK_END)
    content.seek(here)
    return size


def _write(folder: Path, content: BinaryIO, suffix: str) -> tuple[Path, str]:
    digest = hashlib.sha256()
    waiting = folder / f"upload-{id(content)}.part"
    try:
        with waiting.open("wb") as out:
            while piece := content.read(CHUNK):
                digest.update(piece)
                out.write(piece)
        path = folder / f"{digest.hexdigest()}{suffix}"
        waiting.replace(path)
    except OSError as trouble:
        waiting.unlink(missing_ok=True)
        raise StoreReadOnly(
            f"The file could not be kept ({trouble.strerror or trouble}).",
            "Make room on the disk, then drop it in again; nothing else was changed.",
        ) from trouble
    return path, digest.hexdigest()


def _finished(folder: Path, now_s: float) -> Iterable[Path]:
    for path in sorted(folder.iterdir()):
        is_clip = path.suffix.lower() in FILM_SUFFIXES | PHOTO_SUFFIXES
        if path.is_file() and is_clip and now_s - path.stat().st_mtime > SETTLED_S:
            yield path
