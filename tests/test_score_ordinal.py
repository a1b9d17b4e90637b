"""The proportional odds estimator against published fits, R and statsmodels."""

from __future__ import annotations

import csv
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
from sklearn.base import clone

from gait.score.ordinal import ProportionalOdds

CHEESE = {
    "A": [0, 0, 1, 7, 8, 8, 19, 8, 1],
    "B": [6, 9, 12, 11, 7, 6, 1, 0, 0],
    "C": [1, 1, 6, 8, 23, 7, 5, 1, 0],
    "D": [0, 0, 0, 1, 3, 7, 14, 16, 11],
}


def _cheese() -> tuple[np.ndarray, np.ndarray]:
    rows = [
        ([cheese == other for other in "BCD"], score)
        for cheese, counts in CHEESE.items()
        for score, count in enumerate(counts, 1)
        for _ in range(count)
    ]
    return np.array([r[0] for r in rows], float), np.array([r[1] for r in rows])


def _ucla() -> tuple[np.ndarray, np.ndarray]:
    text = files("statsmodels.miscmodels.tests.results").joinpath("ologit_ucla.csv").read_text()
    rows = list(csv.DictReader(text.splitlines()))
    order = {"unlikely": 0, "somewhat likely": 1, "very likely": 2}
    x = [[float(r["pared"]), float(r["public"]), float(r["gpa"])] for r in rows]
    return np.array(x), np.array([order[r["apply"]] for r in rows])


def test_cheese_tasting_of_mccullagh_and_nelder() -> None:
    # McCullagh and Nelder 1989: B -3.352, C -1.710, D +1.613 against A (from memory).
    model = ProportionalOdds().fit(*_cheese())
    assert model.coef_ == pytest.approx([-3.352, -1.710, 1.613], abs=1e-3)
    assert model.log_likelihood_ == pytest.approx(-355.674, abs=1e-3)


def test_ucla_graduate_school_example() -> None:
    # R MASS::polr as read in statsmodels results_ordinal_model.py.
    model = ProportionalOdds().fit(*_ucla())
    assert model.coef_ == pytest.approx([1.04769, -0.05879, 0.61594], abs=1e-3)
    assert model.cuts_ == pytest.approx([2.2039, 4.2994], abs=3e-3)
    assert model.predict_proba([[0, 0, 3.26]])[0] == pytest.approx(
        [0.54883, 0.35933, 0.09184], abs=1e-3
    )


def test_agrees_with_statsmodels_on_random_data() -> None:
    from statsmodels.miscmodels.ordinal_model import OrderedModel

    rng = np.random.default_rng(3)
    x = rng.normal(size=(400, 2))
    y = np.digitize(x @ [0.9, -0.5] + rng.logistic(size=400), [-1, 0.5, 2])
    ours = ProportionalOdds().fit(x, y)
    theirs = OrderedModel(y, x, distr="logit").fit(method="bfgs", disp=False)
    assert ours.coef_ == pytest.approx(theirs.params[:2], abs=2e-4)
    assert ours.log_likelihood_ == pytest.approx(theirs.llf, abs=1e-5)


