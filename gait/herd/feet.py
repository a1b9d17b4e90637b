"""Feet, claws, zones and ICAR claw health terms, and what measured claws say.

Zones are our own plain words for places on the sole and around it. Terms and letters are those
of the ICAR Claw Health Atlas (2015); they were written down from memory and should be held
against the Atlas before codes are sent to others.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from gait.herd.blocks import blocks_on_sore_claws, wrong_block
from gait.herd.records import Finding, Trim

FEET: dict[str, str] = {
    "LF": "left front",
    "RF": "right front",
    "LH": "left hind",
    "RH": "right hind",
}
CLAWS: dict[str, str] = {"inner": "inner claw", "outer": "outer claw", "both": "both claws"}

ZONES: dict[str, str] = {
    "toe": "toe",
    "wall_axial": "white line, side towards the gap",
    "wall_abaxial": "white line, outer side",
    "sole": "sole",
    "typical_place": "where sole meets heel",
    "heel": "heel",
    "gap": "skin between the claws",
    "pastern": "skin above the heel",
    "coronet": "coronet",
    "front_wall": "front wall",
}

CLAW_TERMS: dict[str, str] = {
    "AC": "asymmetric claws",
    "CC": "concave front wall",
    "CD": "corkscrew claw",
    "DD": "digital dermatitis",
    "ID": "interdigital or superficial dermatitis",
    "DS": "double sole",
    "HHE": "heel horn erosion",
    "HF": "horn fissure",
    "HFA": "horn fissure, axial",
    "HFH": "horn fissure, horizontal",
    "HFV": "horn fissure, vertical",
    "IH": "interdigital hyperplasia",
    "IP": "interdigital phlegmon",
    "SC": "scissor claws",
    "SH": "sole haemorrhage",
    "SHD": "sole haemorrhage, diffuse",
    "SHC": "sole haemorrhage, in one place",
    "SW": "swelling of coronet or bulb",
    "U": "ulcer",
    "BU": "bulb ulcer",
    "SU": "sole ulcer",
    "TU": "toe ulcer",
    "TN": "toe necrosis",
    "TS": "thin sole",
    "WL": "white line disease",
    "WLF": "white line fissure",
    "WLA": "white line abscess",
}
DD_STAGES: tuple[str, ...] = ("M0", "M1", "M2", "M3", "M4", "M4.1")
SEVERITIES: tuple[str, ...] = ("light", "moderate", "severe")
FOR_THE_VET = frozenset({"SW", "TN", "IP"})
"""Findings to be shown to the vet: swelling above the claw, dead toe, foul (from memory)."""

MM_PER_INCH = 25.4
LengthUnit = Literal["mm", "in"]

TRADE_LENGTH_MM = 3.25 * MM_PER_INCH
"""82.55 mm (3 1/4 in, about 83 mm), average Holstein: common practice, no published source."""
TRADE_SOLE_MM = 0.25 * MM_PER_INCH
"""6.35 mm (1/4 in) of sole left at the toe: common practice, no published source."""
SHORT_LENGTH_MM = 72.7
"""Outer hind claws so long have 5 mm of sole at the toe (72.1 inner), Tsuka 2014."""
COVERING_LENGTH_MM = 90.0
"""Long enough for 96 % of claws, whose need has a median of 83 mm: Archer 2015."""
THIN_SOLE_MM = 5.0
"""Critical minimum: van Amstel 2003, Tsuka 2014, Archer 2015."""
GOOD_SOLE_MM = 7.0
"""Recommended: Tsuka 2014."""


@dataclass(frozen=True, kw_only=True)
class ClawWarning:
    """What a measured claw says. ``level`` is stop or warn; ``source`` says who says so."""

    level: Literal["stop", "warn"]
    message: str
    source: str


def to_mm(value: float, unit: LengthUnit) -> float:
    """Return a length in millimetres; 1 in is 25.4 mm.

    Raises
    ------
    ValueError
        For another unit.
    """
    if unit not in ("mm", "in"):
        raise ValueError(f"unit must be mm or in, not {unit!r}")
    return value * MM_PER_INCH if unit == "in" else value


def check_claw(
    *,
    toe_length_mm: float | None = None,
    sole_mm: float | None = None,
    gives_under_thumb: bool = False,
    looks_pink: bool = False,
) -> list[ClawWarning]:
    """Return what a measured claw warns of, by the trade's and by published thresholds.

    Parameters
    ----------
    toe_length_mm : float, optional
        Front wall from where the horn is hard below the coronet to the toe.
    sole_mm : float, optional
        Sole thickness at the toe.
    gives_under_thumb, looks_pink : bool
        Signs of a thin sole (common practice, no published source).

    Raises
    ------
    ValueError
        For a length that no claw has (not above 0, or above 250 mm toe, 40 mm sole): most
        likely inches typed as millimetres or the other way round.
    """
    warnings = []
    if toe_length_mm is not None:
        _refuse_odd(toe_length_mm, 20, 250, "toe length")
        warnings += _length_warnings(toe_length_mm)
    if sole_mm is not None:
        _refuse_odd(sole_mm, 1, 40, "sole thickness")
        warnings += _sole_warnings(sole_mm)
    if gives_under_thumb or looks_pink:
        sign = "gives under the thumb" if gives_under_thumb else "looks pink"
        warnings.append(
            ClawWarning(
                level="stop",
                message=f"The sole {sign}: it is too thin. Take no more off.",
                source="common practice, no published source",
            )
        )
    return warnings


def _refuse_odd(value: float, least: float, most: float, what: str) -> None:
    if not math.isfinite(value) or not least <= value <= most:
        raise ValueError(f"A {what} of {value:g} mm cannot be right: check millimetres or inches.")


def _length_warnings(length: float) -> list[ClawWarning]:
    warnings = []
    if length < SHORT_LENGTH_MM:
        warnings.append(
            ClawWarning(
                level="stop",
                message=f"A toe of {length:.0f} mm goes with a sole of 5 mm or less.",
                source="Tsuka 2014: 5 mm at 72.1 mm (inner) and 72.7 mm (outer claw)",
            )
        )
    if length <= TRADE_LENGTH_MM + 0.5:  # the trade says 83 mm and 3 1/4 in in one breath
        warnings.append(
            ClawWarning(
                level="stop",
                message=f"A toe of {length:.0f} mm is not shortened (83 mm, 3 1/4 in).",
                source="common practice for an average Holstein, no published source",
            )
        )
    elif length <= COVERING_LENGTH_MM:
        warnings.append(
            ClawWarning(
                level="warn",
                message=f"A toe of {length:.0f} mm may be short enough for some cows.",
                source="Archer 2015: 90 mm covers 96 % of claws, half need more than 83 mm",
            )
        )
    return warnings


def _sole_warnings(sole: float) -> list[ClawWarning]:
    if sole < THIN_SOLE_MM:
        return [
            ClawWarning(
                level="stop",
                message=f"A sole of {sole:.1f} mm is too thin. Take no more off.",
                source="under 5 mm: van Amstel 2003, Tsuka 2014",
            )
        ]
    warnings = []
    if sole < TRADE_SOLE_MM - 0.05:
        warnings.append(
            ClawWarning(
                level="warn",
                message=f"A sole of {sole:.1f} mm is under 1/4 in (6.4 mm).",
                source="common practice, no published source",
            )
        )
    if sole < GOOD_SOLE_MM:
        warnings.append(
            ClawWarning(
                level="warn",
                message=f"A sole of {sole:.1f} mm is under the recommended 7 mm.",
                source="Tsuka 2014",
            )
        )
    return warnings


def expected_sole_mm(toe_length_mm: float, claw: Literal["inner", "outer"]) -> float:
    """Return the sole thickness at the toe to be expected at a toe length, hind claws.

    Straight lines between the published means; NaN outside 72 to 80 mm.

    References
    ----------
    Tsuka et al. 2014, Vet J (CT of 800 untrimmed hind claws): inner 72.1 mm 5.0, 75 mm 6.1,
    79.8 mm 7.0; outer 72.7 mm 5.0, 75 mm 6.4, 78.4 mm 7.0.
    """
    points = {
        "inner": ((72.1, 5.0), (75.0, 6.1), (79.8, 7.0)),
        "outer": ((72.7, 5.0), (75.0, 6.4), (78.4, 7.0)),
    }[claw]
    for (x0, y0), (x1, y1) in pairwise(points):
        if x0 <= toe_length_mm <= x1:
            return y0 + (y1 - y0) * (toe_length_mm - x0) / (x1 - x0)
    return math.nan


def check_finding(finding: Finding) -> list[str]:
    """Return what is wrong with a finding, as sentences; an empty list when nothing is."""
    wrong = []
    for value, known, what in (
        (finding.foot, FEET, "foot"),
        (finding.claw or None, CLAWS, "claw"),
        (finding.zone, ZONES, "zone"),
        (finding.code, CLAW_TERMS, "claw health code"),
        (finding.severity, SEVERITIES, "severity"),
        (finding.stage, DD_STAGES, "stage of digital dermatitis"),
    ):
        if value is not None and value not in known:
            wrong.append(f"Unknown {what}: {value}.")
    if finding.stage is not None and finding.code != "DD":
        wrong.append("A stage goes with digital dermatitis only.")
    return wrong + wrong_block(finding)


def is_empty(trim: Trim) -> bool:
    """Say whether nothing was entered of what was found, given or noted."""
    return not (trim.findings or trim.medicine or trim.withdrawal_until or trim.note)


def check_trim(trim: Trim) -> list[str]:
    """Return what is wrong or missing in a trim, as sentences.

    A medicine needs its withdrawal end and where it was read: nothing is filled in for people.
    """
    wrong = [text for finding in trim.findings for text in check_finding(finding)]
    wrong += [text for text in blocks_on_sore_claws(trim.findings) if text not in wrong]
    if trim.medicine and trim.withdrawal_until is None:
        wrong.append("Enter until when the withdrawal lasts, from the label or the vet.")
    if trim.withdrawal_until is not None and not trim.withdrawal_source:
        wrong.append("Say where the withdrawal end was read: label or vet.")
    if trim.withdrawal_until is not None and trim.withdrawal_until < trim.on:
        wrong.append("The withdrawal ends before the day of treatment.")
    if trim.recheck_on is not None and trim.recheck_on <= trim.on:
        wrong.append("The recheck must come after the day of treatment.")
    return wrong
