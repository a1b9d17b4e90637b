"""ICAR Animal Data Exchange (ADE) JSON: attention, diagnosis and treatment events.

Shapes follow ADE 1.3 as far as it was read; readers must tolerate unknown fields, and so does
ours. There is no event for a 1-5 lameness score: it goes out as an attention event of the cause
Lameness, the score in ``deviceAttentionScore`` and the sentence in ``remark``. The codes of the
claw health atlas have no registered scheme there; ours is named plainly. A withdrawal date goes
out in words only, because which product it holds for was not typed in.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from gait.errors import ExchangeError
from gait.exchange.fields import moment
from gait.herd.blocks import OTHER_CLAW, blocked_claw
from gait.herd.feet import CLAW_TERMS
from gait.herd.lame_list import done_at
from gait.herd.records import Cow, Finding, Score, Trim
from gait.store.types import time_to_text

ATTENTION = "icarAttentionEventResource"
DIAGNOSIS = "icarDiagnosisEventResource"
TREATMENT = "icarTreatmentEventResource"
ELECTRONIC_SCHEME = "std.iso.11785"
FARM_SCHEME = "farm"
CLAW_SCHEME = "icar.claw-health-atlas"
SOURCE = "exitlane"

_PRIORITY = {1: "Informational", 2: "Informational", 3: "Normal", 4: "Urgent", 5: "Critical"}
_SEVERITY = {1: "Light", 2: "Light", 3: "Moderate", 4: "Severe", 5: "Severe"}
_FOOT = {"LF": "LegsFrontLeft", "RF": "LegsFrontRight", "LH": "LegsRearLeft", "RH": "LegsRearRight"}
_TOE = {
    (foot, claw): f"{side}Toe{place.removeprefix('Legs')}"
    for foot, place in _FOOT.items()
    for claw, side in (("inner", "Inner"), ("outer", "Outer"))
}
_PLACES = {place: (foot, "") for foot, place in _FOOT.items()} | {
    place: key for key, place in _TOE.items()
}
Event = dict[str, Any]
_OWN_UIDS = uuid.UUID("6f3a7d18-94b2-4c5d-b0e7-51c8a2d96e03")  # any fixed one


def attention_event(score: Score, cow: Cow, *, made_at: datetime) -> Event:
    """Return the attention event of a standing score.

    Parameters
    ----------
    score : Score
    cow : Cow
        Her electronic number is used if known, else the farm's own number.
    made_at : datetime
        When the document is made (``meta.modified``).
    """
    tool = f" The tool had proposed {score.proposed}." if score.proposed is not None else ""
    return {
        **_core(ATTENTION, cow, score.observed_at, f"score-{score.pass_id}", made_at),
        "responsible": score.decided_by,
        "remark": f"Locomotion score {score.score} of 5, given by {score.decided_by}.{tool}",
        "category": "Health",
        "causes": ["Lameness"],
        "priority": _PRIORITY[score.score],
        "severity": _SEVERITY[score.score],
        "deviceAttentionScore": float(score.score),
    }


def trim_events(trim: Trim, cow: Cow, *, made_at: datetime) -> list[Event]:
    """Return the events of one trim: a treatment, and a diagnosis for each coded finding."""
    at = done_at(trim)
    events = [_treatment(trim, cow, at, made_at)]
    coded = [finding for finding in trim.findings if finding.code]
    if coded:
        diagnosis = {
            **_core(DIAGNOSIS, cow, at, f"{trim.uid}-diagnosis", made_at),
            "responsible": trim.who,
            "diagnoses": [_diagnosis(finding) for finding in coded],
        }
        events.append(diagnosis)
    return events


def ade_document(events: Iterable[Event]) -> Event:
    """Return a collection of events: what is written to one JSON file."""
    members = list(events)
    return {"view": {"totalItems": len(members), "totalPages": 1}, "member": members}


def _core(kind: str, cow: Cow, at: datetime, source_id: str, made_at: datetime) -> Event:
    return {
        "resourceType": kind,
        "meta": {"source": SOURCE, "sourceId": source_id, "modified": _utc(made_at)},
        "animal": animal_identifier(cow),
        "eventDateTime": _utc(at),
    }


def animal_identifier(cow: Cow) -> dict[str, str]:
    """Return scheme and number of a cow: the electronic number if there is one."""
    if cow.electronic:
        return {"scheme": ELECTRONIC_SCHEME, "id": cow.electronic}
    return {"scheme": FARM_SCHEME, "id": cow.number}


def _treatment(trim: Trim, cow: Cow, at: datetime, made_at: datetime) -> Event:
    words = [f"{trim.reason.capitalize()} trim."]
    words += [_block(x) for x in trim.findings if x.block]
    if trim.withdrawal_until:
        source = f" as typed from {trim.withdrawal_source}" if trim.withdrawal_source else ""
        words.append(f"Withdrawal until {trim.withdrawal_until}{source}.")
    words += [text for text in (trim.next_step, trim.note) if text]
    event = {
        **_core(TREATMENT, cow, at, f"{trim.uid}-treatment", made_at),
        "responsible": trim.who,
        "procedure": "FootTrimming",
        "remark": " ".join(words),
    }
    if trim.medicine:
        event["medicine"] = {"name": trim.medicine}
    return event


def _block(finding: Finding) -> str:
    claw = blocked_claw(finding)
    return f"Block on {finding.foot}, {claw} claw." if claw else f"Block on {finding.foot}."


def _positions(finding: Finding) -> list[str]:
    """Return the claws of a finding; the foot where nobody said which."""
    claws = tuple(OTHER_CLAW) if finding.claw == "both" else (finding.claw,)
    return [_TOE.get((finding.foot, claw), _FOOT[finding.foot]) for claw in claws]


def _diagnosis(finding: Finding) -> Event:
    diagnosis: Event = {
        "name": CLAW_TERMS[str(finding.code)],
        "diagnosisCode": {"scheme": CLAW_SCHEME, "id": finding.code},
        "positions": [{"position": position} for position in _positions(finding)],
    }
    if finding.severity:
        diagnosis["severity"] = finding.severity.capitalize()
    words = " ".join(w for w in (finding.stage, finding.note) if w)
    if words:
        diagnosis["description"] = words
    return diagnosis


@dataclass(frozen=True, kw_only=True)
class AdeRead:
    """Trims from an ADE document, and why other events were not taken."""

    trims: tuple[Trim, ...]
    not_taken: tuple[str, ...]


def read_ade(document: Any, cows: Sequence[Cow]) -> AdeRead:
    """Read diagnosis and foot-trimming events as trims; other events are named, not taken.

    Events of one cow and time are one trim. Its uid is the one this program wrote, else one made
    from cow and time, so that the same events brought in again are recognised. A trim with an
    event that cannot be taken is left out whole.

    Parameters
    ----------
    document : any
        Parsed JSON: one event, a list of them, or a collection with ``member``.
    cows : sequence of Cow
        The herd, to find animals by electronic or own number.

    Raises
    ------
    ExchangeError
        If the document holds no events.
    """
    events = document.get("member", [document]) if isinstance(document, Mapping) else document
    if not isinstance(events, list) or not all(isinstance(e, Mapping) for e in events):
        raise ExchangeError("This file holds no ADE events.", "Export events as ADE JSON.")
    known = {("farm", cow.number): cow.number for cow in cows}
    known |= {(ELECTRONIC_SCHEME, cow.electronic): cow.number for cow in cows if cow.electronic}
    trims: dict[tuple[str, str], Trim] = {}
    places: dict[tuple[str, str], list[int]] = {}
    spoiled: set[tuple[str, str]] = set()
    not_taken = {}
    for place, event in enumerate(events, start=1):
        key = None
        try:
            key = _key(event, known)
            _take(event, key, trims)
            places.setdefault(key, []).append(place)
        except (LookupError, AttributeError, OverflowError, TypeError, ValueError) as error:
            not_taken[place] = _why(error)
            if key is not None:
                spoiled.add(key)
    for key in spoiled:
        why = "another event of the same trim cannot be taken."
        not_taken |= dict.fromkeys(places.get(key, ()), why)
    return AdeRead(
        trims=tuple(trim for key, trim in trims.items() if key not in spoiled),
        not_taken=tuple(f"Event {n} was not taken: {not_taken[n]}" for n in sorted(not_taken)),
    )


def _why(error: Exception) -> str:
    if isinstance(error, ValueError):
        return str(error)
    return f"it lacks {error}" if isinstance(error, KeyError) else "it has not the shape of one."


def _key(event: Mapping[str, Any], known: Mapping[tuple[str, str], str]) -> tuple[str, str]:
    """Return cow and time, which say what trim an event belongs to."""
    kind = event["resourceType"]
    if kind not in (DIAGNOSIS, TREATMENT):
        raise ValueError(f"{kind} is not read here.")
    animal = (event["animal"]["scheme"], event["animal"]["id"])
    if animal not in known:
        raise ValueError(f"animal {animal[1]} is not on the herd list.")
    return known[animal], str(event["eventDateTime"])


def _take(
    event: Mapping[str, Any], key: tuple[str, str], trims: dict[tuple[str, str], Trim]
) -> None:
    at = moment(key[1], None)  # without a zone it is the clock of this farm
    before = trims.get(key)
    said: dict[str, Any] = vars(before) if before else {
        "cow": key[0], "on": at.date(), "at": at, "who": event.get("responsible", ""),
        "reason": "therapeutic", "uid": _uid(event.get("meta", {}), key),
    }  # fmt: skip
    if event["resourceType"] == TREATMENT:
        if event.get("procedure") != "FootTrimming":
            raise ValueError(f"procedure {event.get('procedure')} is not read here.")
        said = said | {"note": event.get("remark", "")}
        said = said | {"medicine": event.get("medicine", {}).get("name", "")}
    else:
        findings = tuple(f for d in event.get("diagnoses", []) for f in _findings(d))
        said = said | {"findings": said.get("findings", ()) + findings}
    trims[key] = Trim(**said)


def _uid(meta: Mapping[str, Any], key: tuple[str, str]) -> str:
    own = str(meta.get("sourceId", "")).rpartition("-")[0]
    if meta.get("source") == SOURCE and own:
        return own
    return uuid.uuid5(_OWN_UIDS, "|".join(key)).hex


def _findings(diagnosis: Mapping[str, Any]) -> list[Finding]:
    code = diagnosis["diagnosisCode"]["id"]
    if code not in CLAW_TERMS:
        raise ValueError(f"{code} is no claw health code known here.")
    severity = diagnosis.get("severity")
    return [
        Finding(
            foot=foot,
            claw=claw,
            code=code,
            severity=severity.lower() if severity else None,
            note=diagnosis.get("description", ""),
        )
        for foot, claw in _claws(diagnosis["positions"]).items()
    ]


def _claws(positions: Iterable[Mapping[str, str]]) -> dict[str, str]:
    """Return the feet that the positions of a diagnosis name, each with its claw."""
    found: dict[str, set[str]] = {}
    for place in (position["position"] for position in positions):
        if place not in _PLACES:
            raise ValueError(f"position {place} is not on a foot.")
        foot, claw = _PLACES[place]
        found.setdefault(foot, set()).add(claw)
    if not found:
        raise ValueError("a diagnosis names no foot.")
    return {
        foot: "both" if claws >= set(OTHER_CLAW) else max(claws) for foot, claws in found.items()
    }


def _utc(at: datetime) -> str:
    return time_to_text(at)
