"""The film of a pass: looped, in slow motion, frame by frame; keys and scroll of the page."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import streamlit as st

from app.parts import script
from app.texts import t

SPEEDS = (0.25, 0.5, 1.0)


def film(path: Path, *, key: str, fps: float, start_slow: bool = True) -> None:
    """Play a film in a loop with large controls for speed and single frames.

    The film is an ordinary video element with the browser's own controls; ours are added beside
    it by a small script, so that the film still plays where scripts of components are blocked.

    Parameters
    ----------
    path : Path
        WebM.
    key : str
        Different for each film on a page.
    fps : float
        Frames a second, for steps of one frame.
    start_slow : bool
        Begin at half speed.
    """
    with st.container(key=f"film_{key}", gap="small"):
        st.video(str(path), loop=True, autoplay=True, muted=True, alt=t("pass.film_alt"))
        script.component("film_controls")(
            key=f"controls_{key}",
            data={
                "fps": fps if fps > 0 else 25.0,
                "speed": 0.5 if start_slow else 1.0,
                "speeds": list(SPEEDS),
                "words": _words("speed", "back", "forward", "play", "pause"),
            },
        )


def keys(presses: Mapping[str, str], *, key: str) -> None:
    """Let keys of the keyboard choose buttons of the page; the space bar presses the chosen one.

    Parameters
    ----------
    presses : mapping
        Key as the browser names it, such as ``4``, to the key of the button it chooses.
    key : str
        Different for each use on a page.
    """
    script.component("page_keys")(key=key, data={"presses": dict(presses)})


def scroll(shown: str, *, place: str, to: str = "") -> None:
    """Scroll once whenever something else is shown than before.

    Parameters
    ----------
    shown : str
        What is shown, such as the number of a pass.
    place : str
        Different for each use on a page.
    to : str
        Key of the container to bring into view; the top of the page without it.
    """
    data = {"place": place, "shown": shown, "to": to}
    script.component("page_scroll")(key=f"{place}_scroll", data=data)


def _words(*names: str) -> dict[str, str]:
    return {name: t(f"player.{name}") for name in names}
