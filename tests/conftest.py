"""Fixtures that several tests share."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterator
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


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the browser, the longest file, lest one of two processes waits for it at last."""
    items.sort(key=lambda item: "browser" not in item.path.parts)


@pytest.fixture(autouse=True)
def _own_main_module() -> Iterator[None]:
    """Put the main module back: a page run in a test replaces it, and processes start from it."""
    own = sys.modules["__main__"]
    yield
    sys.modules["__main__"] = own


@pytest.fixture(autouse=True)
def _plain_surroundings(monkeypatch: pytest.MonkeyPatch) -> None:
    """Take out of the environment what could change results."""
    for name in ("HTTP_PROXY", "HTTPS_PROXY", "ALL_PROXY", "EXITLANE_FARM"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("TZ", "UTC")
    if hasattr(time, "tzset"):
        time.tzset()


@pytest.fixture(scope="session")
def coded_film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A short drawn film of one sound cow whose frames bear their numbers (see glue_world)."""
    from tests.glue_world import small, write_coded_film

    path = tmp_path_factory.mktemp("coded") / "cow_0412.mp4"
    return write_coded_film(small("sound", seconds=7.0), path)


@pytest.fixture(scope="session")
def coded_report(coded_film: Path):  # type: ignore[no-untyped-def]
    """What comes out of that film with a network that sees what is true."""
    from gait import places
    from gait.pipeline import score_clip
    from gait.score import ScoreModel
    from tests.glue_world import TruthNetwork

    model = ScoreModel.load(places.score_model())
    network = TruthNetwork([coded_film])
    return score_clip(coded_film, network, model, keep_silhouettes=True)  # type: ignore[arg-type]
