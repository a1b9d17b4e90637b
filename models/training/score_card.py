"""Write the card of the published score model from the files it rests on.

python -m models.training.score_card
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from gait.score.model import SLIP, ScoreModel
from models.training import score_prior as prior

MODELS = Path(__file__).resolve().parent.parent


def card() -> str:
    """Return the card as Markdown."""
    model = ScoreModel.load(prior.OUT)
    parts = [
        _head(model),
        _terms(model),
        _cuts(model),
        _posture(),
        _learning(),
        _limits(),
    ]
    return "\n\n".join(parts) + "\n"


def _head(model: ScoreModel) -> str:
    return f"""# Score model `{model.version}`

A proportional odds model: seven measures of a pass in, the probability of each locomotion score 1-5
out. **It has not been validated on scored cows.** It rests on published differences between groups
of sound cows and cows with painful feet, and on the definition of the 1-5 scale (Sprecher et al.
1997: back flat standing and walking 1, flat and arched 2, arched and arched 3 and more, with 3, 4 and
5 told apart by the gait). Every farm's own confirmed scores move it; until then the page says so.

Made by `python -m models.training.score_prior`; this card by `python -m models.training.score_card`."""


def _terms(model: ScoreModel) -> str:
    rows = [
        "## Where each number comes from",
        "",
        "Groups are taken to lie two score steps apart, at 1.5 and 3.5. *Weight* is in logits for each",
        "herd standard deviation worse; *loading* is the correlation with how sore the cow is.",
        "",
        "| measure | unit | typical at 1 | at 3 | at 5 | herd spread | loading | weight | source |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for t in model.terms:
        rows.append(
            f"| {t.name} | {t.unit} | {t.typical[0]:.3g} | {t.typical[2]:.3g} | {t.typical[4]:.3g} "
            f"| {t.scale:.3g} | {t.loading:.2f} | {t.weight:.2f} | {t.source} |"
        )
    rows += [
        "",
        f"Trunk length is taken as {prior.TRUNK_M} m where a source gives metres. Head bob and tracking",
        f"up count {prior.WEAKER} of their published gap, since ten raters of 58 films ranked reluctance,",
        "asymmetry and arch before them (Schlageter-Tello et al. 2015).",
    ]
    return "\n".join(rows)


def _cuts(model: ScoreModel) -> str:
    shares = ", ".join(f"{100 * s:.1f} %" for s in prior.SHARES)
    cuts = ", ".join(f"{c:.2f}" for c in model.cut_points)
    return f"""## Cut points and confidence

Cut points {cuts} reproduce the shares {shares} of scores 1 to 5 in a herd (22.8 % lame and 7.0 %
severely lame: means of 53 studies, Thomsen, Shearer and Houe 2023; the split of 1 and 2 from four
observers, Russello et al. 2024; of 4 and 5 from memory).

The size of the weights is set so that the mean confidence over a herd, measured without error, is
{prior.EXACT_AGREEMENT:.2f}. {100 * SLIP:.0f} % of every probability slips to the neighbouring scores, so no score is
promised with more than {1 - SLIP:.2f}. Each pass carries its own measurement error in, which lowers the confidence
further. The plausible run holds {100 * model.coverage:.0f} % of cows if the model's own probabilities are true
(threshold {model.conformal_threshold:.3f}); on a farm it is set from held-back confirmed scores."""


def _posture() -> str:
    if not prior.POSTURE.exists():
        return (
            "## Sound cows\n\nThe posture table was not measured; the arch of class 1 is assumed."
        )
    table: dict[str, Any] = json.loads(prior.POSTURE.read_text("utf-8"))
    rows = [
        "## What a sound cow looks like to the network",
        "",
        f"Network {table['network']} on side-on photos of show and yard cattle, presumably sound and",
        "standing (`models/training/sound_posture.py`; squeezed photos drawn out again, see there).",
        "",
        "| | photos | median | spread between cows | measurement error | 5 % | 95 % |",
        "|---|---|---|---|---|---|---|",
    ]
    for name, label in (
        ("back_arch", "back arch, all"),
        ("back_arch_unsqueezed_only", "back arch, true proportions only"),
        ("head_height_ratio", "head height over withers height"),
    ):
        r = table[name]
        rows.append(
            f"| {label} | {r['photos']} | {r['mean']} | {r['sd_between_cows']} | {r['median_error']} "
            f"| {r['p05']} | {r['p95']} |"
        )
    rows += ["", "Class 1 of the model takes median and spread of the first line."]
    return "\n".join(rows)


def _learning() -> str:
    path = MODELS / "score_learning_curve.json"
    found = json.loads(path.read_text("utf-8"))
    pairs = zip(found["scored_cows"], found["weighted_kappa"], strict=True)
    steps = "; ".join(f"{n} scores {k:.3f}" for n, k in pairs)
    gap = (
        found["best_data_can_give"]
        - dict(zip(found["scored_cows"], found["weighted_kappa"], strict=True))[60]
    )
    return f"""## How fast a herd's own scores move it

On {found["herds"]} simulated herds that see it differently, with people who repeat themselves with a weighted kappa of
{found["person_with_himself"]:.2f} (from {found["person_range"][0]:.2f} to {found["person_range"][1]:.2f}; published 0.63 to 0.86): {steps}; the best
that data can give {found["best_data_can_give"]:.3f}. After 60 scores {gap:.3f} is missing.

![Learning curve](score_learning_curve.png)"""


def _limits() -> str:
    return """## Limits

- No published study gives means of these measures for each score 1-5; the steps between scores are
  interpolated, and 5 is extrapolated.
- Sizes marked as assumed are guesses that the first thirty scored cows of a farm begin to replace.
- Heifers, other breeds, soft floors, hurry and fear change how a cow walks.
- Scores 2 and 3 are the hardest to tell apart, for people too."""


def main() -> None:
    """Write the card."""
    (MODELS / "score_published.md").write_text(card(), encoding="utf-8")


if __name__ == "__main__":
    main()
