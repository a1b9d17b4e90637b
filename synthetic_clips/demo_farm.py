"""The invented farm in the store, and its exit-lane film with the list of the order at the exit."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from gait.herd import records

from .cases import queue_up
from .demo_herd import FARM_NAME, MANAGER, PEOPLE, demo_herd, exit_order_csv, film_cows
from .film import write_clip
from .recipes import cow_of_score
from .scene import Camera, Cow, Lane, Light, Scene

if TYPE_CHECKING:
    from gait.store import Store

HERD_SEED = 1
FILM_SEED = 7
READER_LAG_S = 4.0
"""The gate reads the ear tag a few seconds after the cow has passed the camera."""


def load(store: Store, today: date | None = None, seed: int = HERD_SEED) -> None:
    """Put the invented farm into an empty store: people, herd, a year of scores, trims.

    Parameters
    ----------
    store : Store
        The farm's records, open.
    today : date, optional
        The day the history leads up to; the present day when left out.
    """
    from gait.farm import DEMO_SETTING
    from gait.herd.records import NewPass
    from gait.store.bulk import PastDecision, PastPass

    herd = demo_herd(today, seed)
    for name, roles in PEOPLE.items():
        store.people.put(name, roles)
    store.settings.put("farm_name", FARM_NAME, who=MANAGER)
    store.settings.put(DEMO_SETTING, True, who=MANAGER)
    passes = [
        PastPass(
            walk=NewPass(number=1, observed_at=seen.at),
            cow=seen.cow,
            who=seen.who,
            decisions=(
                PastDecision(
                    kind="confirmed",
                    who=seen.who,
                    at=seen.at + timedelta(minutes=20),
                    score=seen.score,
                    reason="seen by eye" if seen.why == "monthly" else "recheck by eye",
                    uid=f"demo-{seen.cow}-{seen.at:%Y%m%d}",
                ),
            ),
        )
        for seen in herd.scores
    ]
    store.bulk.load(cows=herd.cows, passes=passes, trims=herd.trims)


def exit_lane_scene(
    seed: int = FILM_SEED, today: date | None = None, count: int = 6
) -> tuple[Scene, list[records.Cow]]:
    """Return the exit-lane film's scene and the herd-list cows in the order they pass."""
    chosen = film_cows(demo_herd(today, HERD_SEED), seed, count)
    rng = np.random.default_rng((seed, 83))
    camera = Camera(field_m=7.4, distance_m=7.5, height_m=1.2, aim_z_m=0.8, seed=seed)
    walking = [_walking(cow, score, seed) for cow, score in chosen]
    lined, lasts_s = queue_up(walking, camera, rng, gap_s=(0.8, 2.0))
    scene = Scene(
        name="exit_lane",
        seed=seed,
        duration_s=lasts_s,
        cows=tuple(lined),
        camera=camera,
        light=Light(level=1.2, hardness=0.25, noise=0.8),
        lane=Lane(seed=seed, place="barn", wall_y_m=2.4, rails_back=3, rail_y_m=1.15, wet=0.4),
    )
    return scene, [cow for cow, _ in chosen]


def _walking(cow: records.Cow, score: int, seed: int) -> Cow:
    coat = {"Brown Swiss": "brown", "Jersey cross": "fawn"}.get(cow.breed or "", "black_white")
    number = int(cow.number)
    walking = cow_of_score(score, 1000 * seed + number, coat=coat, heading="right")
    return replace(walking, lane_y_m=0.1 * np.sin(number), horned=False)


def draw_film(
    path: Path,
    seed: int = FILM_SEED,
    *,
    on_progress: Callable[[float], None] | None = None,
    filmed_at: datetime | None = None,
    today: date | None = None,
) -> Path:
    """Draw the exit-lane film, with truth and the exit-order list beside it.

    Parameters
    ----------
    path : Path
        The film (.webm or .mp4); the list gets the same name with ``.csv``.
    on_progress : callable, optional
        Called with the share done, 0 to 1.
    filmed_at : datetime, optional
        Aware time of the first frame; an hour ago when left out. It becomes the file's own time.

    Returns
    -------
    Path
        The exit-order list.
    """
    scene, cows = exit_lane_scene(seed, today)
    told = (lambda done, of: on_progress(done / of)) if on_progress else None
    write_clip(scene, path, progress=told)
    start = filmed_at or datetime.now(UTC).replace(microsecond=0) - timedelta(hours=1)
    os.utime(path, (start.timestamp(), start.timestamp()))
    order = path.with_suffix(".csv")
    order.write_text(exit_order_csv(_read_times(scene, cows, start)), encoding="utf-8", newline="")
    return order


def exit_lane_film(path: Path, seed: int = FILM_SEED) -> Path:
    """Draw the film and return the exit-order list; short for :func:`draw_film`."""
    return draw_film(path, seed)


def _read_times(
    scene: Scene, cows: Sequence[records.Cow], start: datetime
) -> list[tuple[datetime, records.Cow]]:
    """When the gate's reader saw each cow: a few seconds after she crossed the picture's middle."""
    rng = np.random.default_rng((scene.seed, 84))
    seen = []
    for walking, cow in zip(scene.cows, cows, strict=True):
        middle = abs(walking.start_x_m - scene.camera.aim_x_m) / walking.speed_m_s
        late = READER_LAG_S + float(rng.normal(0, 0.7))
        seen.append((start + timedelta(seconds=middle + late), cow))
    return seen
