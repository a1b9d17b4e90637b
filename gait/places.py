"""Where the models, pages and clip generator are, in a checkout and in an installed wheel.

A wheel keeps them in one data folder beside the package, so that no generic name such as
``app`` or ``models`` can be imported from an environment.
"""

from __future__ import annotations

import sys
from pathlib import Path

_CHECKOUT = Path(__file__).resolve().parent.parent
_BUNDLE = _CHECKOUT / "exitlane_bundle"


def root() -> Path:
    """Return the folder that holds ``models``, ``app`` and ``synthetic_clips``."""
    return _BUNDLE if _BUNDLE.is_dir() else _CHECKOUT


def models() -> Path:
    """Return the folder of the network and score models."""
    return root() / "models"


def score_model() -> Path:
    """Return the score model that ships."""
    return models() / "score_published.json"


def add_bundle_to_path() -> None:
    """Let the clip generator and the pages be imported, also from an installed wheel."""
    folder = str(root())
    if folder not in sys.path:
        sys.path.insert(0, folder)
