"""The timetable against events written down by hand."""

from __future__ import annotations

import numpy as np
import pytest

from gait.measure.rhythm import measure_rhythm, stride_count, too_few_strides
from gait.measure.swing_fit import Swing
from gait.measure.timetable import fit_timetable, keep_regular

NAN = float("nan")


def swing(off_s: float, on_s: float, way: tuple[float, float] = (0.0, 1.0)) -> Swing:
    return Swing(
        off_s=off_s, on_s=on_s, off_se_s=0.005, on_se_s=0.005,
        from_px=way[0], to_px=way[1], print_se_px=0.5,
    )  # fmt: skip


def walk(first_on: dict[str, float], stride: float, swing_s: float, count: int) -> dict:
    return {
        leg: [swing(on + k * stride - swing_s, on + k * stride) for k in range(count)]
        for leg, on in first_on.items()
    }


EVEN = {"near_hind": 1.0, "near_fore": 1.25, "far_hind": 1.5, "far_fore": 1.75}
"""A stride of 1 s, footfalls a quarter of a stride apart."""


def test_an_even_walk_gives_the_numbers_one_can_work_out_on_paper():
    # Stride 1 s, in the air for 0.4 s: stance 60 %. At any time 4 x 0.6 = 2.4 hooves stand, two
    # or three, so three of them for 40 % of the time.
    swings = walk(EVEN, 1.0, 0.4, 4)
    found = measure_rhythm(swings, fit_timetable(swings))
    assert found["stride_duration_s"].value == pytest.approx(1.0)
    assert found["stance_share_pct"].value == pytest.approx(60.0)
    assert found["triple_support_pct"].value == pytest.approx(40.0)
    assert found["step_time_asymmetry_pct"].value == pytest.approx(0.0, abs=1e-6)
    assert found["stance_time_asymmetry_pct"].value == pytest.approx(0.0, abs=1e-6)
    assert found["stride_duration_s"].strides == 3


def test_step_time_asymmetry_of_a_limp_worked_by_hand():
    # Far hind 30 ms late in a stride of 1 s: steps 0.53 and 0.47, 100 * 0.06 / 0.5 = 12 %.
    swings = walk(EVEN | {"far_hind": 1.53}, 1.0, 0.4, 4)
    found = measure_rhythm(swings, fit_timetable(swings))
    assert found["step_time_asymmetry_pct"].value == pytest.approx(12.0, abs=0.1)


def test_stance_time_asymmetry_is_the_relative_difference_of_a_pair():
    # Relative difference of the stance times of a pair, as in Alsaaod et al. 2017 (who read
    # 14.8 % in lame cows): 0.54 s against 0.60 s is 100 * 0.06 / 0.57 = 10.53 %.
    swings = walk(EVEN, 1.0, 0.4, 4)
    swings["near_hind"] = [swing(1.0 + k - 0.46, 1.0 + k) for k in range(4)]
    found = measure_rhythm(swings, fit_timetable(swings))
    assert found["stance_time_asymmetry_pct"].value == pytest.approx(10.526, abs=0.1)


def test_a_missed_swing_does_not_double_the_stride():
    swings = walk(EVEN, 1.0, 0.4, 5)
    del swings["far_fore"][2]
    del swings["near_hind"][1]
    table = fit_timetable(swings)
    assert table.stride_s == pytest.approx(1.0)
    assert table.strides["far_fore"] == 2  # the two strides around the gap were not seen
    assert measure_rhythm(swings, table)["stride_duration_s"].value == pytest.approx(1.0)


def test_a_walk_that_slows_down_is_not_taken_for_a_limp():
    swings = {
        leg: [swing(t - 0.4, t) for t in (on + k + 0.01 * (on + k) ** 2 for k in range(5))]
        for leg, on in EVEN.items()
    }
    found = measure_rhythm(swings, fit_timetable(swings))
    assert found["step_time_asymmetry_pct"].value < 1.0


def test_a_limp_is_told_from_strides_that_wander():
    # Far hind 30 ms late: 12 %, as above. A clock that runs now ahead, now behind by 25 ms, as with
    # strides that differ by some 3 %, moves all legs alike: it adds and takes nothing.
    for start in np.linspace(0, 1, 7):
        swings = {
            leg: [
                swing(*(t + 0.025 * np.sin(2 * np.pi * (t / 2.7 + start)) for t in (on - 0.4, on)))
                for on in first + np.arange(3)
            ]
            for leg, first in (EVEN | {"far_hind": 1.53}).items()
        }
        found = measure_rhythm(swings, fit_timetable(swings))["step_time_asymmetry_pct"]
        assert found.value == pytest.approx(12.0, abs=1.5), start


def test_one_wild_event_is_outvoted():
    swings = walk(EVEN, 1.0, 0.4, 5)
    swings["near_fore"][2] = swing(2.95, 3.49)  # true hoof-on at 3.25
    found = measure_rhythm(swings, fit_timetable(swings))
    assert found["step_time_asymmetry_pct"].value < 2.5


def test_a_swing_of_another_leg_is_left_out():
    swings = walk(EVEN, 1.0, 0.4, 4)
    swings["near_fore"].insert(0, swing(NAN, 0.75))  # that is the far fore's
    kept = keep_regular(swings)
    assert [s.on_s for s in kept["near_fore"]] == [1.25, 2.25, 3.25, 4.25]
    assert kept["far_hind"] == swings["far_hind"]


@pytest.mark.parametrize("count", [1, 2])
def test_too_few_strides_give_reasons_not_numbers(count):
    swings = walk(EVEN, 1.0, 0.4, count)
    table = fit_timetable(swings)
    assert too_few_strides(table)
    for measure in measure_rhythm(swings, table).values():
        assert np.isnan(measure.value)
        assert "Film" in measure.reason


def test_strides_are_counted_between_like_events():
    table = fit_timetable(walk(EVEN, 1.0, 0.4, 3))
    assert stride_count(table) == 2


def test_no_swings_no_timetable():
    assert fit_timetable({leg: [] for leg in EVEN}) is None
