"""How long films are kept. Scores, measures, traces and decisions stay for good.

Two settings, both in days, None for always:

- ``keep_clips_days`` for the films as they came from the camera; 0 keeps none at all.
- ``keep_review_days`` for what was drawn from them for people to look at, films and stills.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from gait.errors import StoreReadOnly

if TYPE_CHECKING:
    from gait.store import Store

KEEP_DAYS_SETTING = "keep_clips_days"
KEEP_REVIEW_DAYS_SETTING = "keep_review_days"
PAGE = 500
HALF_WRITTEN_AFTER_S = 24 * 3600.0
"""A copy still unfinished after so long was broken off by a power cut."""
_PICTURES = (".webm", ".jpg")


@dataclass(frozen=True, kw_only=True)
class OldClips:
    """Films past their time: how many files, and how much room they take, bytes."""

    files: int
    size: int


def keep_days(store: Store, setting: str = KEEP_DAYS_SETTING) -> int | None:
    """Return for how many days films are kept; None for always, 0 for not at all."""
    days = store.settings.get(setting)
    return None if days is None else int(days)


def old_clips(store: Store, now: datetime | None = None) -> OldClips:
    """Return how many kept films, stills and leftovers are past their time."""
    sizes = [path.stat().st_size for path in _past_their_time(store, now)]
    return OldClips(files=len(sizes), size=sum(sizes))


def drop_old_clips(store: Store, now: datetime | None = None) -> OldClips:
    """Delete the films that are past their time; the records of them stay.

    Parameters
    ----------
    store : Store
    now : datetime, optional
        Aware.

    Raises
    ------
    StoreReadOnly
        A file cannot be deleted.
    """
    files, size = 0, 0
    for path in _past_their_time(store, now):
        try:
            size += path.stat().st_size
            path.unlink()
        except OSError as trouble:
            raise StoreReadOnly(
                f"The film {path.name} could not be deleted ({trouble.strerror or trouble}).",
                "Check the rights on the farm folder.",
            ) from trouble
        files += 1
    return OldClips(files=files, size=size)


def _past_their_time(store: Store, now: datetime | None) -> Iterator[Path]:
    if store.folder is None:
        return
    at = now or datetime.now(UTC)
    yield from _leftovers(store, store.folder, at)
    clips, review = (
        None if days is None else at - timedelta(days=days)
        for days in (keep_days(store), keep_days(store, KEEP_REVIEW_DAYS_SETTING))
    )
    if clips is None and review is None:
        return
    offset = 0
    while page := store.clips.all(limit=PAGE, offset=offset):
        offset += PAGE
        for clip in page:
            if clips is not None and clip.added_at < clips and clip.stored_as:
                path = store.folder / clip.stored_as
                yield from [path] if path.is_file() else []
            if review is not None and clip.added_at < review:
                yield from _pictures(store.folder / "review" / clip.sha256[:16])


def _pictures(folder: Path) -> list[Path]:
    """Return the films and stills made of a clip."""
    return [p for p in sorted(folder.glob("*")) if p.suffix in _PICTURES]


def _leftovers(store: Store, folder: Path, now: datetime) -> Iterator[Path]:
    """Return uploads whose film is filed, and copies that a power cut left half done."""
    oldest = min(now.timestamp(), time.time()) - HALF_WRITTEN_AFTER_S
    for path in folder.glob("*/*.part"):
        if path.parent.name in ("clips", "incoming") and path.stat().st_mtime < oldest:
            yield path
    waiting = {
        str(job.payload.get("file"))
        for state in ("undated", "waiting", "running", "failed")
        for job in store.jobs.all(state=state, limit=100_000)
    }
    for path in (folder / "incoming").glob("*"):
        is_filed = path.name not in waiting and store.clips.by_sha256(path.stem) is not None
        if path.suffix != ".part" and is_filed:
            yield path
