"""A picture of coloured blocks on which any runtime can be compared with PyTorch."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from models.training.architecture import INPUT_HEIGHT, INPUT_WIDTH

SEED, BLOCK = 20, 8


def probe() -> NDArray[np.uint8]:
    """Return a fixed picture of random blocks (192, 320, 3), RGB."""
    rng = np.random.default_rng(SEED)
    size = (INPUT_HEIGHT // BLOCK, INPUT_WIDTH // BLOCK, 3)
    return np.kron(rng.integers(0, 256, size, dtype=np.uint8), np.ones((BLOCK, BLOCK, 1), np.uint8))
