"""How fast the score model learns a herd's own way of scoring, on simulated herds.

    python -m models.training.score_learning_curve

Herds differ from the published model in their weights and cut points; their people score with the
published noise (weighted kappa of a scorer with himself 0.63-0.86, Schlageter-Tello et al. 2014).
Writes ``models/score_learning_curve.json`` and ``.png`` for the card.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

from gait import places
from gait.score.combine import Combined
from gait.score.learning import ScoredPass, fit
from gait.score.model import ScoreModel
from gait.score.proposal import SCORES
from gait.statistics.agreement import confusion_table, kappa

OUT = Path(__file__).resolve().parent.parent
SIZES = (0, 15, 30, 60, 120, 240)
HERDS, CHECKED, BEST_FROM = 12, 1500, 1500
SCORER_NOISE = 0.45
"""Spread of a person's own shift from one look to the next, in score steps."""
FILM_ERROR = 0.5
"""Standard error of a measure, in herd standard deviations."""


def herd_model(published: ScoreModel, rng: np.random.Generator) -> ScoreModel:
    """Return how one herd's people see it: other weights, cut points moved together."""
    weights = published.weights * rng.lognormal(0, 0.5, len(published.terms))
    cuts = np.asarray(published.cut_points) + rng.normal(0, 1.0)
    return published.with_weights(weights.tolist(), cuts.tolist())


def simulate(
    herd: ScoreModel, cows: int, rng: np.random.Generator
) -> tuple[list[ScoredPass], np.ndarray]:
    """Return passes with one person's scores, and a second look of the same person."""
    loading = np.array([t.loading for t in herd.terms])
    z = rng.normal(size=(cows, 1)) * loading
    z = z + rng.normal(size=z.shape) * np.sqrt(1 - loading**2)
    step = (herd.cut_points[-1] - herd.cut_points[0]) / 3
    looks = [
        1
        + np.digitize(
            z @ herd.weights + SCORER_NOISE * step * rng.normal(size=cows), herd.cut_points
        )
        for _ in range(2)
    ]
    seen = z + FILM_ERROR * rng.normal(size=z.shape)
    passes = [
        ScoredPass(
            cow=str(i), score=int(looks[0][i]), measures=_measures(herd, seen[i]), blind=True
        )
        for i in range(cows)
    ]
    return passes, looks[1]


def _measures(model: ScoreModel, z: np.ndarray) -> dict[str, Combined]:
    return {
        t.name: Combined(
            value=t.centre + (1 if t.worse == "higher" else -1) * float(v) * t.scale,
            se=FILM_ERROR * t.scale,
        )
        for t, v in zip(model.terms, z, strict=True)
    }


def agreement(model: ScoreModel, passes: list[ScoredPass]) -> float:
    """Return the quadratic weighted kappa of a model with the person's scores."""
    said = [int(model.probabilities(p.measures).argmax()) + 1 for p in passes]
    return kappa(confusion_table([p.score for p in passes], said, SCORES), "quadratic").value


def curve(seed: int = 7) -> dict[str, object]:
    """Return weighted kappa against the number of scored cows, mean over herds."""
    published = ScoreModel.load(places.score_model())
    rng = np.random.default_rng(seed)
    rows, best, own = [], [], []
    for _ in range(HERDS):
        herd = herd_model(published, rng)
        check, second = simulate(herd, CHECKED, rng)
        own.append(
            kappa(
                confusion_table([p.score for p in check], second.tolist(), SCORES), "quadratic"
            ).value
        )
        scored, _ = simulate(herd, BEST_FROM, rng)
        rows.append(
            [
                agreement(fit(published, scored[:n], version="x") if n else published, check)
                for n in SIZES
            ]
        )
        best.append(agreement(fit(published, scored, version="x"), check))
    return {
        "scored_cows": list(SIZES),
        "weighted_kappa": np.mean(rows, axis=0).round(4).tolist(),
        "best_data_can_give": round(float(np.mean(best)), 4),
        "person_with_himself": round(float(np.mean(own)), 4),
        "person_range": [round(min(own), 3), round(max(own), 3)],
        "herds": HERDS,
    }


def main() -> None:
    """Run the simulation and write figures and picture."""
    found = curve()
    (OUT / "score_learning_curve.json").write_text(json.dumps(found, indent=1) + "\n", "utf-8")
    print(found)
    import matplotlib as mpl

    mpl.use("Agg")
    from matplotlib import pyplot as plt

    figure, axes = plt.subplots(figsize=(6, 3.6))
    axes.plot(found["scored_cows"], found["weighted_kappa"], "o-", color="#1f3a5f", label="model")
    axes.axhline(found["best_data_can_give"], ls="--", color="#1f3a5f", label="best data can give")
    axes.axhline(found["person_with_himself"], ls=":", color="#b35c00", label="person with himself")
    axes.set_xlabel("confirmed scores")
    axes.set_ylabel("quadratic weighted kappa")
    axes.legend(frameon=False, loc="lower right")
    figure.tight_layout()
    figure.savefig(OUT / "score_learning_curve.png", dpi=110, metadata={"Software": None})


if __name__ == "__main__":
    main()
