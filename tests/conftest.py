"""Fixtures that several tests share."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).resolve().parent.parent


def shared_folder() -> Path:
    """Return the folder of development data, which a user's machine does not have."""
    return Path(os.environ.get("EXITLANE_SHARED", CHECKOUT.parent / "shared"))


@pytest.fixture(scope="session")
def shared() -> Path:
    """The development data; tests that need it are skipped, visibly, where it is absent."""
    folder = shared_folder()
    if not folder.is_dir():
        pytest.skip(f"development data are not at {folder}")
    return folder


@pytest.fixture(autouse=True)
def _plain_surroundings(monkeypatch: pytest.MonkeyPatch) -> None:
    """Take out of the environment what could change results."""
    for name in ("HTTP_PROXY", "HTTPS_PROXY", "ALL_PROXY", "EXITLANE_FARM"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("TZ", "UTC")
