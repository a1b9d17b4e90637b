"""Near and far legs told apart over the whole pass, never by a frame alone.

First the prints of each pair of legs are found and dealt out to the two legs in turn
(`gait.track.footing`); then every sighting goes to the leg whose path it lies on. Where the network
gave both names to one leg, the other leg is unseen. A cow that takes too few steps for that, or
whose hooves slide in the picture so that prints say little, keeps the network's names, put right
only where a leg would have to jump.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from gait.landmarks import INDEX
from gait.track.footing import Print, find_prints, share_out
from gait.track.leg_paths import find_path, name_sightings, usual_stride, usual_swing_s
from gait.track.leg_swaps import exchanged_frames
from gait.track.passes import Pass

FloatArray = npt.NDArray[np.float64]
IndexArray = npt.NDArray[np.intp]

PAIRS: dict[str, tuple[str, str, str]] = {
    "hind": ("hind_hoof", "hind_fetlock", "hock"),
    "fore": ("fore_hoof", "fore_fetlock", "carpus"),
}
LEAST_FRAMES = 3
LEAST_TRUNK_PX = 10.0
LEAST_PRINTS = 4
UNSURE = 0.45
"""A landmark below this share of its usual confidence in the pass is not taken for a sighting."""
FARTHEST_FETLOCK = 0.22
"""A fetlock is not farther than this from its hoof along the lane, trunk lengths."""
PLAINLY_TWO, MOST_LEFT_OUT, LEAST_JUDGED = 0.15, 0.2, 10
"""Prints are not trusted when the paths through them leave out one of two plainly different hooves
(trunk lengths apart) in more than this share of frames. Drawn walks: 0.06 at most; a rigged cow
whose hooves slide, as they do when the camera's motion is not wholly taken out: 0.56 and more."""


def settle_legs(pass_: Pass) -> Pass:
    """Return the pass with near and far legs settled over all its frames.

    Parameters
    ----------
    pass_ : Pass
        Landmarks as the network gave them, shape (n, 18, 2), px.

    Returns
    -------
    Pass
        The same sightings under the names of the legs they belong to. A leg that the network did
        not see, because it gave both names to the other one, is NaN with confidence 0 there.
    """
    if len(pass_) < LEAST_FRAMES:
        return pass_
    ground = pass_.ground(pass_.points)
    size = _trunk_length(ground)
    if not size >= LEAST_TRUNK_PX:  # also when it is not known
        return pass_
    forward = np.array([1.0 if pass_.heading == "right" else -1.0, 1.0])
    lane = ground * forward / size
    pairs = {pair: _share_out_pair(pass_, lane, names) for pair, names in PAIRS.items()}
    pairs = _agree(pairs)
    points, confidence = pass_.points.copy(), pass_.confidence.copy()
    for pair, names in PAIRS.items():
        for name, source in _sources(pass_, lane, names, pairs[pair]).items():
            near_far = [INDEX[f"near_{name}"], INDEX[f"far_{name}"]]
            _take(points, near_far, source, np.nan)
            _take(confidence, near_far, source, 0.0)
    return replace(pass_, points=points, confidence=confidence)


def _trunk_length(ground: FloatArray) -> float:
    span = np.hypot(*(ground[:, INDEX["withers"]] - ground[:, INDEX["tailhead"]]).T)
    span = span[np.isfinite(span)]
    return float(np.median(span)) if span.size else float("nan")


def _take(array: FloatArray, near_far: list[int], source: IndexArray, empty: float) -> None:
    """Put into the near and far columns what `source` (n, 2) names: 0 near, 1 far, -1 nothing."""
    kept = array[:, near_far].copy()
    rows = np.arange(len(array))
    for side in (0, 1):
        from_side = source[:, side]
        array[:, near_far[side]] = kept[rows, np.maximum(from_side, 0)]
        array[from_side < 0, near_far[side]] = empty


def _sightings(pass_: Pass, lane: FloatArray, name: str) -> FloatArray:
    """Return what was named near and far of one landmark, shape (n, 2, 2), NaN where unsure."""
    columns = [INDEX[f"near_{name}"], INDEX[f"far_{name}"]]
    confidence = pass_.confidence[:, columns]
    seen = np.isfinite(pass_.points[:, columns]).all(axis=-1)
    if not seen.any():
        return np.full((len(pass_), 2, 2), np.nan)
    sure = seen & (confidence >= UNSURE * np.median(confidence[seen]))
    return np.where(sure[..., None], lane[:, columns], np.nan)


# --- prints of a pair --------------------------------------------------------------------------

Shared = tuple[list[Print], list[Print], float]


