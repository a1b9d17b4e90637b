"""The score model: monotone, honest about error and absence, readable and tamper-evident."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gait import places
from gait.errors import ModelFileInvalid
from gait.score import ScoreModel
from gait.score.combine import Combined, combine_clips
from gait.score.conformal import conformal_threshold, plausible_run
from gait.score.model import SLIP, MeasureTerm, index_probabilities
from gait.score.scales import MOBILITY_0_3, WELFARE_QUALITY, back_to_locomotion, on_scale
from gait.score.sentences import WORDS, nearest_score, reason_sentences, sentence

MODEL = ScoreModel.load(places.score_model())


def cow(z: float | list[float], error: float = 0.3) -> dict[str, Combined]:
    """Return measures z herd standard deviations worse than the middle cow."""
    worse = np.broadcast_to(z, len(MODEL.terms))
    return {
        t.name: Combined(
            value=t.centre + (1 if t.worse == "higher" else -1) * float(w) * t.scale,
            se=error * t.scale,
        )
        for t, w in zip(MODEL.terms, worse, strict=True)
    }


def missing(reason: str = "not seen.") -> Combined:
    return Combined(value=math.nan, se=math.nan, reason=reason)


def test_typical_cows_of_each_score_get_that_score() -> None:
    for score in range(1, 6):
        typical = {
            t.name: Combined(value=t.typical[score - 1], se=0.3 * t.scale) for t in MODEL.terms
        }
        assert MODEL.propose(typical).value == score


def test_order_of_the_weights_follows_ten_raters_of_58_films() -> None:
    # Schlageter-Tello et al. 2015: asymmetry > arch > {head bob, tracking up}.
    weight = dict(zip(MODEL.names, MODEL.weights, strict=True))
    assert weight["step_time_asymmetry_pct"] > weight["back_arch"]
    assert weight["back_arch"] > max(weight["head_bob_a1_pct"], weight["tracking_up_pct"])


@given(
    st.lists(st.floats(-3, 3), min_size=7, max_size=7),
    st.integers(0, 6),
    st.floats(0.01, 3),
    st.floats(0.05, 2),
    st.sets(st.integers(0, 6), max_size=4),
)
def test_walking_worse_never_lowers_the_score(
    z: list[float], which: int, more: float, error: float, gone: set[int]
) -> None:
    worse = list(z)
    worse[which] += more
    before, after = cow(z, error), cow(worse, error)
    for i in gone - {which}:
        before[MODEL.names[i]] = after[MODEL.names[i]] = missing()
    low, high = (np.cumsum(MODEL.probabilities(m)) for m in (before, after))
    assert (high <= low + 1e-9).all()


def test_a_poor_film_lowers_the_confidence() -> None:
    sure, unsure = MODEL.propose(cow(2.0, 0.1)), MODEL.propose(cow(2.0, 2.0))
    assert unsure.confidence < sure.confidence
    assert len(unsure.plausible) >= len(sure.plausible)


def test_a_missing_measure_is_integrated_out_not_filled() -> None:
    seen = cow(1.0)
    _, sd_all = MODEL.index(seen)
    seen["stride_duration_s"] = missing()
    mean, sd = MODEL.index(seen)
    assert sd > sd_all
    filled = dict(seen)
    filled["stride_duration_s"] = cow(0.0)["stride_duration_s"]
    assert mean > MODEL.index(filled)[0]


def test_posterior_matches_a_brute_force_sample() -> None:
    seen = cow([1, 0.5, 0, -1, 2, 1, 0], 0.6)
    seen["back_arch"] = missing()
    mean, cov = MODEL.posterior(seen)
    rng = np.random.default_rng(0)
    loading = np.array([t.loading for t in MODEL.terms])
    common = rng.normal(size=(400_000, 1))
    z = common * loading + rng.normal(size=(400_000, 7)) * np.sqrt(1 - loading**2)
    wanted = np.array([1, 0.5, 0, -1, 2, 1, 0], float)
    keep = [i for i, t in enumerate(MODEL.terms) if t.name != "back_arch"]
    weight = np.exp(-0.5 * (((z[:, keep] - wanted[keep]) / 0.6) ** 2).sum(1))
    brute = (weight[:, None] * z).sum(0) / weight.sum()
    assert mean == pytest.approx(brute, abs=0.03)
    spread = (weight[:, None] * (z - brute) ** 2).sum(0) / weight.sum()
    assert np.diag(cov) == pytest.approx(spread, abs=0.03)


def test_without_a_back_arch_a_person_has_to_look() -> None:
    seen = cow(0.0)
    seen["back_arch"] = missing("the back was hidden. Film from the side.")
    proposal = MODEL.propose(seen)
    assert proposal.value is None
    assert "Look yourself" in proposal.reasons[0]
    assert "Film from the side" in proposal.reasons[0]


def test_no_score_is_promised_beyond_what_experts_repeat() -> None:
    assert MODEL.propose(cow(9.0, 0.01)).confidence <= 1 - SLIP + 1e-9
    assert MODEL.probabilities(cow(9.0, 0.01)).sum() == pytest.approx(1)


def test_contributions_and_sentences_name_the_strongest_first() -> None:
    z = [0.0] * 7
    z[MODEL.names.index("back_arch")] = 4.0
    proposal = MODEL.propose(cow(z, 0.05))
    assert max(proposal.contributions, key=lambda n: proposal.contributions[n]) == "back_arch"
    assert proposal.reasons[0].startswith("back strongly arched")
    assert "pushes towards 5" in proposal.reasons[0]


def test_sentences_give_the_decimals_that_the_error_reaches() -> None:
    term = next(t for t in MODEL.terms if t.name == "step_time_asymmetry_pct")
    sure, unsure = (
        sentence(term, Combined(value=12.34, se=se), 0.5).split(";")[0] for se in (0.05, 1.6)
    )
    assert sure.endswith("(12.34 %")
    assert unsure.endswith("(12 %")
    none = sentence(term, Combined(value=0.0, se=1.6), -0.5)
    assert none == f"steps even (0 %; sound cows about {term.typical[0]:.0f}): speaks for 1"


@pytest.mark.parametrize("term", MODEL.terms, ids=lambda term: term.name)
def test_the_words_of_a_reason_never_contradict_its_push(term: MeasureTerm) -> None:
    sound, *worse = WORDS[term.name]
    steps_worse = [i / 10 for i in range(-30, 61) if i]
    sign = 1 if term.worse == "higher" else -1
    for z in steps_worse:
        value = term.centre + sign * z * term.scale
        for points in (-0.4, 0.4):
            seen = Combined(value=value, se=term.scale / 100)
            told = reason_sentences([term], {term.name: seen}, {term.name: points})
            if points * z <= 0:  # the other measures carried it against its own figure
                assert told == ("all measures near the herd's middle",)
                continue
            words, push = told[0].split(" (")[0], int(told[0][-1])
            assert ("pushes towards" in told[0]) == (points > 0)
            assert push >= 2 if points > 0 else push <= 2
            assert (words == sound) == (push == 1)
            assert push == nearest_score(term, value)
            if push >= 2:
                assert worse.index(words) == (0, 0, 1, 2)[push - 2]
                # What is worded worse than sound has a figure worse than that of sound cows.
                assert sign * (value - term.typical[0]) > 0


def test_index_probabilities_by_hand() -> None:
    assert index_probabilities(0.0, 0.0, [0.0]) == pytest.approx([0.5, 0.5])
    # logistic(1) = 0.7311 with no spread; spread pulls it towards one half.
    assert index_probabilities(0.0, 0.0, [1.0])[0] == pytest.approx(0.73106, abs=1e-5)
    assert 0.5 < index_probabilities(0.0, 2.0, [1.0])[0] < 0.73


def test_model_file_round_trips(tmp_path: Path) -> None:
    path = tmp_path / "m.json"
    MODEL.save(path)
    assert ScoreModel.load(path).to_json() == MODEL.to_json()


@pytest.mark.parametrize("change", ["tamper", "newer", "other", "text", "missing_key"])
def test_a_bad_model_file_is_refused(tmp_path: Path, change: str) -> None:
    body = MODEL.to_json()
    if change == "tamper":
        body["cut_points"][0] -= 0.5
    elif change == "newer":
        body["format_version"] = 99
    elif change == "other":
        body = {"hello": 1}
    elif change == "missing_key":
        del body["terms"]
    path = tmp_path / "m.json"
    path.write_text("not json" if change == "text" else json.dumps(body))
    with pytest.raises(ModelFileInvalid, match="score model"):
        ScoreModel.load(path)


def test_two_clips_combine_by_their_precision() -> None:
    # By hand: weights 1/1² and 1/2²: mean (10 + 20/4) / (1 + 1/4) = 12; errors widened by Birge.
    a = {"x": Combined(value=10.0, se=1.0)}
    b = {"x": Combined(value=20.0, se=2.0)}
    both = combine_clips([a, b])["x"]
    assert both.value == pytest.approx(12.0)
    assert both.se == pytest.approx(math.sqrt(0.8) * math.sqrt(4 + 16))
    alone = combine_clips([a, {"x": missing()}])["x"]
    assert (alone.value, alone.se) == (10.0, 1.0)
    assert combine_clips([{"x": missing("dark.")}])["x"].reason == "dark."


def test_plausible_run_covers_its_share_on_simulated_herds() -> None:
    rng = np.random.default_rng(11)
    held = []
    for _ in range(40):
        index = rng.normal(0, 2, 300)
        chance = np.array([index_probabilities(i, 0.0, MODEL.cut_points) for i in index])
        score = 1 + (rng.random(300)[:, None] > np.cumsum(chance, 1)).sum(1).clip(max=4)
        threshold = conformal_threshold(chance[:150], score[:150], 0.9)
        held += [
            s in plausible_run(c, threshold) for c, s in zip(chance[150:], score[150:], strict=True)
        ]
    assert 0.88 <= np.mean(held) <= 0.92


def test_learning_with_a_wrong_model_still_covers() -> None:
    # The threshold is set on confirmed scores, so coverage holds where probabilities are off.
    rng = np.random.default_rng(12)
    index = rng.normal(0, 2, 8000)
    true = np.array([index_probabilities(i, 0.0, MODEL.cut_points) for i in index])
    score = 1 + (rng.random(8000)[:, None] > np.cumsum(true, 1)).sum(1).clip(max=4)
    said = np.array([index_probabilities(1.6 * i + 0.5, 0.0, MODEL.cut_points) for i in index])
    threshold = conformal_threshold(said[:4000], score[:4000], 0.9)
    held = [
        s in plausible_run(c, threshold) for c, s in zip(said[4000:], score[4000:], strict=True)
    ]
    assert 0.88 <= np.mean(held) <= 0.93


def test_too_few_scores_make_everything_plausible() -> None:
    chance = np.full((5, 5), 0.2)
    assert plausible_run(chance[0], conformal_threshold(chance, [1, 2, 3, 4, 5])) == (1, 2, 3, 4, 5)


@pytest.mark.parametrize("scale", [MOBILITY_0_3, WELFARE_QUALITY])
def test_other_scales_are_monotone_and_keep_lame_or_not(scale: dict[int, tuple[int, ...]]) -> None:
    lowest = [min(scale[s]) for s in range(1, 6)]
    assert lowest == sorted(lowest)
    lame_from = {id(MOBILITY_0_3): 2, id(WELFARE_QUALITY): 1}[id(scale)]
    for score, others in scale.items():
        assert all((other >= lame_from) == (score >= 3) for other in others)


def test_the_way_back_is_an_interval() -> None:
    assert back_to_locomotion(2) == (3, 4)
    assert on_scale(4) == "2-3"
    with pytest.raises(ValueError, match="from 1 to 5"):
        on_scale(0)
