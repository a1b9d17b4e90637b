"""Nothing leaves the computer: connections are counted while films are scored and shown."""

from __future__ import annotations

import http.client
import os
import re
import shutil
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

from gait import places
from gait.cli import start
from tests.glue_world import small, write_coded_film

CHECKOUT = Path(__file__).resolve().parent.parent
MODEL = places.models() / "cow_side.tflite"
needs_network_file = pytest.mark.skipif(
    not MODEL.exists(), reason="the network file is not there yet"
)


def _can_trace() -> bool:
    if shutil.which("strace") is None:
        return False
    tried = subprocess.run(
        ["strace", "-f", "-e", "trace=connect", "true"], capture_output=True, check=False
    )
    return tried.returncode == 0


def _surroundings(**more: str) -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(CHECKOUT), **more}


def outside(trace: str) -> list[str]:
    """Return the system calls of a trace that reach out to another computer."""
    calls = [line for line in trace.splitlines() if re.search(r"AF_INET6?\b", line)]
    calls = [c for c in calls if '"127.' not in c and '"::1"' not in c]
    # Streamlit looks up its own address by naming a peer to a datagram socket, which sends nothing
    return [c for c in calls if NAMES_A_PEER_ONLY not in c]


NAMES_A_PEER_ONLY = 'sin_port=htons(1), sin_addr=inet_addr("8.8.8.8")'

WATCHED = """
import sys
reached = []
def watch(event, arguments):
    if event in ("socket.connect", "socket.sendto", "socket.getaddrinfo", "urllib.Request"):
        reached.append((event, repr(arguments[1:] if event.startswith("socket.c") else arguments)))
sys.addaudithook(watch)
from gait.cli import main
code = main(sys.argv[1:])
for event, what in reached:
    print("REACHED", event, what)
print("CODE", code)
"""


@pytest.fixture(scope="module")
def film(tmp_path_factory):
    path = tmp_path_factory.mktemp("net") / "cow_0412.mp4"
    return write_coded_film(small("sound", seconds=3.0, fps=12.0), path)


def _score_arguments(film: Path, folder: Path) -> list[str]:
    extras = ["--landmarks", folder / "l.csv", "--overlay", folder / "o.webm", "--json"]
    return ["score", str(film), "--farm", str(folder / "farm"), *map(str, extras)]


@needs_network_file
def test_scoring_and_filing_open_no_connection_from_python(film, tmp_path):
    done = subprocess.run(
        [sys.executable, "-c", WATCHED, *_score_arguments(film, tmp_path)],
        env=_surroundings(),
        capture_output=True,
        text=True,
        check=True,
    )
    assert "CODE" in done.stdout
    assert [line for line in done.stdout.splitlines() if line.startswith("REACHED")] == []


@needs_network_file
@pytest.mark.skipif(not _can_trace(), reason="strace is not installed or not allowed here")
def test_scoring_and_filing_open_no_connection_at_all(film, tmp_path):
    """Native code cannot hide from the system's own record of its calls."""
    trace = tmp_path / "trace.txt"
    subprocess.run(
        ["strace", "-f", "-qq", "-e", "trace=connect,sendto,sendmsg", "-o", str(trace),
         sys.executable, "-m", "gait.cli", *_score_arguments(film, tmp_path)],
        env=_surroundings(),
        capture_output=True,
        check=False,
    )  # fmt: skip
    assert (tmp_path / "farm" / "records.sqlite").exists()
    assert outside(trace.read_text()) == []


def test_the_count_notices_a_connection():
    line = 'connect(3, {sa_family=AF_INET, sin_port=htons(443), sin_addr=inet_addr("192.0.2.1")}'
    home = 'connect(3, {sa_family=AF_INET, sin_port=htons(80), sin_addr=inet_addr("127.0.0.1")}'
    assert outside(f"{line}\n{home}\nconnect(3, {{sa_family=AF_UNIX}}") == [line]


# --- the page ------------------------------------------------------------------------------------


