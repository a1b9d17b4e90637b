"""Stand-ins for scoring a clip, for tests of many processes; each must live in a module."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

from gait.bulk import Options
from gait.errors import ClipError, GaitError


def quick(clip: Path, _options: Options) -> GaitError:
    """Give an answer that names the clip and the process."""
    _note(clip)
    return ClipError(f"{clip.name} seen", str(os.getpid()))


def slow(clip: Path, _options: Options) -> GaitError:
    """Take a while, as a film does."""
    _note(clip, "began")
    time.sleep(0.3)
    _note(clip)
    return ClipError(f"{clip.name} seen", str(os.getpid()))


def killed_once(clip: Path, options: Options) -> GaitError:
    """End the own process at a clip called ``deadly``, but only the first time."""
    mark = clip.with_suffix(".killed")
    if clip.stem.startswith("deadly") and not mark.exists():
        mark.write_text("x")
        os.kill(os.getpid(), signal.SIGKILL)
    return quick(clip, options)


def killed_always(clip: Path, options: Options) -> GaitError:
    """End the own process at a clip called ``deadly``, each time."""
    if clip.stem.startswith("deadly"):
        os.kill(os.getpid(), signal.SIGKILL)
    return quick(clip, options)


def _note(clip: Path, word: str = "done") -> None:
    with (clip.parent / "log.txt").open("a") as log:
        log.write(f"{word} {clip.name} {os.getpid()}\n")


def noted(folder: Path, word: str = "done") -> list[str]:
    """Return the clips that were worked on, in order, as often as they were."""
    log = folder / "log.txt"
    lines = log.read_text().splitlines() if log.exists() else []
    return [line.split()[1] for line in lines if line.startswith(word)]
