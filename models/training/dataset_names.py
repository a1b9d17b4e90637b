"""What is kept from training for the check on frames without cows."""

from __future__ import annotations

from pathlib import Path

TEST_PICTURES = ("astronaut", "chelsea", "bus", "zidane", "china", "rocket", "brick", "coins",
                 "motorcycle_right", "clock_motion", "hubble_deep_field", "text")  # fmt: skip
"""Pictures that Python packages ship, by file stem."""
TEST_ANIMALS = ("sheep", "gnu-baby-stand", "gnu-sitting", "camel", "donkey", "pig", "dingo",
                "wapiti")  # fmt: skip
"""Cut-outs of animals other than cattle (``animals.py``), by file stem."""


def pictures_kept_for_testing(folder: Path) -> list[Path]:
    """Return the files of a folder of cow-free pictures that training leaves out, sorted."""
    return [p for p in sorted(folder.rglob("*")) if p.stem in TEST_PICTURES]
