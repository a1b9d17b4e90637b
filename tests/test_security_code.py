"""What our own code may not contain, read from its syntax tree: loading that can run code."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).resolve().parent.parent
FOLDERS = ("gait", "app", "models", "synthetic_clips")
NO_IMPORT = {"pickle", "cPickle", "_pickle", "dill", "cloudpickle", "joblib", "shelve", "marshal"}
NO_CALL = {"eval", "exec", "compile", "__import__"}
NO_ATTRIBUTE_CALL = {("os", "system"), ("os", "popen"), ("yaml", "load"), ("tempfile", "mktemp")}
OUTWARD = {"requests", "httpx", "urllib3", "aiohttp", "smtplib", "ftplib", "telnetlib"}
SOURCES = sorted(p for folder in FOLDERS for p in (CHECKOUT / folder).rglob("*.py"))


def offences(tree: ast.AST) -> Iterator[str]:
    """Name every construct that could run code from a file or start a shell."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (n.name for n in node.names if n.name.split(".")[0] in NO_IMPORT)
        elif isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] in NO_IMPORT:
            yield f"from {node.module}"
        elif isinstance(node, ast.Call):
            yield from _of_call(node)


def _of_call(node: ast.Call) -> Iterator[str]:
    named = {k.arg: k.value for k in node.keywords}
    if isinstance(node.func, ast.Name) and node.func.id in NO_CALL:
        yield node.func.id
    if isinstance(node.func, ast.Attribute):
        owner = node.func.value.id if isinstance(node.func.value, ast.Name) else ""
        if (owner, node.func.attr) in NO_ATTRIBUTE_CALL:
            yield f"{owner}.{node.func.attr}"
        if (owner, node.func.attr) == ("torch", "load") and not _is(
            named.get("weights_only"), True
        ):
            yield "torch.load without weights_only"
    if _is(named.get("allow_pickle"), True):
        yield "allow_pickle=True"
    if _is(named.get("shell"), True):
        yield "shell=True"


def _is(node: ast.expr | None, value: object) -> bool:
    return isinstance(node, ast.Constant) and node.value is value


def imports(tree: ast.AST) -> set[str]:
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {n.name.split(".")[0] for n in node.names}
        elif isinstance(node, ast.ImportFrom) and not node.level:
            found.add((node.module or "").split(".")[0])
    return found


@pytest.mark.parametrize("path", SOURCES, ids=lambda p: p.relative_to(CHECKOUT).as_posix())
def test_no_code_is_run_from_files(path):
    assert list(offences(ast.parse(path.read_text(encoding="utf-8")))) == []


@pytest.mark.parametrize(
    "code",
    [
        "import pickle",
        "from joblib import load",
        "import numpy as np\nnp.load('x', allow_pickle=True)",
        "eval('1')",
        "import os\nos.system('x')",
        "import subprocess\nsubprocess.run('x', shell=True)",
        "import torch\ntorch.load('x')",
    ],
)
def test_the_check_notices(code):
    assert list(offences(ast.parse(code)))


LISTENER = "port.py"
"""Binds a port for a moment to see whether the page may have it; neither connects nor listens."""


def trees(folder: str) -> Iterator[tuple[Path, ast.AST]]:
    for path in sorted((CHECKOUT / folder).rglob("*.py")):
        yield path, ast.parse(path.read_text(encoding="utf-8"))


def test_the_library_has_no_way_to_send_anything():
    for path, tree in trees("gait"):
        found = imports(tree) & (OUTWARD | {"streamlit", "urllib", "http", "socket"})
        if path.name == LISTENER:
            found -= {"socket"}
            used = {n.attr for n in ast.walk(tree) if isinstance(n, ast.Attribute)}
            assert not used & {"connect", "connect_ex", "create_connection", "send", "sendall"}
            assert not used & {"sendto", "sendmsg", "listen", "accept"}
        assert not found, f"{path.name} imports {found}"


def test_each_heavy_library_has_its_one_place():
    for path, tree in trees("gait"):
        part = path.relative_to(CHECKOUT / "gait").parts[0]
        named = imports(tree)
        if part != "pose":
            assert "mediapipe" not in named, path
        if part != "store":
            assert not named & {"sqlalchemy", "sqlite3", "psycopg"}, path


def test_pages_do_not_put_raw_html_together_from_records():
    """Where a page allows HTML, the text in it is a constant of ours."""
    for path, tree in trees("app"):
        for node in ast.walk(tree):
            if not isinstance(node, ast.Call):
                continue
            if any(k.arg == "unsafe_allow_html" and _is(k.value, True) for k in node.keywords):
                raise AssertionError(f"{path.name}: HTML on line {node.lineno}")
