"""The eighteen landmarks of a cow seen from the side, in the order the network gives them.

*Near* legs are those nearer to the camera, *far* legs those farther from it. Nothing here
means left or right.
"""

from __future__ import annotations

BACK_AND_HEAD: tuple[str, ...] = ("muzzle", "poll", "withers", "mid_back", "loin", "tailhead")
LEG_POINTS: tuple[str, ...] = (
    "carpus",
    "fore_fetlock",
    "fore_hoof",
    "hock",
    "hind_fetlock",
    "hind_hoof",
)
SIDES: tuple[str, ...] = ("near", "far")

LANDMARKS: tuple[str, ...] = BACK_AND_HEAD + tuple(
    f"{side}_{point}" for point in LEG_POINTS for side in SIDES
)
INDEX: dict[str, int] = {name: i for i, name in enumerate(LANDMARKS)}

HOOVES: tuple[str, ...] = ("near_hind_hoof", "near_fore_hoof", "far_hind_hoof", "far_fore_hoof")

SKELETON: tuple[tuple[str, str], ...] = (
    ("muzzle", "poll"),
    ("poll", "withers"),
    ("withers", "mid_back"),
    ("mid_back", "loin"),
    ("loin", "tailhead"),
    *(
        bone
        for side in SIDES
        for bone in (
            ("withers", f"{side}_carpus"),
            (f"{side}_carpus", f"{side}_fore_fetlock"),
            (f"{side}_fore_fetlock", f"{side}_fore_hoof"),
            ("loin", f"{side}_hock"),
            (f"{side}_hock", f"{side}_hind_fetlock"),
            (f"{side}_hind_fetlock", f"{side}_hind_hoof"),
        )
    ),
)
"""Pairs of landmarks joined by a line when a skeleton is drawn."""
