"""The first start tells how far it is, without promising a number that it does not know."""

from __future__ import annotations

import subprocess
from pathlib import Path

from gait import environment


class Pip:
    """An installer that fetches two packages."""

    returncode = 0
    stdout = ("Collecting numpy\n", "  Using cached numpy\n", "Collecting scipy\n")

    def __init__(self, *_: object, **__: object) -> None: ...

    def __enter__(self) -> Pip:
        return self

    def __exit__(self, *_: object) -> None: ...


def test_fetched_packages_are_counted(monkeypatch, capsys):
    monkeypatch.setattr(subprocess, "Popen", Pip)
    environment._install(Path("python"), Path("checkout"), "")
    told = capsys.readouterr().out
    assert "Fetching packages: 2 so far" in told
    assert "of about" not in told
