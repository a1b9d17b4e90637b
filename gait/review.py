"""Films, stills and traces of each pass, for people to look at while they decide."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import cv2
import numpy as np

from gait.blur import PeopleBlur
from gait.overlay import (
    FilmWriter,
    between_looks,
    draw_cow,
    frames_to_draw,
    page_of,
    resized,
)
from gait.traces import make_traces

if TYPE_CHECKING:
    from gait.clip import Frame
    from gait.pipeline import ClipReport
    from gait.track import Pass

WIDTH = 720
STILL_WIDTH = 960
MARGIN = 0.12
"""Room left around the cow in a still, as a share of her box."""


def write_review(
    report: ClipReport, folder: Path, *, blur_people: bool = False
) -> dict[int, dict[str, Path]]:
    """Write for each pass a film with everything drawn in, a still and the traces.

    Parameters
    ----------
    report : ClipReport
    folder : Path
        An existing folder.
    blur_people : bool
        Make people unrecognisable in films and stills; see :mod:`gait.blur` for its limits.

    Returns
    -------
    dict
        By pass number the files by kind: ``film``, ``slow``, ``still``, ``traces``.
    """
    tracks = [p.track for p in report.passes]
    traces = {t.number: make_traces(t) for t in tracks}
    written: dict[int, dict[str, Path]] = {}
    for track in tracks:
        path = folder / f"{track.number:04d}_traces.json"
        path.write_text(json.dumps(traces[track.number]), encoding="utf-8")
        written[track.number] = {"traces": path}
    films = _Films(report, folder, written, blur_people=blur_people)
    stills = {
        int(t["still"]["frame"]): number for number, t in traces.items() if t["still"] is not None
    }
    try:
        for frame in frames_to_draw(report.info.path):
            films.add(frame)
            for number in [n for f, n in stills.items() if f == frame.index]:
                track = next(t for t in tracks if t.number == number)
                path = folder / f"{number:04d}_still.jpg"
                write_still(frame, track, path, blur_people=blur_people)
                written[number]["still"] = path
    finally:
        films.close()
    return written


def write_still(frame: Frame, track: Pass, path: Path, *, blur_people: bool = False) -> None:
    """Write the frame cut to the cow, with back line and straight chord drawn in."""
    i = int(np.flatnonzero(track.frame == frame.index)[0])
    image = np.ascontiguousarray(frame.image).copy()
    if blur_people:
        image = PeopleBlur().hide(image, track.box[i])
    draw_cow(image, track, i)
    x0, y0, x1, y1 = track.box[i]
    room = MARGIN * (x1 - x0)
    height, width = image.shape[:2]
    left, right = int(max(0, x0 - room)), int(min(width, x1 + room))
    top, bottom = int(max(0, y0 - room)), int(min(height, y1 + room))
    cut, _ = resized(image[top:bottom, left:right], STILL_WIDTH)
    cv2.imwrite(str(path), cut, [cv2.IMWRITE_JPEG_QUALITY, 88])


class _Films:
    """One film a pass, written in one forward read of the clip."""

    def __init__(
        self,
        report: ClipReport,
        folder: Path,
        written: Mapping[int, dict[str, Path]],
        *,
        blur_people: bool = False,
    ) -> None:
        self.folder, self.written = folder, written
        fps = float(report.info.fps)
        self.fps = fps if np.isfinite(fps) and fps > 0 else 1.0
        walks = [] if report.info.is_photo else [p.track for p in report.passes]
        self.spans = [between_looks(track) for track in walks]
        self.open: dict[int, FilmWriter] = {}
        self.blurs = {t.number: PeopleBlur() for t in self.spans} if blur_people else {}

    def add(self, frame: Frame) -> None:
        """Add a frame to the films of the passes that are in view."""
        for track in self.spans:
            if not track.frame[0] <= frame.index <= track.frame[-1]:
                continue
            image, scale = resized(frame.image, WIDTH)
            here = np.flatnonzero(track.frame == frame.index)
            if track.number in self.blurs:
                cow = track.box[here[0]] * scale if len(here) else None
                image = self.blurs[track.number].hide(image, cow)
            if len(here):
                draw_cow(image, track, int(here[0]), scale)
            seen = (track, int(here[0])) if len(here) else None
            self._writer(track.number).write(page_of(image, seen))
            if frame.index == track.frame[-1]:
                self.open.pop(track.number).close()

    def close(self) -> None:
        """Close the films that are still open."""
        for writer in self.open.values():
            writer.close()

    def _writer(self, number: int) -> FilmWriter:
        if number not in self.open:
            path = self.folder / f"{number:04d}_film.webm"
            self.open[number] = FilmWriter(path, self.fps)
            self.written[number]["film"] = path
        return self.open[number]
