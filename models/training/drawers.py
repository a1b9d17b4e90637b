"""Draw batches in processes of their own, so that the network never waits for a picture.

Drawing takes thousands of small steps on the GPU and is bound by the number of calls; several
processes, on a second GPU where there is one, keep up with the training.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Iterator
from pathlib import Path

import torch
from torch import Tensor
from torch import multiprocessing as mp

from models.training.album import Album, Mixture
from models.training.scene import Scenes, split

STOCK = 3
"""Batches drawn at once."""
WAITING = 4
"""Stocks that may wait to be fetched, and batches that wait on the training's GPU."""


def _packed(scenes: Scenes) -> dict[str, Tensor]:
    """Shrink a batch for its way to the other process."""
    parts = {k: v.cpu() for k, v in scenes.__dict__.items()}
    parts["image"] = (parts["image"].nan_to_num(0.5).clamp(0, 1) * 255).round().to(torch.uint8)
    parts["silhouette"] = parts["silhouette"].half()
    return parts


def _unpacked(parts: dict[str, Tensor], device: str) -> Scenes:
    moved = {k: v.to(device, non_blocking=True) for k, v in parts.items()}
    moved["image"] = moved["image"].float() / 255
    moved["silhouette"] = moved["silhouette"].float()
    return Scenes(**moved)


def _draw(
    data: Path, device: str, seed: int, mixture: Mixture, fetched: mp.Queue, done: mp.Event
) -> None:
    """Draw until told to stop."""
    torch.set_num_threads(2)
    torch.manual_seed(seed)
    album = Album(data, device)
    while not done.is_set():
        with torch.no_grad():
            stock = split(album.batch(mixture.times(STOCK)), STOCK)
        for scenes in stock:
            fetched.put(_packed(scenes))
    fetched.cancel_join_thread()


class Drawers:
    """Batches drawn elsewhere, as an endless iterator.

    Parameters
    ----------
    data : Path
        The training file.
    device : str
        Where the batches are wanted.
    drawing : list of str
        Where they are drawn: one process is started for each entry.
    mixture : Mixture
    seed : int
    """

    def __init__(
        self, data: Path, device: str, drawing: list[str], mixture: Mixture, seed: int
    ) -> None:
        context = mp.get_context("spawn")
        self._fetched = context.Queue(WAITING * STOCK)
        self._done = context.Event()
        self._device = device
        self._ready: queue.Queue[Scenes] = queue.Queue(WAITING)
        self._processes = [
            context.Process(
                target=_draw, daemon=True,
                args=(data, place, seed + number, mixture, self._fetched, self._done),
            )
            for number, place in enumerate(drawing)
        ]  # fmt: skip
        for process in self._processes:
            process.start()
        threading.Thread(target=self._fetch, daemon=True).start()

    def _fetch(self) -> None:
        while not self._done.is_set():
            try:
                parts = self._fetched.get(timeout=5)
            except (queue.Empty, OSError, EOFError):
                continue  # A drawer that died takes the batches along that it had not handed over.
            self._ready.put(_unpacked(parts, self._device))

    def __iter__(self) -> Iterator[Scenes]:
        """Give batches on the training's device.

        Raises
        ------
        RuntimeError
            If no drawer is left.
        """
        while True:
            try:
                yield self._ready.get(timeout=120)
            except queue.Empty:
                if not any(p.is_alive() for p in self._processes):
                    raise RuntimeError("All drawing processes have stopped.") from None

    def close(self) -> None:
        """Stop drawing."""
        self._done.set()
        for process in self._processes:
            process.terminate()
