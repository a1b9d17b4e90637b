"""The network's card: which file it is, its size, and what each of its maps means."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gait.errors import ModelFileInvalid
from gait.landmarks import LANDMARKS

CHANNELS: tuple[str, ...] = (
    *LANDMARKS,
    "silhouette",
    "centre",
    "box_left",
    "box_top",
    "box_right",
    "box_bottom",
)
FOLD = 2
"""Maps along each side of a block in the pictures that the network hands over."""
_HINT = "Install the program again; the network file and its card come together."


@dataclass(frozen=True, kw_only=True)
class NetworkCard:
    """What a reader of the network's maps must know.

    Parameters
    ----------
    file : Path
        The network, checked against its hash.
    version : str
        Version of the network.
    width, height : int
        Input size, px.
    stride : int
        Input px for each cell of the maps.
    crop_growth : float
        Share by which a box is grown before it is looked into.
    finder_threshold : float
        Least height of a peak of the centre map that counts as a cow.
    """

    file: Path
    version: str
    width: int
    height: int
    stride: int
    crop_growth: float
    finder_threshold: float


def read_card(model_path: Path) -> NetworkCard:
    """Read the card beside a network file and check that the file is the one it describes.

    Parameters
    ----------
    model_path : Path
        The ``.tflite`` file; its card has the same name and ends in ``.json``.

    Raises
    ------
    ModelFileInvalid
        If file or card is missing, the hash differs, or the maps are not those of this program.
    """
    card_path = model_path.with_suffix(".json")
    try:
        card = json.loads(card_path.read_text(encoding="utf-8"))
        digest = hashlib.sha256(model_path.read_bytes()).hexdigest()
    except FileNotFoundError as error:
        name = Path(error.filename).name
        raise ModelFileInvalid(f"The network's file {name} is missing.", _HINT) from error
    except (OSError, ValueError, RecursionError) as error:
        raise ModelFileInvalid(
            f"The network's card {card_path.name} cannot be read.", _HINT
        ) from error
    if not isinstance(card, dict) or card.get("sha256") != digest:
        raise ModelFileInvalid(
            f"The network file {model_path.name} is not the one its card describes.", _HINT
        )
    return _checked(card, model_path)


def _checked(card: dict[str, Any], model_path: Path) -> NetworkCard:
    try:
        channels, fold = tuple(card["output"]["channels"]), card["output"].get("fold")
        read = NetworkCard(
            file=model_path,
            version=str(card["version"]),
            width=int(card["input"]["width"]),
            height=int(card["input"]["height"]),
            stride=int(card["output"]["stride"]),
            crop_growth=float(card["crop_growth"]),
            finder_threshold=float(card.get("finder_threshold", 0.3)),
        )
    except (KeyError, TypeError, ValueError, OverflowError) as error:
        raise ModelFileInvalid("The network's card lacks an entry.", _HINT) from error
    if min(read.width, read.height, read.stride) < 1:
        raise ModelFileInvalid("The network's card gives a size of nothing.", _HINT)
    # pictures of another size than the input's would be scaled by MediaPipe
    whole = not (read.width % FOLD or read.height % FOLD)
    if channels != CHANNELS or not (read.stride == fold == FOLD and whole):
        raise ModelFileInvalid("The network gives other maps than this program reads.", _HINT)
    return read
