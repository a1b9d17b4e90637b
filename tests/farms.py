"""Farms for tests: an empty one on SQLite and one on a private PostgreSQL server.

The server is a throw-away cluster of Debian's PostgreSQL, reached over a socket in its own folder.
Where no such server is installed, the tests on it are skipped and say so. ``EXITLANE_POSTGRES``
names another server to be used instead.
"""

from __future__ import annotations

import itertools
import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from gait.herd.records import NewPass
from gait.store import Store, open_store

_HERDS = itertools.count(1)
NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)


def proposal(value: int = 3, confidence: float = 0.6, plausible: tuple[int, ...] = (2, 3)) -> dict:
    """Return a proposal with most of the probability on one score."""
    rest = (1 - confidence) / 4
    return {
        "value": value,
        "confidence": confidence,
        "probabilities": [confidence if s == value else rest for s in range(1, 6)],
        "plausible": list(plausible),
        "reasons": ["back clearly arched: pushes towards 4"],
    }


def add_pass(store: Store, cow: str | None = None, name: str = "a", **fields: object) -> int:
    """Put one clip with one pass into the store and return the pass."""
    clip = store.clips.add(sha256=name * 64, name=f"{name}.webm", who="Ann").clip
    fields = {"number": 1, "observed_at": NOON, "proposal": proposal(), "model_version": "m1"} | (
        fields
    )
    (pass_id,) = store.passes.add(clip.clip_id, [NewPass(**fields)])  # type: ignore[arg-type]
    if cow is not None:
        store.identities.set(pass_id, cow, who="Ann")
    return pass_id


def _programs() -> Path | None:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    if found:
        return found[-1].parent
    initdb = shutil.which("initdb")
    return Path(initdb).parent if initdb else None


def _as_server_user(command: list[str]) -> None:
    # The server refuses to run as root, so root hands over to the account Debian makes for it.
    if os.name == "posix" and os.geteuid() == 0:
        command = ["runuser", "-u", "postgres", "--", *command]
    subprocess.run(command, check=True, capture_output=True, timeout=120, cwd="/")


@pytest.fixture(scope="session")
def postgres() -> Iterator[str]:
    """Give the address of a PostgreSQL server, or skip visibly."""
    if os.environ.get("EXITLANE_POSTGRES"):
        yield os.environ["EXITLANE_POSTGRES"]
        return
    programs = _programs()
    if programs is None:
        pytest.skip("no PostgreSQL server is installed")
    pytest.importorskip("psycopg")
    folder = Path(tempfile.mkdtemp(prefix="herd_pg_"))
    try:
        if os.geteuid() == 0:
            shutil.chown(folder, "postgres")
        data = folder / "data"
        _as_server_user(
            [str(programs / "initdb"), "-D", str(data), "-A", "trust", "-U", "postgres", "-N"]
        )
        options = f"-c listen_addresses='' -c unix_socket_directories={folder} -c fsync=off"
        control = [str(programs / "pg_ctl"), "-D", str(data), "-w"]
        _as_server_user([*control, "-l", str(folder / "log"), "-o", options, "start"])
        try:
            yield f"postgresql://postgres@/postgres?host={folder}"
        finally:
            _as_server_user([*control, "-m", "immediate", "stop"])
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(params=["sqlite", "postgresql"])
def farm(request: pytest.FixtureRequest, tmp_path: Path) -> tuple[str, str]:
    """Give (address, herd) of a farm without any records, on either kind of database."""
    if request.param == "sqlite":
        return str(tmp_path / "farm"), "herd"
    return str(request.getfixturevalue("postgres")), f"herd_{next(_HERDS)}_{os.getpid()}"


@pytest.fixture
def store(farm: tuple[str, str]) -> Iterator[Store]:
    """Give an open, empty farm."""
    with open_store(farm[0], farm[1]) as opened:
        yield opened


@pytest.fixture
def small_store(tmp_path: Path) -> Iterator[Store]:
    """Give an open, empty farm on SQLite only, where the kind of database does not matter."""
    with open_store(tmp_path / "farm") as opened:
        yield opened
