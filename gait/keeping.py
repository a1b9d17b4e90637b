"""How long films are kept. Scores, measures, stills and decisions stay for good."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from gait.errors import StoreReadOnly

if TYPE_CHECKING:
    from gait.store import Store

KEEP_DAYS_SETTING = "keep_clips_days"
PAGE = 500


@dataclass(frozen=True, kw_only=True)
class OldClips:
    """Films past their time: how many files, and how much room they take, bytes."""

    files: int
    size: int


def keep_days(store: Store) -> int | None:
    """Return for how many days films are kept, or None for always."""
    days = store.settings.get(KEEP_DAYS_SETTING)
    return int(days) if days else None


def old_clips(store: Store, now: datetime | None = None) -> OldClips:
    """Return how many kept films are past their time."""
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
        size += path.stat().st_size
        try:
            path.unlink()
        except OSError as trouble:
            raise StoreReadOnly(
                f"The film {path.name} could not be deleted ({trouble.strerror or trouble}).",
                "Check the rights on the farm folder.",
            ) from trouble
        files += 1
    return OldClips(files=files, size=size)


def _past_their_time(store: Store, now: datetime | None) -> Iterator[Path]:
    days = keep_days(store)
    if days is None or store.folder is None:
        return
    before = (now or datetime.now(UTC)) - timedelta(days=days)
    offset = 0
    while clips := store.clips.all(limit=PAGE, offset=offset):
        offset += PAGE
        for clip in clips:
            if clip.stored_as is None or clip.added_at >= before:
                continue
            path = store.folder / clip.stored_as
            if path.is_file():
                yield path
