"""A real browser on a real page; skipped, and said so, where there is no Chromium."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from gait import places
from gait.store import open_store
from tests.conftest import CHECKOUT
from tests.page_farm import load_history

SIZES = {"desktop": (1366, 900), "phone": (390, 844)}
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
LONGEST_MS = 90_000


@pytest.fixture(scope="session")
def browser() -> Iterator[object]:
    """Give Debian's Chromium, or another one named by EXITLANE_CHROMIUM."""
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    program = os.environ.get("EXITLANE_CHROMIUM") or shutil.which("chromium")
    if program is None:
        pytest.skip("no chromium on this machine (Debian: apt-get install chromium)")
    with sync_api.sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=program, args=FLAGS)
        yield opened
        opened.close()


@pytest.fixture(scope="session")
def lame_film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Draw a film of one lame cow, named after her as people name files."""
    places.add_bundle_to_path()
    from synthetic_clips import cases
    from synthetic_clips.film import write_clip

    scene = cases._score(4)(303)
    scene = replace(scene, camera=replace(scene.camera, height=360, width=640, fps=25.0))
    film = tmp_path_factory.mktemp("film") / "cow_0431.webm"
    write_clip(scene, film)
    return film


@contextmanager
def served(farm: Path) -> Iterator[str]:
    """Serve a farm's page as the README tells, and give its address."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "gait.cli", "start", "--page-only", "--farm", str(farm)]
    running = subprocess.Popen(
        [*command, "--port", str(port)], cwd=CHECKOUT, start_new_session=True,
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        _wait_for(port)
        yield f"http://127.0.0.1:{port}"
    finally:
        os.killpg(running.pid, signal.SIGTERM)
        running.wait(timeout=30)


def _wait_for(port: int) -> None:
    for _ in range(300):
        try:
            socket.create_connection(("127.0.0.1", port), 1).close()
            return
        except OSError:
            time.sleep(0.2)
    raise RuntimeError("the page did not come up within a minute")


@dataclass
class Tab:
    """One browser tab on the page."""

    page: object
    address: str
    size: str
    pictures: Path
    outside: list[str]

    def open(self, path: str) -> None:
        """Open a page of ours and wait until it stands."""
        self.page.goto(f"{self.address}/{path}")
        self.settle()

    def settle(self) -> None:
        """Wait until the page is neither running nor waiting to be drawn anew."""
        self.page.wait_for_selector("h1", timeout=LONGEST_MS)
        self.page.wait_for_timeout(400)
        self.page.wait_for_function(
            "!document.querySelector('[data-testid=stStatusWidget], [data-stale=true]')",
            timeout=LONGEST_MS,
        )
        self.page.wait_for_timeout(500)

    def picture(self, name: str) -> None:
        """Take a picture of the whole page."""
        width, height = SIZES[self.size]
        whole = self.page.evaluate(
            "document.querySelector('[data-testid=stMain]')?.scrollHeight ?? 0"
        )
        self.page.set_viewport_size({"width": width, "height": min(max(height, whole + 20), 4500)})
        self.page.wait_for_timeout(700)
        self.page.screenshot(path=str(self.pictures / f"{name}_{self.size}.png"))
        self.page.set_viewport_size({"width": width, "height": height})


@pytest.fixture
def tab(request: pytest.FixtureRequest, browser: object, tmp_path: Path) -> Iterator[Tab]:
    """Give a tab of a size and a language (indirect parameter) on a farm with a year behind it."""
    size, locale = request.param
    farm = tmp_path / "farm"
    with open_store(farm) as store:
        load_history(store)
    pictures = Path(os.environ.get("EXITLANE_SCREENSHOTS", tmp_path / "screenshots"))
    pictures.mkdir(parents=True, exist_ok=True)
    width, height = SIZES[size]
    with served(farm) as address:
        page = browser.new_page(viewport={"width": width, "height": height}, locale=locale)
        page.set_default_timeout(LONGEST_MS)
        outside: list[str] = []
        page.on("request", lambda asked: outside.append(asked.url))
        yield Tab(page=page, address=address, size=size, pictures=pictures, outside=outside)
        page.close()
