"""Head bob: how the poll moves up and down against the withers within the stride."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gait.measure.lane import Lane
from gait.measure.result import Measure, known, missing
from gait.measure.rhythm import stride_count, too_few_strides
from gait.measure.timetable import Timetable

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

UNIT = "% of withers height"
NAMES = ("head_bob_a1_pct", "head_bob_a2_pct", "head_bob_range_pct", "head_bob_ratio")
LOW_HEAD = 0.6
"""A poll below this share of the withers height is a head at the floor or in feed; ours."""
SHORTEST_HEAD_BL = 0.2
"""A head (muzzle to poll) shorter than this in the picture is turned to or from the camera."""
HEAD_STIFFNESS = 0.5
"""Share of a changed head length in the picture that is put down to the poll, which has no sharp
place; the rest to a head seen at an angle, which nods longer and shorter. Ours: on 70 drawn films,
with heads seen square, A1 errs by 0.12 % with a half, 0.13 with all and 0.19 with none of it; on 39
rigged ones, whose poll hangs half on the neck, by 0.32 with a half and 0.34 with none."""
LOOK_STRIDES = 0.15
"""Frames closer than this are hardly two looks at the head, strides; ours."""
LEAST_SEEN, LEAST_HEADS = 0.6, 10
LEAST_STRIDES_SEEN = 1.5
LANDMARK_ERROR_PCT, LANDMARK_ERROR_SHARE = 0.10, 0.05
"""Stride-locked error of poll and withers landmarks: % of withers height, and share of the bob
once a stride, since the landmarks slide a little on a head that nods; ours, from drawn films."""
CARRIAGE_ERROR, ONE_LOOK = 0.005, 0.04
"""Error of the head's carriage that all frames share, and that of a single look; ours."""
RANGE_FACTOR = 1.6
"""Error of highest minus lowest, as a multiple of that of both amplitudes together; ours."""
CLIPPED_FACTOR = 2.5
"""By how much that error grows when frames in which the edge cuts her must be taken too; ours."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Harmonics:
    """A curve with one and two turns a stride, fitted to a noisy trace.

    Parameters
    ----------
    first, second : complex
        Amplitude and phase: the curve is the real part of
        ``first * exp(2 pi i s) + second * exp(4 pi i s)`` with s in strides.
    first_se, second_se : float
        Standard errors of the amplitudes.
    """

    first: complex
    second: complex
    first_se: float
    second_se: float

    def curve(self, strides: FloatArray) -> FloatArray:
        """Return the curve without its mean and drift."""
        turn = np.exp(2j * np.pi * np.asarray(strides))
        result: FloatArray = (self.first * turn + self.second * turn**2).real
        return result


def fit_harmonics(strides: FloatArray, trace: FloatArray) -> Harmonics:
    """Fit one and two oscillations a stride together with a slow drift.

    Parameters
    ----------
    strides : ndarray, shape (n,)
        Strides done at each frame, need not be evenly spaced; at least one and a half in all.
    trace : ndarray, shape (n,)
        The height, any unit; NaN is left out.

    Returns
    -------
    Harmonics
        Amplitudes in the unit of the trace. Their errors allow for frames that err alike.

    Notes
    -----
    Joint least squares with Huber weights, not a Fourier transform: a pass is not a whole
    number of strides, and the drift of a head slowly raised would leak into the first harmonic.

    References
    ----------
    Harmonics of the trunk's motion as a measure of lameness: Audigie et al. 2002 (horses).
    """
    seen = np.isfinite(trace)
    s, y = strides[seen], trace[seen]
    design = _design(s)
    found, weight = _fit_robustly(design, y)
    rest = y - design @ found
    variance = np.diag(_covariance(design, rest * np.sqrt(weight), s))
    return Harmonics(
        first=complex(found[0], -found[1]),
        second=complex(found[2], -found[3]),
        first_se=float(np.sqrt((variance[0] + variance[1]) / 2)),
        second_se=float(np.sqrt((variance[2] + variance[3]) / 2)),
    )


def _fit_robustly(design: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the coefficients of a least squares fit with Huber weights, and the weights."""
    weight: FloatArray = np.ones(len(y))
    for _ in range(6):
        root = np.sqrt(weight)
        solved = np.linalg.lstsq(design * root[:, None], y * root, rcond=None)[0]
        found = np.asarray(solved, np.float64)
        rest = y - design @ found
        scale = max(1.4826 * float(np.median(np.abs(rest))), 1e-9)
        weight = np.minimum(1.0, 2.0 * scale / np.maximum(np.abs(rest), 1e-12))
    return found, weight


