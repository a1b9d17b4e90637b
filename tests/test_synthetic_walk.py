"""The synthetic walk: planted feet, footfall order, speed, prints, asymmetry."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from synthetic_clips.cases import CASES
from synthetic_clips.recipes import cow_of_score
from synthetic_clips.scene import LEGS, Cow, with_limp
from synthetic_clips.walk import Walk

STEADY = Cow(stride_variation_pct=0.0, stride_duration_s=1.3, stride_length_bl=0.9)


def standing_times(walk: Walk, leg: str) -> list[np.ndarray]:
    falls = [fall for fall in walk.footfalls(0.0, 6.0) if fall.leg == leg]
    return [np.linspace(fall.on_s + 0.003, fall.off_s - 0.003, 15) for fall in falls]


@pytest.mark.parametrize("leg", LEGS)
def test_a_planted_hoof_does_not_move(leg: str) -> None:
    walk = Walk(with_limp(cow_of_score(3, 5), "left_fore", 0.6), 8.0)
    for times in standing_times(walk, leg):
        places = np.array([walk.foot(LEGS.index(leg), t)[0] for t in times])
        assert np.ptp(places, axis=0).max() == 0.0
        assert places[0, 2] == 0.0


@pytest.mark.parametrize("limp", [None, *LEGS])
def test_feet_come_down_in_the_order_of_the_walk(limp: str | None) -> None:
    cow = with_limp(STEADY, limp, 0.8) if limp else STEADY
    legs = [fall.leg for fall in Walk(cow, 10.0).footfalls(0.0, 10.0)]
    first = legs.index("left_hind")
    assert len(legs) > 16
    assert legs[first : first + 16] == list(LEGS) * 4


def test_speed_is_stride_length_over_stride_duration() -> None:
    walk = Walk(STEADY, 10.0)
    (x0, _, _), (x1, _, _) = (walk.place(float(walk.phase(t))) for t in (1.0, 9.0))
    assert (x1 - x0) / 8.0 == pytest.approx(STEADY.speed_m_s, rel=1e-3)
    expected = STEADY.stride_length_bl * STEADY.body_length_m / STEADY.stride_duration_s
    assert STEADY.speed_m_s == pytest.approx(expected)


def test_published_stride_length_and_duration_give_the_published_speed() -> None:
    # Flower, Sanderson & Weary 2005, J Dairy Sci 88:3166: 139.5 cm, 1.26 s, 1.11 m/s.
    cow = Cow(
        withers_height_m=1.43, trunk_length=1.05, stride_length_bl=1.395 / (1.43 * 1.05),
        stride_duration_s=1.26,
    )  # fmt: skip
    assert cow.speed_m_s == pytest.approx(1.11, rel=0.03)


@pytest.mark.parametrize("tracking", [-12.0, 0.0, 4.0])
@pytest.mark.parametrize("heading", ["left", "right"])
def test_hind_prints_lie_where_tracking_up_says(tracking: float, heading: str) -> None:
    cow = replace(STEADY, tracking_up_pct=tracking, heading=heading)
    walk = Walk(cow, 8.0)
    sign = 1 if heading == "right" else -1
    for hind, fore in ((0, 1), (2, 3)):
        ahead = sign * (walk.print_of(hind, 3)[0] - walk.print_of(fore, 2)[0])
        assert 100 * ahead / cow.body_length_m == pytest.approx(tracking, abs=1e-6)


def test_a_swing_joins_two_prints_and_lifts_the_hoof() -> None:
    walk = Walk(STEADY, 8.0)
    falls = [fall for fall in walk.footfalls(0.0, 6.0) if fall.leg == "right_fore"]
    leg = LEGS.index("right_fore")
    times = np.linspace(falls[0].off_s, falls[1].on_s, 60)
    path = np.array([walk.foot(leg, t)[0] for t in times])
    assert path[0, :2] == pytest.approx(falls[0].print_xyz[:2], abs=0.01)
    assert path[-1, :2] == pytest.approx(falls[1].print_xyz[:2], abs=0.01)
    assert 0.06 < path[:, 2].max() < 0.20
    assert np.all(np.diff(path[:, 0]) > -1e-9)


def test_a_step_asymmetry_comes_out_as_asked() -> None:
    cow = replace(STEADY, hind_step_asymmetry_pct=-20.0)
    falls = [fall for fall in Walk(cow, 8.0).footfalls(0.0, 8.0) if fall.leg.endswith("hind")]
    on = [fall.on_s for fall in falls if fall.stride < 5]
    first_is_left = falls[0].leg == "left_hind"
    left = np.diff(on)[(0 if first_is_left else 1) :: 2].mean()
    right = np.diff(on)[(1 if first_is_left else 0) :: 2].mean()
    assert 100 * (left - right) / ((left + right) / 2) == pytest.approx(-20.0, abs=0.5)


def test_a_sore_leg_stands_shorter_than_its_opposite() -> None:
    walk = Walk(with_limp(STEADY, "right_hind", 0.7), 8.0)
    stances = {
        leg: np.mean([f.off_s - f.on_s for f in walk.footfalls(0.0, 6.0) if f.leg == leg])
        for leg in LEGS
    }
    assert stances["right_hind"] < 0.95 * stances["left_hind"]
    assert stances["right_fore"] == pytest.approx(stances["left_fore"], rel=1e-3)


def test_lame_cows_walk_slower_with_shorter_and_longer_lasting_strides() -> None:
    # Directions of Flower, Sanderson & Weary 2005 (sound against sole ulcer).
    sound = [cow_of_score(1, seed) for seed in range(40)]
    lame = [cow_of_score(4, seed) for seed in range(40)]

    def mean(cows: list[Cow], name: str) -> float:
        return float(np.mean([getattr(cow, name) for cow in cows]))

    assert mean(lame, "speed_m_s") < mean(sound, "speed_m_s")
    assert mean(lame, "stride_length_bl") < mean(sound, "stride_length_bl")
    assert mean(lame, "stride_duration_s") > mean(sound, "stride_duration_s")
    assert mean(lame, "back_arch") > mean(sound, "back_arch") + 0.3
    assert mean(sound, "speed_m_s") == pytest.approx(1.11, abs=0.12)


def test_a_stop_stops_and_a_standing_cow_stands() -> None:
    scene = CASES["stopping"](1)
    walk = Walk(scene.cows[0], scene.duration_s)
    start = scene.cows[0].action_after_m / scene.cows[0].speed_m_s
    assert walk.rate(start + 2.0) == pytest.approx(0.0, abs=1e-9)
    assert walk.rate(start + 6.0) > 0.5 / scene.cows[0].stride_duration_s
    assert Walk(CASES["standing"](1).cows[0], 4.0).footfalls(0.0, 4.0) == []


def test_an_unknown_leg_or_coat_is_refused() -> None:
    with pytest.raises(ValueError, match="front_left"):
        with_limp(STEADY, "front_left", 0.5)
    with pytest.raises(ValueError, match="striped"):
        replace(STEADY, coat="striped")
