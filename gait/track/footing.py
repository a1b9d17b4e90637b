"""Where the hooves of one pair of legs stood, and which of the two legs stood there.

The network sometimes names both legs near, or gives both names to one leg. Which leg it is does
not show in a frame, but it does in the pass: a planted hoof stays where it is, and the prints of
a pair, taken along the lane, belong to the two legs in turn.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

SAME_PLACE = 0.03
"""Two sightings closer than this (trunk lengths) are of one standing hoof."""
APART = 0.07
"""Prints are at least so far from each other, trunk lengths."""
LOOK_S = 0.2
STANDS = 0.55
"""A hoof stands where it is seen in this share of the frames within `LOOK_S`."""
LEAST_STANCE_S = 0.12
OVERLAP_S = 0.12
"""One hoof cannot stand in two prints at once for longer than this."""
IN_TURN = 8.0
"""Price, in frames, of giving two prints in a row to one leg (one between was missed)."""
VOTE = 0.5
"""Worth of a frame's name by the network beside a frame of standing."""


@dataclass(frozen=True, kw_only=True)
class Print:
    """One place where a hoof stood.

    Parameters
    ----------
    place : float
        Along the lane in trunk lengths, rising in the direction of the walk.
    down : float
        Height in the picture in trunk lengths, y down.
    first_s, last_s : float
        When it was seen standing there.
    frames : int
        In how many frames.
    near_votes : float
        Frames in which the network named it the near leg, less those in which the far one.
    """

    place: float
    down: float
    first_s: float
    last_s: float
    frames: int
    near_votes: float


def find_prints(time_s: FloatArray, place: FloatArray, down: FloatArray) -> list[Print]:
    """Find where hooves of a pair stood.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Time stamps.
    place, down : ndarray, shape (n, 2)
        Sightings named near and far: along the lane and down the picture, trunk lengths. NaN
        unseen.

    Returns
    -------
    list of Print
        In the order along the lane.
    """
    frame, name = np.nonzero(np.isfinite(place))
    if len(frame) < 4:
        return []
    x, t = place[frame, name], time_s[frame]
    standing = _stands(x, t, frame, time_s)
    order = np.argsort(x[standing])
    rows = np.flatnonzero(standing)[order]
    if not rows.size:
        return []
    breaks = np.flatnonzero(np.diff(x[rows]) > APART / 2) + 1
    found = []
    for group in np.split(rows, breaks):
        middle = float(np.median(x[group]))
        near = np.flatnonzero(np.abs(x - middle) < SAME_PLACE)
        seen = _longest_stay(np.unique(frame[near]), time_s)
        near = near[np.isin(frame[near], seen)]
        if time_s[seen[-1]] - time_s[seen[0]] < LEAST_STANCE_S:
            continue
        found.append(
            Print(
                place=middle,
                down=float(np.median(down[frame[near], name[near]])),
                first_s=float(time_s[seen[0]]),
                last_s=float(time_s[seen[-1]]),
                frames=len(seen),
                near_votes=float(_votes(frame[near], name[near])),
            )
        )
    return found


def _stands(
    x: FloatArray, t: FloatArray, frame: npt.NDArray[np.intp], time_s: FloatArray
) -> BoolArray:
    """Return for each sighting whether a hoof stays there for a while."""
    close = (np.abs(x[:, None] - x[None, :]) < SAME_PLACE) & (
        np.abs(t[:, None] - t[None, :]) <= LOOK_S
    )
    seen = np.zeros((len(x), len(time_s)), dtype=bool)
    for name_rows in _one_per_frame(frame):
        seen[:, frame[name_rows]] |= close[:, name_rows]
    about = (np.abs(t[:, None] - time_s[None, :]) <= LOOK_S).sum(axis=1)
    # at the moment of hoof-on or hoof-off only one side of the time around can show it standing
    return np.asarray(seen.sum(axis=1) >= np.maximum(STANDS * about, 4))


def _one_per_frame(frame: npt.NDArray[np.intp]) -> list[npt.NDArray[np.intp]]:
    """Split sightings so that no frame comes twice in a part."""
    first = np.concatenate([[True], np.diff(frame) > 0])
    return [np.flatnonzero(first), np.flatnonzero(~first)]


def _longest_stay(frames: npt.NDArray[np.intp], time_s: FloatArray) -> npt.NDArray[np.intp]:
    """Return the part of a list of frames without a long hole that has the most frames."""
    breaks = np.flatnonzero(np.diff(time_s[frames]) > 0.5) + 1
    return max(np.split(frames, breaks), key=len)


def _votes(frame: npt.NDArray[np.intp], name: npt.NDArray[np.intp]) -> float:
    """Return near names less far names; a frame that gives both names does not count."""
    frames, counts = np.unique(frame, return_counts=True)
    single = np.isin(frame, frames[counts == 1])
    return float((name[single] == 0).sum() - (name[single] == 1).sum())


def share_out(prints: list[Print]) -> tuple[list[Print], list[Print], float]:
    """Give each print to the near or the far leg, or to neither.

    Parameters
    ----------
    prints : list of Print
        In the order along the lane.

    Returns
    -------
    near, far : list of Print
        The prints of either leg in order.
    sureness : float
        By how many frames the network's names speak for this way round; negative if against.

    Notes
    -----
    Dynamic programming over (last print of the near leg, last of the far leg). A print is worth
    its frames and the network's names for it; two in a row for one leg cost, and one leg in
    two places at once is not allowed.
    """
    table: dict[tuple[int, int], tuple[float, tuple[int, ...]]] = {(-1, -1): (0.0, ())}
    for k, mark in enumerate(prints):
        grown = dict(table)  # a print may also be left out
        for (near, far), (score, chosen) in table.items():
            for side, last in ((0, near), (1, far)):
                if last >= 0 and not _can_follow(prints[last], mark):
                    continue
                vote = VOTE * mark.near_votes * (1 if side == 0 else -1)
                in_row = IN_TURN if chosen and chosen[-1] % 2 == side else 0.0
                total = score + mark.frames + vote - in_row
                state = (k, far) if side == 0 else (near, k)
                if state not in grown or grown[state][0] < total:
                    grown[state] = (total, (*chosen, 2 * k + side))
        table = grown
    _, best = max(table.values(), key=lambda entry: entry[0])
    near_prints = [prints[c // 2] for c in best if c % 2 == 0]
    far_prints = [prints[c // 2] for c in best if c % 2 == 1]
    sureness = sum(p.near_votes for p in near_prints) - sum(p.near_votes for p in far_prints)
    return near_prints, far_prints, sureness


def _can_follow(first: Print, second: Print) -> bool:
    """Tell whether one hoof can have stood in the first print and then in the second."""
    return second.first_s > first.last_s - OVERLAP_S and second.place > first.place + 2 * APART
