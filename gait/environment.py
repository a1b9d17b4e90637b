"""Set up the program's own environment in ``.venv`` on first run. Standard library only.

Runs on a bare Python before anything is installed, so nothing here may import numpy and friends.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parent.parent
OLDEST_PYTHON = (3, 11)
CLOSED_PORT = "http://127.0.0.1:9"
"""A proxy on which nobody listens: what is pointed at it has no way out."""
GRAPHICS_HELP = (
    "On Debian or Ubuntu: sudo apt-get install libegl1 libgles2 libgl1 libglib2.0-0. "
    "On Fedora: sudo dnf install mesa-libEGL mesa-libGLES mesa-libGL glib2."
)


class SetupFailed(Exception):
    """The environment could not be made; the text says what is missing and how to get it."""


def venv_python(folder: Path) -> Path:
    """Return the path of the interpreter inside a virtual environment."""
    if os.name == "nt":
        return folder / "Scripts" / "python.exe"
    return folder / "bin" / "python"


def ensure(extra: str = "", *, checkout: Path = CHECKOUT) -> Path:
    """Make ``.venv`` with everything that is needed, unless it is there already.

    Parameters
    ----------
    extra : str
        Name of an optional group of packages to add, for instance ``test``.
    checkout : Path
        The folder that holds ``pyproject.toml``.

    Returns
    -------
    Path
        The interpreter of the environment.

    Raises
    ------
    SetupFailed
        Python is too old, its ``venv`` part is missing, packages could not be fetched, or the
        system's graphics libraries are missing.
    """
    if sys.version_info < OLDEST_PYTHON:
        raise SetupFailed(
            f"This program needs Python 3.11 or newer, and this is {sys.version.split()[0]}. "
            "Install a newer Python and start again with it."
        )
    folder = checkout / ".venv"
    python = venv_python(folder)
    stamp = folder / f"ready-{extra or 'run'}"
    wanted = _fingerprint(checkout)
    if python.exists() and stamp.exists() and stamp.read_text("utf-8") == wanted:
        return python
    _say("First run: setting up the program's own environment (a few minutes, once).")
    if not python.exists():
        _make_venv(folder)
    _install(python, checkout, extra)
    _check_graphics(python)
    stamp.write_text(wanted, "utf-8")
    return python


def run(python: Path, arguments: Sequence[str]) -> int:
    """Run the environment's interpreter and return its exit code; Ctrl-C ends it quietly."""
    try:
        return subprocess.call([str(python), *arguments])
    except KeyboardInterrupt:
        return 130


def _fingerprint(checkout: Path) -> str:
    digest = hashlib.sha256(sys.version.encode())
    for name in ("pyproject.toml", "gait/constraints.txt"):
        digest.update((checkout / name).read_bytes())
    return digest.hexdigest()


def _make_venv(folder: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "venv", str(folder)], capture_output=True, text=True, check=False
    )
    if done.returncode != 0:
        raise SetupFailed(
            "Python's own tool for environments (venv) is missing or could not write here. "
            "On Debian or Ubuntu: sudo apt-get install python3-venv; then start again. "
            f"It said: {(done.stderr or done.stdout).strip()[-300:]}"
        )


def _install(python: Path, checkout: Path, extra: str) -> None:
    target = str(checkout) + (f"[{extra}]" if extra else "")
    command = [
        *(str(python), "-m", "pip", "install", "--no-input", "--disable-pip-version-check"),
        *("--progress-bar", "off", "-c", str(checkout / "gait" / "constraints.txt"), "-e", target),
    ]
    last: list[str] = []
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, errors="replace"
    ) as pip:
        seen = 0
        for line in pip.stdout or ():
            last = [*last[-15:], line.rstrip()]
            if line.startswith("Collecting"):
                seen += 1
                _progress(f"Fetching packages: {seen} so far")
            elif line.startswith("Installing collected"):
                _progress("Installing packages ...")
    _progress("")
    if pip.returncode != 0:
        tail = "\n  ".join(last)
        raise SetupFailed(
            "The packages could not be fetched or installed. Check the internet connection and "
            f"the free disk space (about 1.5 GB), then start again. The installer said:\n  {tail}"
        )


def _check_graphics(python: Path) -> None:
    probe = "import cv2, mediapipe.tasks.python.vision"
    done = subprocess.run([str(python), "-c", probe], capture_output=True, text=True, check=False)
    if done.returncode == 0:
        return
    reason = done.stderr.strip().splitlines()[-1] if done.stderr.strip() else "no reason given"
    if ".so" in reason:
        raise SetupFailed(
            f"A system graphics library is missing ({reason}). {GRAPHICS_HELP} Then start again."
        )
    raise SetupFailed(f"The installed packages do not load: {reason}")


def _say(text: str) -> None:
    print(text, flush=True)


def _progress(text: str) -> None:
    if sys.stdout.isatty():
        print(f"\r{text:<60}", end="" if text else "\r", flush=True)
    elif text:
        print(text, flush=True)