def _design(s: FloatArray) -> FloatArray:
    """Return columns: cos and sin once and twice a stride, then the slow drift."""
    span = max(float(np.ptp(s)), 1e-9)
    centred = 2 * (s - s.min()) / span - 1
    degree = 1 if span < 2 else 2 if span < 4 else 3
    turn = 2 * np.pi * s
    waves = [np.cos(turn), np.sin(turn), np.cos(2 * turn), np.sin(2 * turn)]
    drift = list(np.polynomial.legendre.legvander(centred, degree).T)
    return np.stack([*waves, *drift], axis=1)


def _covariance(design: FloatArray, rest: FloatArray, s: FloatArray) -> FloatArray:
    """Return a covariance of the fit that allows for errors alike within a third of a stride."""
    inverse = np.linalg.pinv(design.T @ design)
    score = design * rest[:, None]
    distance = np.abs(s[:, None] - s[None, :])
    alike = np.clip(1 - distance / 0.35, 0, 1)
    # frames err alike, so a short pass holds few independent looks for as many unknowns
    looks = min(float(np.ptp(s)) / LOOK_STRIDES, float(len(rest)))
    growth = looks / max(looks - design.shape[1], 2.0)
    result: FloatArray = inverse @ (score.T @ alike @ score) @ inverse * growth
    return result


def amplitude_without_noise(amplitude: float, error: float) -> float:
    """Return an amplitude with the part taken off that noise alone adds to its square.

    Parameters
    ----------
    amplitude, error : float
        Length of a vector of two components, each with standard error `error`.

    Returns
    -------
    float
        sqrt(max(amplitude^2 - 2 error^2, 0)): without bias in its square.
    """
    return float(np.sqrt(max(amplitude**2 - 2 * error**2, 0.0)))


def measure_head(lane: Lane, table: Timetable | None) -> dict[str, Measure]:
    """Measure head bob and head carriage.

    Parameters
    ----------
    lane : Lane
        The cow in lane coordinates.
    table : Timetable or None
        Gives the stride to which the bob is fitted.

    Returns
    -------
    dict of str to Measure
        ``head_bob_a1_pct`` and ``head_bob_a2_pct`` (amplitudes once and twice a stride),
        ``head_bob_range_pct`` (highest minus lowest of the fitted curve), all % of withers
        height; ``head_bob_ratio`` (first over second); ``head_height_ratio`` (poll height over
        withers height).
    """
    height, usable, reason = _head(lane)
    whole = usable & lane.whole
    carriage = _carriage(lane, height, whole if whole.any() else usable, reason, table)
    reason = too_few_strides(table) or reason or _too_short(lane, table, usable)
    if reason is not None or table is None:
        return {name: missing(UNIT, reason or "") for name in NAMES} | carriage
    # the network sees the head worse where the frame's edge cuts the cow
    clipped = _too_short(lane, table, whole) is not None
    chosen = usable if clipped else whole
    trace = np.where(chosen, 100 * height / lane.withers_height_px, np.nan)
    fit = fit_harmonics(table.strides_done(lane.time_s), trace)
    error = LANDMARK_ERROR_PCT * (CLIPPED_FACTOR if clipped else 1.0)
    return _bob(fit, error, stride_count(table)) | carriage


def steady_poll(lane: Lane) -> FloatArray:
    """Return the height of the poll, steadied by the head's length.

    A head is stiff: its length in the picture changes only slowly, on its way past the camera and
    when it is turned. Its muzzle has a sharp place, its poll lies somewhere on the outline and
    slides there while the head nods; so it is put back towards its distance from the muzzle.

    Parameters
    ----------
    lane : Lane

    Returns
    -------
    ndarray, shape (n,)
        Ground px, rising upwards. As seen where the muzzle was not.
    """
    (poll_x, poll), (muzzle_x, muzzle) = lane.of("poll"), lane.of("muzzle")
    length = np.hypot(poll_x - muzzle_x, poll - muzzle)
    seen = np.isfinite(length)
    if seen.sum() < LEAST_HEADS:
        return poll
    time_s = lane.time_s - lane.time_s[0]
    slow = np.polynomial.legendre.legvander(2 * time_s / max(time_s[-1], 1e-9) - 1, 2)
    usual = slow @ _fit_robustly(slow[seen], length[seen])[0]
    steadied = poll + HEAD_STIFFNESS * (usual / np.maximum(length, 1e-9) - 1) * (poll - muzzle)
    result: FloatArray = np.where(seen, steadied, poll)
    return result


