"""Shapes of the ICAR ADE 1.3 events that we write, as JSON Schema.

Written by hand from the published resource descriptions (adewg/ICAR, Apache-2.0): required
fields and enumerated values. Unknown fields are allowed there too.
"""

from __future__ import annotations

_IDENTIFIER = {
    "type": "object",
    "required": ["id", "scheme"],
    "properties": {"id": {"type": "string"}, "scheme": {"type": "string"}},
}
_UTC = {"type": "string", "pattern": r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z$"}


def _event(kind: str, required: list[str], properties: dict) -> dict:
    return {
        "type": "object",
        "required": ["resourceType", "animal", "eventDateTime", *required],
        "properties": {
            "resourceType": {"const": kind},
            "meta": {
                "type": "object",
                "required": ["source", "modified"],
                "properties": {"source": {"type": "string"}, "modified": _UTC},
            },
            "animal": _IDENTIFIER,
            "eventDateTime": _UTC,
            "responsible": {"type": "string"},
            "remark": {"type": "string"},
            **properties,
        },
    }


_LEGS = [f"Legs{end}{side}" for end in ("Front", "Rear") for side in ("Left", "Right")]
_TOES = [
    f"{which}Toe{end}{side}"
    for which in ("Inner", "Outer")
    for end in ("Front", "Rear")
    for side in ("Left", "Right")
]

SHAPES = {
    "icarAttentionEventResource": _event(
        "icarAttentionEventResource",
        ["category", "causes", "priority"],
        {
            "category": {"enum": ["Behaviour", "Environment", "Health", "Reproduction", "Other"]},
            "causes": {
                "type": "array",
                "minItems": 1,
                "items": {"enum": ["Lameness", "MobilityScore", "LyingTooLong", "Walking"]},
            },
            "priority": {"enum": ["Informational", "Normal", "Urgent", "Critical"]},
            "severity": {"enum": ["Light", "Moderate", "Severe"]},
            "deviceAttentionScore": {"type": "number"},
        },
    ),
    "icarDiagnosisEventResource": _event(
        "icarDiagnosisEventResource",
        ["diagnoses"],
        {
            "diagnoses": {
                "type": "array",
                "minItems": 1,
                "items": {
                    "type": "object",
                    "required": ["name"],
                    "properties": {
                        "name": {"type": "string"},
                        "diagnosisCode": _IDENTIFIER,
                        "severity": {"enum": ["Light", "Moderate", "Severe"]},
                        "positions": {
                            "type": "array",
                            "items": {
                                "type": "object",
                                "properties": {"position": {"enum": _LEGS + _TOES}},
                            },
                        },
                    },
                },
            }
        },
    ),
    "icarTreatmentEventResource": _event(
        "icarTreatmentEventResource",
        [],
        {
            "procedure": {"enum": ["FootTrimming", "FootBathing"]},
            "medicine": {"type": "object", "properties": {"name": {"type": "string"}}},
        },
    ),
}
