"""Write the human-readable card of the network from the figures on the machine-readable one.

Run ``python -m models.training.card`` after ``evaluate``.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

MODELS = Path(__file__).resolve().parent.parent
TEMPLATE = Path(__file__).resolve().parent / "card_template.md"

Figures = dict[str, Any]


def _percent(value: float | None) -> str:
    return "none" if value is None else f"{100 * value:.1f} %"


def _accuracy_rows(title: str, part: Figures) -> list[str]:
    rows = [
        f"| {title} ({part['pictures']} pictures): silhouette IoU, mean | {part['iou']:.3f} |",
        f"| {title}: silhouette IoU, worst picture | {part['iou_least']:.3f} |",
    ]
    for key, words in (
        ("back_and_head", "back and head"),
        ("hooves", "hooves"),
        ("joints", "joints of the legs"),
    ):
        wide = _percent(part[f"{key}_within_5_pct"])
        strict = _percent(part[f"{key}_within_5_pct_strict"])
        rows.append(f"| {title}: {words} within 5 % of body length | {wide} (strict {strict}) |")
    if "near_far_right" in part:
        share = _percent(part["near_far_right"])
        rows.append(f"| {title}: near and far leg right | {share} of {part['near_far_pairs']} |")
    return rows


def table(card: dict[str, Any]) -> str:
    """Return the figures as a Markdown table."""
    figures = card["figures"]
    rows = ["| on | figure |", "|---|---|"]
    rows += _accuracy_rows("held-back photos", figures["held_back_photos"])
    rows += _accuracy_rows("of these, the dark lane with rails", figures["held_back_lane_rails"])
    found = figures["held_back_found"]
    rows.append(f"| held-back photos: cow found | {_percent(found['found_share'])} |")
    rows += _accuracy_rows("held-back photos, found by the network", found)
    rows += _accuracy_rows(
        "held-back photos, as the program answers a photo",
        figures["held_back_as_photos_are_answered"],
    )
    agreed = _percent(figures["between_readers"]["back_and_head_within_5_pct"])
    rows.append(f"| held-back photos: two readers agree on back and head within 5 % | {agreed} |")
    for key, words in (
        ("fresh_renders", "fresh renders"),
        ("fresh_renders_outline_shows", "of these, with a visible outline"),
    ):
        rows += _accuracy_rows(words, figures[key])
        rows.append(f"| {words}: all landmarks | {_percent(figures[key]['all_within_5_pct'])} |")
    free = figures["cow_free"]
    false = _percent(free["false_cow_share"])
    rows.append(f"| frames without a cow ({free['frames']}): false cow | {false} |")
    rows.append(
        f"| other animals pasted in ({free['other_animal_frames']}): taken for a cow | "
        f"{_percent(free['other_animal_taken_for_cow_share'])} |"
    )
    rows.append(
        f"| photos of other animals ({free['animal_photos']}): taken for a cow | "
        f"{free['animal_photos_taken_for_cow']} |"
    )
    for name, part in figures["other_animals_on_film"].items():
        overlap = part["iou_where_found"]
        rows.append(
            f"| film of a {name} ({part['frames']} frames): found as a cow | "
            f"{_percent(part['found_share'])}, IoU then "
            f"{'none' if overlap is None else f'{overlap:.2f}'} |"
        )
    speed = figures["speed_two_cores"]
    for tasks in (1, 2):
        rate, work = (
            speed[f"{key}_{tasks}_tasks"] for key in ("frames_per_second", "processor_ms_a_look")
        )
        rows.append(
            f"| speed, two cores, {tasks} task(s) | {rate} frames a second as measured; "
            f"{work} ms of processor time a look |"
        )
    rows.append(f"| file | {card['bytes'] / 1e6:.1f} MB |")
    return "\n".join(rows)


def main(models: Path = MODELS) -> None:
    """Fill the template and write ``cow_side.md``."""
    card = json.loads((models / "cow_side.json").read_text())
    text = TEMPLATE.read_text()
    for key, value in (
        ("{{version}}", card["version"]),
        ("{{sha256}}", card["sha256"]),
        ("{{figures}}", table(card)),
    ):
        text = text.replace(key, value)
    (models / "cow_side.md").write_text(text)


if __name__ == "__main__":
    main()
