"""MediaPipe's ImageSegmenter as a plain function from picture to maps. The only user of it."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from gait.environment import CLOSED_PORT
from gait.errors import ModelFileInvalid, PoseError
from gait.pose.card import CHANNELS, FOLD
from gait.pose.decode import Maps
from gait.pose.sighting import Image
from gait.quiet import quiet_libraries


def _load_mediapipe() -> Any:
    """Import MediaPipe with no way out to the network.

    From 0.10.35 on it posts usage figures when a task starts and offers no switch. Scoring needs
    no network at all, so its proxy is set to a port on which nobody listens.
    """
    for name in ("https_proxy", "HTTPS_PROXY", "http_proxy", "all_proxy", "ALL_PROXY"):
        os.environ[name] = CLOSED_PORT
    try:
        import mediapipe
    except (ImportError, OSError) as error:
        raise PoseError(
            f"MediaPipe could not be loaded ({error}).",
            "On Debian or Ubuntu install libegl1 libgles2 libgl1 libglib2.0-0 and try again.",
        ) from error
    return mediapipe


class Segmenter:
    """One MediaPipe task. Not to be shared between threads.

    Parameters
    ----------
    model_path : Path
        The network, already checked.
    grid : tuple of int
        Width and height of the maps, cells.
    """

    def __init__(self, model_path: Path, grid: tuple[int, int]) -> None:
        self._path, self._grid = model_path, grid
        self._mediapipe = _load_mediapipe()
        self._task: Any = None
        self._closed = False
        self._build()

    def _build(self) -> None:
        tasks = self._mediapipe.tasks
        options = tasks.vision.ImageSegmenterOptions(
            base_options=tasks.BaseOptions(model_asset_buffer=self._path.read_bytes()),
            output_confidence_masks=True,
            output_category_mask=False,
        )
        try:
            with quiet_libraries():
                self._task = tasks.vision.ImageSegmenter.create_from_options(options)
        except (ValueError, RuntimeError, OSError) as error:
            raise ModelFileInvalid(
                f"MediaPipe cannot run the network file {self._path.name}.",
                "Install the program again.",
            ) from error

    def maps(self, rgb: Image, channels: Sequence[int]) -> Maps:
        """Run the network.

        Parameters
        ----------
        rgb : ndarray of uint8, shape (h, w, 3)
            Picture of exactly the input size.
        channels : sequence of int
            Maps wanted.

        Returns
        -------
        ndarray of float32, shape (len(channels), grid height, grid width)
            Just as the last layer gave them.

        Raises
        ------
        PoseError
            If it was closed, or MediaPipe failed twice on this picture.
        """
        if self._closed:
            raise PoseError("The network has been closed.", "Open it again.")
        # a view with other strides would be read wrongly, without an error
        rgb = np.ascontiguousarray(rgb)
        for attempt in (1, 2):
            try:
                return self._run(rgb, channels)
            except (ValueError, RuntimeError) as error:
                # after one failure every later picture fails too until the task is built anew
                self._shut()
                self._build()
                if attempt == 2:
                    raise PoseError(
                        "The network failed on a picture.", "Try again; then report the film."
                    ) from error
        raise AssertionError("unreachable")

    def _run(self, rgb: Image, channels: Sequence[int]) -> Maps:
        image = self._mediapipe.Image(image_format=self._mediapipe.ImageFormat.SRGB, data=rgb)
        pictures = self._task.segment(image).confidence_masks
        if len(pictures) != len(CHANNELS) // FOLD**2:
            raise ValueError(f"expected {len(CHANNELS) // FOLD**2} pictures, got {len(pictures)}")
        width, height = self._grid
        views = [p.numpy_view().reshape(height, FOLD, width, FOLD) for p in pictures]
        maps = np.empty((len(channels), height, width), np.float32)
        for place, channel in enumerate(channels):
            block, picture = divmod(channel, len(pictures))
            row, column = divmod(block, FOLD)
            maps[place] = views[picture][:, row, :, column]
        return maps

    def _shut(self) -> None:
        if self._task is not None:
            with contextlib.suppress(Exception):  # closing a failed graph reports its old error
                self._task.close()
            self._task = None

    def close(self) -> None:
        """Free the task. May be called twice."""
        self._closed = True
        self._shut()
