"""What the farm's people ask for, put together from the records and the rules.

Command line and pages call these; neither holds rules of its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from gait import places
from gait.errors import StoreError
from gait.herd.lame_list import LameCow, by_the_rule, lame_list
from gait.herd.recheck import answered_rechecks, outcome_of
from gait.herd.records import Decision, Outcome, Recheck
from gait.herd.rules import HerdRules, rules_from

if TYPE_CHECKING:
    from gait.score import ScoreModel
    from gait.score.calibration import Calibration
    from gait.score.learning import Lesson, ScoredPass
    from gait.store import Store
    from gait.trim_day import PlannedSheet

RULES_SETTING = "rules"
MODEL_SETTING = "score_model"
DEMO_SETTING = "invented_demo_farm"
CALIBRATED_ON = 1000


def rules_of(store: Store) -> HerdRules:
    """Return the farm's rules for its lists."""
    return rules_from(store.settings.get(RULES_SETTING))


def is_demo(store: Store) -> bool:
    """Tell whether this is the invented demo farm, where no film of a real cow belongs."""
    return bool(store.settings.get(DEMO_SETTING, False))


def lame_today(store: Store, today: date | None = None, *, cow: str | None = None) -> list[LameCow]:
    """Return the lame list, most urgent first; of one cow only, if one is asked for."""
    on = today or date.today()
    if cow is None:
        numbers = [s.cow for s in store.scores.latest(at_least=rules_of(store).lame_from)]
        cows = {c.number: c for c in store.cows.all()}
    else:
        numbers, known = [cow], store.cows.get(cow)
        cows = {} if known is None else {cow: known}
    return lame_list(
        cows=[cows[n] for n in numbers if n in cows],
        scores=store.scores.of_cows(numbers),
        trims=store.trims.of_cows(numbers),
        rechecks=store.rechecks.all(cows=numbers),
        calvings=store.cows.calvings(cow),
        rules=rules_of(store),
        today=on,
    )


def decide(
    store: Store,
    pass_id: int,
    *,
    who: str,
    score: int | None = None,
    reason: str = "",
    blind: bool = False,
    expected_version: int | None = None,
) -> Decision:
    """Keep a person's score of a pass: confirmed when it is the proposed one, else overridden.

    Parameters
    ----------
    store : Store
    pass_id : int
    who : str
    score : int, optional
        The proposed score if not given.
    reason : str
        Needed when the score is not the proposed one and the person saw the proposal.
    blind : bool
        The person had not seen the proposal.
    expected_version : int, optional
        As the person saw it.

    Raises
    ------
    StoreError
        Nothing was proposed and no score given, or a reason is missing.
    StoreConflict
        Somebody else decided in between; both are kept.
    """
    summary = store.passes.get(pass_id).summary
    given = summary.proposed if score is None else score
    if given is None:
        raise StoreError(
            "No score is proposed for this pass, so there is nothing to confirm.",
            "Give your own score from 1 to 5.",
        )
    confirmed = given == summary.proposed
    if not confirmed and (summary.proposed is None or blind) and not reason:
        reason = "scored without a proposal in view"
    return store.decisions.add(
        pass_id,
        kind="confirmed" if confirmed else "overridden",
        score=given,
        who=who,
        reason=reason,
        blind=blind,
        expected_version=expected_version,
    )


def model_in_use(store: Store) -> ScoreModel:
    """Return the farm's score model: its own where it took one up, else the one that ships."""
    from gait.score import ScoreModel

    version = store.settings.get(MODEL_SETTING)
    kept = store.models.get(version) if version else None
    return ScoreModel.from_json(kept.body, kept.version) if kept else published_model()


def published_model() -> ScoreModel:
    """Return the model that ships."""
    from gait.score import ScoreModel

    return ScoreModel.load(places.score_model())


def use_model(store: Store, version: str, *, who: str) -> None:
    """Take a version of the score model into use; the others are kept.

    Raises
    ------
    StoreError
        There is no such version.
    """
    if version != published_model().version and store.models.get(version) is None:
        raise StoreError(
            f"There is no score model called {version}.", "See them with: exitlane model list"
        )
    store.settings.put(MODEL_SETTING, version, who=who)


def learn_from_herd(store: Store, *, who: str, today: date | None = None) -> Lesson:
    """Learn from the herd's confirmed scores; a model that does better is taken into use."""
    from gait.score.learning import learn

    on = today or date.today()
    scored = scored_passes(store)
    version = f"herd-{on:%Y%m%d}-{len(store.models.all()) + 1}"
    lesson = learn(published_model(), model_in_use(store), scored, today=on, version=version)
    if lesson.challenger is not None:
        store.models.put(version, lesson.challenger.to_json(), who=who, note=lesson.sentence)
        if lesson.taken_up:
            use_model(store, version, who=who)
    return lesson


