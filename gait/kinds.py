"""Which files are films and which are photos, by the endings of their names.

What is offered for choosing is what can be read; what a file really holds is told by its first
bytes (`gait.clip.sniff`).
"""

from __future__ import annotations

FILM_SUFFIXES = frozenset(
    {".mp4", ".m4v", ".mov", ".avi", ".mkv", ".webm", ".mts", ".m2ts", ".ts", ".mpg"}
    | {".mpeg", ".wmv", ".flv", ".3gp", ".ogv"}
)
PHOTO_SUFFIXES = frozenset((".jpg", ".jpeg", ".png", ".webp"))
