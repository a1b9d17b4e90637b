"""Keep the chatter of libraries written in C++ away from people; no setting of theirs does."""

from __future__ import annotations

import contextlib
import os
import threading
from collections.abc import Iterator
from pathlib import Path

_one_at_a_time = threading.Lock()


@contextlib.contextmanager
def quiet_libraries() -> Iterator[None]:
    """Send what is written to standard error meanwhile to nowhere, the C++ side's too."""
    with _one_at_a_time:
        kept = os.dup(2)
        try:
            with Path(os.devnull).open("wb") as nowhere:
                os.dup2(nowhere.fileno(), 2)
            yield
        finally:
            os.dup2(kept, 2)
            os.close(kept)
