"""Shares of lame cows against published tables."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gait.errors import MeasureError
from gait.statistics.prevalence import (
    corrected_share,
    cows_to_score,
    wald_half_width,
    wilson_share,
    z_of,
)


# Newcombe 1998, Stat Med 17:857, Table I, method 3 (the first four rows; that these are his
# rows is from memory); 23/60 from the VassarStats page. The last two computed for herds.
@pytest.mark.parametrize(
    ("count", "total", "low", "high"),
    [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611),
        (1, 29, 0.0061, 0.1718),
        (23, 60, 0.2709, 0.5098),
        (10, 49, 0.1148, 0.3364),
        (5, 50, 0.0435, 0.2136),
    ],
)
def test_the_interval_is_that_of_the_published_table(
    count: int, total: int, low: float, high: float
) -> None:
    share = wilson_share(count, total)
    assert share.low == pytest.approx(low, abs=5e-5)
    assert share.high == pytest.approx(high, abs=5e-5)
    assert share.value == count / total


def test_the_interval_agrees_with_a_reference_library() -> None:
    proportion_confint = pytest.importorskip("statsmodels.stats.proportion").proportion_confint
    for count, total in ((0, 1), (3, 7), (7, 7), (60, 411)):
        low, high = proportion_confint(count, total, alpha=0.1, method="wilson")
        ours = wilson_share(count, total, level=0.90)
        assert (ours.low, ours.high) == pytest.approx((low, high), abs=1e-12)


@given(st.integers(1, 300), st.data())
def test_the_interval_holds_the_share_and_narrows_within_a_small_herd(
    total: int, data: st.DataObject
) -> None:
    count = data.draw(st.integers(0, total))
    herd = total + data.draw(st.integers(1, 500))
    wide, narrow = wilson_share(count, total), wilson_share(count, total, herd_size=herd)
    assert 0 <= wide.low <= wide.value <= wide.high <= 1
    assert wide.low <= narrow.low + 1e-12
    assert narrow.high <= wide.high + 1e-12
    assert narrow.low <= narrow.value <= narrow.high
    whole = wilson_share(count, total, herd_size=total)
    assert whole.low == whole.value == whole.high


def test_no_cow_scored_gives_no_number() -> None:
    share = wilson_share(0, 0)
    assert math.isnan(share.value)
    assert math.isnan(share.low)
    assert math.isnan(share.high)
    assert share.note == "No cow was scored."


def test_numbers_that_are_no_share_are_refused() -> None:
    with pytest.raises(MeasureError, match="7 of 5 cows"):
        wilson_share(7, 5)
    with pytest.raises(MeasureError, match="herd has only 40"):
        wilson_share(1, 50, herd_size=40)


# Sprecher, Hostetler and Kaneene 1997, Theriogenology 47:1179: 66 cows, mean score over 2 as a
# test for culling: predictive values 35 % and 100 %. The table follows from their 65.2 % lame
# and 22.7 % culled.
def test_the_predictive_values_of_sprecher_1997_come_out() -> None:
    culled_lame, kept_lame, culled_sound, kept_sound = 15, 28, 0, 23
    lame, sound = culled_lame + kept_lame, culled_sound + kept_sound
    assert round(100 * lame / 66, 1) == 65.2
    assert round(100 * (culled_lame + culled_sound) / 66, 1) == 22.7
    positive = wilson_share(culled_lame, lame)
    negative = wilson_share(kept_sound, sound)
    assert positive.value == pytest.approx(0.3488, abs=5e-5)
    assert round(100 * positive.value) == 35
    assert round(100 * negative.value) == 100
    assert negative.high == 1.0
    assert wilson_share(kept_sound, kept_sound + kept_lame).value == pytest.approx(0.4510, abs=5e-5)


# Welfare Quality assessment protocol for cattle (2009), suggestion A, table of herd size and
# cows to score (from memory; all rows reproduced by the formula).
WELFARE_QUALITY = {
    30: 30, 40: 30, 50: 33, 60: 37, 70: 41, 80: 44, 90: 47, 100: 49, 110: 52, 120: 54, 130: 55,
    140: 57, 150: 59, 160: 60, 170: 62, 180: 63, 190: 64, 200: 65, 210: 66, 220: 67, 230: 68,
    240: 69, 250: 70, 260: 70, 270: 71, 280: 72, 290: 72, 300: 73,
}  # fmt: skip


@pytest.mark.parametrize(("herd", "cows"), WELFARE_QUALITY.items())
def test_cows_to_score_are_those_of_the_welfare_quality_table(herd: int, cows: int) -> None:
    found = cows_to_score(
        herd, expected_share=0.5, half_width=0.10, z=1.96, least=30, cautious=False
    )
    assert found == cows


# Computed by hand from n0 = z^2 p (1 - p) / d^2 = 288.11 for p 0.25, d 0.05.
@pytest.mark.parametrize(
    ("herd", "cows"), [(50, 43), (100, 75), (200, 119), (500, 184), (1000, 224)]
)
def test_cows_to_score_for_a_quarter_lame_within_five_points(herd: int, cows: int) -> None:
    assert cows_to_score(herd, expected_share=0.25, half_width=0.05) == cows


def test_the_plain_half_width_shrinks_by_the_herd_correction() -> None:
    # 20 of 65 from 200: 0.1122 without, times 0.8236 (hand-worked)
    assert wald_half_width(20, 65, 200) == pytest.approx(0.0924, abs=1e-4)
    assert wald_half_width(20, 65, 10**9) == pytest.approx(0.1122, abs=1e-4)


# Rogan and Gladen 1978; the first two examples are those of the epiR manual (epi.prev).
@pytest.mark.parametrize(
    ("count", "total", "sensitivity", "specificity", "share"),
    [
        (23, 150, 0.96, 0.89, 0.05098),
        (6, 151, 0.964, 0.927, 0.0),
        (30, 100, 0.90, 0.95, 0.294118),
        (20, 100, 0.80, 0.90, 0.142857),
    ],
)
def test_the_share_is_corrected_for_the_scorers_known_error(
    count: int, total: int, sensitivity: float, specificity: float, share: float
) -> None:
    found = corrected_share(count, total, sensitivity=sensitivity, specificity=specificity)
    assert found.value == pytest.approx(share, abs=1e-5)
    assert found.low <= found.value <= found.high
    assert bool(found.note) == (share == 0.0)


def test_a_scorer_without_error_changes_nothing() -> None:
    share = corrected_share(9, 40, sensitivity=1, specificity=1)
    assert share.value == pytest.approx(9 / 40)


def test_a_scorer_no_better_than_chance_cannot_be_corrected_for() -> None:
    with pytest.raises(MeasureError, match="by chance"):
        corrected_share(9, 40, sensitivity=0.4, specificity=0.6)


def test_the_normal_quantile() -> None:
    assert z_of(0.95) == pytest.approx(1.959964, abs=1e-6)
