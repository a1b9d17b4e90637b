"""File a scored clip on a farm: keep the clip, its passes, who the cows are, films to look at."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gait.clip.filmed import filmed_at as told_by_film
from gait.errors import StoreReadOnly
from gait.herd.records import NewPass
from gait.keeping import keep_days
from gait.naming import name_by_exit_order, name_by_file, offer_by_other_name
from gait.pipeline import ClipReport, PassReport, measure_json, proposal_json

if TYPE_CHECKING:
    from gait.store import Store

CLIPS, REVIEW = "clips", "review"
PROGRAM = "exitlane"
"""Stands as *who* for what the program itself files. It never decides."""
KEEP_FREE = 200 << 20
"""Bytes of the disk that films leave free, so that decisions can be kept to the last."""


@dataclass(frozen=True, kw_only=True)
class Filed:
    """What came of filing: the clip, its passes, and whether it was known already."""

    clip_id: int
    pass_ids: Sequence[int]
    is_new: bool


def file_report(
    store: Store,
    report: ClipReport,
    *,
    who: str = PROGRAM,
    name: str | None = None,
    filmed_at: datetime | None = None,
    exit_order: Path | None = None,
    films: bool = True,
) -> Filed:
    """File a scored clip. The same content filed twice gives the passes of the first time.

    Parameters
    ----------
    store : Store
        The farm's records, open.
    report : ClipReport
        What came out of the clip.
    who : str
        Who handed the clip in.
    name : str, optional
        The file's name as the person knows it.
    filmed_at : datetime, optional
        Aware time of the first frame; as :func:`begun_at` finds it if not given.
    exit_order : Path, optional
        CSV of time and animal number, to name the cows.
    films : bool
        Write a film with everything drawn in for each pass.

    Returns
    -------
    Filed

    Raises
    ------
    StoreReadOnly
        The disk is full or the folder cannot be written.
    """
    info = report.info
    known = store.clips.by_sha256(info.sha256)
    if known is not None and (had := store.passes.of_clip(known.clip_id)):
        offer_by_other_name(store, known.clip_id, name or info.path.name, who=who)
        return Filed(clip_id=known.clip_id, pass_ids=[p.pass_id for p in had], is_new=False)
    check_writable(store)
    filmed = filmed_at or begun_at(info.path)
    kept = keep_clip(store, info.path, info.sha256) if keep_days(store) != 0 else None
    files = _review(store, report) if films and report.passes else {}
    clip = store.clips.add(
        sha256=info.sha256,
        name=name or info.path.name,
        who=who,
        filmed_at=filmed,
        stored_as=kept,
        info=_clip_info(report),
    ).clip
    new = [_new_pass(p, filmed, files.get(p.track.number, {})) for p in report.passes]
    pass_ids = store.passes.add(clip.clip_id, new)
    written = next((p.cow for p in report.passes), None)
    name_by_file(store, pass_ids, clip.name, who=who, written=written)
    if exit_order is not None:
        name_by_exit_order(store, clip.clip_id, exit_order, who=who)
    return Filed(clip_id=clip.clip_id, pass_ids=pass_ids, is_new=True)


def keep_clip(store: Store, path: Path, sha256: str) -> str | None:
    """Copy a clip into the farm folder under its hash; return the path relative to the folder.

    Raises
    ------
    StoreReadOnly
        There is no room or no right to write.
    """
    if store.folder is None or path.is_dir():
        return None
    relative = Path(CLIPS) / f"{sha256}{path.suffix.lower()}"
    target = store.folder / relative
    if target.exists():
        return relative.as_posix()
    check_room(store.folder, path.stat().st_size)
    waiting = target.with_suffix(".part")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(path, waiting)
        waiting.replace(target)
    except OSError as trouble:
        waiting.unlink(missing_ok=True)
        raise StoreReadOnly(
            f"The clip {path.name} could not be copied into the farm folder "
            f"({trouble.strerror or trouble}).",
            "Make room on the disk, then file it again; nothing was lost.",
        ) from trouble
    return relative.as_posix()


def check_writable(store: Store) -> None:
    """Refuse before anything is written when the records cannot take it.

    Raises
    ------
    StoreReadOnly
        The records are read-only.
    """
    if store.read_only_because and not store.try_writing_again():
        raise StoreReadOnly(
            store.read_only_because, "Put this right, then hand the film in again; nothing is lost."
        )


def check_room(folder: Path, size: int) -> None:
    """Refuse a film of `size` bytes that would leave too little of the disk for the records.

    Raises
    ------
    StoreReadOnly
        There is not enough room.
    """
    if shutil.disk_usage(folder).free < size + KEEP_FREE:
        raise StoreReadOnly(
            f"The disk is almost full: {size / 1e6:.0f} MB for the film and "
            f"{KEEP_FREE / 1e6:.0f} MB for the records are not there.",
            "Make room on the disk, then hand the film in again; nothing was lost.",
        )


def _new_pass(p: PassReport, filmed: datetime, files: Mapping[str, str]) -> NewPass:
    start = float(p.track.time_s[0])
    proposal = proposal_json(p.proposal)
    return NewPass(
        number=p.track.number,
        start_s=start,
        end_s=float(p.track.time_s[-1]),
        heading=p.track.heading,
        usable=p.usable,
        problems=tuple(p.problems),
        measures={name: measure_json(m) for name, m in p.measures.items()},
        proposal=proposal,
        model_version=None if proposal is None else str(proposal["model"]),
        files=files,
        observed_at=datetime.fromtimestamp(filmed.timestamp() + start, UTC),
    )


def _review(store: Store, report: ClipReport) -> dict[int, dict[str, str]]:
    """Write what the page shows of each pass; return the files by pass number."""
    from gait.blur import SETTING as BLUR_SETTING
    from gait.review import write_review

    if store.folder is None:
        return {}
    folder = store.folder / REVIEW / report.info.sha256[:16]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        blur = bool(store.settings.get(BLUR_SETTING, False))
        written = write_review(report, folder, blur_people=blur)
    except OSError as trouble:
        raise StoreReadOnly(
            f"The films to look at could not be written ({trouble.strerror or trouble}).",
            "Make room on the disk, then file the clip again; nothing was lost.",
        ) from trouble
    return {
        number: {kind: f.relative_to(store.folder).as_posix() for kind, f in files.items()}
        for number, files in written.items()
    }


def begun_at(path: Path) -> datetime:
    """Return when a recording began: as the film tells, else when its file was written; aware."""
    if path.is_dir():
        return file_time(path)
    with path.open("rb") as content:
        return told_by_film(content, now=datetime.now(UTC)) or file_time(path)


def file_time(path: Path) -> datetime:
    """Return when a file was written, aware."""
    return datetime.fromtimestamp(path.stat().st_mtime, UTC)


def _clip_info(report: ClipReport) -> dict[str, Any]:
    info = asdict(report.info)
    info.pop("path")
    return {**info, "frames": report.frames, "problems": list(report.problems)}


def read_traces(folder: Path, files: Mapping[str, str]) -> dict[str, Any] | None:
    """Return the traces kept with a pass, or None where there are none."""
    relative = files.get("traces")
    if relative is None or not (folder / relative).is_file():
        return None
    traces: dict[str, Any] = json.loads((folder / relative).read_text(encoding="utf-8"))
    return traces


def unfinished(folder: Path) -> Iterable[Path]:
    """Return copies that a power cut left half done, for clearing away."""
    return folder.glob(f"{CLIPS}/*.part")