def test_wine_bitterness_matches_r(shared: Path) -> None:
    # R 4.2 ordinal::clm(rating ~ temp + contact, wine).
    text = (shared / "data/check/statistics/ordinal_wine.csv").read_text("utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    x = np.array([[r["temp"] == "warm", r["contact"] == "yes"] for r in rows], float)
    model = ProportionalOdds().fit(x, [int(r["rating"]) for r in rows])
    assert model.coef_ == pytest.approx([2.50310201, 1.52779766], abs=1e-4)
    assert model.cuts_ == pytest.approx([-1.34438, 1.25081, 3.46689, 5.00640], abs=1e-4)
    assert model.log_likelihood_ == pytest.approx(-86.49192337, abs=1e-6)


# Agresti, Categorical Data Analysis, mental impairment of 40 people: (impairment 1-4, high SES,
# life events). Written down from memory; the published fit below confirms it.
MENTAL = (
    [(1, s, e) for s, e in ((1, 1), (1, 9), (1, 4), (1, 3), (0, 2), (1, 0), (0, 1), (1, 3), (1, 3),
                            (1, 7), (0, 1), (0, 2))]
    + [(2, s, e) for s, e in ((1, 5), (0, 6), (1, 3), (0, 1), (1, 8), (1, 2), (0, 5), (1, 5),
                              (1, 9), (0, 3), (1, 3), (1, 1))]
    + [(3, s, e) for s, e in ((0, 0), (1, 4), (0, 3), (0, 9), (1, 6), (0, 4), (0, 3))]
    + [(4, s, e) for s, e in ((1, 8), (1, 2), (1, 7), (0, 5), (0, 4), (0, 4), (1, 8), (0, 8),
                              (0, 9))]
)  # fmt: skip


def test_mental_impairment_of_agresti() -> None:
    # Published: SES 1.111, life events -0.319 in logit P(<= j), intercepts -0.282, 1.213, 2.209
    # (from memory); signs turn in theta - x beta form.
    data = np.array(MENTAL, float)
    model = ProportionalOdds().fit(data[:, 1:], data[:, 0].astype(int))
    assert model.coef_ == pytest.approx([-1.111, 0.319], abs=1e-3)
    assert model.cuts_ == pytest.approx([-0.282, 1.213, 2.209], abs=1e-3)
    assert model.log_likelihood_ == pytest.approx(-49.549, abs=1e-3)
    assert model.predict_proba([[0, 0]])[0] == pytest.approx(
        [0.43, 0.3408, 0.1303, 0.0989], abs=1e-3
    )


def test_copenhagen_housing_matches_r(shared: Path) -> None:
    # R 4.2 MASS::polr(Sat ~ Infl + Type + Cont, weights = Freq, housing).
    text = (shared / "data/check/statistics/MASS_housing.csv").read_text("utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    x = np.array(
        [
            [r["Infl"] == "Medium", r["Infl"] == "High", r["Type"] == "Apartment",
             r["Type"] == "Atrium", r["Type"] == "Terrace", r["Cont"] == "High"]
            for r in rows
        ],
        float,
    )  # fmt: skip
    order = {"Low": 1, "Medium": 2, "High": 3}
    model = ProportionalOdds().fit(
        x, [order[r["Sat"]] for r in rows], sample_weight=[int(r["Freq"]) for r in rows]
    )
    assert model.coef_ == pytest.approx(
        [0.566393739, 1.288819064, -0.572350146, -0.366186566, -1.091014908, 0.360284150], abs=1e-4
    )
    assert -2 * model.log_likelihood_ == pytest.approx(3479.149299, abs=1e-4)


def test_weights_equal_repeats() -> None:
    x, y = _cheese()
    repeated = ProportionalOdds().fit(x, y)
    cells, counts = np.unique(np.column_stack([x, y]), axis=0, return_counts=True)
    weighted = ProportionalOdds().fit(cells[:, :3], cells[:, 3].astype(int), sample_weight=counts)
    assert weighted.coef_ == pytest.approx(repeated.coef_, abs=1e-4)


def test_a_weight_never_takes_the_forbidden_sign() -> None:
    model = ProportionalOdds(signs=[1, 1, 1]).fit(*_cheese())
    assert (model.coef_ >= 0).all()
    assert model.coef_[2] > 1


def test_without_data_for_a_score_the_prior_stands() -> None:
    prior = ProportionalOdds(
        prior_weights=[1.0], prior_weights_sd=0.5, prior_cuts=[-1, 1, 3, 5], prior_cuts_sd=0.5,
        classes=[1, 2, 3, 4, 5], signs=[1],
    )  # fmt: skip
    model = prior.fit(np.array([[0.0], [1.0]]), [1, 2])
    assert model.cuts_[2:] == pytest.approx([3, 5], abs=0.4)
    assert model.predict_proba([[0.5]]).shape == (1, 5)
    assert model.predict_proba([[0.5]]).sum() == pytest.approx(1)


def test_missing_values_are_refused_not_filled() -> None:
    with pytest.raises(ValueError, match="missing"):
        ProportionalOdds().fit([[np.nan], [1.0]], [1, 2])


def test_is_a_good_scikit_learn_citizen() -> None:
    model = ProportionalOdds(signs=[1], max_iter=7)
    twin = clone(model)
    assert twin.get_params() == model.get_params()
    assert twin is not model