def _share_out_pair(pass_: Pass, lane: FloatArray, names: tuple[str, str, str]) -> Shared | None:
    hooves = _sightings(pass_, lane, names[0])
    prints = find_prints(pass_.time_s, hooves[..., 0], hooves[..., 1])
    near, far, sureness = share_out(prints)
    if len(near) + len(far) < LEAST_PRINTS or not near or not far:
        return None
    source, _ = _deal_hooves(pass_.time_s, hooves[..., 0], [near, far])
    if _share_left_out(hooves[..., 0], source) > MOST_LEFT_OUT:
        return None
    return near, far, sureness


def _deal_hooves(
    time_s: FloatArray, sightings: FloatArray, legs: list[list[Print]]
) -> tuple[IndexArray, FloatArray]:
    """Return sources (n, 2), and the places (n, 2) of both hooves by their paths."""
    swing_s, stride = usual_swing_s(legs), usual_stride(legs)
    paths = [find_path(leg, swing_s, stride, time_s, sightings) for leg in legs]
    at = np.stack([path.place(time_s) for path in paths], axis=1)
    loose = np.stack([path.looseness(time_s) for path in paths], axis=1)
    return name_sightings(sightings, at, loose), at


def _share_left_out(sightings: FloatArray, source: IndexArray) -> float:
    """Return the share of the frames with two plainly different hooves that lose one of them."""
    two = np.abs(sightings[:, 0] - sightings[:, 1]) > PLAINLY_TWO
    if two.sum() < LEAST_JUDGED:
        return 0.0
    return float((source[two] < 0).any(axis=1).mean())


def _agree(pairs: dict[str, Shared | None]) -> dict[str, Shared | None]:
    """Exchange the legs of the less sure pair when the footfall order of a walk demands it.

    In a walk the fore hoof comes down in the half stride after the hind hoof of its side.
    """
    hind, fore = pairs["hind"], pairs["fore"]
    if hind is None or fore is None:
        return pairs
    lag = _lag(hind, fore)
    if lag is None or lag < 0.55 or lag > 0.95:
        return pairs
    weaker = "hind" if hind[2] < fore[2] else "fore"
    near, far, sureness = hind if weaker == "hind" else fore
    return {**pairs, weaker: (far, near, -sureness)}


def _lag(hind: Shared, fore: Shared) -> float | None:
    """Return how long after the hind hoof the fore hoof of a side comes down, in strides."""
    starts = [np.array([p.first_s for p in leg]) for leg in (*hind[:2], *fore[:2])]
    gaps = np.concatenate([np.diff(s) for s in starts])
    if not gaps.size:
        return None
    stride = float(np.median(gaps))
    turns = [
        np.exp(2j * np.pi * (f - h) / stride)
        for side in (0, 1)
        for h in starts[side]
        for f in starts[2 + side]
    ]
    return float(np.angle(np.mean(turns)) / (2 * np.pi) % 1)


# --- sightings to legs -------------------------------------------------------------------------


def _sources(
    pass_: Pass, lane: FloatArray, names: tuple[str, str, str], shared: Shared | None
) -> dict[str, IndexArray]:
    """Return for each landmark of a pair which name's sighting each leg takes, shape (n, 2)."""
    if shared is None:
        columns = [[INDEX[f"{side}_{name}"] for name in names] for side in ("near", "far")]
        swapped = exchanged_frames(np.stack([lane[:, c] for c in columns], axis=1), pass_.time_s)
        source = np.where(swapped[:, None], [1, 0], [0, 1])
        return dict.fromkeys(names, source)
    hooves = _sightings(pass_, lane, names[0])
    hoof_source, at = _deal_hooves(pass_.time_s, hooves[..., 0], [shared[0], shared[1]])
    chosen = np.take_along_axis(hooves[..., 0], np.maximum(hoof_source, 0), axis=1)
    hoof_at = np.where(hoof_source >= 0, chosen, at)
    fetlocks = _sightings(pass_, lane, names[1])[..., 0]
    tight = np.full_like(hoof_at, FARTHEST_FETLOCK)
    return {
        names[0]: hoof_source,
        names[1]: name_sightings(fetlocks, hoof_at, tight),
        names[2]: _in_hoof_order(lane, names[2], hoof_at),
    }


def _in_hoof_order(lane: FloatArray, name: str, hoof_at: FloatArray) -> IndexArray:
    """Return sources for a joint: the joint farther ahead goes with the hoof farther ahead."""
    joints = lane[:, [INDEX[f"near_{name}"], INDEX[f"far_{name}"]], 0]
    ahead = (joints[:, 0] - joints[:, 1]) * (hoof_at[:, 0] - hoof_at[:, 1])
    clear = np.abs(hoof_at[:, 0] - hoof_at[:, 1]) > 0.1
    swap = clear & (ahead < 0)
    return np.where(swap[:, None], [1, 0], [0, 1]).astype(np.intp)
