"""Small scripts of our own in the page, each in a file beside this one."""

from __future__ import annotations

import functools
from pathlib import Path
from typing import Any

import streamlit as st

HERE = Path(__file__).resolve().parent


@functools.cache
def component(name: str) -> Any:
    """Return the element that runs the script of that name, with its style where it has one."""
    style = HERE / f"{name}.css"
    return st.components.v2.component(
        f"exitlane_{name}",
        html='<div class="place"></div>',
        css=style.read_text(encoding="utf-8") if style.exists() else None,
        js=(HERE / f"{name}.js").read_text(encoding="utf-8"),
    )
