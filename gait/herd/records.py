"""What is written down about cows, passes, decisions and trims: plain records, no rules.

Times are aware, by the clock of the computer; days are plain dates; animal numbers are text
(leading zeros count).
Identifiers ending in ``_id`` are given by the store; ``uid`` is the same on every machine.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, Literal, get_args

DecisionKind = Literal[
    "confirmed",
    "overridden",
    "second_opinion_wanted",
    "second_opinion",
    "second_opinion_declined",
    "unusable",
    "undo",
]
DECISION_KINDS: tuple[DecisionKind, ...] = get_args(DecisionKind)

PassStatus = Literal["to_check", "decided", "unusable"]

IdentitySource = Literal["file_name", "exit_order", "person"]

TrimReason = Literal["therapeutic", "recheck", "maintenance", "taken_back"]
TRIM_REASONS: tuple[TrimReason, ...] = ("therapeutic", "recheck", "maintenance")
"""Those of a trim that was done; ``taken_back`` says that the one it ``corrects`` was not."""

EntryState = Literal["planned", "done", "not_seen", "dropped"]
RecheckState = Literal["open", "done", "dropped"]
Outcome = Literal["sound", "better", "same", "worse"]


@dataclass(frozen=True, kw_only=True)
class Cow:
    """One animal of the herd list.

    ``due_on`` is the expected calving, ``calved_on`` the last calving, ``parity`` the number of
    calvings so far (0 = heifer). ``listed`` is False for a number that somebody typed but that
    no herd list has named yet. ``left_on`` is set when she has left the herd, or, with
    ``taken_off``, when her number was taken off the list.
    """

    number: str
    electronic: str | None = None
    birth_on: date | None = None
    parity: int | None = None
    calved_on: date | None = None
    dried_off_on: date | None = None
    due_on: date | None = None
    group: str | None = None
    breed: str | None = None
    left_on: date | None = None
    listed: bool = True

    @property
    def taken_off(self) -> bool:
        """True when her number was found to be no cow of the herd: gone, and on no herd list."""
        return self.left_on is not None and not self.listed


@dataclass(frozen=True, kw_only=True)
class Calving:
    """One calving of one cow; the lactation of that parity starts on that day."""

    cow: str
    calved_on: date
    parity: int | None = None


@dataclass(frozen=True, kw_only=True)
class Clip:
    """One film or photo as it was handed in, known by its content.

    ``stored_as`` is the path of the kept copy, relative to the farm folder. ``filmed_at`` is None
    when nobody knows when it was filmed; then ``added_at`` stands in for it.
    """

    clip_id: int
    sha256: str
    name: str
    filmed_at: datetime | None
    added_at: datetime
    added_by: str
    stored_as: str | None = None
    info: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class NewPass:
    """One walk past the camera as the pipeline found it, not yet in the store.

    ``measures``, ``proposal`` and ``files`` are plain JSON-like mappings. ``proposal`` has the
    keys value, confidence, probabilities (5), plausible, reasons; None when the tool gives none.
    ``files`` names files kept beside the clip (traces, overlay), relative to the farm folder.
    """

    number: int
    start_s: float = 0.0
    end_s: float = 0.0
    heading: str | None = None
    usable: bool = True
    problems: tuple[str, ...] = ()
    measures: Mapping[str, Any] = field(default_factory=dict)
    proposal: Mapping[str, Any] | None = None
    model_version: str | None = None
    files: Mapping[str, str] = field(default_factory=dict)
    observed_at: datetime | None = None


@dataclass(frozen=True, kw_only=True)
class PassSummary:
    """One line of a queue or list: what is proposed, what stands, who she is.

    ``score`` is the standing score of a person; ``low`` and ``high`` are the ends of the plausible
    run of scores; ``version`` is the number of decisions made so far, to be handed back as
    ``expected_version`` when deciding; ``priority`` is larger for passes to be checked sooner.
    """

    pass_id: int
    clip_id: int | None
    cow: str | None
    observed_at: datetime
    usable: bool
    status: PassStatus
    score: int | None
    version: int
    wants_second_opinion: bool
    identity_doubtful: bool
    decided_at: datetime | None
    decided_by: str | None
    proposed: int | None
    confidence: float | None
    low: int | None
    high: int | None
    priority: float


@dataclass(frozen=True, kw_only=True)
class PassRecord:
    """Everything kept about one pass. A pass scored by eye has no clip."""

    summary: PassSummary
    number: int
    start_s: float
    end_s: float
    heading: str | None
    problems: tuple[str, ...]
    measures: Mapping[str, Any]
    files: Mapping[str, str]
    proposal: Mapping[str, Any] | None
    model_version: str | None
    clip: Clip | None


@dataclass(frozen=True, kw_only=True)
class Decision:
    """What one person said about one pass. Never changed, never deleted.

    ``version`` counts the decisions on that pass from 1. ``undoes`` is the uid of the decision
    taken back by an ``undo``. ``proposed`` is what the tool had proposed at that moment.
    """

    decision_id: int
    uid: str
    pass_id: int
    version: int
    kind: DecisionKind
    who: str
    at: datetime
    score: int | None = None
    reason: str = ""
    blind: bool = False
    model_version: str | None = None
    proposed: int | None = None
    undoes: str | None = None


@dataclass(frozen=True, kw_only=True)
class Conflict:
    """A decision that came second: kept beside the one that stands until somebody settles it."""

    conflict_id: int
    pass_id: int
    seen_version: int
    found_version: int
    at: datetime
    who: str
    kind: DecisionKind
    score: int | None
    reason: str
    blind: bool
    settled_at: datetime | None = None
    settled_by: str | None = None


@dataclass(frozen=True, kw_only=True)
class Identity:
    """Who said which cow a pass shows. Never changed, never deleted.

    ``cow`` None says "not known". ``candidates`` are the animal numbers that a doubtful match
    could not tell apart.
    """

    identity_id: int
    pass_id: int
    cow: str | None
    source: IdentitySource
    who: str
    at: datetime
    doubtful: bool = False
    candidates: tuple[str, ...] = ()
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class Score:
    """One standing score of a person for one cow: what the lists and figures are made of.

    ``observed_at`` is when the cow walked, ``decided_at`` when the person decided.
    """

    cow: str
    observed_at: datetime
    score: int
    pass_id: int
    decided_at: datetime
    decided_by: str
    proposed: int | None = None
    blind: bool = False
    model_version: str | None = None


@dataclass(frozen=True, kw_only=True)
class Finding:
    """What was seen and done on one claw or one foot.

    ``foot`` is one of LF, RF, LH, RH (animal's left and right, fore and hind); ``claw`` inner,
    outer or both, empty where nobody said; ``zone`` a zone of :mod:`gait.herd.feet`; ``code`` an
    ICAR claw health code. ``block_claw`` is the claw that carries the block, inner or outer; older
    records do not tell it.
    """

    foot: str
    claw: str = ""
    zone: str | None = None
    code: str | None = None
    stage: str | None = None
    severity: str | None = None
    block: bool = False
    block_claw: str | None = None
    bandage: bool = False
    toe_length_mm: float | None = None
    sole_mm: float | None = None
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class Trim:
    """One cow trimmed or treated on one day, with what was found.

    ``medicine`` and ``withdrawal_until`` are only what was typed from the label or the vet's
    record; ``withdrawal_source`` says which. ``corrects`` is the uid of the trim that this one
    replaces; one ``taken_back`` replaces it by nothing.
    """

    cow: str
    on: date
    who: str
    reason: TrimReason
    findings: tuple[Finding, ...] = ()
    at: datetime | None = None
    trim_day_id: int | None = None
    medicine: str = ""
    withdrawal_until: date | None = None
    withdrawal_source: str = ""
    next_step: str = ""
    recheck_on: date | None = None
    note: str = ""
    uid: str = ""
    trim_id: int | None = None
    corrects: str | None = None


@dataclass(frozen=True, kw_only=True)
class TrimDay:
    """A planned day at the chute."""

    trim_day_id: int
    on: date
    trimmer: str
    capacity: int
    note: str = ""
    closed: bool = False


@dataclass(frozen=True, kw_only=True)
class TrimEntry:
    """One cow on the list of one trim day, in order of ``position``."""

    trim_day_id: int
    cow: str
    reason: TrimReason
    why: str
    position: int
    state: EntryState = "planned"


@dataclass(frozen=True, kw_only=True)
class Recheck:
    """A promise to look at a cow again on a day."""

    recheck_id: int
    cow: str
    due_on: date
    why: str
    opened_at: datetime
    opened_by: str
    state: RecheckState = "open"
    outcome: Outcome | None = None
    closed_at: datetime | None = None
    closed_by: str | None = None
    trim_uid: str | None = None


@dataclass(frozen=True, kw_only=True)
class Person:
    """Somebody who works with the records. ``roles`` are those of :mod:`gait.herd.people`."""

    name: str
    roles: tuple[str, ...]
    has_pin: bool = False
    active: bool = True


@dataclass(frozen=True, kw_only=True)
class Job:
    """A piece of film work that can be taken up again after a crash."""

    job_id: int
    key: str
    kind: str
    payload: Mapping[str, Any]
    state: Literal["undated", "waiting", "running", "done", "failed", "put_away"]
    progress: float
    message: str
    attempts: int
    worker: str | None
    created_at: datetime
    beat_at: datetime | None
    result: Mapping[str, Any] | None