def free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    """The page as ``exitlane start`` serves it, its system calls on record where that can be."""
    folder, port = tmp_path_factory.mktemp("page"), free_port()
    trace = folder / "trace.txt"
    tracing = ["strace", "-f", "-qq", "-e", "trace=connect,sendto,bind", "-o", str(trace)]
    command = [sys.executable, "-m", "gait.cli", "start", "--page-only", "--port", str(port),
               "--farm", str(folder / "farm")]  # fmt: skip
    running = subprocess.Popen(
        [*(tracing if _can_trace() else []), *command],
        env=_surroundings(),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    try:
        _wait_for(port, running)
        yield port, trace
    finally:
        os.killpg(running.pid, 15)
        running.wait(30)


def _wait_for(port: int, running: subprocess.Popen[bytes]) -> None:
    until = time.monotonic() + 90
    while time.monotonic() < until:
        assert running.poll() is None, "the page ended"
        try:
            if ask(port, "GET", "/_stcore/health")[0] == 200:
                return
        except OSError:
            time.sleep(0.2)
    raise AssertionError("the page did not come up")


def ask(port: int, method: str, path: str, **headers: str) -> tuple[int, bytes]:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
    try:
        named = {k.replace("_", "-"): v for k, v in headers.items()}
        connection.request(method, path, headers=named)
        answer = connection.getresponse()
        return answer.status, answer.read()
    finally:
        connection.close()


@pytest.mark.skipif(os.name != "posix", reason="process groups need a posix system")
class TestPage:
    def test_it_answers_on_this_computer(self, page):
        status, body = ask(page[0], "GET", "/")
        assert status == 200
        assert b"<html" in body.lower()

    def test_it_names_nothing_to_be_fetched_from_elsewhere(self, page):
        _, body = ask(page[0], "GET", "/")
        sources = re.findall(rb"(?:src|href)=[\"']?([^\"' >]+)", body)
        assert sources
        assert [s for s in sources if s.startswith((b"http", b"//"))] == []

    def test_it_does_not_answer_at_the_computers_other_addresses(self, page):
        others = {
            info[4][0] for info in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)
        } - {"127.0.0.1"}
        others = {address for address in others if not address.startswith("127.")}
        if not others:
            pytest.skip("this computer has no other address")
        for address in others:
            with pytest.raises(OSError, match=r".+"):
                socket.create_connection((address, page[0]), timeout=3).close()

    @pytest.mark.parametrize("origin", ["http://evil.example", "http://127.0.0.1.evil.example"])
    def test_a_strange_site_in_the_browser_cannot_open_its_channel(self, page, origin):
        status, _ = ask(
            page[0], "GET", "/_stcore/stream", Origin=origin, Upgrade="websocket",
            Connection="Upgrade", Sec_WebSocket_Version="13",
            Sec_WebSocket_Key="dGhlIHNhbXBsZSBub25jZQ==",
        )  # fmt: skip
        assert status == 403

    def test_a_rebound_name_cannot_open_its_channel(self, page):
        status, _ = ask(
            page[0], "GET", "/_stcore/stream", Host="evil.example", Origin="http://evil.example",
            Upgrade="websocket", Connection="Upgrade", Sec_WebSocket_Version="13",
            Sec_WebSocket_Key="dGhlIHNhbXBsZSBub25jZQ==",
        )  # fmt: skip
        assert status == 403

    def test_files_cannot_be_put_in_without_a_session(self, page):
        status, _ = ask(page[0], "PUT", "/_stcore/upload_file/nobody/nothing")
        assert status in (400, 403, 404)

    def test_the_farm_folder_is_not_served(self, page):
        for path in (
            "/app/static/../records.sqlite",
            "/media/../records.sqlite",
            "/static/%2e%2e/",
        ):
            _, body = ask(page[0], "GET", path)
            assert not body.startswith(b"SQLite format 3")

    def test_it_reaches_out_to_nobody(self, page):
        port, trace = page
        if not trace.exists():
            pytest.skip("strace is not installed or not allowed here")
        ask(port, "GET", "/")
        time.sleep(1.0)
        assert outside(trace.read_text()) == []


def test_by_default_only_this_computer_is_served(monkeypatch, tmp_path):
    flags, surroundings = _served(monkeypatch, tmp_path)
    assert "--server.address=127.0.0.1" in flags
    assert surroundings["EXITLANE_OPEN_TO_NETWORK"] == ""
    assert "--browser.gatherUsageStats=false" in flags
    assert "--client.showErrorDetails=none" in flags
    assert "--client.showErrorLinks=false" in flags
    assert f"--server.maxUploadSize={start.LARGEST_UPLOAD_MB}" in flags
    assert "--server.allowedHosts=127.0.0.1" in flags
    assert surroundings["https_proxy"] == start.CLOSED_PORT
    assert not any("enableXsrfProtection=false" in f or "enableCORS=false" in f for f in flags)


@pytest.mark.parametrize("address", ["0.0.0.0", "::", "192.0.2.7", "farm.local", ""])
def test_served_wider_everybody_has_to_sign_in(monkeypatch, tmp_path, address):
    flags, surroundings = _served(monkeypatch, tmp_path, "--address", address)
    assert f"--server.address={address}" in flags
    assert surroundings["EXITLANE_OPEN_TO_NETWORK"] == "1"


def test_with_outside_sign_in_set_up_its_way_out_stays_open(monkeypatch, tmp_path):
    (tmp_path / ".streamlit").mkdir()
    (tmp_path / ".streamlit" / "secrets.toml").write_text("[auth]\n")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("https_proxy", start.CLOSED_PORT)  # as scoring leaves it
    _, surroundings = _served(monkeypatch, tmp_path / "farm")
    assert "https_proxy" not in surroundings


def _served(monkeypatch, farm: Path, *more: str) -> tuple[list[str], dict[str, str]]:
    from gait.cli import main

    caught: dict[str, object] = {}

    class Page:
        def __init__(self, command, env, **_):
            caught.update(flags=command, env=env)

        def wait(self):
            return 0

    monkeypatch.setattr(subprocess, "Popen", Page)
    assert main(["start", "--page-only", "--farm", str(farm), *more]) == 0
    return caught["flags"], caught["env"]  # type: ignore[return-value]
