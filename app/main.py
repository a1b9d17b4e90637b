"""The page: who is here, and where to go."""

from __future__ import annotations

import importlib
import sys
import threading
from pathlib import Path

ROOT = str(Path(__file__).resolve().parent.parent)
if ROOT not in sys.path:
    sys.path.insert(0, ROOT)

import streamlit as st  # noqa: E402

from app import session, texts  # noqa: E402
from app.parts import draft, look, menu, people  # noqa: E402
from app.texts import t  # noqa: E402
from gait.errors import GaitError  # noqa: E402

FIRST_NEEDED = (
    "altair",
    "gait.score.learning",
    "gait.score.calibration",
    "gait.statistics.agreement",
    "statsmodels.stats.inter_rater",
    "scipy.special",
)


@st.cache_resource(show_spinner=False)
def warm_up() -> threading.Thread:
    """Load in the background, once, what the first page would otherwise have to wait for."""
    loading = threading.Thread(
        target=lambda: [importlib.import_module(n) for n in FIRST_NEEDED], daemon=True
    )
    loading.start()
    return loading


ICON = Path(__file__).resolve().parent / "parts" / "icon.png"
SCREENS = Path(__file__).resolve().parent / "screens"


def screen(name: str, icon: str, *, default: bool = False) -> st.Page:
    """Return one page of the navigation."""
    return st.Page(
        SCREENS / f"{name}.py",
        title=t(f"{name}.menu"),
        icon=f":material/{icon}:",
        url_path=name.replace("_", "-"),
        default=default,
    )


st.session_state.setdefault("language", texts.preferred(st.context.locale))
st.set_page_config(page_title=t("app.title"), page_icon=str(ICON), layout="wide")
look.apply()
draft.hold()
warm_up()
try:
    session.store()
except GaitError as problem:
    session.show(problem)
    st.stop()
session.recall()
if session.must_sign_in() and session.person() is None:
    people.sign_in()
    st.stop()
chosen = menu.show(
    {
        "today": (
            screen("lame_list", "format_list_numbered", default=True),
            screen("to_check", "visibility"),
            screen("film", "videocam"),
            screen("second_opinion", "stethoscope"),
        ),
        "chute": (
            screen("trim_day", "event"),
            screen("findings", "edit_note"),
            screen("recheck", "event_repeat"),
        ),
        "herd": (
            screen("cow", "timeline"),
            screen("herd", "monitoring"),
            screen("settings", "settings"),
        ),
    }
)
people.corner()
menu.demo_notice()
chosen.run()