@dataclass(frozen=True, kw_only=True)
class ModelLine:
    """One version of the score model, for lists."""

    version: str
    kind: str
    in_use: bool
    notes: Mapping[str, Any]


def models_of(store: Store) -> list[ModelLine]:
    """Return all versions, the one that ships first."""
    from gait.score import ScoreModel

    used = model_in_use(store).version
    models = [published_model()]
    models += [ScoreModel.from_json(kept.body, kept.version) for kept in store.models.all()]
    return [
        ModelLine(version=m.version, kind=m.kind, in_use=m.version == used, notes=m.notes)
        for m in models
    ]


def plan_trim_day(store: Store, on: date, *, trimmer: str = "", capacity: int = 12) -> PlannedSheet:
    """Return the sheet of a trim day, planned now if it was not; see :mod:`gait.trim_day`."""
    from gait import trim_day

    return trim_day.plan_trim_day(store, on, trimmer=trimmer, capacity=capacity)


def close_recheck(store: Store, promise: Recheck, *, score: int, who: str) -> Outcome:
    """Keep a cow's score at her recheck and how it compares with the one before.

    Parameters
    ----------
    store : Store
    promise : Recheck
        Open, on record or by the farm's rule.
    score : int
        1-5, given by watching her walk.
    who : str

    Returns
    -------
    str
        ``sound``, ``better``, ``same`` or ``worse``; the last two are for the vet.
    """
    before = store.scores.of_cows([promise.cow])
    store.decisions.add_by_eye(promise.cow, score=score, who=who, reason="recheck")
    outcome = outcome_of(before[-1].score if before else None, score, rules_of(store))
    store.rechecks.close(_on_record(store, promise, who), who=who, outcome=outcome)
    return outcome


def leave_out_recheck(store: Store, promise: Recheck, *, who: str) -> None:
    """Note that a cow is not looked at this time, on record or by the farm's rule."""
    store.rechecks.close(_on_record(store, promise, who), who=who, outcome=None, dropped=True)


def _on_record(store: Store, promise: Recheck, who: str) -> int:
    if promise.recheck_id:
        return promise.recheck_id
    return store.rechecks.open(promise.cow, promise.due_on, why=promise.why, who=who).recheck_id


def rechecks_waiting(
    store: Store, *, cow: str | None = None, lame: Sequence[LameCow] | None = None
) -> list[Recheck]:
    """Return the open rechecks that no newer score has answered, soonest first.

    One that a film or a look has answered in the meantime is closed with its outcome, in the
    name of the person who gave that score. To those promised come the treated lame cows that
    nobody promised to look at again: they are due as the lame list says, see `by_the_rule`.

    Parameters
    ----------
    store : Store
    cow : str, optional
        Only hers.
    lame : sequence of LameCow, optional
        The lame list, where it is at hand.
    """
    promised = store.rechecks.all(cows=None if cow is None else [cow], only_open=True)
    scores = store.scores.of_cows({r.cow for r in promised})
    answers = answered_rechecks(promised, scores, rules_of(store))
    if not store.read_only_because:
        for answer in answers:
            store.rechecks.close(
                answer.recheck.recheck_id, who=answer.score.decided_by, outcome=answer.outcome
            )
    answered = {answer.recheck.recheck_id for answer in answers}
    waiting = [r for r in promised if r.recheck_id not in answered]
    listed = lame_today(store, cow=cow) if lame is None else lame
    waiting += by_the_rule(listed, waiting)
    return sorted(waiting, key=lambda r: (r.due_on, r.recheck_id))


def scored_passes(store: Store, limit: int = 20_000) -> list[ScoredPass]:
    """Return passes with a standing score and measures, newest first: what is learnt from."""
    from gait.score.learning import ScoredPass
    from gait.score.stored import stored_measures

    return [
        ScoredPass(
            cow=row["cow"],
            score=int(row["score"]),
            measures=stored_measures(row["measures"]),
            blind=bool(row["blind"]),
        )
        for row in store.scores.learning_rows(limit)
        if row["measures"]
    ]


def calibration_of(store: Store) -> Calibration | None:
    """Return how far the model in use can be believed on this herd; None with no scores.

    It rests on the newest `CALIBRATED_ON` scores, which say most of the herd as it is now.
    """
    from gait.score.calibration import calibrate

    scored = scored_passes(store, limit=CALIBRATED_ON)
    if not scored:
        return None
    model = model_in_use(store)
    chances = [model.probabilities(s.measures) for s in scored]
    return calibrate(chances, [s.score for s in scored], model.conformal_threshold)
