"""A film cut into passes in one forward read: finding, following, ending, numbering."""

from __future__ import annotations

import dataclasses
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from gait.clip import Frame
from gait.errors import ClipError
from gait.pose import Box
from gait.track.behind import Behind, EmptyLane
from gait.track.camera import CameraMotion
from gait.track.cow import Followed, Row
from gait.track.judge import make_pass
from gait.track.passes import Pass
from gait.track.seen import Network, Seen, look_closely
from gait.track.view import View
from gait.track.watch import Watch

FloatArray = npt.NDArray[np.float64]

IN_FLIGHT = 4
"""Frames being looked at while later ones are read; predictions rest on those before them."""
FIND_EVERY_S = 0.25
"""The finder looks at the whole frame this often while something moves."""
SHARPNESS_EVERY = 5
CAMERA_RESTS_AFTER_S = 1.0
"""Time without a cow after which the camera's motion is no longer followed."""
GAP_S = 1.0
"""A longer hole between two frames ends every pass: nobody knows what happened in it."""
DOUBLED_FRAMES = 8
"""Frames for which two tracks must show the same landmarks to be taken for one cow."""
PARKED_S = 3.0
"""A standing cow whose pass has ended is forgotten when the finder misses her this long."""
HIDES = 0.3
"""Share of her expected box that another cow must cover to explain why she is not seen."""
SAME_COW = 0.3
"""Overlap over union from which a found box is a cow already followed."""
INSIDE = 0.7
"""Share of a found box inside a followed cow's from which it may be a part of her ..."""
PART = 0.4
"""... if it is smaller than this share of her box."""


@dataclass(kw_only=True)
class _Step:
    """One frame on its way through the network."""

    frame: Frame
    view: View
    looks: list[tuple[Followed, Box, Future[Seen | None]]] = field(default_factory=list)
    finds: Future[list[Box]] | None = None


def follow(
    frames: Iterable[Frame], network: Network, *, keep_silhouettes: bool = False
) -> Iterator[Pass]:
    """Follow every cow through a film and give out her pass once it is over.

    Parameters
    ----------
    frames : iterable of Frame
        Read once, forward; memory does not grow with their number.
    network : Network
        An open `gait.pose.CowNetwork`. It is used from several threads.
    keep_silhouettes : bool
        Whether passes carry her outline in every frame.

    Yields
    ------
    Pass
        Numbered from 1 in order of appearance. A film without cows gives none.

    Raises
    ------
    ClipError
        What reading raised, after the passes seen until then have been given out.
    """
    lane = _Lane(network, keep_silhouettes)
    broken: ClipError | None = None
    try:
        source = iter(frames)
        while True:
            try:
                frame = next(source)
            except StopIteration:
                break
            except ClipError as error:
                broken = error
                break
            lane.take(frame)
            yield from lane.finished()
        lane.end()
        yield from lane.finished()
    finally:
        lane.close()
    if broken is not None:
        raise broken