def _head(lane: Lane) -> tuple[FloatArray, BoolArray, str | None]:
    """Return poll above withers, the frames in which it counts, and why it does not at all."""
    poll_x, poll = lane.of("poll")
    muzzle_x, muzzle = lane.of("muzzle")
    height = steady_poll(lane) - lane.withers_up
    seen = np.isfinite(height)
    if not np.isfinite(lane.withers_height_px):
        return height, seen, "The hooves or the withers were not seen, so heights have no measure."
    if not seen.any():
        return height, seen, "Head and withers were never seen together. Film the whole cow."
    low = height < (LOW_HEAD - 1) * lane.withers_height_px
    length = np.hypot(poll_x - muzzle_x, poll - muzzle) / lane.body_length_px
    turned = length < SHORTEST_HEAD_BL
    usable = seen & ~low & ~turned
    if usable.sum() >= LEAST_SEEN * seen.sum():
        return height, usable, None
    if low.sum() >= turned.sum():
        return height, usable, "She carries her head at the floor. Film her while she walks on."
    return height, usable, "Her head is turned to or from the camera. Film her from the side again."


def _too_short(lane: Lane, table: Timetable | None, usable: BoolArray) -> str | None:
    if table is None:
        return None
    s = table.strides_done(lane.time_s[usable])
    # how many of the sixths of a stride hold a usable frame, summed over the pass
    covered = len(np.unique(np.floor(6 * s))) / 6
    if covered < LEAST_STRIDES_SEEN:
        return "Her head was seen for less than one and a half strides. Film a longer stretch."
    return None


def _bob(fit: Harmonics, landmark_error: float, strides: int) -> dict[str, Measure]:
    landmark_error = float(np.hypot(landmark_error, LANDMARK_ERROR_SHARE * abs(fit.first)))
    first_se = float(np.hypot(fit.first_se, landmark_error))
    second_se = float(np.hypot(fit.second_se, landmark_error))
    first = amplitude_without_noise(abs(fit.first), fit.first_se)
    second = amplitude_without_noise(abs(fit.second), fit.second_se)
    curve = fit.curve(np.linspace(0, 1, 200, endpoint=False))
    return {
        "head_bob_a1_pct": known(first, first_se, UNIT, strides),
        "head_bob_a2_pct": known(second, second_se, UNIT, strides),
        "head_bob_range_pct": known(
            np.ptp(curve), RANGE_FACTOR * np.hypot(first_se, second_se), UNIT, strides
        ),
        "head_bob_ratio": _ratio(first, second, first_se, second_se, strides),
    }


def _ratio(first: float, second: float, first_se: float, second_se: float, strides: int) -> Measure:
    if second < 2 * second_se:
        return missing("1", "The bob twice a stride is too small to divide by.", strides)
    ratio = first / second
    return known(ratio, np.hypot(first_se, ratio * second_se) / second, "1", strides)


def _carriage(
    lane: Lane, height: FloatArray, usable: BoolArray, reason: str | None, table: Timetable | None
) -> dict[str, Measure]:
    strides = 0 if table is None else stride_count(table)
    if reason is not None:
        return {"head_height_ratio": missing("1", reason, strides)}
    ratio = 1 + height[usable] / lane.withers_height_px
    # heads are carried through the stride: two frames of one stride are not two looks
    looks = max(2.0 * strides, 1.0)
    # and what is a nod of hers cancels over whole strides
    error = np.hypot(0.5 * ratio.std() / np.sqrt(looks), CARRIAGE_ERROR if strides else ONE_LOOK)
    return {"head_height_ratio": known(ratio.mean(), error, "1", strides)}