class _Lane:
    """All cows in view, the frames under way, and the passes waiting for their number."""

    def __init__(self, network: Network, keep_silhouettes: bool) -> None:
        self._network, self._keep = network, keep_silhouettes
        self._find = getattr(network, "glimpse", network.find)
        self._sure_from = float(getattr(getattr(network, "card", None), "finder_threshold", 0.0))
        workers = int(getattr(network, "tasks", 1))
        self._pool = ThreadPoolExecutor(workers, thread_name_prefix="look")
        self._camera, self._watch, self._behind = CameraMotion(), Watch(), Behind()
        self._cows: list[Followed] = []
        self._parked: list[tuple[float, Box]] = []
        self._steps: deque[_Step] = deque()
        self._ended: dict[int, Pass | None] = {}
        self._appeared = self._numbered = self._passes = 0
        self._next_find_s = 0.0
        self._rest_from_s = -np.inf
        self._size = (0, 0)
        self._intervals: deque[float] = deque(maxlen=300)
        self._last_s: float | None = None

    def take(self, frame: Frame) -> None:
        """Send a frame on its way and settle those that went in some frames before."""
        while len(self._steps) >= self._allowed_in_flight():
            self._settle(self._steps.popleft())
        self._note_time(frame)
        if frame.is_blank:
            return
        image, now = frame.image, frame.time_s
        looks = [(cow, cow.predict(now)) for cow in self._cows]
        places = [box for _, box in looks]
        view = self._where_to(image, now, places)
        lane = self._behind.update(image, now, places, view)
        step = _Step(frame=frame, view=view)
        sharp = frame.index % SHARPNESS_EVERY == 0
        for cow, box in looks:
            step.looks.append((cow, box, self._pool.submit(self._look, image, box, lane, sharp)))
        if now >= self._next_find_s:
            held = [box for cow, box in looks if cow.is_held]
            unsure = len(held) < len(looks)
            wanted = self._watch.is_worth_a_find(image, now, held) or unsure
            if wanted:
                step.finds = self._pool.submit(self._find, image)
            if wanted or held:
                self._next_find_s = now + FIND_EVERY_S
        self._steps.append(step)

    def _where_to(self, image: npt.NDArray[np.uint8], time_s: float, cows: Sequence[Box]) -> View:
        """Return where the camera looks, against the empty lane if that was seen."""
        if cows:
            self._rest_from_s = time_s + CAMERA_RESTS_AFTER_S
        elif time_s >= self._rest_from_s:
            self._camera.reset()
            return View(width=image.shape[1])
        if self._camera.is_new and self._behind.picture is not None:
            self._camera.update(self._behind.picture, [])
        return self._camera.update(image, cows)

    def _allowed_in_flight(self) -> int:
        """Return how many frames may be under way; one when a prediction would be a mere guess."""
        return 1 if any(cow.is_unsettled for cow in self._cows) else IN_FLIGHT

    def _look(
        self, image: npt.NDArray[np.uint8], box: Box, lane: EmptyLane | None, sharp: bool
    ) -> Seen | None:
        return look_closely(self._network, image, box, lane=lane, with_sharpness=sharp)

    def _note_time(self, frame: Frame) -> None:
        self._size = (frame.image.shape[1], frame.image.shape[0])
        if self._last_s is not None:
            self._intervals.append(frame.time_s - self._last_s)
            if self._intervals[-1] > GAP_S:
                self.end()
        self._last_s = frame.time_s

    def _settle(self, step: _Step) -> None:
        seen = [(cow, box, future.result()) for cow, box, future in step.looks]
        seen = [(cow, box, one) for cow, box, one in seen if cow in self._cows]
        boxes = [one.box if one is not None else box for _, box, one in seen]
        for at, (cow, expected, one) in enumerate(seen):
            others = boxes[:at] + boxes[at + 1 :]
            if one is None or not cow.accepts(one, expected, cow.faces):
                covered = max((expected.common_area(o) for o in others), default=0.0)
                cow.miss(hidden=covered > HIDES * expected.area)
                continue
            overlap = max((one.box.common_area(o) / one.box.area for o in others), default=0.0)
            cow.add(
                Row(
                    frame=step.frame.index,
                    time_s=step.frame.time_s,
                    seen=_without_outline(one),
                    view=step.view,
                    overlap=float(overlap),
                    repeat=step.frame.is_repeat,
                    outline=_outline(one) if self._keep else None,
                ),
                self._size[0],
            )
        self._drop_doubles()
        if step.finds is not None:
            self._take_found(step.finds.result(), step.frame.time_s)
        self._end_those_gone(step.frame.time_s)

    def _drop_doubles(self) -> None:
        """Stop following a cow twice: two tracks whose landmarks keep lying on each other."""
        for younger in list(self._cows):
            older = [c for c in self._cows if c.order < younger.order]
            if not any(_same_landmarks(cow, younger) for cow in older):
                younger.doubled = 0
                continue
            younger.doubled += 1
            if younger.doubled >= DOUBLED_FRAMES:
                younger.forget(DOUBLED_FRAMES)
                younger.ended = "lost"
                self._finish(younger)

    def _take_found(self, boxes: list[Box], time_s: float) -> None:
        self._parked = [(t, box) for t, box in self._parked if time_s - t < PARKED_S]
        boxes = [box for box in boxes if not self._is_parked(box, time_s)]
        expected = [cow.predict(time_s) for cow in self._cows]
        pairs = sorted(
            ((box.iou(at), b, c) for b, box in enumerate(boxes) for c, at in enumerate(expected)),
            reverse=True,
        )
        cows, taken = list(self._cows), set[int]()
        matched = set[int]()
        for overlap, b, c in pairs:
            if overlap >= SAME_COW and b not in taken and c not in matched:
                cows[c].refresh(time_s, boxes[b])
                taken.add(b)
                matched.add(c)
        for b, box in enumerate(boxes):
            if b not in taken and not any(_is_part(box, at) for at in expected):
                self._begin(time_s, box, is_glimpse=box.confidence < self._sure_from)

    def _begin(self, time_s: float, box: Box, *, is_glimpse: bool = False) -> None:
        """Follow a cow from here on."""
        self._cows.append(
            Followed(order=self._appeared, found_s=time_s, found=box, is_glimpse=is_glimpse)
        )
        self._appeared += 1

    def _is_parked(self, box: Box, time_s: float) -> bool:
        for place, (_, parked) in enumerate(self._parked):
            if parked.iou(box) > 0.5:
                self._parked[place] = (time_s, parked)
                return True
        return False

    def _end_those_gone(self, time_s: float) -> None:
        for cow in [c for c in self._cows if c.has_ended(time_s, self._size[0])]:
            self._finish(cow)
            self._next_find_s = 0.0  # she may still be there, or another in her place
            if cow.ended == "stands":
                self._parked.append((time_s, cow.rows[-1].seen.box))
            elif cow.ended == "turned":
                self._begin(time_s, cow.last_box)

    def _finish(self, cow: Followed) -> None:
        self._cows.remove(cow)
        fps = 1.0 / float(np.median(self._intervals)) if self._intervals else float("nan")
        self._ended[cow.order] = make_pass(cow, self._size, fps, keep_silhouettes=self._keep)

    def end(self) -> None:
        """Settle what is under way and end every cow still in view."""
        while self._steps:
            self._settle(self._steps.popleft())
        for cow in list(self._cows):
            self._finish(cow)

    def finished(self) -> Iterator[Pass]:
        """Yield passes whose turn has come: no cow that appeared earlier is still walking."""
        while self._numbered in self._ended:
            done = self._ended.pop(self._numbered)
            self._numbered += 1
            if done is not None:
                self._passes += 1
                yield dataclasses.replace(done, number=self._passes)

    def close(self) -> None:
        """Let go of the threads."""
        self._pool.shutdown(cancel_futures=True)


def _is_part(box: Box, cow: Box) -> bool:
    """Tell whether a found box is but a part of a cow already followed."""
    inside = box.common_area(cow) / max(box.area, 1.0)
    return inside > INSIDE and box.area < PART * cow.area


def _without_outline(seen: Seen) -> Seen:
    """Drop the silhouette, the largest part of a sighting, but keep where it lay."""
    empty = dataclasses.replace(seen.silhouette, probability=np.empty((0, 0), np.float32))
    return dataclasses.replace(seen, silhouette=empty)


def _outline(seen: Seen) -> npt.NDArray[np.uint8]:
    return np.asarray(255 * seen.silhouette.probability, np.uint8)


def _same_landmarks(one: Followed, other: Followed) -> bool:
    if not one.rows or not other.rows or one.rows[-1].frame != other.rows[-1].frame:
        return False
    a, b = one.rows[-1].seen, other.rows[-1].seen
    apart = np.hypot(*(a.points - b.points).T)
    if np.isnan(apart).mean() > 0.5:
        return False
    return bool(np.nanmedian(apart) < 0.03 * max(a.box.width, 1.0))
